"""The layers of the canvas: photographs, marks, and what is being drawn, in micrometres."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import numpy as np
from napari.settings import get_settings
from napari.utils.colormaps import Colormap
from napari.viewer import Viewer
from numpy.typing import NDArray

from setstone.annotate.bench.strokes import Stroke, triangles
from setstone.annotate.panels import marks
from setstone.annotate.panels.marks import Shape
from setstone.annotate.style import INK

WHITE, BLUE, BESIDE = "white light", "blue light", "blue light, beside"
MARKS, LABELS = "marks", "numbers"
GIRDLE, CANDIDATES = "girdle", "candidates and findings"
DRAWING, MEASURING = "drawing", "measuring line"

_IMAGES = (WHITE, BLUE, BESIDE)
_MARKS = (MARKS, LABELS)
#: Seen as long as they are in hand.
DRAGGED = (GIRDLE, CANDIDATES)
TOOLS = (*DRAGGED, DRAWING, MEASURING)


def beside(name: str) -> str:
    """Name of the copy of a layer that is shown beside."""
    return f"{name}, beside"


#: All marks once more, over the photograph in blue light: what is beside is only looked at.
_BESIDE = (beside(MARKS), beside(LABELS))
#: From the bottom up: the group that is shown beside, then all others.
_ORDER = (BESIDE, *_BESIDE, WHITE, BLUE, *_MARKS, *TOOLS)
_NOTHING = np.zeros((2, 2, 3), np.uint8)


class Layers:
    """Makes the layers and fills them.

    Parameters
    ----------
    viewer : napari.viewer.Viewer
    """

    def __init__(self, viewer: Viewer) -> None:
        self.viewer = viewer
        #: True while the program itself draws: what changes then was not drawn by a person.
        self.quiet = False
        self._put: dict[str, Sequence[Shape]] = {}
        viewer.layers.events.inserted.connect(self._group)
        viewer.layers.events.removed.connect(self._group)

    def __getitem__(self, name: str) -> Any:
        return self.viewer.layers[name]

    @property
    def there(self) -> bool:
        """Whether the layers were made; a person may have deleted some."""
        return set(_ORDER) <= {layer.name for layer in self.viewer.layers}

    @property
    def beside(self) -> bool:
        """Whether both lights are shown side by side."""
        return bool(self.viewer.canvas.grid.enabled)

    def make(self) -> None:
        """Make all layers anew, empty."""
        for name in _ORDER:
            if name in self.viewer.layers:
                self.viewer.layers.remove(name)
        self._put.clear()
        for name in _ORDER:
            plain = name.removesuffix(", beside")
            if name in _IMAGES:
                self.viewer.add_image(_NOTHING, name=name, rgb=True, interpolation2d="linear", visible=False)
            elif plain == MARKS:
                self.viewer.add_surface(
                    triangles([]),
                    name=name,
                    colormap=Colormap(marks.INKS, name="marks", interpolation="zero"),
                    contrast_limits=(0, len(marks.INKS)),
                    shading="none",
                    blending="translucent_no_depth",
                    opacity=1.0,
                )
            elif plain == LABELS:
                self.viewer.add_points(
                    np.zeros((0, 2)),
                    name=name,
                    size=1,
                    opacity=1.0,
                    face_color="transparent",
                    border_color="transparent",
                    features={"label": np.array([], str), "colour": np.array([], str)},
                    feature_defaults={"label": "", "colour": INK},
                    text={
                        "string": "{label}",
                        "anchor": "upper_left",
                        "color": {"feature": "colour"},
                        "size": get_settings().appearance.font_size,
                    },
                )
            else:
                self.viewer.add_shapes(name=name, ndim=2, face_color="transparent", opacity=1.0)

    def place(self, um_per_px: float | None, blue_to_white: NDArray[np.float64] | None) -> None:
        """Lay all layers on one another in micrometres, blue as it was aligned on white."""
        um = um_per_px or 1.0
        units = ("µm" if um_per_px else "pixel",) * 2
        aligned = np.eye(3)
        if blue_to_white is not None:
            x_y = blue_to_white / blue_to_white[2, 2]
            aligned[:2, :2] = x_y[1::-1, 1::-1]
            aligned[:2, 2] = x_y[1::-1, 2] * um
        for name in _ORDER:
            layer = self[name]
            affine = aligned if name in (BLUE, BESIDE) else np.eye(3)
            layer.units = units
            # Each change makes napari build the layer's shaders again: only where there is one.
            if not np.array_equal(layer.scale, (um, um)):
                layer.scale = (um, um)
            if not np.array_equal(layer.affine.affine_matrix, affine):
                layer.affine = affine

    def show(self, name: str, visible: bool) -> None:
        """Show or hide a layer; it costs nothing where it is so already."""
        if self[name].visible != visible:
            self[name].visible = visible

    def show_marks(self, visible: bool) -> None:
        """Show or hide all marks."""
        for name in _MARKS:
            self.show(name, visible)
        for name in _BESIDE:
            self.show(name, visible and self.beside)

    def set_pixels(self, name: str, pixels: NDArray[np.uint8] | None) -> None:
        """Put a photograph into a layer, or none to give its memory back."""
        pixels = _NOTHING if pixels is None else pixels
        if self[name].data is not pixels:
            self[name].data = pixels

    def show_beside(self, wanted: bool) -> None:
        """Show the photograph in blue light beside the one in white light."""
        self.set_pixels(BESIDE, self[BLUE].data if wanted else None)
        self.show(BESIDE, wanted)
        grid = self.viewer.canvas.grid
        if wanted:
            self._group()
            grid.shape = (1, 2)
        if grid.enabled != wanted:
            grid.enabled = wanted

    def put(self, name: str, wanted: Sequence[Shape], width: float = 1.0) -> None:
        """Put shapes of a width into a layer; it costs nothing where they are there already."""
        layer, before = self[name], self._put.get(name)
        same = before is not None and len(before) == len(wanted)
        if same and all(a.same_as(b) for a, b in zip(before or (), wanted, strict=True)):
            if layer.visible and any(w != width for w in layer.edge_width):
                layer.edge_width = width
                layer.refresh()
            return
        with self.drawing():
            in_hand = set(layer.selected_data) if len(layer.data) == len(wanted) else set()
            layer.selected_data = set()
            if len(layer.data):
                layer.data = []
            if wanted:
                layer.add(
                    [s.points for s in wanted],
                    shape_type=[s.form for s in wanted],
                    edge_color=marks.LOOKED_AT,
                    edge_width=width,
                    face_color="transparent",
                )
            layer.selected_data = in_hand
        self._put[name] = tuple(wanted)

    def put_strokes(self, name: str, strokes: Sequence[Stroke]) -> None:
        """Draw the marks in a layer."""
        vertices, faces, inks = triangles(strokes)
        self[name].data = vertices, faces, inks + 0.5  # the middle of each ink's part of the colour table

    def put_labels(self, labels: Sequence[tuple[str, float, float]], unit: float) -> None:
        """Put numbers beside the marks, each on a dark shadow that keeps it readable on any picture.

        Parameters
        ----------
        labels : sequence of (str, float, float)
            Text, and where it stands: row, column in pixels of the photograph.
        unit : float
            Pixels of the photograph in one of the screen.
        """
        drawn = [(INK, -unit), (INK, unit), (marks.CANDIDATE, 0.0)]
        points = np.array([(row + by, column + by) for _, by in drawn for _, row, column in labels], float)
        words = [word for _ in drawn for word, _, _ in labels]
        for name in (LABELS, beside(LABELS)) if self.beside else (LABELS,):
            layer = self[name]
            if not np.array_equal(layer.data, points):
                layer.data = points.reshape(-1, 2)
            if list(layer.features["label"]) != words:
                layer.features = {"label": words, "colour": [colour for colour, _ in drawn for _ in labels]}

    def clear(self, name: str) -> None:
        """Take away what was drawn in a layer."""
        self.drawn_over(name)
        self.put(name, ())

    def drawn_over(self, name: str) -> None:
        """Forget what was put into a layer, because a person drew in it."""
        self._put.pop(name, None)

    @contextmanager
    def drawing(self) -> Iterator[None]:
        """While the program draws."""
        self.quiet = True
        try:
            yield
        finally:
            self.quiet = False

    def connect(self, name: str, drawn: Callable[[Any], None]) -> None:
        """Call back when a person drew in a layer."""
        self[name].events.data.connect(lambda event: None if self.quiet else drawn(event))

    def _group(self) -> None:
        """What is not shown beside makes one cell of napari's grid, whatever else is laid on top of it."""
        names = [layer.name for layer in self.viewer.layers]
        if WHITE in names:
            # The lower group stands right: a negative stride counts from the top.
            self.viewer.canvas.grid.stride = names.index(WHITE) - len(names)

"""The canvas: photographs and marks of the chosen stone as napari layers, in micrometres."""

from collections.abc import Callable, Iterator
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from qtpy.QtCore import QObject, QTimer, Signal

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.geometry import ellipse_corners, ellipse_points, thinned
from setstone.annotate.bench.pixels import Pixels
from setstone.annotate.bench.review import Review
from setstone.annotate.panels import marks
from setstone.annotate.panels.working import Job, Tell, attempt
from setstone.capture.photograph import Lamp
from setstone.measure.candidates import LampName
from setstone.measure.outline import Outline, diameters
from setstone.record.entries import CandidateEntry
from setstone.record.errors import BookError
from setstone.record.marking import candidate_redrawn, length_of, outline_redrawn

if TYPE_CHECKING:
    import napari

Points = NDArray[np.float64]

WHITE, BLUE, BESIDE = "white light", "blue light", "blue light, beside"
GIRDLE, CANDIDATES, LOOKED_AT = "girdle", "candidates and findings", "looked at"
DRAWING, MEASURING = "drawing", "measuring line"
_COPIES = {"girdle, beside": GIRDLE, "candidates, beside": CANDIDATES, "looked at, beside": LOOKED_AT}
#: From the bottom up. What is shown beside comes first, the rest makes one cell of napari's grid.
_ORDER = (BESIDE, *_COPIES, WHITE, BLUE, GIRDLE, CANDIDATES, LOOKED_AT, DRAWING, MEASURING)
_CELL = 7
#: Vertices of a free outline that can be dragged.
_HANDLES = 48
#: Half a second each: slower than the three flashes a second of WCAG 2.2, success criterion 2.3.1.
_BLINK_MS = 500

VIEWS = ("white", "blue", "blended", "blinking", "side by side")


class Canvas(QObject):
    """Shows the chosen stone of a bench in a viewer and turns what is drawn there into steps.

    Parameters
    ----------
    viewer : napari.viewer.Viewer
    bench : Bench
    pixels : Pixels
    """

    #: Sizes as they would be, while something is dragged: (what, words).
    dragging = Signal(str, str)
    #: The view was changed: its name.
    view_changed = Signal(str)
    #: The photographs of the chosen stone are on the canvas.
    shown = Signal()

    def __init__(self, viewer: "napari.viewer.Viewer", bench: Bench, pixels: Pixels) -> None:
        super().__init__()
        self.viewer = viewer
        self.pixels = pixels
        self._bench = bench
        self._view = "blended"
        self._blend = 0.5
        self._wanted: tuple[str, ...] = ()
        self._um_per_px: float | None = None
        self._quiet = False
        self._drawing_spot = False
        self._blink = QTimer(self)
        self._blink.setInterval(_BLINK_MS)
        self._blink.timeout.connect(self._blink_once)
        self._redraw = QTimer(self)  # many changes of one moment are drawn once
        self._redraw.setSingleShot(True)
        self._redraw.setInterval(0)
        self._redraw.timeout.connect(self.draw_marks)
        self._flight = QTimer(self)
        self._flight.setInterval(15)
        self._way: Iterator[tuple[Points, float]] = iter(())
        self._flight.timeout.connect(self._fly_on)
        bench.chosen.connect(self._load)
        bench.photographs_changed.connect(self._load)
        bench.review_changed.connect(self._new_review)
        bench.book_changed.connect(self._clear)
        viewer.mouse_drag_callbacks.append(self._pick)
        viewer.canvas.overlays.scale_bar.visible = True
        viewer.canvas.overlays.scale_bar.font_size = 12

    # What is shown

    @property
    def view(self) -> str:
        """How both lights are shown, one of `VIEWS`."""
        return self._view

    @view.setter
    def view(self, view: str) -> None:
        self._view = view
        self._blink.stop()
        if view == "blinking":
            self._blink.start()
        self._apply_view()
        if view == "side by side":
            self.draw_marks()
        self.view_changed.emit(view)

    @property
    def blend(self) -> float:
        """Share of blue light in the blended view, 0 to 1."""
        return self._blend

    @blend.setter
    def blend(self, share: float) -> None:
        self._blend = share
        self._apply_view()

    def next_view(self) -> None:
        """Show both lights in the next way."""
        self.view = VIEWS[(VIEWS.index(self._view) + 1) % len(VIEWS)]

    def whole(self) -> None:
        """Show the whole photograph."""
        layer = self._layer(WHITE)
        if layer is None or not layer.visible:
            layer = self._layer(BLUE) or layer
        if layer is not None and self._shown_any():
            low, high = np.asarray(layer.extent.world)
            self._fly(np.asarray((low + high) / 2), self._zoom(np.asarray(high - low)))

    def fly_to(self, entry: CandidateEntry) -> None:
        """Show a candidate large."""
        around = entry.candidate.path[:, ::-1]
        um = self._um_per_px or 1.0
        extent = np.maximum(np.ptp(around, axis=0) * 2.2, 120) * um
        centre = (around.max(axis=0) + around.min(axis=0)) / 2 * um
        self._fly(np.asarray(centre), self._zoom(np.asarray(extent)))

    # Tools

    def look(self) -> None:
        """Put all tools down: dragging moves the view."""
        for layer in self.viewer.layers:
            if layer.name in _ORDER:
                layer.mode = "pan_zoom"
        first = self._layer(WHITE)
        if first is not None:
            self.viewer.layers.selection.active = first

    def take(self, name: str, mode: str) -> None:
        """Take a layer in hand with one of its modes."""
        layer = self._layer(name)
        if layer is None:
            raise BookError("There is no picture to draw on; choose a stone with photographs first.")
        self.look()
        layer.visible = True
        self.viewer.layers.selection.active = layer
        layer.mode = mode

    def edit_outline(self) -> None:
        """Let the outline be dragged."""
        review = self._review()
        outline = review.entry.result.outline
        if outline is None:
            raise BookError("There is no outline to move; examine the stone first.")
        ellipse = outline.shape == "ellipse"
        self.take(GIRDLE, "select" if ellipse else "direct")
        layer = self._layer(GIRDLE)
        if layer is not None:
            layer.selected_data = {0}

    def edit_mark(self) -> None:
        """Let the paths and spots be dragged, the current one first."""
        review = self._review()
        self.take(CANDIDATES, "direct")
        layer = self._layer(CANDIDATES)
        numbers = self._numbers()
        if review.current is not None and review.current.number in numbers:
            layer.selected_data = {numbers.index(review.current.number)}
            layer.mode = "select" if review.current.candidate.kind == "spot" else "direct"

    def join_under_cursor(self) -> None:
        """Join the current line with the one under the mouse."""
        review = self._review()
        current = None if review.current is None else review.current.number
        other = self.nearest(self.under_cursor(), but=current, lines=True)
        if other is None:
            raise BookError("Point the mouse at the line to join with the current one, then press J.")
        review.join(other)

    def split_under_cursor(self) -> None:
        """Split the current line where the mouse is."""
        self._review().split(self.under_cursor())

    def draw_line(self) -> None:
        """Let a line be drawn: a click for each point, a double click at the end."""
        self._review()
        self._drawing_spot = False
        self.take(DRAWING, "add_polyline")

    def draw_spot(self) -> None:
        """Let a spot be drawn: drag a circle around it."""
        self._review()
        self._drawing_spot = True
        self.take(DRAWING, "add_ellipse")

    def measure(self) -> None:
        """Let a distance be measured: drag from one point to the other."""
        layer = self._layer(MEASURING)
        if layer is not None and len(layer.data):
            self._set_shapes(layer, [], [], [], [], [])
        self.take(MEASURING, "add_line")

    def under_cursor(self) -> tuple[float, float]:
        """Where the mouse is, in pixels x, y of the reference photograph."""
        y, x = np.asarray(self.viewer.cursor.position[-2:]) / (self._um_per_px or 1.0)
        return float(x), float(y)

    def nearest(self, at: tuple[float, float], *, but: int | None = None, lines: bool = False) -> int | None:
        """Number of the shown candidate nearest to a point, within reach of a click."""
        review = self._bench.review
        if review is None:
            return None
        reach = 12 / max(self.viewer.scene.camera.zoom * (self._um_per_px or 1.0), 1e-6)
        best: tuple[float, int] | None = None
        for c in review.queue:
            if c.number == but or (lines and c.candidate.kind != "line"):
                continue
            distance = float(np.hypot(*(c.candidate.path - at).T).min())
            if distance < reach and (best is None or distance < best[0]):
                best = distance, c.number
        return None if best is None else best[1]

    def rest(self) -> None:
        """Move nothing any more: the window closes."""
        for timer in (self._blink, self._redraw, self._flight):
            timer.stop()

    # Photographs

    def _load(self) -> None:
        bench = self._bench
        wanted = [(lamp, bench.shown(lamp)) for lamp in (Lamp.WHITE, Lamp.BLUE)]
        key = (str(bench.stone and bench.stone.id), bench.occasion, *(str(p and p.sha256) for _, p in wanted))
        if key == self._wanted:
            return
        self._wanted = key
        there = [(lamp, p) for lamp, p in wanted if p is not None]

        def decode(tell: Tell) -> dict[Lamp, Any]:
            images = {}
            for lamp, photograph in there:
                tell(photograph.name)
                images[lamp] = self.pixels.of(photograph)
            return images

        if not there:
            self._put({})
            self._say(
                "" if bench.stone is None else "No photograph yet: drop files on the panel Photographs."
            )
            return
        job = Job("Opening photographs", decode, bench=bench, steps=len(there))
        job.done.connect(lambda images: self._put(images) if key == self._wanted else None)
        job.failed.connect(lambda text: bench.said.emit(text) if key == self._wanted else None)
        job.start()

    def _put(self, images: dict[Lamp, Any]) -> None:
        self._say("")
        self._um_per_px = self._scale()
        first = next(iter(images.values()), None)
        if first is None:
            for name in _ORDER:
                layer = self._layer(name)
                if layer is not None:
                    layer.visible = False
            return
        self._ensure_layers(first)
        empty = np.zeros((2, 2, 3), np.uint8)
        for name, lamp in ((WHITE, Lamp.WHITE), (BLUE, Lamp.BLUE)):
            layer = self._layer(name)
            layer.data = images.get(lamp, empty)
            layer.metadata = {"setstone": {"there": lamp in images, "lamp": str(lamp), **self._where()}}
        self._place()
        self._apply_view()
        self.draw_marks()
        self.whole()
        self._flight.stop()
        for centre, zoom in self._way:
            self._stand(centre, zoom)
        self.shown.emit()

    def _where(self) -> dict[str, str]:
        bench = self._bench
        return {
            "book": "" if bench.book is None else str(bench.book.folder),
            "stone": "" if bench.stone is None else bench.stone.full_name,
            "occasion": bench.occasion,
        }

    def _scale(self) -> float | None:
        review = self._bench.review
        if review is not None:
            return None if review.entry.result.scale is None else review.entry.result.scale.um_per_px
        for lamp in (Lamp.WHITE, Lamp.BLUE):
            photograph = self._bench.shown(lamp)
            if photograph is not None:
                return photograph.scale.um_per_px if photograph.scale else photograph.um_per_px
        return None

    def _place(self) -> None:
        """Lay all layers on one another in micrometres, blue as it was aligned on white."""
        um = self._um_per_px
        aligned = np.eye(3)
        review = self._bench.review
        if review is not None and review.entry.result.blue_to_white is not None:
            x_y = np.asarray(review.entry.result.blue_to_white, float)
            x_y = x_y / x_y[2, 2]
            aligned[:2, :2] = x_y[1::-1, 1::-1]
            aligned[:2, 2] = x_y[1::-1, 2] * (um or 1.0)
        for name in _ORDER:
            layer = self._layer(name)
            layer.units = ("µm" if um else "pixel",) * 2
            layer.scale = (um or 1.0,) * 2
            layer.affine = aligned if name in (BLUE, BESIDE) else np.eye(3)

    def _ensure_layers(self, image: NDArray[np.uint8]) -> None:
        names = {layer.name for layer in self.viewer.layers}
        if set(_ORDER) <= names:
            return
        common = {"edge_color": marks.CANDIDATE, "face_color": "transparent", "ndim": 2, "opacity": 1.0}
        for name in _ORDER:
            if name in names:
                self.viewer.layers.remove(name)
            if name in (WHITE, BLUE, BESIDE):
                layer = self.viewer.add_image(
                    image, name=name, rgb=True, interpolation2d="linear", blending="translucent"
                )
                layer.visible = False
            else:
                layer = self.viewer.add_shapes(name=name, **common)
        self._layer(GIRDLE).events.data.connect(self._outline_drawn)
        self._layer(CANDIDATES).events.data.connect(self._candidate_drawn)
        self._layer(DRAWING).events.data.connect(self._missed_drawn)
        self._layer(MEASURING).events.data.connect(self._line_measured)
        for name in (GIRDLE, CANDIDATES, MEASURING):
            self._layer(name).mouse_drag_callbacks.append(self._while_dragging)

    def _apply_view(self) -> None:
        if self._layer(WHITE) is None:
            return
        there = {n: bool(self._layer(n).metadata.get("setstone", {}).get("there")) for n in (WHITE, BLUE)}
        view = self._view
        if not (there[WHITE] and there[BLUE]):
            view = "white" if there[WHITE] else "blue"
        beside = view == "side by side"
        self._layer(WHITE).visible = there[WHITE] and view != "blue"
        self._layer(BLUE).visible = there[BLUE] and view in ("blue", "blended", "blinking")
        self._layer(BLUE).opacity = self._blend if view == "blended" else 1.0
        self._layer(BESIDE).visible = beside
        for name in _COPIES:
            self._layer(name).visible = beside
        grid = self.viewer.canvas.grid
        # The copy takes its pixels only where it is seen.
        pixels = self._layer(BLUE).data if beside else np.zeros((2, 2, 3), np.uint8)
        if self._layer(BESIDE).data is not pixels:
            self._layer(BESIDE).data = pixels
        if beside:
            # The lower group of layers stands right: a negative stride counts from the top.
            grid.stride, grid.shape = -_CELL, (1, 2)
        if grid.enabled != beside:
            grid.enabled = beside

    def _blink_once(self) -> None:
        layer = self._layer(BLUE)
        white = self._layer(WHITE)
        if layer is not None and white is not None and white.metadata.get("setstone", {}).get("there"):
            layer.visible = not layer.visible

    # Marks

    def _new_review(self) -> None:
        review = self._bench.review
        if review is not None:
            review.changed.connect(self._redraw.start)
            review.moved.connect(self._moved)
        if self._layer(WHITE) is not None and self._wanted:
            um = self._scale()
            self._um_per_px = um
            self._place()
        self._redraw.start()

    def _moved(self) -> None:
        review = self._bench.review
        self._redraw.start()
        if review is not None and review.current is not None:
            self.fly_to(review.current)

    def draw_marks(self) -> None:
        """Draw the outline and the shown candidates."""
        if self._layer(GIRDLE) is None:
            return
        review = self._bench.review
        visible = review is not None and self._shown_any()
        for name in (GIRDLE, CANDIDATES, LOOKED_AT, DRAWING, MEASURING):
            self._layer(name).visible = visible or name == MEASURING
        if review is None:
            for name in (GIRDLE, CANDIDATES, LOOKED_AT, *_COPIES):
                self._set_shapes(self._layer(name), [], [], [], [], [])
            return
        size = review.entry.result.size
        thick = max(1.0, 1.4 * max(size) / 1000)
        queue = review.queue
        shapes = [marks.drawn(c) for c in queue]
        self._set_shapes(
            self._layer(CANDIDATES),
            [points for points, _ in shapes],
            [form for _, form in shapes],
            [marks.colour(c) for c in queue],
            [marks.width(c, size) for c in queue],
            [marks.label(c) for c in queue],
        )
        outline = review.entry.result.outline
        if outline is None:
            self._set_shapes(self._layer(GIRDLE), [], [], [], [], [])
        else:
            points, form = self._outline_shape(outline)
            self._set_shapes(self._layer(GIRDLE), [points], [form], [marks.GIRDLE], [thick], [""])
        current = review.current
        rings = [] if current is None else [marks.ring(current, size)]
        n = len(rings)
        self._set_shapes(
            self._layer(LOOKED_AT), rings, ["polygon"] * n, [marks.LOOKED_AT] * n, [thick] * n, [""] * n
        )
        if self._view == "side by side":
            self._copy_marks()

    def _copy_marks(self) -> None:
        for name, source in _COPIES.items():
            layer = self._layer(source)
            copy = self._layer(name)
            self._set_shapes(
                copy,
                list(layer.data),
                list(layer.shape_type),
                list(layer.edge_color),
                list(layer.edge_width),
                list(layer.features.get("label", [""] * len(layer.data))),
            )

    def _outline_shape(self, outline: Outline) -> tuple[Points, str]:
        if outline.shape == "ellipse":
            return ellipse_corners(outline.points)[:, ::-1], "ellipse"
        return thinned(outline.points, _HANDLES)[:, ::-1], "polygon"

    def _set_shapes(
        self,
        layer: Any,
        data: list[Points],
        forms: list[str],
        colours: list[Any],
        widths: list[float],
        labels: list[str],
    ) -> None:
        self._quiet = True
        try:
            layer.selected_data = set()
            if len(layer.data):
                layer.data = []
            if data:
                layer.add(
                    data, shape_type=forms, edge_color=colours, edge_width=widths, face_color="transparent"
                )
            if any(labels):
                layer.features = {"label": labels}
                layer.text = {
                    "string": "{label}",
                    "anchor": "upper_left",
                    "color": np.asarray(layer.edge_color),
                    "size": 11,
                }
        finally:
            self._quiet = False

    def _numbers(self) -> list[int]:
        review = self._bench.review
        return [] if review is None else [c.number for c in review.queue]

    # What a person draws

    def _outline_drawn(self, event: Any) -> None:
        if self._quiet or str(event.action) != "changed":
            return
        self._try(lambda: self._review().redraw_outline(self._outline_now()))

    def _outline_now(self) -> Outline:
        review = self._review()
        layer = self._layer(GIRDLE)
        outline = review.entry.result.outline
        if outline is None or not len(layer.data):
            raise BookError("There is no outline to move; examine the stone first.")
        points = np.asarray(layer.data[0], float)[:, ::-1]
        ellipse = layer.shape_type[0] == "ellipse"
        return outline_redrawn(outline, ellipse_points(points) if ellipse else points, ellipse=ellipse)

    def _candidate_drawn(self, event: Any) -> None:
        if self._quiet:
            return
        action, numbers = str(event.action), self._numbers()
        if action == "removed":
            self._redraw.start()
            self._bench.said.emit("Candidates are not deleted; reject one to put it aside.")
        if action == "changed":
            for index in event.data_indices:
                if 0 <= index < len(numbers):
                    number = numbers[index]
                    path = self._path_now(index)
                    self._try(partial(self._review().redraw, number, path))

    def _path_now(self, index: int) -> Points:
        layer = self._layer(CANDIDATES)
        points = np.asarray(layer.data[index], float)[:, ::-1]
        return ellipse_points(points, 64) if layer.shape_type[index] == "ellipse" else points

    def _missed_drawn(self, event: Any) -> None:
        if self._quiet or str(event.action) != "added":
            return
        layer = self._layer(DRAWING)
        points = np.asarray(layer.data[-1], float)[:, ::-1]
        review = self._review()
        lamp: LampName = "blue" if self._view in ("blue", "blended", "blinking") else "white"
        if self._drawing_spot:
            centre = points.mean(axis=0)
            diameter = float(np.sqrt(np.prod(np.hypot(*(points[[1, 3]] - points[0]).T))))
            add = lambda: review.draw_spot((float(centre[0]), float(centre[1])), diameter, lamp=lamp)  # noqa: E731
        else:
            add = lambda: review.draw_line(points, lamp=lamp)  # noqa: E731

        def finish() -> None:
            self._set_shapes(layer, [], [], [], [], [])
            self.look()
            self._try(add)

        # napari is still inside the drawing of the shape.
        QTimer.singleShot(0, finish)

    def _line_measured(self, event: Any) -> None:
        if self._quiet or str(event.action) not in ("added", "changed"):
            return
        self.dragging.emit("distance", self._distance_now())
        QTimer.singleShot(0, self.look)

    def _distance_now(self) -> str:
        layer = self._layer(MEASURING)
        review = self._bench.review
        scale = None if review is None else review.entry.result.scale
        if scale is None:
            return "no scale known, so no length"
        return str(length_of(np.asarray(layer.data[-1], float)[:, ::-1], scale))

    def _while_dragging(self, layer: Any, event: Any) -> Iterator[None]:
        yield
        while event.type == "mouse_move":
            self._tell_sizes(layer)
            yield

    def _tell_sizes(self, layer: Any) -> None:
        try:
            if layer.name == GIRDLE and layer.selected_data:
                scale = self._review().entry.result.scale
                if scale is not None:
                    self.dragging.emit("diameter", str(diameters(self._outline_now(), scale).mean))
            elif layer.name == CANDIDATES and layer.selected_data:
                index = min(layer.selected_data)
                review = self._review()
                entry = next(c for c in review.queue if c.number == self._numbers()[index])
                now = candidate_redrawn(entry.candidate, self._path_now(index), review.entry.result.scale)
                size = now.sizes.get("length") or now.sizes.get("diameter")
                if size is not None:
                    self.dragging.emit(f"number {entry.number}", str(size))
            elif layer.name == MEASURING and len(layer.data):
                self.dragging.emit("distance", self._distance_now())
        except BookError:
            pass  # a shape half drawn has no size yet

    def _pick(self, _viewer: Any, event: Any) -> Iterator[None]:
        """Choose the candidate clicked on, unless a tool is in hand or the view is dragged."""
        active = self.viewer.layers.selection.active
        if active is not None and str(active.mode) != "pan_zoom":
            return
        yield
        while event.type == "mouse_move":
            return
        number = self.nearest(self.under_cursor())
        if number is not None and self._bench.review is not None:
            self._bench.review.go_to(number)

    # Inside

    def _try(self, act: Callable[[], object]) -> None:
        if not attempt(self._bench, act):
            self._redraw.start()

    def _review(self) -> Review:
        if self._bench.review is None:
            raise BookError("This stone was not examined yet; examine it first.")
        return self._bench.review

    def _layer(self, name: str) -> Any:
        return next((layer for layer in self.viewer.layers if layer.name == name), None)

    def _shown_any(self) -> bool:
        return any(
            self._layer(n).metadata.get("setstone", {}).get("there") for n in (WHITE, BLUE) if self._layer(n)
        )

    def _clear(self) -> None:
        if self._bench.book is None:
            self._wanted = ()
            self._put({})

    def _say(self, text: str) -> None:
        overlay = self.viewer.canvas.overlays.text
        overlay.text = text
        overlay.visible = bool(text)

    def _zoom(self, extent: Points) -> float:
        """Canvas pixels per world unit that show an extent (height, width) with some room."""
        box = np.asarray(self.viewer.canvas.viewbox_size(self.viewer.layers), float)
        return float((box / np.maximum(extent, 1e-9)).min() * 0.95)

    def _fly(self, centre: Points, zoom: float) -> None:
        camera = self.viewer.scene.camera
        start = np.asarray(camera.center[-2:], float)
        ratio = zoom / camera.zoom
        shares = (0.5, 0.8, 1.0)
        self._way = iter([(start + s * (centre - start), float(camera.zoom * ratio**s)) for s in shares])
        self._flight.start()

    def _fly_on(self) -> None:
        step = next(self._way, None)
        if step is None:
            self._flight.stop()
        else:
            self._stand(*step)

    def _stand(self, centre: Points, zoom: float) -> None:
        camera = self.viewer.scene.camera
        camera.center = (0.0, float(centre[0]), float(centre[1]))
        camera.zoom = zoom

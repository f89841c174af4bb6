"""What a person does with the mouse on the canvas: drag, draw, measure, choose."""

from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import numpy as np
from qtpy.QtCore import QObject, QTimer, Signal

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.geometry import ellipse_points
from setstone.annotate.bench.review import Review
from setstone.annotate.panels.canvas import Canvas, Points
from setstone.annotate.panels.layers import CANDIDATES, DRAWING, GIRDLE, MEASURING
from setstone.annotate.panels.marks import LOOKED_AT, MEASURED, WIDTH_IN_HAND
from setstone.annotate.panels.working import attempt
from setstone.measure.candidates import LampName
from setstone.measure.outline import Outline, diameters
from setstone.record.entries import CandidateEntry
from setstone.record.errors import BookError
from setstone.record.marking import candidate_redrawn, length_of, outline_redrawn

#: How near to a mark a click must be, in pixels of the screen.
_REACH = 12
_DRAG_OUTLINE = "Drag the outline, its corners, or the point above it to turn it"
_DRAG_SPOT = "Drag the spot or its corners"
_DRAG_POINTS = "Drag the points"


class Tools(QObject):
    """Turns what is drawn on a canvas into steps of the bench.

    Parameters
    ----------
    bench : Bench
    canvas : Canvas
    """

    #: Sizes as they would be, while something is dragged: what ("diameters", "distance" or "number 3") and
    #: its size in words; three lines for the mean, least and greatest diameter.
    dragging = Signal(str, str)

    def __init__(self, bench: Bench, canvas: Canvas) -> None:
        super().__init__()
        self._bench = bench
        self._canvas = canvas
        self._layers = canvas.layers
        self._spot = False
        canvas.viewer.mouse_drag_callbacks.append(self._pick)
        canvas.made.connect(self._connect)

    def edit_outline(self) -> None:
        """Let the outline be dragged."""
        outline = self._review().entry.result.outline
        if outline is None:
            raise BookError("There is no outline to move; examine the stone first.")
        ellipse = outline.shape == "ellipse"
        self._canvas.take(
            GIRDLE, "select" if ellipse else "direct", _DRAG_OUTLINE if ellipse else _DRAG_POINTS
        )
        self._layers[GIRDLE].selected_data = {0}

    def edit_mark(self) -> None:
        """Let lines and spots be dragged, the one looked at first."""
        review = self._review()
        spot = review.current is not None and review.current.candidate.kind == "spot"
        self._canvas.take(CANDIDATES, *(("select", _DRAG_SPOT) if spot else ("direct", _DRAG_POINTS)))
        if review.current is not None:
            self._layers[CANDIDATES].selected_data = {review.place - 1}

    def draw_line(self) -> None:
        """Let a line be drawn: a click for each point, a double click at the end."""
        self._review()
        self._spot = False
        self._draw(DRAWING, "add_polyline", LOOKED_AT, "Click point after point, double click at the end")

    def draw_spot(self) -> None:
        """Let a spot be drawn: drag from corner to corner of it."""
        self._review()
        self._spot = True
        self._draw(DRAWING, "add_ellipse", LOOKED_AT, "Drag from corner to corner of the spot")

    def measure(self) -> None:
        """Let a distance be measured: drag from one point to the other."""
        self._draw(MEASURING, "add_line", MEASURED, "Drag from one point to the other")

    def join_at_click(self) -> None:
        """Join the current line with the one clicked next."""
        self._review()
        self._canvas.wait_for_click(self.join, "Click the line to join with the current one")

    def split_at_click(self) -> None:
        """Split the current line where it is clicked next."""
        self._review()
        self._canvas.wait_for_click(self.split, "Click the place where the line is split")

    def join(self) -> None:
        """Join the current line with the one under the mouse."""
        review = self._review()
        current = None if review.current is None else review.current.number
        other = self.nearest(self._canvas.under_cursor(), but=current, lines=True)
        if other is None:
            raise BookError(
                "No other line is under the mouse; point at the one to join with the current one."
            )
        review.join(other)

    def split(self) -> None:
        """Split the current line where the mouse is."""
        self._review().split(self._canvas.under_cursor())

    def nearest(self, at: tuple[float, float], *, but: int | None = None, lines: bool = False) -> int | None:
        """Number of the shown candidate nearest to a point, within reach of a click.

        Parameters
        ----------
        at : (float, float)
            Pixels x, y of the reference photograph.
        but : int, optional
            Number of one that does not count.
        lines : bool
            Whether only lines count.
        """
        review = self._bench.review
        if review is None:
            return None
        canvas = self._canvas
        reach = _REACH / max(canvas.viewer.scene.camera.zoom * (canvas.um_per_px or 1.0), 1e-6)
        best: tuple[float, int] | None = None
        for c in review.queue:
            if c.number != but and (not lines or c.candidate.kind == "line"):
                distance = _distance(c, at)
                if distance < reach and (best is None or distance < best[0]):
                    best = distance, c.number
        return None if best is None else best[1]

    # What a person draws

    def _draw(self, name: str, mode: str, colour: str, says: str) -> None:
        self._canvas.take(name, mode, says)
        layer = self._layers[name]
        self._layers.clear(name)
        with self._layers.drawing():
            layer.current_edge_color = colour
            layer.current_edge_width = WIDTH_IN_HAND * self._canvas.unit

    def _connect(self) -> None:
        for name, drawn in (
            (GIRDLE, self._outline_drawn),
            (CANDIDATES, self._candidate_drawn),
            (DRAWING, self._missed_drawn),
            (MEASURING, self._line_measured),
        ):
            self._layers.connect(name, drawn)
            self._layers[name].mouse_drag_callbacks.append(self.while_dragging)

    def _outline_drawn(self, event: Any) -> None:
        if str(event.action) == "changed":
            self._later(GIRDLE, lambda: self._review().redraw_outline(self._outline_now()))
        elif str(event.action) == "removed":
            self._later(GIRDLE, partial(self._not_deleted, "The outline is not deleted; drag it."))

    def _outline_now(self) -> Outline:
        outline = self._review().entry.result.outline
        layer = self._layers[GIRDLE]
        if outline is None or not len(layer.data):
            raise BookError("There is no outline to move; examine the stone first.")
        points = np.asarray(layer.data[0], float)[:, ::-1]
        ellipse = layer.shape_type[0] == "ellipse"
        return outline_redrawn(outline, ellipse_points(points) if ellipse else points, ellipse=ellipse)

    def _candidate_drawn(self, event: Any) -> None:
        if str(event.action) == "removed":
            text = "Candidates are not deleted; reject one to put it aside."
            self._later(CANDIDATES, partial(self._not_deleted, text))
        review = self._bench.review
        if str(event.action) == "changed" and review is not None:
            numbers = [c.number for c in review.queue]
            for index in event.data_indices:
                if 0 <= index < len(numbers):
                    self._later(CANDIDATES, partial(review.redraw, numbers[index], self._path_now(index)))

    def _path_now(self, index: int) -> Points:
        layer = self._layers[CANDIDATES]
        points = np.asarray(layer.data[index], float)[:, ::-1]
        return ellipse_points(points, 64) if layer.shape_type[index] == "ellipse" else points

    def _missed_drawn(self, event: Any) -> None:
        layer = self._layers[DRAWING]
        if str(event.action) != "added" or not len(layer.data):
            return
        points = np.asarray(layer.data[-1], float)[:, ::-1]
        lamp: LampName = "white" if self._canvas.view == "white" else "blue"

        def add() -> None:
            self._canvas.look()
            review = self._review()
            if self._spot:
                centre = points.mean(axis=0)
                sides = np.hypot(*(points[[1, 3]] - points[0]).T)
                review.draw_spot(
                    (float(centre[0]), float(centre[1])), float(np.sqrt(np.prod(sides))), lamp=lamp
                )
            else:
                review.draw_line(points, lamp=lamp)

        self._later(DRAWING, add)

    def _line_measured(self, event: Any) -> None:
        if str(event.action) in ("added", "changed"):
            self._tell_sizes(MEASURING)
            self._later(MEASURING, self._canvas.look)

    def _not_deleted(self, text: str) -> None:
        raise BookError(text)

    def _later(self, name: str, act: Callable[[], object]) -> None:
        """Act when napari is through with the mouse; draw what stands in the book afterwards."""
        if name != MEASURING:
            self._layers.drawn_over(name)

        def now() -> None:
            attempt(self._bench, act)
            self._canvas.redraw()

        QTimer.singleShot(0, now)

    # Live figures

    def while_dragging(self, layer: Any, event: Any) -> Iterator[None]:
        """Tell the sizes of what is dragged, as a callback of a napari layer."""
        drag = self._canvas.held = object()
        try:
            yield
            while event.type == "mouse_move":
                self._tell_sizes(layer.name)
                yield
        finally:
            if self._canvas.held is drag:  # else it was put down before the mouse was let go
                self._canvas.held = None
                self._canvas.redraw()

    def _tell_sizes(self, name: str) -> None:
        try:
            what, words = self._sizes(name)
        except (BookError, StopIteration):
            return  # a shape half drawn has no size yet
        if words:
            self.dragging.emit(what, words)

    def _sizes(self, name: str) -> tuple[str, str]:
        layer = self._layers[name]
        review = self._bench.review
        scale = None if review is None else review.entry.result.scale
        if name == MEASURING and len(layer.data):
            if scale is None:
                return "distance", "no scale known, so no length"
            return "distance", str(length_of(np.asarray(layer.data[-1], float)[:, ::-1], scale))
        if review is None or scale is None or not layer.selected_data:
            return "", ""
        if name == GIRDLE:
            widths = diameters(self._outline_now(), scale)
            return "diameters", "\n".join(map(str, (widths.mean, widths.least, widths.greatest)))
        if name == CANDIDATES:
            index = min(layer.selected_data)
            entry = review.queue[index]
            now = candidate_redrawn(entry.candidate, self._path_now(index), scale)
            return f"number {entry.number}", str(now.sizes.get("length") or now.sizes.get("diameter") or "")
        return "", ""

    def _pick(self, _viewer: Any, event: Any) -> Iterator[None]:
        """Choose the candidate clicked on, unless a tool is in hand or the view is dragged."""
        active = self._canvas.viewer.layers.selection.active
        if active is not None and str(active.mode) != "pan_zoom":
            return
        yield
        if event.type == "mouse_move":
            return
        if (act := self._canvas.at_click) is not None:
            self._canvas.look()
            attempt(self._bench, act)
            return
        number = self.nearest(self._canvas.under_cursor())
        if number is not None and self._bench.review is not None:
            self._bench.review.go_to(number)

    def _review(self) -> Review:
        if self._bench.review is None:
            raise BookError("This stone was not examined yet; examine it first.")
        return self._bench.review


def _distance(entry: CandidateEntry, at: tuple[float, float]) -> float:
    """Distance of a point from the path of a candidate, in pixels."""
    a = entry.candidate.path
    b = np.roll(a, -1, axis=0) if entry.candidate.kind == "spot" else a[1:]
    a = a[: len(b)]
    along = b - a
    share = ((np.array(at) - a) * along).sum(axis=1) / np.maximum((along**2).sum(axis=1), 1e-12)
    return float(np.hypot(*(a + np.clip(share, 0, 1)[:, None] * along - at).T).min())

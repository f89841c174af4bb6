"""The canvas: photographs and marks of the chosen stone, and the way the view takes."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from napari.settings import get_settings
from napari.viewer import Viewer
from numpy.typing import NDArray
from qtpy.QtCore import QObject, QTimer, Signal

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.pixels import Pixels
from setstone.annotate.bench.strokes import Stroke
from setstone.annotate.panels import marks
from setstone.annotate.panels.layers import (
    BLUE,
    CANDIDATES,
    DRAGGED,
    DRAWING,
    GIRDLE,
    MARKS,
    MEASURING,
    TOOLS,
    WHITE,
    Layers,
    beside,
)
from setstone.annotate.panels.working import Job, Tell
from setstone.capture.photograph import Lamp
from setstone.record.entries import CandidateEntry
from setstone.record.errors import BookError

Points = NDArray[np.float64]

VIEWS = ("white", "blue", "blended", "blinking", "side by side")
#: Half a second each: slower than the three flashes a second of WCAG 2.2, success criterion 2.3.1.
_BLINK_MS = 500
_LAMPS = {WHITE: Lamp.WHITE, BLUE: Lamp.BLUE}


class Canvas(QObject):
    """Shows the chosen stone of a bench in a viewer.

    Parameters
    ----------
    viewer : napari.viewer.Viewer
    bench : Bench
    pixels : Pixels
    """

    #: The view was changed: its name.
    view_changed = Signal(str)
    #: Where the mouse is, in words.
    pointed = Signal(str)
    #: Marks are shown or hidden.
    marks_changed = Signal(bool)
    #: The layers were made anew.
    made = Signal()
    #: The photographs of the chosen stone are on the canvas.
    shown = Signal()

    def __init__(self, viewer: Viewer, bench: Bench, pixels: Pixels) -> None:
        super().__init__()
        self.viewer = viewer
        self.pixels = pixels
        self.layers = Layers(viewer)
        #: Micrometres per pixel of the reference photograph; None where no scale is known.
        self.um_per_px: float | None = None
        #: What a person drags, while he does: nothing is drawn anew meanwhile.
        self.held: object = None
        #: What a click on the picture does next; None: it chooses a candidate.
        self.at_click: Callable[[], object] | None = None
        self._bench = bench
        self._view = "side by side"
        self._blend = 0.5
        self._marks_seen = True
        self._in_hand = ""
        self._drawn_for = 0.0
        self._wanted: tuple[str, ...] = ()
        self._there: set[str] = set()
        #: While photographs are being opened, the marks of the stone before stay as they are.
        self._loading = False
        self._blink = QTimer(self)
        self._blink.setInterval(_BLINK_MS)
        self._blink.timeout.connect(self._blink_once)
        self._redraw = QTimer(self)  # many changes of one moment are drawn once
        self._redraw.setSingleShot(True)
        self._redraw.setInterval(0)
        self._redraw.timeout.connect(self._draw_unless_flying)
        self._flight = QTimer(self)
        self._flight.setInterval(15)
        self._flight.timeout.connect(self._fly_on)
        self._way: list[tuple[Points, float]] = []
        viewer.mouse_move_callbacks.append(self._tell_place)
        bench.chosen.connect(self._load)
        bench.photographs_changed.connect(self._load)
        bench.review_changed.connect(self._new_review)
        bench.book_changed.connect(self._load)
        viewer.scene.camera.events.zoom.connect(self._zoomed)
        viewer.canvas.overlays.scale_bar.font_size = get_settings().appearance.font_size

    # What is shown

    @property
    def view(self) -> str:
        """How both lights are shown, one of `VIEWS`."""
        return self._view

    @view.setter
    def view(self, view: str) -> None:
        before = self._whole_zoom()
        self._view = view
        self._apply_view()
        after = self._whole_zoom()
        if before is not None and after is not None:  # one light has twice the room of two side by side
            self.viewer.scene.camera.zoom *= after / before
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

    @property
    def marks_seen(self) -> bool:
        """Whether the marks are shown; without them the photograph is seen as it is."""
        return self._marks_seen

    @marks_seen.setter
    def marks_seen(self, seen: bool) -> None:
        if seen != self._marks_seen:
            self._marks_seen = seen
            self.draw_marks()
            self.marks_changed.emit(seen)

    def next_view(self) -> None:
        """Show both lights in the next way."""
        self.view = VIEWS[(VIEWS.index(self._view) + 1) % len(VIEWS)]

    def whole(self) -> None:
        """Show the whole photograph."""
        box = self._whole_box()
        if box is not None:
            low, high = box
            self._fly((low + high) / 2, self._zoom(high - low))

    def fly_to(self, entry: CandidateEntry) -> None:
        """Show a candidate large."""
        around = entry.candidate.path[:, ::-1]
        um = self.um_per_px or 1.0
        extent = np.maximum(np.ptp(around, axis=0) * 2.2, 120) * um
        centre = (around.max(axis=0) + around.min(axis=0)) / 2 * um
        self._fly(np.asarray(centre), self._zoom(np.asarray(extent)))

    @property
    def flying(self) -> bool:
        """Whether the view is on its way to somewhere."""
        return bool(self._flight.isActive())

    def look(self) -> None:
        """Put all tools down: dragging moves the view; what was being dragged stays where it was."""
        if not self.layers.there:
            return
        if self.held is not None:
            self.held = None
            for name in DRAGGED:
                self.layers.drawn_over(name)
        with self.layers.drawing():
            for name in TOOLS:
                self.layers[name].mode = "pan_zoom"
                if name in DRAGGED:
                    self.layers.show(name, False)
        self.layers.clear(DRAWING)
        picture = self.layers[WHITE]
        picture.editable = (
            False  # else a key of napari's takes the photograph in hand, and the mouse moves it
        )
        self.viewer.layers.selection.active = picture
        self._help(picture, "")
        self.at_click = None
        self._in_hand = ""
        self.redraw()

    def take(self, name: str, mode: str, says: str) -> None:
        """Take a layer in hand with one of its modes.

        Parameters
        ----------
        name : str
        mode : str
            As napari calls it.
        says : str
            What the mouse does now, for the foot of the window.

        Raises
        ------
        BookError
            When there is no picture to draw on.
        """
        if not self._there:
            raise BookError("There is no picture to draw on; choose a stone with photographs first.")
        self.look()
        self.layers.show(name, True)
        self.viewer.layers.selection.active = self.layers[name]
        self.layers[name].mode = mode
        self._help(self.layers[name], f"{says}; Escape puts the tool down.")
        self._in_hand = name
        self.draw_marks()

    def wait_for_click(self, act: Callable[[], object], says: str) -> None:
        """Do this at the next click on the picture.

        Parameters
        ----------
        act : callable
        says : str
            What the click does, for the foot of the window.
        """
        self.look()
        self.at_click = act
        self._help(self.layers[WHITE], f"{says}; Escape puts the tool down.")

    def _help(self, layer: Any, says: str) -> None:
        """Say this at the foot of the window, in place of napari's own keys."""
        layer.help = self.viewer.help = says

    def under_cursor(self) -> tuple[float, float]:
        """Where the mouse is, in pixels x, y of the reference photograph."""
        y, x = np.asarray(self.viewer.cursor.position[-2:]) / (self.um_per_px or 1.0)
        return float(x), float(y)

    def _tell_place(self, _viewer: Viewer, _event: Any) -> None:
        if self._there and self.um_per_px is not None:
            x, y = ((v + 0.5) * self.um_per_px / 1000 for v in self.under_cursor())
            self.pointed.emit(f"{x:.3f} mm right, {y:.3f} mm down")

    def redraw(self) -> None:
        """Draw the marks as soon as there is time."""
        self._redraw.start()

    def _draw_unless_flying(self) -> None:
        if not self.flying:  # else they are drawn on arrival
            self.draw_marks()

    def rest(self) -> None:
        """Move nothing any more: the window closes."""
        self.held = None
        for timer in (self._blink, self._redraw, self._flight):
            timer.stop()

    # Photographs

    def _load(self) -> None:
        bench = self._bench
        wanted = {name: bench.shown(lamp) for name, lamp in _LAMPS.items()}
        stone = "" if bench.stone is None else str(bench.stone.id)
        key = (stone, bench.occasion, *(p.sha256 if p else "" for p in wanted.values()))
        if key == self._wanted:
            return
        self._wanted = key
        there = {name: p for name, p in wanted.items() if p is not None}

        def decode(_tell: Tell) -> dict[str, NDArray[np.uint8]]:
            # Unless another stone was chosen meanwhile; who goes through the list by key does not wait for each.
            return {name: self.pixels.of(p) for name, p in there.items() if key == self._wanted}

        if not there:
            self._put({})
            return
        self._loading = True
        job = Job("Opening photographs", decode, bench=bench)
        job.done.connect(lambda images: self._put(images) if key == self._wanted else None)
        job.failed.connect(lambda text: self._not_opened(text) if key == self._wanted else None)
        job.start()

    def _not_opened(self, text: str) -> None:
        self._put({})
        self._bench.said.emit(text)

    def _put(self, images: dict[str, NDArray[np.uint8]]) -> None:
        self._loading = False
        self._there = set(images)
        if not images and not self.layers.there:
            self._say(self._missing())
            return
        if not self.layers.there:
            self.layers.make()
            self.made.emit()
        for name, lamp in _LAMPS.items():
            self.layers.set_pixels(name, images.get(name))
            self.layers[name].metadata = {
                "setstone": {"there": name in images, "lamp": str(lamp), **self._where()}
            }
        self.um_per_px = self._scale()
        self.layers.clear(MEASURING)
        self._place()
        self.look()
        self._apply_view()
        self.whole()
        self._arrive()
        self._say(self._missing())
        self.shown.emit()

    def _missing(self) -> str:
        if self._bench.stone is None or self._there:
            return ""
        return f"{self._bench.stone.position} has no photograph yet: drop files on the panel Photographs."

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
        for lamp in _LAMPS.values():
            photograph = self._bench.shown(lamp)
            if photograph is not None:
                return photograph.scale.um_per_px if photograph.scale else photograph.um_per_px
        return None

    def _place(self) -> None:
        # Without a scale it would tell pixels.
        self.viewer.canvas.overlays.scale_bar.visible = self.um_per_px is not None
        review = self._bench.review
        self.layers.place(self.um_per_px, None if review is None else review.entry.result.blue_to_white)

    def _apply_view(self) -> None:
        if not self.layers.there:
            return
        view = self._view if self._there == set(_LAMPS) else next(iter(self._there), "").split(" ")[0]
        self._blink.stop()
        if view == "blinking":
            self._blink.start()
        self.layers.show(WHITE, view in ("white", "blended", "blinking", "side by side"))
        self.layers.show(BLUE, view in ("blue", "blended", "blinking"))
        self.layers[BLUE].opacity = self._blend if view == "blended" else 1.0
        self.layers.show_beside(view == "side by side")

    def _blink_once(self) -> None:
        self.layers.show(BLUE, not self.layers[BLUE].visible)

    def _say(self, text: str) -> None:
        overlay = self.viewer.canvas.overlays.text
        overlay.text = text
        overlay.visible = bool(text)

    # Marks

    def draw_marks(self) -> None:
        """Draw the outline and the shown candidates."""
        if self.held is not None or self._loading or not self.layers.there:
            return
        review = self._bench.review if self._there and self._marks_seen else None
        self.layers.show_marks(review is not None)
        if review is None:
            return
        unit, current, outline = self.unit, review.current, review.entry.result.outline
        self._drawn_for = unit
        queue = review.queue

        def strokes(in_hand: str) -> list[Stroke]:
            drawn = [] if outline is None else marks.girdle(outline, unit, in_hand=in_hand == GIRDLE)
            for c in queue:
                if c is not current or in_hand == CANDIDATES:
                    drawn += marks.mark(c, unit, in_hand=in_hand == CANDIDATES)
                if (end := review.new_end(c)) is not None and in_hand != CANDIDATES:
                    drawn += marks.end(end, unit)
            if current is not None and in_hand != CANDIDATES:
                drawn += marks.ring(current, unit)
            return drawn

        self.layers.put_strokes(MARKS, strokes(self._in_hand))
        if self.layers.beside:
            self.layers.put_strokes(beside(MARKS), strokes(""))
        width = marks.WIDTH_IN_HAND * unit
        self.layers.put(GIRDLE, [] if outline is None else [marks.girdle_shape(outline)], width)
        self.layers.put(CANDIDATES, [marks.shape(c) for c in queue], width)
        first = () if current is None else (current,)
        labels = marks.labelled((*first, *(c for c in queue if c is not current)), unit)
        self.layers.put_labels(labels, unit)

    @property
    def unit(self) -> float:
        """Pixels of the photograph in one of the screen, to a power of 2: marks look alike at any zoom."""
        zoom = float(self.viewer.scene.camera.zoom) * (self.um_per_px or 1.0)
        return float(2.0 ** round(-math.log2(zoom)))

    def _zoomed(self) -> None:
        if self.unit != self._drawn_for:
            self.redraw()

    def _new_review(self) -> None:
        review = self._bench.review
        if review is not None:
            review.changed.connect(self.redraw)
            review.moved.connect(self._moved)
        if self._there and not self._loading:
            before, self.um_per_px = self.um_per_px, self._scale()
            self._place()
            if before != self.um_per_px:  # what was in sight lies elsewhere in the new unit
                self.whole()
                self._arrive()
        self.redraw()

    def _moved(self) -> None:
        review = self._bench.review
        self.redraw()
        if review is not None and review.current is not None:
            self.fly_to(review.current)

    # The view

    def _whole_box(self) -> tuple[Points, Points] | None:
        """Two corners of the photograph in the world; None without one."""
        name = next((n for n in _LAMPS if n in self._there), None)
        if name is None:
            return None
        # Not its extent: napari keeps that of the pixels before as long as a layer is not visible.
        layer = self.layers[name]
        low, high = (layer.data_to_world(c) for c in (np.zeros(2), np.asarray(layer.data.shape[:2]) - 1.0))
        return np.asarray(low, float)[-2:], np.asarray(high, float)[-2:]

    def _whole_zoom(self) -> float | None:
        box = self._whole_box()
        return None if box is None else self._zoom(box[1] - box[0])

    def _zoom(self, extent: Points) -> float:
        """Canvas pixels per world unit that show an extent (height, width) with some room."""
        box = np.asarray(self.viewer.canvas.viewbox_size(self.viewer.layers), float)
        return float((box / np.maximum(extent, 1e-9)).min() * 0.95)

    def _fly(self, centre: Points, zoom: float) -> None:
        camera = self.viewer.scene.camera
        start = np.asarray(camera.center[-2:], float)
        ratio = zoom / camera.zoom
        shares = (0.6, 1.0)
        self._way = [(start + s * (centre - start), float(camera.zoom * ratio**s)) for s in shares]
        self._flight.start()

    def _fly_on(self) -> None:
        if self._way:
            self._stand(*self._way.pop(0))
        if not self._way:
            self._flight.stop()
            self.draw_marks()

    def _arrive(self) -> None:
        """Be there at once."""
        del self._way[:-1]
        self._fly_on()

    def _stand(self, centre: Points, zoom: float) -> None:
        camera = self.viewer.scene.camera
        camera.center = (0.0, float(centre[0]), float(centre[1]))
        camera.zoom = zoom

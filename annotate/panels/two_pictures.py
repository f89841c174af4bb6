"""Two pictures that lie on one another: swiped, blinking, side by side, or their difference; they move and grow together."""

from collections.abc import Sequence

import cv2
import numpy as np
from qtpy.QtCore import QPointF, QRectF, QSize, Qt, QTimer, Signal
from qtpy.QtGui import (
    QColor,
    QFont,
    QImage,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPolygonF,
    QWheelEvent,
)
from qtpy.QtWidgets import QSizePolicy, QWidget

from setstone.annotate.bench.comparing import VIEWS, View
from setstone.annotate.legend import length_label, round_length
from setstone.annotate.panels.looks import line_height
from setstone.annotate.panels.marks import CANDIDATE, FINDING, LOOKED_AT
from setstone.annotate.style import INK
from setstone.annotate.two_days import DARKER, LIGHTER, Image, Mark, Pictures, Points
from setstone.measure.changes import Where

#: Each picture is seen so long, in milliseconds: well below three flashes a second (WCAG 2.2, 2.3.1).
_BLINK_MS = 900
#: Beside each sign (`SIGNS`) a colour of Okabe & Ito and a dash: only after, longer after, only before, not comparable, in both.
_LOOKS = {
    Where.AFTER: (LOOKED_AT, 2.6, Qt.PenStyle.SolidLine),
    Where.LONGER: (LOOKED_AT, 2.6, Qt.PenStyle.DashDotLine),
    Where.BEFORE: ("#56b4e9", 2.6, Qt.PenStyle.DashLine),
    Where.UNKNOWN: (CANDIDATE, 1.6, Qt.PenStyle.DotLine),
    Where.BOTH: (FINDING, 1.4, Qt.PenStyle.SolidLine),
}
#: A drag that begins so near to the divider moves it, in pixels of the screen.
_REACH = 12
_ZOOM_STEP, _LARGEST = 1.25, 16.0


class TwoPictures(QWidget):
    """Shows both days of a stone.

    Keys, where it has the keyboard: 1 to 4 choose the view, arrows move the divider (with Shift the pictures), + and −
    zoom, Page Down and Page Up go from mark to mark, Home shows the whole stone.
    """

    #: A mark was clicked on: its place among the marks.
    clicked = Signal(int)
    #: Another view was chosen: its name.
    view_changed = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumHeight(160)
        self.setAccessibleName("Before and after")
        self.setToolTip(
            "Drag to move, turn the wheel to zoom; in the view swipe drag the line. Keys: 1 swipe, 2 blink, 3 side by side, "
            "4 difference; arrows, with Shift too; +, −; Page Down goes to the next mark, Home shows the whole stone."
        )
        #: Share of the width that shows the picture before.
        self.divider = 0.5
        self._names = ("before", "after")
        self._view: View = "swipe"
        self._levels: dict[str, list[QImage]] = {}
        self._marks: Sequence[Mark] = ()
        self._marks_seen = True
        self._current = -1
        self._um_per_px: float | None = None
        self._size = QSize(1, 1)
        self._centre = QPointF(0, 0)
        self._zoom = 0.0  # 0: the whole stone
        self._held: str = ""
        self._at = self._pressed = QPointF()
        self._second = False
        self._blink = QTimer(self)
        self._blink.setInterval(_BLINK_MS)
        self._blink.timeout.connect(self._blink_once)

    # What is shown

    def put(
        self,
        pictures: Pictures | None,
        marks: Sequence[Mark] = (),
        *,
        names: tuple[str, str] = ("before", "after"),
        um_per_px: float | None = None,
    ) -> None:
        """Show other pictures, or none; the place looked at stays where they have the same size."""
        self._marks, self._names, self._um_per_px, self._current = marks, names, um_per_px, -1
        self._levels = {}
        if pictures is not None:
            for name in ("before", "after", "difference"):
                self._levels[name] = _pyramid(getattr(pictures, name))
            size = self._levels["before"][0].size()
            if size != self._size:
                self._size = size
                self.whole()
        self._blinking()
        self.update()

    @property
    def view(self) -> View:
        """How both are shown."""
        return self._view

    @view.setter
    def view(self, view: View) -> None:
        self._view = view
        self._blinking()
        self.update()
        self.view_changed.emit(view)

    @property
    def marks_seen(self) -> bool:
        """Whether marks are drawn."""
        return self._marks_seen

    @marks_seen.setter
    def marks_seen(self, seen: bool) -> None:
        self._marks_seen = seen
        self.update()

    def whole(self) -> None:
        """Show the whole stone."""
        self._centre, self._zoom = QPointF(self._size.width() / 2, self._size.height() / 2), 0.0
        self.update()

    def fly_to(self, at: int) -> None:
        """Show a mark large."""
        self._current = at
        path = self._marks[at].path
        low, high = path.min(0), path.max(0)
        self._centre = QPointF(*((low + high) / 2))
        extent = float(max(*(high - low), self._size.width() / 12)) * 2.2
        field = self._fields()[0][0]
        self._zoom = min(_LARGEST, min(field.width(), field.height()) / extent)
        self.update()

    def _blinking(self) -> None:
        self._second = False
        if self._view == "blink" and self._levels:
            self._blink.start()
        else:
            self._blink.stop()

    def _blink_once(self) -> None:
        if self.isVisible():
            self._second = not self._second
            self.update()

    # Geometry

    def _fields(self) -> list[tuple[QRectF, str, str]]:
        """Where on the screen which picture is shown, and its name."""
        whole = QRectF(self.rect())
        before, after = self._names
        if self._view == "side by side":
            half = whole.width() / 2
            return [
                (QRectF(0, 0, half - 1, whole.height()), "before", before),
                (QRectF(half + 1, 0, half - 1, whole.height()), "after", after),
            ]
        if self._view == "swipe":
            return [(whole, "before", before), (whole, "after", after)]
        if self._view == "blink":
            return [(whole, "after", after) if self._second else (whole, "before", before)]
        return [(whole, "difference", "")]

    def _scale(self, field: QRectF) -> float:
        """Pixels of the screen for one of the pictures."""
        return self._zoom or min(field.width() / self._size.width(), field.height() / self._size.height())

    def _to_picture(self, at: QPointF) -> QPointF:
        field = next((f for f, _, _ in self._fields() if f.contains(at)), self._fields()[0][0])
        return self._centre + (at - field.center()) / self._scale(field)

    # Drawing

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802 Qt's name
        """Draw the pictures of the view, the marks and what each is."""
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor("black"))
        if not self._levels:
            painter.setPen(QColor("white"))
            painter.drawText(
                self.rect(),
                int(Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap),
                "Before and after show here once they are compared.",
            )
            return
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        cut = self.divider * self.width()
        for field, picture, name in self._fields():
            clip = QRectF(field)
            if self._view == "swipe":
                clip = (
                    QRectF(0, 0, cut, self.height())
                    if picture == "before"
                    else QRectF(cut, 0, self.width() - cut, self.height())
                )
            painter.save()
            painter.setClipRect(clip)
            self._draw(painter, field, picture)
            if self._marks_seen:
                self._draw_marks(painter, field)
            painter.restore()
            right = picture == "after" and self._view in ("swipe", "side by side")
            self._write(painter, name or "", clip, right=right)
        if self._view == "swipe":
            self._draw_divider(painter, cut)
        if self._view == "difference":
            self._draw_legend(painter)
        self._draw_scale_bar(painter)
        if self.hasFocus():
            painter.setPen(QPen(QColor("#56b4e9"), 1))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(self.rect().adjusted(0, 0, -1, -1))

    def _draw(self, painter: QPainter, field: QRectF, picture: str) -> None:
        scale = self._scale(field)
        levels = self._levels[picture]
        level = next((k for k in range(len(levels)) if scale * 2**k > 0.5), len(levels) - 1)
        image, factor = levels[level], 2**level
        corner = field.center() - self._centre * scale
        painter.setClipRect(field, Qt.ClipOperation.IntersectClip)
        size = QRectF(corner.x(), corner.y(), image.width() * factor * scale, image.height() * factor * scale)
        seen = size.intersected(field)
        if not seen.isEmpty():
            source = QRectF(
                (seen.x() - corner.x()) / (scale * factor),
                (seen.y() - corner.y()) / (scale * factor),
                seen.width() / (scale * factor),
                seen.height() / (scale * factor),
            )
            painter.drawImage(seen, image, source)

    def _draw_marks(self, painter: QPainter, field: QRectF) -> None:
        scale = self._scale(field)
        middle = field.center()
        bold = QFont(self.font())
        bold.setBold(True)
        painter.setFont(bold)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        # What is looked at last, over all others.
        for at in sorted(range(len(self._marks)), key=lambda at: at == self._current):
            mark = self._marks[at]
            if mark.changed.change.where is Where.BOTH and at != self._current:
                continue  # they would hide what has changed
            colour, width, style = _LOOKS[mark.changed.change.where]
            line = _on_screen(mark.path, self._centre, middle, scale)
            closed = mark.closed
            if closed:  # a spot is ringed, so that it can be seen itself
                box = line.boundingRect()
                ring = box.adjusted(-6, -6, 6, 6)
                line = QPolygonF([ring.topLeft(), ring.topRight(), ring.bottomRight(), ring.bottomLeft()])
            if at == self._current:
                width += 1.4
            for pen in (
                QPen(QColor(INK), width + 2.4, Qt.PenStyle.SolidLine),
                QPen(QColor(colour), width, style),
            ):
                pen.setCapStyle(Qt.PenCapStyle.FlatCap)
                painter.setPen(pen)
                if closed:
                    painter.drawEllipse(line.boundingRect())
                else:
                    painter.drawPolyline(line)
            _label(painter, line.boundingRect().topRight() + QPointF(4, -2), mark.label, colour)

    def _draw_divider(self, painter: QPainter, cut: float) -> None:
        for pen in (QPen(QColor(INK), 4), QPen(QColor("white"), 2)):
            painter.setPen(pen)
            painter.drawLine(QPointF(cut, 0), QPointF(cut, self.height()))
        side = line_height(self) * 0.8
        middle = QPointF(cut, self.height() / 2)
        painter.setBrush(QColor("white"))
        painter.setPen(QPen(QColor(INK), 2))
        painter.drawEllipse(middle, side, side)
        painter.drawText(
            QRectF(middle.x() - side, middle.y() - side, 2 * side, 2 * side),
            int(Qt.AlignmentFlag.AlignCenter),
            "↔",
        )

    def _draw_legend(self, painter: QPainter) -> None:
        high = line_height(self)
        entries = ((LIGHTER, "lighter after"), (DARKER, "darker after"))
        wide = max(painter.fontMetrics().horizontalAdvance(text) for _, text in entries) + 3 * high
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(0, 0, 0, 190))
        painter.drawRoundedRect(QRectF(8, 8, wide, 2.6 * high), 4, 4)
        for row, (colour, text) in enumerate(entries):
            top = 8 + 0.3 * high + row * high
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QColor(*colour))
            painter.drawRect(QRectF(8 + 0.5 * high, top + 0.15 * high, 1.4 * high, 0.7 * high))
            painter.setPen(QColor("white"))
            painter.drawText(QPointF(8 + 2.3 * high, top + 0.8 * high), text)

    def _write(self, painter: QPainter, text: str, field: QRectF, *, right: bool) -> None:
        if not text:
            return
        high = line_height(self)
        room = painter.fontMetrics().horizontalAdvance(text) + high
        if field.width() < room + high:
            return
        left = field.right() - room - 8 if right else field.left() + 8
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(0, 0, 0, 190))
        box = QRectF(left, 8, room, 1.5 * high)
        painter.drawRoundedRect(box, 4, 4)
        painter.setPen(QColor("white"))
        painter.drawText(box, int(Qt.AlignmentFlag.AlignCenter), text)

    def _draw_scale_bar(self, painter: QPainter) -> None:
        if self._um_per_px is None:
            return
        field = self._fields()[-1][0]
        per_screen = self._um_per_px / self._scale(field)  # µm for a pixel of the screen
        length = round_length(per_screen * field.width() / 3)
        wide, high = length / per_screen, line_height(self)
        right, foot = field.right() - 12, field.bottom() - 12
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(0, 0, 0, 190))
        painter.drawRoundedRect(QRectF(right - wide - 8, foot - 1.5 * high, wide + 16, 1.5 * high + 8), 4, 4)
        painter.setBrush(QColor("white"))
        painter.drawRect(QRectF(right - wide, foot - 2, wide, 3))
        painter.setPen(QColor("white"))
        painter.drawText(
            QRectF(right - wide - 8, foot - 1.4 * high, wide + 16, high),
            int(Qt.AlignmentFlag.AlignCenter),
            length_label(length),
        )

    # Mouse and keyboard

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802 Qt's name
        """Take the divider in hand, or the pictures."""
        self._at = self._pressed = event.position()
        near = abs(self._at.x() - self.divider * self.width()) < _REACH
        self._held = "divider" if self._view == "swipe" and near else "pictures"

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802 Qt's name
        """Move what is in hand."""
        at = event.position()
        if self._held == "divider":
            self.divider = min(1.0, max(0.0, at.x() / self.width()))
        elif self._held:
            self._centre -= (at - self._at) / self._scale(self._fields()[0][0])
        near = self._view == "swipe" and abs(at.x() - self.divider * self.width()) < _REACH
        self.setCursor(Qt.CursorShape.SplitHCursor if near else Qt.CursorShape.OpenHandCursor)
        self._at = at
        if self._held:
            self.update()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:  # noqa: N802 Qt's name
        """Put it down; a click chooses the nearest mark."""
        still = (event.position() - self._pressed).manhattanLength() < 4
        if self._held == "pictures" and still and self._marks and self._levels:
            at = self._to_picture(event.position())
            distances = [
                float(np.hypot(*(m.path - (at.x() - 0.5, at.y() - 0.5)).T).min()) for m in self._marks
            ]
            nearest = int(np.argmin(distances))
            if distances[nearest] * self._scale(self._fields()[0][0]) < _REACH:
                self.clicked.emit(nearest)
        self._held = ""

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802 Qt's name
        """Zoom; what is under the mouse stays there."""
        turns = event.angleDelta().y() / 120
        self._zoom_by(_ZOOM_STEP**turns, event.position())
        event.accept()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802 Qt's name
        """Choose the view or the next mark, move the divider or the pictures, or zoom."""
        key = event.key()
        views = dict(zip((Qt.Key.Key_1, Qt.Key.Key_2, Qt.Key.Key_3, Qt.Key.Key_4), VIEWS, strict=True))
        steps = {Qt.Key.Key_PageDown: 1, Qt.Key.Key_PageUp: -1}
        ways = {
            Qt.Key.Key_Left: (-1, 0),
            Qt.Key.Key_Right: (1, 0),
            Qt.Key.Key_Up: (0, -1),
            Qt.Key.Key_Down: (0, 1),
        }
        if key in views:
            self.view = views[Qt.Key(key)]
        elif key in steps and self._marks:
            at = self._current + steps[Qt.Key(key)] if self._current >= 0 else 0
            self.clicked.emit(at % len(self._marks))
        elif key in ways:
            x, y = ways[key]
            if self._view == "swipe" and x and not event.modifiers() & Qt.KeyboardModifier.ShiftModifier:
                self.divider = min(1.0, max(0.0, self.divider + 0.02 * x))
            else:
                self._centre += QPointF(x, y) * 40 / self._scale(self._fields()[0][0])
            self.update()
        elif key in (Qt.Key.Key_Plus, Qt.Key.Key_Equal):
            self._zoom_by(_ZOOM_STEP, None)
        elif key == Qt.Key.Key_Minus:
            self._zoom_by(1 / _ZOOM_STEP, None)
        elif key == Qt.Key.Key_Home:
            self.whole()
        else:
            super().keyPressEvent(event)

    def _zoom_by(self, factor: float, around: QPointF | None) -> None:
        field = self._fields()[0][0]
        before = self._scale(field)
        fitting = min(field.width() / self._size.width(), field.height() / self._size.height())
        after = min(_LARGEST, max(fitting, before * factor))
        if around is not None:
            fixed = self._to_picture(around)
            self._centre = fixed + (self._centre - fixed) * (before / after)
        self._zoom = after
        if after <= fitting:
            self.whole()
        self.update()


def _pyramid(image: Image) -> list[QImage]:
    """The picture, and halves of it down to some 500 pixels: what is drawn small needs no more."""
    levels = []
    while True:
        height, width = image.shape[:2]
        image = np.ascontiguousarray(image)
        levels.append(
            QImage(image.data, width, height, 3 * width, QImage.Format.Format_RGB888).convertToFormat(
                QImage.Format.Format_RGB32
            )
        )
        if max(height, width) <= 1000:
            return levels
        image = np.asarray(
            cv2.resize(
                image[: height // 2 * 2, : width // 2 * 2],
                (width // 2, height // 2),
                interpolation=cv2.INTER_AREA,
            ),
            np.uint8,
        )


def _on_screen(path: Points, centre: QPointF, middle: QPointF, scale: float) -> QPolygonF:
    # Where the middle of a pixel is counted as its place, it is half a pixel from its corner.
    x = (path[:, 0] + 0.5 - centre.x()) * scale + middle.x()
    y = (path[:, 1] + 0.5 - centre.y()) * scale + middle.y()
    return QPolygonF([QPointF(float(a), float(b)) for a, b in zip(x, y, strict=True)])


def _label(painter: QPainter, at: QPointF, text: str, colour: str) -> None:
    painter.setPen(QColor(INK))
    for dx, dy in ((-1, -1), (1, 1), (-1, 1), (1, -1)):
        painter.drawText(at + QPointF(dx, dy), text)
    painter.setPen(QColor(colour))
    painter.drawText(at, text)

"""The photograph of an object as a whole, with the places of its stones: a click says where the chosen stone sits."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from qtpy.QtCore import QPointF, QRectF, QSize, Qt, Signal
from qtpy.QtGui import QColor, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen, QPixmap
from qtpy.QtWidgets import QSizePolicy, QWidget

from setstone.annotate.panels.looks import line_height, pixmap
from setstone.annotate.panels.marks import FINDING, LOOKED_AT
from setstone.annotate.style import INK

#: A key moves the place of the chosen stone by this share of the picture.
_STEP = 0.01


class ObjectPicture(QWidget):
    """Shows the object; what a person clicks is the place of the chosen stone.

    Keys, where it has the keyboard: arrows move that place, Delete takes it back.
    """

    #: Where the chosen stone sits now, as shares (x, y) of width and height; None where its place is taken back.
    placed = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("The object and the places of its stones")
        self.setToolTip(
            "Click where the chosen stone sits. Keys: arrows move its place, Delete takes it back."
        )
        self._picture: QPixmap | None = None
        self._places: Mapping[str, tuple[float, float]] = {}
        self._chosen = ""

    def put(
        self,
        picture: NDArray[np.uint8] | None,
        places: Mapping[str, tuple[float, float]],
        chosen: str,
    ) -> None:
        """Show a picture, (H, W, 3) uint8, or none; places by the position of the stone, and the chosen one."""
        self._picture = None if picture is None else pixmap(picture)
        self._places, self._chosen = places, chosen
        self.setVisible(picture is not None)
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802 Qt's name
        """As high as the picture is at the panel's width."""
        width = max(200, self.width())
        if self._picture is None:
            return QSize(width, 0)
        return QSize(width, round(width * self._picture.height() / self._picture.width()))

    def resizeEvent(self, event: object) -> None:  # noqa: ARG002, N802 Qt's name
        """Keep the shape of the picture."""
        self.setFixedHeight(self.sizeHint().height())

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802 Qt's name
        """Draw the picture and a numbered dot for each stone."""
        if self._picture is None:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        painter.drawPixmap(self.rect(), self._picture)
        high = line_height(self)
        for position, (x, y) in self._places.items():
            at = QPointF(x * self.width(), y * self.height())
            wide = painter.fontMetrics().horizontalAdvance(position) + high
            box = QRectF(at.x() - wide / 2, at.y() - 0.65 * high, wide, 1.3 * high)
            painter.setPen(QPen(QColor(INK), 1.5))
            painter.setBrush(QColor(LOOKED_AT if position == self._chosen else FINDING))
            painter.drawRoundedRect(box, 0.65 * high, 0.65 * high)
            painter.setPen(QColor(INK))
            painter.drawText(box, int(Qt.AlignmentFlag.AlignCenter), position)
        if self.hasFocus():
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor("#56b4e9"), 2))
            painter.drawRect(self.rect().adjusted(1, 1, -1, -1))

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:  # noqa: N802 Qt's name
        """Place the chosen stone."""
        at = event.position()
        if self._picture is not None and self.rect().contains(at.toPoint()):
            self.placed.emit((at.x() / self.width(), at.y() / self.height()))

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802 Qt's name
        """Move the place of the chosen stone, or take it back."""
        ways = {
            Qt.Key.Key_Left: (-_STEP, 0.0),
            Qt.Key.Key_Right: (_STEP, 0.0),
            Qt.Key.Key_Up: (0.0, -_STEP),
            Qt.Key.Key_Down: (0.0, _STEP),
        }
        there = self._places.get(self._chosen)
        if event.key() in ways and self._picture is not None:
            x, y = there or (0.5, 0.5)
            dx, dy = ways[event.key()]
            self.placed.emit((min(1.0, max(0.0, x + dx)), min(1.0, max(0.0, y + dy))))
        elif event.key() == Qt.Key.Key_Delete and there is not None:
            self.placed.emit(None)
        else:
            super().keyPressEvent(event)

"""The lines of a micrometer as they were counted, one photograph after the other."""

from collections.abc import Sequence

from qtpy.QtCore import QPointF, QRectF, QSize, QSizeF, Qt
from qtpy.QtGui import QMouseEvent, QPainter, QPaintEvent, QPixmap
from qtpy.QtWidgets import QDialog, QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from setstone.annotate.bench.calibrating import LinesSeen
from setstone.annotate.panels.looks import line_height, pixmap, words


class LinesDialog(QDialog):
    """Shows photographs of a micrometer with the lines counted.

    Parameters
    ----------
    seen : sequence of LinesSeen
        At least one.
    parent : QWidget, optional
    """

    def __init__(self, seen: Sequence[LinesSeen], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Lines of the micrometer")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self._seen = tuple(seen)
        self._at = 0
        self.picture = _Fitted()
        self.words = words()
        self.next = QPushButton("Next photograph")
        self.next.setToolTip("Show the next photograph of this calibration.")
        self.next.setVisible(len(self._seen) > 1)
        self.next.clicked.connect(lambda: self._show(self._at + 1))
        close = QPushButton("Close")
        close.setToolTip("Close this picture (Esc).")
        close.clicked.connect(self.accept)
        buttons = QHBoxLayout()
        buttons.addWidget(self.next)
        buttons.addStretch()
        buttons.addWidget(close)
        layout = QVBoxLayout(self)
        layout.addWidget(self.picture, 1)
        layout.addWidget(self.words)
        layout.addLayout(buttons)
        self.resize(64 * line_height(self), 36 * line_height(self))
        self._show(0)

    def _show(self, at: int) -> None:
        self._at = at % len(self._seen)
        self.picture.show_picture(pixmap(self._seen[self._at].picture))
        self.words.setText(self._seen[self._at].words)


class _Fitted(QWidget):
    """A picture as large as there is room; pixel for pixel around the place of a click."""

    def __init__(self) -> None:
        super().__init__()
        self._picture = QPixmap()
        self._near: QPointF | None = None
        self.setAccessibleName("Photograph of the micrometer with the lines counted")
        self.setToolTip("Click a place to see it pixel for pixel; again for the whole.")
        self.setMinimumSize(QSize(12, 8) * line_height(self))

    def show_picture(self, picture: QPixmap) -> None:
        self._picture, self._near = picture, None
        self.update()

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802 Qt's name
        """Look closer at a place, or at the whole."""
        if self._near is None:
            whole = self._whole()
            at = event.position() - whole.topLeft()
            self._near = at * (self._picture.width() / max(1.0, whole.width()))
        else:
            self._near = None
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802 Qt's name
        """Draw it."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        if self._near is None:
            painter.drawPixmap(self._whole(), self._picture, QRectF(self._picture.rect()))
        else:
            middle = QRectF(self.rect()).center()
            painter.drawPixmap(middle - self._near, self._picture)

    def _whole(self) -> QRectF:
        """Where the whole picture lies."""
        size = QSizeF(self._picture.size()).scaled(QSizeF(self.size()), Qt.AspectRatioMode.KeepAspectRatio)
        place = QRectF(QPointF(), size)
        place.moveCenter(QRectF(self.rect()).center())
        return place

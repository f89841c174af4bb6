"""What the camera sees, laid over the place of the photograph, with focus and exposure below it."""

import cv2
import numpy as np
from numpy.typing import NDArray
from qtpy.QtCore import QEvent, QObject, Qt, Signal
from qtpy.QtGui import QColor, QMouseEvent, QPainter, QPaintEvent, QPen
from qtpy.QtWidgets import QHBoxLayout, QLabel, QProgressBar, QPushButton, QVBoxLayout, QWidget

from setstone.annotate.panels.looks import line_height, pixmap
from setstone.capture.live import MIDDLE_PX, OVER, Look
from setstone.capture.photograph import Pixels

#: Overexposed places: vermilion of Okabe & Ito, "Color Universal Design" (2008).
_MARK = (213, 94, 0)


class LivePicture(QWidget):
    """Covers a widget with what the camera sees.

    Parameters
    ----------
    over : QWidget
        What is covered while it is shown.
    """

    #: The best focus is to be looked for anew.
    anew = Signal()

    def __init__(self, over: QWidget) -> None:
        super().__init__(over)
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)  # else the photograph shines through
        self.setAccessibleName("What the camera sees")
        self.view = _View()
        self.focus = QProgressBar()
        self.focus.setFormat("focus: %p % of the best so far")
        self.focus.setToolTip("Turn the focus until it is as high as it gets.")
        self.focus.setAccessibleName("Focus")
        again = QPushButton("Anew")
        again.setToolTip("Forget the best focus so far: another place, another stone.")
        again.clicked.connect(self.anew.emit)
        self.exposure = QLabel()
        self.exposure.setToolTip("Overexposed places are coloured in the picture: shorten the exposure.")
        figures = QHBoxLayout()
        figures.setContentsMargins(6, 0, 6, 4)
        figures.addWidget(self.focus, 2)
        figures.addWidget(again)
        figures.addWidget(self.exposure, 3)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.view, 1)
        layout.addLayout(figures)
        self._over = over
        over.installEventFilter(self)
        self._cover()
        self.show()
        self.raise_()

    def put_away(self) -> None:
        """Uncover what is below."""
        self._over.removeEventFilter(self)
        self.hide()
        self.deleteLater()

    def show_look(self, look: Look) -> None:
        """Show a frame with its figures."""
        self.view.show_frame(look.pixels)
        best = look.best_focus
        self.focus.setValue(round(100 * look.figures.focus / best) if best > 0 else 0)
        self.exposure.setText(
            f"overexposed {look.figures.over:.1%}   without light {look.figures.under:.1%}   "
            f"{look.rate:.0f} pictures a second"
        )

    def say(self, text: str) -> None:
        """Show words in place of the picture."""
        self.view.say(text)
        self.focus.setValue(0)
        self.exposure.clear()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802 Qt's name
        """Stay as large as what is covered."""
        if event.type() == QEvent.Type.Resize:
            self._cover()
        return bool(super().eventFilter(watched, event))

    def _cover(self) -> None:
        self.setGeometry(self._over.rect())


class _View(QWidget):
    """The picture itself: whole, or its middle pixel for pixel after a click."""

    def __init__(self) -> None:
        super().__init__()
        self.setToolTip(
            "Click to see the middle pixel for pixel, where the focus is measured; again for the whole."
        )
        self.setMinimumHeight(6 * line_height(self))
        self.close_up = False
        self._frame: Pixels | None = None
        self._text = ""

    def show_frame(self, pixels: Pixels) -> None:
        self._frame, self._text = pixels, ""
        self.update()

    def say(self, text: str) -> None:
        self._frame, self._text = None, text
        self.update()

    def mousePressEvent(self, _event: QMouseEvent) -> None:  # noqa: N802 Qt's name
        """Look closer, or at the whole."""
        self.close_up = not self.close_up
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802 Qt's name
        """Draw the frame as large as there is room, with the part that is focused by."""
        painter = QPainter(self)
        if self._frame is None:
            painter.setPen(self.palette().windowText().color())
            flags = Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap
            painter.drawText(self.rect().adjusted(20, 20, -20, -20), int(flags), self._text)
            return
        ratio = self.devicePixelRatioF()
        room = max(1, round(self.width() * ratio)), max(1, round(self.height() * ratio))
        shown, zoom = _closely(self._frame, room) if self.close_up else _whole(self._frame, room)
        picture = pixmap(_marked(shown))
        picture.setDevicePixelRatio(ratio)
        width, height = shown.shape[1] / ratio, shown.shape[0] / ratio
        left, top = (self.width() - width) / 2, (self.height() - height) / 2
        painter.drawPixmap(round(left), round(top), picture)
        side = min(MIDDLE_PX, *self._frame.shape[:2]) * zoom / ratio
        if side < min(width, height):
            painter.setPen(QPen(QColor(255, 255, 255, 150)))
            painter.drawRect(
                round(self.width() / 2 - side / 2),
                round(self.height() / 2 - side / 2),
                round(side),
                round(side),
            )


def _whole(frame: Pixels, room: tuple[int, int]) -> tuple[NDArray[np.uint8], float]:
    """The frame made to fit, and how much it was enlarged."""
    height, width = frame.shape[:2]
    zoom = min(room[0] / width, room[1] / height)
    size = max(1, round(width * zoom)), max(1, round(height * zoom))
    # A mean over whole numbers of pixels is quick, and what is left can be interpolated.
    whole = int(1 / zoom)
    if whole > 1:
        frame = cv2.resize(frame, (width // whole, height // whole), interpolation=cv2.INTER_AREA)
    return _eight_bit(cv2.resize(frame, size, interpolation=cv2.INTER_LINEAR)), zoom


def _closely(frame: Pixels, room: tuple[int, int]) -> tuple[NDArray[np.uint8], float]:
    """The middle of the frame, pixel for pixel."""
    height, width = frame.shape[:2]
    w, h = min(room[0], width), min(room[1], height)
    x, y = (width - w) // 2, (height - h) // 2
    return _eight_bit(frame[y : y + h, x : x + w]), 1.0


def _eight_bit(pixels: Pixels) -> NDArray[np.uint8]:
    return np.asarray(
        pixels if pixels.dtype == np.uint8 else cv2.convertScaleAbs(pixels, alpha=1 / 257), np.uint8
    )


def _marked(shown: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A copy with the overexposed places coloured."""
    red, green, blue = cv2.split(shown)
    over = cv2.compare(cv2.max(cv2.max(red, green), blue), OVER, cv2.CMP_GE)
    marked = shown.copy()
    marked[over > 0] = _MARK
    return marked

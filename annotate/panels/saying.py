"""Sentences for the person: whole, over the foot of the picture, long enough to be read."""

from qtpy.QtCore import QEvent, QObject, Qt, QTimer
from qtpy.QtGui import QEnterEvent
from qtpy.QtWidgets import QFrame, QHBoxLayout, QToolButton, QWidget

from setstone.annotate.panels.looks import line_height, words

#: How long sentences stay, in milliseconds: to look there, and to read at some 15 characters a second.
_LOOK_MS, _READ_MS = 4000, 65
#: How many stay at once; the newest is the last.
_MOST = 3


class Saying(QFrame):
    """Lies over a widget, at its foot, with what was said last.

    napari's own notices cut a sentence after a few words, and can be switched off by their level.

    Parameters
    ----------
    over : QWidget
    """

    def __init__(self, over: QWidget) -> None:
        super().__init__(over)
        self.setObjectName("saying")
        # The ground is that of napari's theme, dark or light.
        self.setStyleSheet("#saying { border: 1px solid #888888; border-radius: 4px; }")
        self.text = words()
        self.text.setAccessibleName("Said last")
        away = QToolButton()
        away.setText("×")
        away.setToolTip("Put it away.")
        away.setAccessibleName("Put away")
        away.setFocusPolicy(Qt.FocusPolicy.NoFocus)  # the picture keeps the keyboard
        away.clicked.connect(self.hide)
        row = QHBoxLayout(self)
        row.addWidget(self.text, 1)
        row.addWidget(away, 0, Qt.AlignmentFlag.AlignTop)
        self._over = over
        self._end = QTimer(self)
        self._end.setSingleShot(True)
        self._end.timeout.connect(self.hide)
        over.installEventFilter(self)
        self.hide()

    def say(self, sentence: str) -> None:
        """Show a sentence beneath those that are still there."""
        still = self.text.text().splitlines() if self.isVisibleTo(self._over) else []
        said = [*(s for s in still if s != sentence), *sentence.splitlines()][-_MOST:]
        self.text.setText("\n".join(said))
        self._end.start(_LOOK_MS + _READ_MS * sum(map(len, said)))
        self.show()
        self.raise_()
        self._place()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802 Qt's name
        """Stay at the foot when the window changes its size."""
        if event.type() == QEvent.Type.Resize:
            self._place()
        return super().eventFilter(watched, event)

    def enterEvent(self, event: QEnterEvent) -> None:  # noqa: N802 Qt's name
        """Stay as long as the mouse is on it."""
        self._end.stop()
        super().enterEvent(event)

    def leaveEvent(self, event: QEvent) -> None:  # noqa: N802 Qt's name
        """Go a while after the mouse."""
        self._end.start(_LOOK_MS)
        super().leaveEvent(event)

    def _place(self) -> None:
        margin = line_height(self) // 2
        width = min(self._over.width() - 2 * margin, 45 * line_height(self))
        height = self.heightForWidth(width)
        self.setGeometry(margin, self._over.height() - height - margin, width, height)

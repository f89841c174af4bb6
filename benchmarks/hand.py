"""Mouse and keyboard in a window, for what tries it as a person would."""

from typing import Any

import numpy as np
from qtpy.QtCore import QEvent, QPoint, QPointF, Qt  # noqa: TID251
from qtpy.QtGui import QMouseEvent  # noqa: TID251
from qtpy.QtTest import QTest  # noqa: TID251
from qtpy.QtWidgets import QApplication, QWidget  # noqa: TID251


class Hand:
    """Mouse and keyboard on the picture of a window.

    Parameters
    ----------
    window : Window
    """

    def __init__(self, window: Any) -> None:
        self.window = window
        self.main: QWidget = window.docks["Stones"].parent()
        self.picture = next(w for w in self.main.findChildren(QWidget) if "CanvasBackend" in type(w).__name__)

    def key(self, key: Qt.Key, *, modifiers: Any = Qt.KeyboardModifier.NoModifier) -> None:
        """Press a key."""
        self.main.activateWindow()
        self.picture.setFocus()
        QTest.qWait(50)
        QTest.keyClick(self.picture, key, modifiers)

    def at(self, x: float, y: float) -> QPoint:
        """Point of the picture's widget over a pixel of the photograph, where one view fills it."""
        camera = self.window.viewer.scene.camera
        um = self.window.canvas.um_per_px
        world = np.array([x, y]) * um - np.asarray(camera.center[-2:])[::-1]
        middle = np.array([self.picture.width(), self.picture.height()]) / 2
        return QPoint(*np.round(middle + world * camera.zoom).astype(int).tolist())

    def drag(self, begin: QPoint, end: QPoint) -> None:
        """Press at one point, let go at another."""
        self._mouse(QEvent.Type.MouseMove, begin, down=False)
        self._mouse(QEvent.Type.MouseButtonPress, begin)
        for share in (0.25, 0.5, 0.75, 1.0):
            self._mouse(QEvent.Type.MouseMove, begin + (end - begin) * share)
        self._mouse(QEvent.Type.MouseButtonRelease, end, down=False)

    def draw(self, *points: QPoint) -> None:
        """Click on each point, twice on the last."""
        for point in points:
            self._mouse(QEvent.Type.MouseMove, point, down=False)
            self._mouse(QEvent.Type.MouseButtonPress, point)
            self._mouse(QEvent.Type.MouseButtonRelease, point, down=False)
        self._mouse(QEvent.Type.MouseButtonDblClick, points[-1])
        self._mouse(QEvent.Type.MouseButtonRelease, points[-1], down=False)

    def _mouse(self, what: QEvent.Type, point: QPoint, *, down: bool = True) -> None:
        left, none = Qt.MouseButton.LeftButton, Qt.MouseButton.NoButton
        button = none if what == QEvent.Type.MouseMove else left
        at = QPointF(self.picture.mapToGlobal(point))
        event = QMouseEvent(
            what, QPointF(point), at, button, left if down else none, Qt.KeyboardModifier.NoModifier
        )
        QApplication.sendEvent(self.picture, event)
        QTest.qWait(30)

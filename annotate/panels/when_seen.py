"""A panel reads the book when it is seen: what changed while nobody looked is read once, as it is shown."""

from collections.abc import Callable, Iterable

from psygnal import SignalInstance
from qtpy.QtCore import QEvent, QObject
from qtpy.QtWidgets import QWidget

from setstone.annotate.bench.bench import Bench
from setstone.annotate.panels.working import attempt


class WhenSeen(QObject):
    """Shows a panel anew after each of some signals, at once where it is seen, else as soon as it is.

    Parameters
    ----------
    panel : QWidget
    bench : Bench
        Is told what goes wrong.
    signals : iterable of SignalInstance
    show : callable
        Reads what the panel shows.
    """

    def __init__(
        self, panel: QWidget, bench: Bench, signals: Iterable[SignalInstance], show: Callable[[], None]
    ) -> None:
        super().__init__(panel)
        self._panel, self._bench, self._show = panel, bench, show
        self._stale = True
        for signal in signals:
            signal.connect(self._changed)
        panel.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: ARG002, N802 Qt's name
        """Read, as the panel is shown, what was not read while nobody looked."""
        if event.type() == QEvent.Type.Show and self._stale:
            self._read()
        return False

    def _changed(self) -> None:
        self._stale = True
        if self._panel.isVisible():
            self._read()

    def _read(self) -> None:
        self._stale = False
        attempt(self._bench, self._show)

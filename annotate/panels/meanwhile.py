"""Small things lists show, made in a thread so that the list is there at once."""

from collections.abc import Callable, Hashable

from qtpy.QtCore import QObject, QRunnable, Qt, QThreadPool, Signal

from setstone.annotate.bench.bench import Bench
from setstone.annotate.panels.working import EXPECTED


class Meanwhile(QObject):
    """Things by their name, each made once.

    Parameters
    ----------
    bench : Bench
        When its book changes, all are forgotten.
    """

    #: One is there now: its name.
    ready = Signal(object)

    _made = Signal(int, object, object)

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._known: dict[Hashable, object | None] = {}
        self._round = 0
        self._pool = QThreadPool(self)
        self._pool.setMaxThreadCount(1)
        self._made.connect(self._on_made, Qt.ConnectionType.QueuedConnection)  # from the thread
        bench.book_changed.connect(self.forget)

    def of(self, name: Hashable, make: Callable[[], object | None]) -> object | None:
        """Return what goes by this name, or None and make it meanwhile.

        Parameters
        ----------
        name : hashable
            Another one where another thing is meant.
        make : callable
            Makes it, in the thread; None, or a sentence of `EXPECTED`, when it cannot. It must not hold a widget, which
            would die in the thread.
        """
        if name not in self._known:
            self._known[name] = None
            self._pool.start(_Making(self, self._round, name, make))
        return self._known[name]

    def forget(self) -> None:
        """Forget all, and those not begun; the one being made is waited for, so that no thread outlives the window."""
        self._pool.clear()
        self._pool.waitForDone()
        self._known.clear()
        self._round += 1

    def _on_made(self, of_round: int, name: Hashable, thing: object | None) -> None:
        if of_round == self._round and thing is not None:
            self._known[name] = thing
            self.ready.emit(name)


class _Making(QRunnable):
    def __init__(
        self, owner: Meanwhile, of_round: int, name: Hashable, make: Callable[[], object | None]
    ) -> None:
        super().__init__()
        self._owner, self._round, self._name, self._make = owner, of_round, name, make

    def run(self) -> None:
        try:
            thing = self._make()
        except EXPECTED:
            thing = None  # altered or lost: told where the photograph is opened
        try:
            self._owner._made.emit(self._round, self._name, thing)
        except RuntimeError:
            return  # the window was closed meanwhile

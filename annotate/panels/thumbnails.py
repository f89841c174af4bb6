"""Thumbnails for lists, made in a thread so that a list is there at once."""

from collections.abc import Callable, Hashable

from qtpy.QtCore import QObject, QRunnable, Qt, QThreadPool, Signal
from qtpy.QtGui import QPixmap

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.pixels import Image, Pixels
from setstone.annotate.panels.looks import pixmap
from setstone.annotate.panels.working import EXPECTED
from setstone.record.entries import PhotographEntry


class Thumbnails(QObject):
    """Thumbnails by what they stand for.

    Parameters
    ----------
    bench : Bench
        When its book changes, all are forgotten.
    pixels : Pixels
    """

    #: One is there now.
    ready = Signal(object)

    _made = Signal(int, object, object)

    def __init__(self, bench: Bench, pixels: Pixels) -> None:
        super().__init__()
        self._pixels = pixels
        self._known: dict[Hashable, QPixmap | None] = {}
        self._round = 0
        self._pool = QThreadPool(self)
        self._pool.setMaxThreadCount(1)
        self._made.connect(self._on_made, Qt.ConnectionType.QueuedConnection)  # from the thread
        bench.book_changed.connect(self.forget)

    def of(self, key: Hashable, photograph: Callable[[], PhotographEntry | None]) -> QPixmap | None:
        """Return the thumbnail of this name, or None and make it meanwhile.

        Parameters
        ----------
        key : hashable
            Another one where another picture is meant.
        photograph : callable
            Which photograph to show; asked in the thread.
        """
        if key not in self._known:
            self._known[key] = None
            self._pool.start(_Making(self, self._round, key, photograph, self._pixels))
        return self._known[key]

    def forget(self) -> None:
        """Forget all, and those not begun."""
        self._pool.clear()
        self._known.clear()
        self._round += 1

    def _on_made(self, of_round: int, key: Hashable, image: Image | None) -> None:
        if of_round == self._round and image is not None:
            self._known[key] = pixmap(image)
            self.ready.emit(key)


class _Making(QRunnable):
    def __init__(
        self,
        owner: Thumbnails,
        of_round: int,
        key: Hashable,
        photograph: Callable[[], PhotographEntry | None],
        pixels: Pixels,
    ) -> None:
        super().__init__()
        self._owner, self._round, self._key = owner, of_round, key
        self._photograph, self._pixels = photograph, pixels

    def run(self) -> None:
        try:
            entry = self._photograph()
            image = None if entry is None else self._pixels.thumbnail(entry)
        except EXPECTED:
            image = None  # altered or lost: told where the photograph is opened
        try:
            self._owner._made.emit(self._round, self._key, image)
        except RuntimeError:
            return  # the window was closed meanwhile

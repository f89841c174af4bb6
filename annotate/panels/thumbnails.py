"""Thumbnails for lists."""

from collections.abc import Callable, Hashable

import numpy as np
from qtpy.QtGui import QPixmap

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.pixels import Pixels
from setstone.annotate.panels.looks import pixmap
from setstone.annotate.panels.meanwhile import Meanwhile
from setstone.record.entries import PhotographEntry


class Thumbnails(Meanwhile):
    """Thumbnails by what they stand for.

    Parameters
    ----------
    bench : Bench
    pixels : Pixels
    """

    def __init__(self, bench: Bench, pixels: Pixels) -> None:
        super().__init__(bench)
        self._pixels = pixels

    def picture(self, name: Hashable, photograph: Callable[[], PhotographEntry | None]) -> QPixmap | None:
        """Return the thumbnail of this name, or None and make it meanwhile.

        Parameters
        ----------
        name : hashable
            Another one where another picture is meant.
        photograph : callable
            Which photograph to show; asked in the thread.
        """

        def make() -> object | None:
            entry = photograph()
            return None if entry is None else self._pixels.thumbnail(entry)

        image = self.of(name, make)
        return pixmap(image) if isinstance(image, np.ndarray) else None

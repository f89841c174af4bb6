"""A folder watched in a thread: what the camera's program saves there is told, one photograph after the other."""

import threading
from pathlib import Path

from qtpy.QtCore import QObject, Qt, Signal

from setstone.annotate.panels.working import EXPECTED
from setstone.capture.watching import new_photographs


class Watching(QObject):
    """Watches one folder at a time."""

    #: A photograph is completely written: its path.
    came = Signal(object)
    #: Nothing is watched any more: why, or an empty text.
    ended = Signal(str)

    _found = Signal(object)
    _over = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self._stop: threading.Event | None = None
        # From the thread into the event loop of the window.
        self._found.connect(self.came, Qt.ConnectionType.QueuedConnection)
        self._over.connect(self._on_over, Qt.ConnectionType.QueuedConnection)

    @property
    def running(self) -> bool:
        """Whether a folder is watched."""
        return self._stop is not None

    def start(self, folder: Path) -> None:
        """Watch a folder in place of the one before."""
        self.stop()
        self._stop = stop = threading.Event()

        def run() -> None:
            why = ""
            try:
                for path in new_photographs(folder, stop=stop):
                    self._found.emit(path)
            except EXPECTED as error:
                why = str(error)
            except RuntimeError:
                return  # the window was closed meanwhile
            if not stop.is_set():
                self._over.emit(why)

        threading.Thread(target=run, name=f"watching {folder.name}", daemon=True).start()

    def stop(self) -> None:
        """Watch no more."""
        if self._stop is not None:
            self._stop.set()
            self._stop = None
            self.ended.emit("")

    def _on_over(self, why: str) -> None:
        self._stop = None
        self.ended.emit(why)

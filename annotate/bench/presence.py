"""Who has a book open at a window: the second one is told."""

import json
import socket
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from filelock import FileLock, Timeout

_LOCK, _WHO = ".open-at-window.lock", ".open-at-window.json"


class Presence:
    """Says that a book is open at this window, until `leave` or the end of the program, however it ends.

    The operating system lets go of the lock when the program dies, so none is ever left behind.

    Parameters
    ----------
    folder : Path
        Of the book.
    by : str
        Who works at this window.
    """

    def __init__(self, folder: Path, by: str) -> None:
        self._who = folder / _WHO
        self._lock = FileLock(folder / _LOCK)
        #: Who has it open elsewhere, in words; empty when nobody has.
        self.other = ""
        try:
            self._lock.acquire(timeout=0)
            self._write(by)
        except Timeout:
            self.other = _told(self._who)
        except OSError:
            return  # a folder that cannot be written, or a disk without locks: nothing can be said

    def leave(self) -> None:
        """The book is no longer open here."""
        if self._lock.is_locked:
            with suppress(OSError):  # its folder is gone or cannot be written any more
                self._who.unlink(missing_ok=True)
            self._lock.release()

    def _write(self, by: str) -> None:
        facts = {"by": by, "computer": socket.gethostname(), "since": datetime.now(UTC).isoformat()}
        self._who.write_text(json.dumps(facts), encoding="utf-8")


def _told(path: Path) -> str:
    try:
        facts = json.loads(path.read_text(encoding="utf-8"))
        since = datetime.fromisoformat(facts["since"]).astimezone()
        return f"{facts['by'] or 'somebody'} at {facts['computer']} since {since:%H:%M}"
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return "somebody"

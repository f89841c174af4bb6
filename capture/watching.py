"""Photographs that another program saves into a folder, each told once, when it is completely written.

Files are only looked at: never altered, moved or deleted. Links, devices and hidden files are passed over.
"""

import stat
import time
from collections.abc import Iterator
from pathlib import Path
from threading import Event

from watchfiles import Change, watch

from setstone.capture.errors import PhotographError
from setstone.capture.open import SUFFIXES

#: Endings of names of photographs; everything else a program may keep in the folder is not ours.
NAMED = {suffix for suffixes in SUFFIXES.values() for suffix in suffixes}
#: A file is whole when neither size nor time of change moved for so long, s; network drives tell late.
SETTLED_S = 1.0
#: One whose end is missing may only have been held up, on a slow network: it is told as it is after so long, s.
HELD_UP_S = 10.0
#: How files end (JPEG: ITU-T T.81 B.1.1.3; PNG: ISO/IEC 15948 11.2.5), and in how many bytes from the end: some programs
#: write on behind the end.
_ENDS = {".jpg": b"\xff\xd9", ".jpeg": b"\xff\xd9", ".png": b"IEND"}
_END_BYTES = 4096
#: Milliseconds between two looks.
_STEP_MS = 200


def new_photographs(
    folder: Path,
    *,
    existing: bool = False,
    settled_s: float = SETTLED_S,
    held_up_s: float = HELD_UP_S,
    stop: Event | None = None,
) -> Iterator[Path]:
    """Wait for photographs and yield each once, as soon as it is completely written.

    Parameters
    ----------
    folder : Path
        Itself only, not the folders in it.
    existing : bool, optional
        Whether to begin with those that are there already.
    settled_s : float, optional
        How long a file must have rested, s.
    held_up_s : float, optional
        How long, when its end is missing, s.
    stop : Event, optional
        Ends the waiting when set.

    Yields
    ------
    Path

    Raises
    ------
    PhotographError
        When there is no such folder, or it goes away.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise PhotographError(f"There is no folder '{folder}' to watch; check its name.")
    stop = stop or Event()
    # Size and time of change of each file when last seen, and since when it has been so.
    resting: dict[Path, tuple[tuple[int, int], float]] = {}
    told: set[tuple[Path, tuple[int, int]]] = set()
    for path in sorted(folder.iterdir()):
        state = _state(path)
        if state is not None:
            if existing:
                resting[path] = (state, time.monotonic())
            else:
                told.add((path, state))
    try:
        for changes in watch(
            folder,
            stop_event=stop,
            recursive=False,
            debounce=_STEP_MS,
            step=50,
            rust_timeout=_STEP_MS,
            yield_on_timeout=True,
        ):
            now = time.monotonic()
            for change, name in changes:
                path = Path(name)
                if change is Change.deleted:
                    resting.pop(path, None)
                elif (state := _state(path)) is not None:
                    resting[path] = (state, now)
            for path, (state, since) in sorted(resting.items()):
                current = _state(path)
                if current is None:
                    del resting[path]
                elif current != state:
                    resting[path] = (current, now)
                elif now - since >= settled_s and (now - since >= held_up_s or _has_end(path)):
                    del resting[path]
                    if (path, state) not in told:
                        told.add((path, state))
                        yield path
            if not folder.is_dir():
                raise PhotographError(f"The folder '{folder}' is gone; put it back and watch it again.")
    except RuntimeError as error:  # of watchfiles: a name that is not UTF-8
        raise PhotographError(
            f"The folder '{folder}' cannot be watched, for a file in it has a name that is no text ({error}); "
            "rename that file and watch again."
        ) from error
    except OSError as error:
        raise PhotographError(f"The folder '{folder}' cannot be watched ({error}); check it.") from error


def _has_end(path: Path) -> bool:
    """Whether a file ends as its kind does; True where the kind has no such end."""
    end = _ENDS.get(path.suffix.lower())
    if end is None:
        return True
    try:
        with path.open("rb") as file:
            file.seek(max(0, path.stat().st_size - _END_BYTES))
            return end in file.read(_END_BYTES)
    except OSError:
        return True  # told to whoever opens it


def _state(path: Path) -> tuple[int, int] | None:
    """Size and time of change of a file that may be a photograph; None of anything else."""
    if path.name.startswith(".") or path.suffix.lower() not in NAMED:
        return None
    try:
        found = path.lstat()
    except OSError:
        return None
    if not stat.S_ISREG(found.st_mode) or found.st_size == 0:
        return None
    return found.st_size, found.st_mtime_ns

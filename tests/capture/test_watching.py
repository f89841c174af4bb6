"""A watched folder: each photograph once, whole, and nothing in the folder touched."""

import os
import time
from collections.abc import Iterator
from pathlib import Path
from queue import Empty, Queue
from threading import Event, Thread, Timer

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from setstone.capture.errors import PhotographError
from setstone.capture.watching import new_photographs


class Watcher:
    """Gathers what a watched folder tells, in a thread."""

    def __init__(self, folder: Path, *, existing: bool = False, held_up_s: float = 0.5) -> None:
        self.found: Queue[Path] = Queue()
        self.stop = Event()
        photographs = new_photographs(
            folder, existing=existing, settled_s=0.5, held_up_s=held_up_s, stop=self.stop
        )
        self.thread = Thread(target=self._gather, args=(photographs,), daemon=True)
        self.thread.start()
        time.sleep(1.0)  # the system's own watching begins

    def _gather(self, photographs: Iterator[Path]) -> None:
        for path in photographs:
            self.found.put(path)

    def next(self, seconds: float = 20.0) -> Path:
        return self.found.get(timeout=seconds)

    def nothing_for(self, seconds: float) -> bool:
        try:
            self.found.get(timeout=seconds)
        except Empty:
            return True
        return False


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "saved").mkdir()
    (tmp_path / "saved" / "old.jpg").write_bytes(b"old")
    return tmp_path / "saved"


@pytest.fixture
def watcher(folder: Path) -> Iterator[Watcher]:
    watching = Watcher(folder)
    yield watching
    watching.stop.set()
    watching.thread.join(10)


def test_each_new_photograph_once_when_it_is_whole(folder: Path, watcher: Watcher) -> None:
    with (folder / "slow.png").open("wb") as file:
        for _ in range(6):  # the program writes for longer than a file must rest
            file.write(b"x" * 100)
            file.flush()
            os.fsync(file.fileno())
            time.sleep(0.2)
        assert watcher.found.empty()
    assert watcher.next() == folder / "slow.png"
    (folder / "second.tif").write_bytes(b"y")
    assert watcher.next() == folder / "second.tif"
    assert watcher.nothing_for(1.0)
    assert sorted(p.name for p in folder.iterdir()) == ["old.jpg", "second.tif", "slow.png"]
    assert (folder / "slow.png").read_bytes() == b"x" * 600


def test_one_held_up_half_way_is_waited_for(folder: Path) -> None:
    watcher = Watcher(folder, held_up_s=4.0)
    with (folder / "slow.jpg").open("wb") as file:
        file.write(b"\xff\xd8" + b"x" * 5000)
        file.flush()
        assert watcher.nothing_for(2.0)
        file.write(b"x" * 100 + b"\xff\xd9 and what some programs write behind")
    assert watcher.next(3.0).name == "slow.jpg"
    (folder / "cut.jpg").write_bytes(b"\xff\xd8 never finished")
    assert watcher.nothing_for(2.0)
    assert watcher.next().name == "cut.jpg"  # told in the end: who opens it says what is wrong
    watcher.stop.set()
    watcher.thread.join(10)


def test_what_is_passed_over(folder: Path, watcher: Watcher, tmp_path: Path) -> None:
    (tmp_path / "elsewhere.jpg").write_bytes(b"z")
    (folder / "link.jpg").symlink_to(tmp_path / "elsewhere.jpg")
    (folder / "notes.txt").write_text("z")
    (folder / ".hidden.jpg").write_bytes(b"z")
    (folder / "empty.jpg").touch()
    (folder / "folder.jpg").mkdir()
    os.mkfifo(folder / "pipe.jpg")
    assert watcher.nothing_for(2.0)
    # A program may write under another name and rename at the end.
    (folder / "part.tmp").write_bytes(b"whole")
    (folder / "part.tmp").rename(folder / "done.jpg")
    assert watcher.next() == folder / "done.jpg"


def test_those_that_are_there_already(folder: Path) -> None:
    watching = Watcher(folder, existing=True)
    assert watching.next() == folder / "old.jpg"
    watching.stop.set()


def test_a_name_that_is_no_text(folder: Path) -> None:
    photographs = new_photographs(folder)
    later = Timer(1.0, lambda: Path(os.fsdecode(os.fsencode(folder) + b"/\xff.jpg")).write_bytes(b"z"))
    later.start()
    with pytest.raises(PhotographError, match="rename that file"):
        next(photographs)


NAMES = st.text(st.characters(exclude_characters="/\0", exclude_categories=["Cs"]), min_size=1, max_size=60)


@settings(max_examples=4, derandomize=True, suppress_health_check=list(HealthCheck))
@given(stems=st.lists(NAMES, min_size=5, max_size=20))
def test_any_name_is_told_or_passed_over(tmp_path_factory: pytest.TempPathFactory, stems: list[str]) -> None:
    folder = tmp_path_factory.mktemp("named")
    wanted = set()
    for stem in (*stems, "a\nb", "\u202egnp", "$(reboot)", "%s{0}", "-rf", "x" * 200):
        path = folder / f"{stem}.jpg"
        path.write_bytes(b"whole")
        wanted |= set() if stem.startswith(".") else {path}
    stop = Event()
    later = Timer(20.0, stop.set)
    later.start()
    told = set()
    for path in new_photographs(folder, existing=True, settled_s=0, held_up_s=0, stop=stop):
        told.add(path)
        if told == wanted:
            stop.set()
    later.cancel()
    assert told == wanted


def test_no_folder(tmp_path: Path) -> None:
    with pytest.raises(PhotographError, match="no folder"):
        next(new_photographs(tmp_path / "none"))

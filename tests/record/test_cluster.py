"""Examinations on a Dask cluster: a local one, of two processes."""

import builtins
import os
import signal
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from setstone.record import cluster, examining
from setstone.record.book import Book
from setstone.record.convert import to_json
from setstone.record.entries import StoneEntry
from setstone.record.errors import BookError
from setstone.record.examining import examine_stones, to_examine
from setstone.sample_images import sample_stones

#: In each worker, in the place of measuring: the tests are of the way there and back.
MADE_UP = f"""
import sys
sys.path.append({str(Path(__file__).parents[1])!r})
import time
from made_up import examination, line
from setstone.record import examining

def examine(*_photographs, **_options):
    time.sleep(0.2)
    return examination(line(300))

examining.examine = examine
"""

distributed = pytest.importorskip("distributed")


@pytest.fixture(scope="module")
def local() -> Iterator[Any]:
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, preload=[MADE_UP]
    ) as made:
        yield made


@pytest.fixture
def tray(book: Book, stone: StoneEntry, tmp_path: Path) -> Book:
    """Eight stones with a small photograph each, and one whose photograph was altered."""
    for n in range(8):
        one = stone if n == 0 else book.add_stone(book.objects()[0], f"stone-{n}", by="Ada")
        path = tmp_path / f"{n}.png"
        with Image.open(sample_stones()[n % 3].folder / "before_white.jpg") as picture:
            picture.resize((360 + n, 300)).save(path)
        kept = book.add_photograph(one, path, by="Ada")[0].path
        if n == 3:
            kept.chmod(0o600)
            kept.write_bytes(b"something else")
    return book


def test_a_worker_killed_half_way_loses_and_repeats_nothing(tray: Book, local: Any) -> None:
    asked = to_examine(tray)
    work = examine_stones(tray, asked, by="Ada", cluster=local.scheduler_address)
    outcomes = [next(work), next(work)]
    os.kill(next(iter(local.workers.values())).pid, getattr(signal, "SIGKILL", signal.SIGTERM))
    outcomes += work
    assert [o.stone for o in outcomes] == [stone for stone, _ in asked]
    assert [o.stone.position for o in outcomes if "in the book" in o.error] == ["stone-3"]
    assert [len(tray.examinations(stone)) for stone, _ in asked] == [
        int(o.entry is not None) for o in outcomes
    ]
    assert [s.position for s, _ in to_examine(tray)] == [
        o.stone.position for o in outcomes if o.entry is None
    ]


def test_a_cluster_that_is_not_there_is_told_within_seconds(tray: Book) -> None:
    begun = time.monotonic()
    for address in ("tcp://127.0.0.1:9", "nonsense", "carrier://pigeon:1"):
        with pytest.raises(BookError, match="No cluster answers at"):
            next(examine_stones(tray, to_examine(tray), by="Ada", cluster=address))
    assert time.monotonic() - begun < 40


def test_another_version_on_a_worker_is_told(tray: Book, local: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "__version__", "999")
    with pytest.raises(BookError, match=r"here is setstone 999 .* install the same on all"):
        next(examine_stones(tray, to_examine(tray), by="Ada", cluster=local.scheduler_address))


def test_a_cluster_without_workers_is_told(tray: Book) -> None:
    with (
        distributed.LocalCluster(n_workers=0, processes=False, dashboard_address=None) as empty,
        pytest.raises(BookError, match="has no workers"),
    ):
        next(examine_stones(tray, to_examine(tray), by="Ada", cluster=empty.scheduler_address))


def test_the_missing_extra_is_named(tray: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    found = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> Any:
        if name in ("dask", "distributed"):
            raise ModuleNotFoundError(name)
        return found(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(BookError, match=r"pip install 'setstone\[dask\]'"):
        next(examine_stones(tray, to_examine(tray), by="Ada", cluster="tcp://host:8786"))


def test_all_that_is_measured_is_sent(book: Book, stone: StoneEntry, picture: Path, tmp_path: Path) -> None:
    entry, _ = book.add_photograph(stone, picture)
    order = examining._order(book, stone, None, None, None)
    files = examining._files(order)
    assert files == {entry.sha256: picture.read_bytes()}
    moved = replace(order, white=replace(entry, path=tmp_path / "away")).moved(tmp_path / "there", files)
    assert [p.path for p in moved.photographs()] == [tmp_path / "there" / entry.sha256]


def test_what_is_measured_far_away_is_what_is_measured_here(tmp_path: Path) -> None:
    with (
        Book.create(tmp_path / "tray") as tray,
        distributed.LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None) as measuring,
    ):
        stone = tray.add_stone(tray.add_object("Tray", by="Ada"), "lid-3", by="Ada")
        for occasion, file in sample_stones()[0].photographs():
            if occasion == "as received":
                tray.add_photograph(stone, file, occasion=occasion, by="Ada")
        asked = to_examine(tray)
        (there,) = examine_stones(tray, asked, by="Ada", cluster=measuring.scheduler_address)
        (here,) = examine_stones(tray, asked, by="Ada", workers=1)
    assert there.entry is not None
    assert here.entry is not None
    assert len(here.entry.result.candidates) > 3
    assert to_json(there.entry.result) == to_json(here.entry.result)

"""Which photographs are examined and with which scale; the measuring itself is tested in its own room."""

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import tifffile
from made_up import examination as made_up
from made_up import line

from setstone.capture.photograph import Lamp
from setstone.measure.errors import MeasurementError
from setstone.measure.scale import Scale
from setstone.record import examining
from setstone.record.book import Book
from setstone.record.entries import StoneEntry
from setstone.record.errors import BookError
from setstone.record.examining import examine_stone, examine_stones, given_scale, to_examine
from setstone.record.vocabulary import FindingKind, Verdict
from setstone.sample_images import sample_stones

Asked = dict[str, Any]
Paint = Callable[[tuple[int, int, int], str], Path]

GOLD = (190, 160, 90)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> Asked:
    """What the measuring room was asked; it answers with one line at once."""
    seen: Asked = {}

    def examine(white: object, blue: object, **options: object) -> object:
        seen.update(options, white=white, blue=blue)
        return replace(made_up(line(300)), reference="blue" if white is None else "white")

    monkeypatch.setattr(examining, "examine", examine)
    return seen


def test_both_photographs_of_the_occasion_taken_last_are_examined(
    book: Book, stone: StoneEntry, paint: Paint, blue_picture: Path, asked: Asked
) -> None:
    book.add_photograph(stone, paint(GOLD, "first.png"), occasion="before")
    white, _ = book.add_photograph(stone, paint(GOLD, "better.png"), occasion="before")
    blue, _ = book.add_photograph(stone, blue_picture, occasion="before")
    old = paint(GOLD, "from a drawer.png")
    book.add_photograph(stone, old, occasion="as received", taken=datetime(2020, 1, 1, tzinfo=UTC))

    entry = examine_stone(book, stone, by="Ada")
    assert (entry.white, entry.blue, entry.occasion) == (white.sha256, blue.sha256, "before")
    assert asked["white"].shape == asked["blue"].shape == (120, 160, 3)
    assert [c.number for c in entry.candidates] == [1]
    assert examine_stone(book, stone, occasion="As Received", by="Ada").blue is None
    assert asked["blue"] is None


def test_flags_of_the_photographs_are_flags_of_the_examination(
    book: Book, stone: StoneEntry, blue_picture: Path, asked: Asked
) -> None:
    photograph, _ = book.add_photograph(stone, blue_picture, lamp=Lamp.WHITE)
    codes = [f.code for f in examine_stone(book, stone, by="Ada").result.flags]
    assert "lamp-contradiction" in codes
    assert {f.code for f in photograph.flags} <= set(codes)


def test_the_scale_of_the_file_goes_along_as_the_last_resort(
    book: Book, stone: StoneEntry, tmp_path: Path, asked: Asked
) -> None:
    pixels = np.random.default_rng(1).integers(60, 200, (450, 500, 3), dtype=np.uint8)
    path = tmp_path / "white.ome.tif"
    metadata = {"axes": "YXS", "PhysicalSizeX": 2.5, "PhysicalSizeXUnit": "µm"}
    tifffile.imwrite(path, pixels, photometric="rgb", ome=True, metadata=metadata)
    book.add_photograph(stone, path, lamp=Lamp.WHITE)
    given = given_scale(4.0)
    examine_stone(book, stone, by="Ada", scale=given, bar_length_um=500)
    assert (asked["scale"], asked["bar_length_um"]) == (given, 500)
    assert isinstance(asked["file_scale"], Scale)
    assert (asked["file_scale"].um_per_px, asked["file_scale"].source) == (2.5, "file")


def test_what_cannot_be_examined_is_said(
    book: Book, stone: StoneEntry, picture: Path, asked: Asked, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(BookError, match="lid-3 has no photographs; add them first"):
        examine_stone(book, stone, by="Ada")
    entry, _ = book.add_photograph(stone, picture, lamp=Lamp.OTHER)
    with pytest.raises(BookError, match="of the occasion 'after'"):
        examine_stone(book, stone, occasion="after", by="Ada")
    with pytest.raises(BookError, match="no photograph under white or blue light"):
        examine_stone(book, stone, by="Ada")
    book.correct_photograph(entry, lamp=Lamp.WHITE, by="Ada")

    def nothing(*_: object, **__: object) -> None:
        raise MeasurementError("No stone can be made out.")

    monkeypatch.setattr(examining, "examine", nothing)
    with pytest.raises(MeasurementError, match=r"'white\.png': No stone"):
        examine_stone(book, stone, by="Ada")
    with pytest.raises(BookError, match="Nobody is named"):
        examine_stone(book, stone, by="")
    assert book.examinations(stone) == ()


def test_stopping_half_way_keeps_nothing(
    book: Book, stone: StoneEntry, picture: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def examine(*_: object, progress: Callable[[str], None], **__: object) -> None:
        progress("looking for lines")

    def stop(_step: str) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(examining, "examine", examine)
    book.add_photograph(stone, picture)
    with pytest.raises(KeyboardInterrupt):
        examine_stone(book, stone, by="Ada", progress=stop)
    assert book.examinations(stone) == ()


@pytest.mark.parametrize(
    ("kept", "said"),
    [
        (True, "looking for lines"),
        (False, "looking for lines (the first time on this computer: up to a minute)"),
    ],
)
def test_the_first_examination_on_a_computer_says_why_it_takes_long(
    kept: bool,
    said: str,
    book: Book,
    stone: StoneEntry,
    picture: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # numba keeps what it compiled as MODULE.NAME-LINE.VERSION.nbi (its source, core/caching.py).
    if kept:
        (tmp_path / "spots.undimmed-576.py311.nbi").touch()

    def examine(*_: object, progress: Callable[[str], None], **__: object) -> None:
        progress("looking for lines")
        raise MeasurementError("No stone can be made out.")

    monkeypatch.setattr(examining, "undimmed", SimpleNamespace(stats=SimpleNamespace(cache_path=tmp_path)))
    monkeypatch.setattr(examining, "examine", examine)
    book.add_photograph(stone, picture)
    steps: list[str] = []
    with pytest.raises(MeasurementError):
        examine_stone(book, stone, by="Ada", progress=steps.append)
    assert steps == [said]


def test_a_sample_stone_comes_back_as_it_was_measured(book: Book, stone: StoneEntry) -> None:
    """The whole way with nothing replaced, on the sample images."""
    for occasion, file in sample_stones()[0].photographs():
        if occasion == "as received":
            book.add_photograph(stone, file, occasion=occasion)
    seen = [(p.lamp, p.lamp_stated) for p in book.photographs(stone)]
    assert seen == [(Lamp.WHITE, False), (Lamp.BLUE, False)]
    first = examine_stone(book, stone, by="Ada")
    assert first.candidates
    assert first.result.diameters is not None
    book.decide(first, 1, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by="Ada")
    # Kept again as if measured again: the same comes back, and the decision with it.
    second = book.save_examination(
        stone, first.result, occasion=first.occasion, white=first.white, blue=first.blue, by="Bea"
    )
    assert second.result.diameters == first.result.diameters
    assert second.result.colour == first.result.colour
    assert [c.number for c in second.candidates if c.is_finding] == [1]
    assert len(second.candidates) == len(first.candidates)


def test_of_many_stones_those_that_fail_are_named_and_the_others_kept(
    book: Book, stone: StoneEntry, paint: Paint, asked: Asked
) -> None:
    other = book.add_stone(book.objects()[0], "lid-4", by="Ada")
    book.add_photograph(other, paint(GOLD, "white.png"))
    said: list[str] = []
    outcomes = list(examine_stones(book, [(stone, None), (other, None)], by="Ada", progress=said.append))
    assert [o.stone.position for o in outcomes] == ["lid-3", "lid-4"]
    assert outcomes[0].entry is None
    assert "lid-3 has no photographs" in outcomes[0].error
    assert [e.id for e in book.examinations(other)] == [outcomes[1].entry and outcomes[1].entry.id]
    assert said == ["Examining lid-3", "Examining lid-4"]


def test_who_stops_the_work_keeps_what_is_done(
    book: Book, stone: StoneEntry, paint: Paint, asked: Asked
) -> None:
    book.add_photograph(stone, paint(GOLD, "white.png"))
    work = examine_stones(book, [(stone, None), (stone, None)], by="Ada")
    next(work)
    work.close()
    assert len(book.examinations(stone)) == 1


def test_several_processes_give_the_results_of_one_and_outlive_a_bad_photograph(
    tmp_path: Path, book: Book, stone: StoneEntry
) -> None:
    noise = np.random.default_rng(0).integers(0, 256, (300, 300, 3), dtype=np.uint8)
    tifffile.imwrite(tmp_path / "noise.tif", noise, photometric="rgb")
    stones = [stone, *(book.add_stone(book.objects()[0], f"lid-{n}", by="Ada") for n in (4, 5, 6))]
    samples = sample_stones()
    for at, one in enumerate(stones):
        if at == 1:
            book.add_photograph(one, tmp_path / "noise.tif", lamp=Lamp.WHITE)
        elif at == 2:
            path = book.add_photograph(one, samples[1].folder / "after_white.jpg")[0].path
            path.chmod(0o600)
            path.write_bytes(b"something else")
        else:
            book.add_photograph(one, samples[min(at, 2)].folder / "before_white.jpg")
    asked_for = [(one, None) for one in stones]
    alone = list(examine_stones(book, asked_for, by="Ada", workers=1))
    together = list(examine_stones(book, asked_for, by="Ada", workers=2))
    assert [o.error for o in together] == [o.error for o in alone]
    assert ["No stone" in o.error for o in alone] == [False, True, False, False]
    assert [o.entry is None for o in alone] == [False, True, True, False]
    for here, there in zip(alone, together, strict=True):
        if here.entry is not None and there.entry is not None:
            assert here.entry.result.diameters == there.entry.result.diameters
            scores = [[c.candidate.score for c in o.candidates] for o in (here.entry, there.entry)]
            assert scores[0] == scores[1]


#: Has one worker that answers, and is killed.
KILLED = """
import os, signal
from setstone.record.examining import _SPAWN, _pool

if __name__ == "__main__":
    ended = _SPAWN.Event()
    pool = _pool(1, ended)
    print(pool.submit(os.getpid).result(), flush=True)
    os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such signals")
def test_no_worker_outlives_the_process_it_works_for(tmp_path: Path) -> None:
    script = tmp_path / "killed.py"
    script.write_text(KILLED)
    # Standard output ends, and with it this call, only when the last process that holds it is gone.
    killed = subprocess.run(
        [sys.executable, script], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, check=False, timeout=60
    )
    assert killed.returncode == -signal.SIGKILL
    assert int(killed.stdout) > 0


def test_a_worker_stops_at_the_next_step_once_the_work_is_ended(
    book: Book, stone: StoneEntry, picture: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ended = threading.Event()

    def examine(*_: object, progress: Callable[[str], None], **__: object) -> object:
        ended.set()
        progress("looking for lines")
        pytest.fail("it went on")

    monkeypatch.setattr(examining, "examine", examine)
    monkeypatch.setattr(examining, "_ended", ended)
    book.add_photograph(stone, picture)
    order = examining._order(book, stone, None, None, None)
    with pytest.raises(examining._EndedError):
        examining._measured_or_why_not(order)


def test_a_fault_on_one_photograph_does_not_stop_the_others(
    book: Book, stone: StoneEntry, paint: Paint, monkeypatch: pytest.MonkeyPatch
) -> None:
    faults = [ZeroDivisionError("of nothing")]

    def examine(*_: object, **__: object) -> object:
        if faults:
            raise faults.pop()
        return made_up(line(300))

    monkeypatch.setattr(examining, "examine", examine)
    other = book.add_stone(book.objects()[0], "lid-4", by="Ada")
    for one in (stone, other):
        book.add_photograph(one, paint(GOLD, f"of stone {10**one.id}.png"))
    failed, good = examine_stones(book, [(stone, None), (other, None)], by="Ada", workers=1)
    assert "a fault of its own (ZeroDivisionError: of nothing)" in failed.error
    assert good.entry is not None


#: Measures with nothing, and is killed as the turn of the third stone comes.
KILLED_HALF_WAY = """
import os, signal, sys
from made_up import examination, line
from setstone.record import examining
from setstone.record.book import Book

examining.examine = lambda *_, **__: examination(line(300))
with Book.open(sys.argv[1]) as book:
    for n, _ in enumerate(examining.examine_stones(book, examining.to_examine(book), by="Ada", workers=1), 1):
        if n == 2:
            os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such signals")
def test_a_run_that_was_killed_goes_on_with_the_rest(
    tmp_path: Path, picture: Path, asked: Asked, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Book.create(tmp_path / "tray", workshop="Workshop on the Quay") as book:
        tray = book.add_object("Tray", by="Ada")
        stones = [book.add_stone(tray, f"stone-{n}", by="Ada") for n in range(4)]
        for n, one in enumerate(stones):
            data = picture.read_bytes()
            (tmp_path / f"{n}.png").write_bytes(data + bytes([n]))
            book.add_photograph(one, tmp_path / f"{n}.png")
    script = tmp_path / "killed.py"
    script.write_text(KILLED_HALF_WAY)
    paths = os.pathsep.join([str(Path(__file__).parents[2]), str(Path(__file__).parents[1])])
    killed = subprocess.run(
        [sys.executable, script, tmp_path / "tray"],
        env=os.environ | {"PYTHONPATH": paths},
        check=False,
        timeout=120,
    )
    assert killed.returncode == -signal.SIGKILL
    with Book.open(tmp_path / "tray") as book:
        rest = to_examine(book)
        assert [stone.position for stone, _ in rest] == ["stone-2", "stone-3"]
        assert all(o.entry for o in examine_stones(book, rest, by="Ada", workers=1))
        assert [len(book.examinations(one)) for one in stones] == [1, 1, 1, 1]
        assert to_examine(book) == []

"""The bench as a script would use it: each step is in the book at once and can be taken back."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from made_up import comparison, examination, line

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.geometry import join_paths, split_path
from setstone.annotate.bench.review import Review
from setstone.measure.changes import Where
from setstone.record.book import Book
from setstone.record.errors import BookError
from setstone.record.progress import Stage
from setstone.record.vocabulary import FindingKind, Verdict


@pytest.fixture(scope="session")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with one stone examined: a likely line, a possible one, and a weak one."""
    folder = tmp_path_factory.mktemp("bench") / "book"
    with Book.create(folder, workshop="Workshop on the Quay") as book:
        stone = book.add_stone(book.add_object("Presentation snuff box"), "lid-3", claimed_as="ruby")
        result = examination(line(250, 0.9), line(400, 0.6), line(500, 0.1))
        book.save_examination(stone, result, occasion="before", white=None, blue=None, by="Ada")
    return folder


@pytest.fixture
def bench(filled: Path, tmp_path: Path) -> Iterator[Bench]:
    import shutil

    made = Bench("Ada")
    made.open(shutil.copytree(filled, tmp_path / "book"))
    stone = made.progress[0].stone
    made.choose(None)
    made.choose(stone, "before")
    yield made
    made.close()


def review_of(bench: Bench) -> Review:
    assert bench.review is not None
    return bench.review


def kept(bench: Bench) -> dict[int, Verdict]:
    """Decisions as the book has them, read anew."""
    with Book.open(bench.opened.folder) as again:
        entry = again.examination(again.stones()[0], "before")
        return {c.number: c.decision.verdict for c in entry.candidates if c.decision is not None}


def test_the_queue_shows_likely_candidates_best_first(bench: Bench) -> None:
    review = review_of(bench)
    assert [c.number for c in review.queue] == [1, 2]
    assert (review.left, review.place) == (2, 1)
    review.threshold = 0.05
    assert [c.number for c in review.queue] == [1, 2, 3]


def test_what_is_seen_after_the_work_only_comes_first(bench: Bench) -> None:
    book, stone = bench.opened, bench.required_stone
    before = book.examination(stone, "before")
    after = book.save_examination(
        stone, before.result, occasion="after", white=None, blue=None, by="Ada"
    )  # lines of score 0.9, 0.6 and 0.1
    bench.choose(stone, "after")
    kept = bench.keep_comparison(comparison(before, after, Where.BOTH, Where.AFTER))
    assert (kept.by, kept.after) == ("Ada", "after")
    review = review_of(bench)
    assert [c.number for c in review.queue] == [2, 1]
    assert review.current is not None
    assert review.differing[review.current.number].says == "only after the work: possible damage"
    review.threshold = 0.95  # however weak it is by itself
    assert [c.number for c in review.queue] == [2]
    bench.choose(stone, "before")
    assert [c.number for c in review_of(bench).queue] == [1, 2]


def test_a_decision_is_in_the_book_at_once_and_goes_on_to_the_next(bench: Bench) -> None:
    review = review_of(bench)
    review.accept()
    assert kept(bench) == {1: Verdict.ACCEPTED}
    assert review.place == 2
    review.reject("facet edge")
    assert kept(bench) == {1: Verdict.ACCEPTED, 2: Verdict.REJECTED}
    assert review.left == 0


def test_every_step_is_undone_and_done_again(bench: Bench) -> None:
    review = review_of(bench)
    review.accept(FindingKind.FEATHER)
    number = review.draw_line(np.array([[300.0, 300.0], [340.0, 320.0]]))
    assert set(kept(bench)) == {1, number}
    assert bench.undo() == "draw a line"
    assert [c.number for c in review.queue] == [1, 2]
    assert bench.undo() == "accept 1"
    assert [c.decision for c in review.queue] == [None, None]
    assert bench.redo() == "accept 1"
    assert bench.redo() == "draw a line"
    accepted = {c.number for c in review.entry.candidates if c.is_finding}
    assert accepted == {1, number}


def test_the_kind_can_be_changed_after_accepting(bench: Bench) -> None:
    review = review_of(bench)
    review.accept()
    review.go_to(1)
    review.change_kind(FindingKind.FEATHER)
    current = review.current
    assert current is not None
    assert current.decision is not None
    assert current.decision.kind is FindingKind.FEATHER


def test_a_line_is_split_and_joined_again(bench: Bench) -> None:
    review = review_of(bench)
    first, second = review.split((250.0, 250.0))
    assert kept(bench)[1] is Verdict.REJECTED
    assert 1 not in {c.number for c in review.queue}  # the halves stand in its place
    review.go_to(first)
    joined = review.join(second)
    path = next(c for c in review.queue if c.number == joined).candidate.path
    assert abs(np.hypot(*np.diff(path, axis=0).T).sum() - 100) < 2
    bench.undo()
    bench.undo()
    assert {c.number for c in review.queue if c.decision is None} == {1, 2}


def test_another_window_is_told_and_overwrites_nothing(bench: Bench) -> None:
    other = Bench("Bea")
    said: list[str] = []
    other.said.connect(said.append)
    other.open(bench.opened.folder)
    other.choose(other.progress[0].stone, "before")
    assert any("another window" in sentence for sentence in said)
    review_of(bench).accept()
    with pytest.raises(BookError, match="Ada has accepted number 1"):
        review_of(other).reject()
    assert kept(bench) == {1: Verdict.ACCEPTED}
    bench.undo()
    assert other.look_for_changes()
    assert review_of(other).left == 2
    assert not other.look_for_changes()
    other.close()


def test_stones_are_added_renamed_and_removed_with_undo(bench: Bench) -> None:
    bench.add_stone("lid-4", claimed_as="sapphire")
    assert [p.stone.position for p in bench.progress] == ["lid-3", "lid-4"]
    assert bench.progress[1].stage is Stage.NO_PHOTOGRAPH
    added = bench.progress[1].stone
    bench.correct_stone(added, position="lid-5", claimed_as="sapphire")
    bench.remove_stone(replace(added, position="lid-5"))
    assert [p.stone.position for p in bench.progress] == ["lid-3"]
    for _ in range(2):
        bench.undo()
    assert [p.stone.position for p in bench.progress] == ["lid-3", "lid-4"]


def test_nothing_is_done_without_a_book() -> None:
    with pytest.raises(BookError, match="open one first"):
        Bench().add_stone("lid-1")


def test_halves_of_a_path_make_the_whole() -> None:
    path = np.column_stack([np.linspace(0, 30, 31), np.zeros(31)])
    before, after = split_path(path, (11.4, 3.0))
    whole = join_paths(before, after[::-1])
    assert np.hypot(*np.diff(whole, axis=0).T).sum() == pytest.approx(30)
    with pytest.raises(BookError):
        split_path(path, (0.0, 0.0))


def test_what_is_decided_outlives_a_killed_program(filled: Path, tmp_path: Path) -> None:
    import shutil
    import subprocess
    import sys

    book = shutil.copytree(filled, tmp_path / "killed")
    program = f"""
from pathlib import Path
from setstone.annotate.bench.bench import Bench
bench = Bench("Ada")
bench.open(Path({str(book)!r}))
stone = bench.stone
bench.choose(None)
bench.choose(stone, "before")
review = bench.review
number = 0
while True:
    review.go_to(1)
    review.accept()
    review.go_to(1)
    review.reject(str(number))
    print(number, flush=True)
    number += 1
"""
    with subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE, text=True) as killed:
        assert killed.stdout is not None
        for line_told in killed.stdout:
            told = int(line_told)
            if told == 5:
                killed.kill()  # at any moment of what it does meanwhile
                break
        told = max([told, *(int(rest) for rest in killed.stdout if rest.endswith("\n"))])
    with Book.open(book) as again:
        entry = again.examination(again.stones()[0], "before")
        reasons = [int(d.reason) for d in again.decisions(entry, 1) if d.reason]
    assert reasons == list(range(len(reasons)))
    assert told <= reasons[-1] <= told + 1


def test_a_book_opened_for_reading_only_says_so_and_refuses_changes(bench: Bench) -> None:
    told: list[str] = []
    bench.said.connect(told.append)
    bench.open(bench.opened.folder, read_only=True)
    assert told == ["This book is open for reading only, because it was opened so."]
    with pytest.raises(BookError, match="reading only"):
        bench.remove_stone(bench.progress[0].stone)

"""Kills the window at random moments while somebody works in it, and looks at what the book has kept.

Run it with a screen (or under xvfb-run), from the top of the checkout::

    python benchmarks/killed.py [KILLS [SEED]]

A program of its own opens the window on a book and goes through the review by key and mouse, with the outline dragged and lines
drawn now and then; after every step it tells what the window shows. It is killed (SIGKILL) at a random moment, the next one opens the
same book. Each time the book must be sound and hold all that was shown, and at most the one step that was being done.
"""

import json
import sqlite3
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from setstone.record.book import Book
from setstone.record.entries import ExaminationEntry
from setstone.sample_images import sample_stones

OPERATOR = "Ada"
OCCASION = "as received"
#: The longest time from the first step to the kill, in seconds.
LONGEST = 6.0
#: What is done in one step, and how often: most of it is by one key.
STEPS = {
    "G": 20,
    "Q": 12,
    "K": 6,
    "N": 6,
    "U": 4,
    "Backspace": 6,
    "Ctrl+Z": 10,
    "Ctrl+Shift+Z": 6,
    "drag the outline": 4,
    "draw a line": 4,
}


@dataclass(frozen=True)
class Kill:
    """What one kill left.

    Parameters
    ----------
    steps : int
        How many steps were shown before.
    doing : str
        What was being done; empty when nothing was.
    kept : bool
        Whether that step is in the book.
    """

    steps: int
    doing: str
    kept: bool


def main() -> None:
    """Kill again and again, and print what was lost."""
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    moments = np.random.default_rng(int(sys.argv[2]) if len(sys.argv) > 2 else 1).uniform(0, LONGEST, kills)
    with tempfile.TemporaryDirectory() as folder:
        book = Path(folder) / "book"
        make_book(book)
        done = []
        for number, after in enumerate(moments):
            done.append(kill_once(book, seed=number, after=float(after)))
            print(f"{number + 1}: {done[-1]}", flush=True)
    inside = [k for k in done if k.doing]
    print(f"{kills} kills, {sum(k.steps for k in done)} steps shown before them: none lost")
    print(
        f"{len(inside)} kills within a step ({', '.join(sorted({k.doing for k in inside}))}): "
        f"{sum(k.kept for k in inside)} of these steps are in the book whole, the others not at all"
    )


def make_book(folder: Path) -> None:
    """Make a book with one stone to review."""
    from window import examination

    with Book.create(folder, by=OPERATOR) as book:
        box = book.add_object("Presentation snuff box", by=OPERATOR)
        stone = book.add_stone(box, "lid-3", by=OPERATOR)
        for occasion, file in sample_stones()[0].photographs():
            if occasion == OCCASION:
                book.add_photograph(stone, file, occasion=occasion, by=OPERATOR)
        kept = {str(p.lamp): p for p in book.photographs(stone)}
        pixels = cv2.imread(str(kept["white"].path))
        assert pixels is not None
        height, width = pixels.shape[:2]
        book.save_examination(
            stone,
            examination(np.random.default_rng(1), (width, height)),
            occasion=OCCASION,
            white=kept["white"].sha256,
            blue=kept["blue"].sha256,
            by=OPERATOR,
        )


def kill_once(book: Path, *, seed: int, after: float) -> Kill:
    """Open the window, let somebody work in it, kill it, and look at the book.

    Parameters
    ----------
    book : Path
    seed : int
        Of what is done.
    after : float
        Seconds from the first step to the kill.

    Raises
    ------
    AssertionError
        When something that was shown is not in the book, or the book is not sound.
    """
    program = [sys.executable, "-u", __file__, "--work", str(book), str(seed)]
    with subprocess.Popen(program, stdout=subprocess.PIPE, text=True) as window:
        assert window.stdout is not None
        first = window.stdout.readline()
        time.sleep(after)
        assert window.poll() is None, "the window ended by itself"
        window.kill()
        told = [json.loads(line) for line in (first, *window.stdout) if line.endswith("\n")]
    *_, shown = (t for t in told if "shown" in t)
    doing = told[-1].get("doing", "")
    with sqlite3.connect(book / "book.db") as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    with Book.open(book) as again:
        (stone,) = again.stones()
        journal = again.journal(stone)
        kept = state(again.examination(stone, OCCASION))
    changed = {key for key in kept | shown["shown"] if kept.get(key) != shown["shown"].get(key)}
    more = sum(line.id > shown["line"] for line in journal)
    assert all(line.by == OPERATOR and line.at.tzinfo is not None for line in journal)
    assert any(line.id == shown["line"] for line in journal), "a step that was shown is lost"
    assert bool(more) <= bool(doing), "the book tells of a step nobody did"
    assert len(changed) <= 1, f"more than one thing differs: {changed}"
    assert bool(changed) <= bool(more), f"{changed} is shown otherwise than the book tells"
    return Kill(sum("shown" in t for t in told) - 1, doing, bool(more))


def state(entry: ExaminationEntry) -> dict[str, Any]:
    """What is decided and drawn, by number of the candidate."""
    there: dict[str, Any] = {}
    for c in entry.candidates:
        path = np.round(c.candidate.path.mean(axis=0), 3).tolist()
        decided = c.decision and [str(c.decision.verdict), str(c.decision.kind), c.decision.reason]
        there[str(c.number)] = [path, decided]
    outline = entry.result.outline
    there["outline"] = None if outline is None else np.round(outline.points.mean(axis=0), 3).tolist()
    return there


def work(folder: Path, seed: int) -> None:
    """Work in the window until killed; print what is being done and, after it, what is shown."""
    import napari  # noqa: TID251
    from hand import Hand
    from qtpy.QtCore import Qt  # noqa: TID251
    from qtpy.QtGui import QKeySequence  # noqa: TID251
    from qtpy.QtTest import QTest  # noqa: TID251

    from setstone.annotate.bench import settings
    from setstone.annotate.panels.window import furnish

    chance = np.random.default_rng(seed)
    often = np.array(list(STEPS.values())) / sum(STEPS.values())
    settings.settings_file = lambda: folder / "settings.json"  # nobody's own
    window = furnish(napari.Viewer(show_welcome_screen=False), folder, OPERATOR)
    while not window.canvas.layers.there:
        QTest.qWait(20)
    window.canvas.view = "blended"
    window.canvas.whole()
    QTest.qWait(200)
    hand = Hand(window)

    def tell(**what: object) -> None:
        print(json.dumps(what), flush=True)

    def show() -> None:
        review, book = window.bench.review, window.bench.opened
        assert review is not None
        tell(shown=state(review.entry), line=book.newest_journal_line())

    show()
    while True:
        step = str(chance.choice(list(STEPS), p=often))
        x, y = chance.uniform(300, 500, 2)
        tell(doing=step)
        if step == "drag the outline":
            hand.key(Qt.Key.Key_E)
            review = window.bench.review
            assert review is not None
            outline = review.entry.result.outline
            assert outline is not None
            middle = outline.points.mean(axis=0)
            hand.drag(hand.at(*middle), hand.at(*(middle + chance.uniform(-9, 9, 2))))
            hand.key(Qt.Key.Key_Escape)
        elif step == "draw a line":
            hand.key(Qt.Key.Key_W)
            hand.draw(hand.at(x, y), hand.at(x + 30, y + 20), hand.at(x + 50, y + 60))
        else:
            key = QKeySequence(step)[0]
            hand.key(key.key(), modifiers=key.keyboardModifiers())
        show()


if __name__ == "__main__":
    if sys.argv[1:2] == ["--work"]:
        work(Path(sys.argv[2]), int(sys.argv[3]))
    else:
        main()

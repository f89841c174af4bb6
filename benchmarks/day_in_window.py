"""A day in the window, compressed: what it holds on to after each hour of it.

Run it with a screen (or under xvfb-run), from the top of the checkout::

    python benchmarks/day_in_window.py [--hours 8] [--stones 8]

In each hour somebody goes through the stones by key and mouse: decides on candidates, draws one, drags the outline, takes steps back and
forward again, turns over the views, measures, enters a reading and a remark; some stones get photographs of another occasion, are examined,
previewed as a hand-out and written, compared before with after; the other theme is chosen, and the other book opened and
this one again. Printed after each hour are the program's memory, threads, open files, layers, widgets and Python objects. Ends with 1 where threads, files, layers or widgets
grew after the second hour, or memory in the second half of the day by more than a twentieth over the most of the first: it goes up and down.
"""

import argparse
import gc
import itertools
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple, TypeVar

import napari  # noqa: TID251
import numpy as np
import psutil
from hand import Hand
from PIL import Image
from qtpy.QtCore import Qt  # noqa: TID251
from qtpy.QtTest import QTest  # noqa: TID251
from qtpy.QtWidgets import QApplication, QWidget  # noqa: TID251
from window import examination, rest, wait_for_shown

from setstone.annotate.bench import settings
from setstone.annotate.panels.compare import ComparePanel
from setstone.annotate.panels.hand_out import HandOutPanel
from setstone.annotate.panels.test_record import TestRecordPanel
from setstone.annotate.panels.window import Window, furnish
from setstone.record.book import Book
from setstone.record.entries import StoneEntry
from setstone.sample_images import sample_stones

P = TypeVar("P", bound=QWidget)
CONTROL, SHIFT = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.ShiftModifier
#: Most seconds that a piece of work in the background may take.
PATIENCE_S = 240.0


class Held(NamedTuple):
    """What a program holds on to."""

    memory_mib: float
    threads: int
    files: int
    layers: int
    widgets: int
    objects: int


def held(window: Window) -> Held:
    """Count, once all work is done and what nobody needs is gone."""
    rest(3.0)
    gc.collect()
    rest(1.0)
    own = psutil.Process()
    return Held(
        own.memory_info().rss / 2**20,
        own.num_threads(),
        own.num_fds(),
        len(window.viewer.layers),
        len(QApplication.allWidgets()),
        len(gc.get_objects()),
    )


def make_book(folder: Path, scratch: Path, stones: int) -> None:
    """Make a book of stones photographed and examined as received, and again after the work."""
    noise = np.random.default_rng(1)
    sources = itertools.cycle(sample_stones())
    with Book.create(folder, by="Ada") as book:
        box = book.add_object("Presentation snuff box", by="Ada")
        for number, source in zip(range(1, stones + 1), sources, strict=False):
            stone = book.add_stone(box, f"lid-{number}", by="Ada")
            for occasion, file in source.photographs():
                own = scratch / f"{number}-{file.name}"
                own.write_bytes(commented(file.read_bytes(), f"lid-{number}"))
                book.add_photograph(stone, own, occasion=occasion, by="Ada")
            for occasion in book.occasions(stone):
                here = {str(p.lamp): p for p in book.photographs(stone) if p.occasion == occasion}
                with Image.open(here["white"].path) as picture:
                    found = examination(noise, picture.size)
                book.save_examination(
                    stone,
                    found,
                    occasion=occasion,
                    white=here["white"].sha256,
                    blue=here["blue"].sha256,
                    by="Ada",
                )


def commented(jpeg: bytes, comment: str) -> bytes:
    """Make a photograph its own by a comment (T.81, B.2.4.5) after the start of the image."""
    text = comment.encode()
    return jpeg[:2] + b"\xff\xfe" + (len(text) + 2).to_bytes(2, "big") + text + jpeg[2:]


class Day:
    """Somebody who works in a window.

    Parameters
    ----------
    window : Window
    scratch : Path
        Where photographs are taken from and hand-outs written to.
    """

    def __init__(self, window: Window, scratch: Path) -> None:
        self.window, self.bench, self.scratch = window, window.bench, scratch
        self.hand = Hand(window)
        self.chance = np.random.default_rng(2)
        self.acts = 0

    def hour(self, number: int, other: Path) -> None:
        """Go through all stones of the book, then look into another one."""
        folder = self.bench.opened.folder
        for at, stone in enumerate([p.stone for p in self.bench.progress]):
            self.choose(stone)
            self.review()
            self.draw()
            self.record(number)
            if at % 4 == 0:
                self.examine()
            if at % 6 == 1:
                self.photograph(stone, number)
            if at % 6 == 2:
                self.hand_out(number)
            if at == 3:
                self.compare()
        viewer = self.window.viewer
        viewer.theme = "light" if viewer.theme == "dark" else "dark"
        for book in (other, folder):
            self.bench.open(book)
            wait_for_shown(self.window, self.bench.progress[0].stone.id)
            self.acts += 1

    def choose(self, stone: StoneEntry) -> None:
        """Open a stone."""
        self.bench.choose(stone)
        wait_for_shown(self.window, stone.id)
        self.acts += 1

    def review(self) -> None:
        """Decide on some candidates, with steps back and forward, and look at them in all views."""
        self.key(Qt.Key.Key_4, CONTROL)
        for keys in "GGQKNUG":
            self.key(getattr(Qt.Key, f"Key_{keys}"))
        self.key(Qt.Key.Key_Z, CONTROL)
        self.key(Qt.Key.Key_Z, CONTROL)
        self.key(Qt.Key.Key_Z, CONTROL | SHIFT)
        for _ in range(5):
            self.key(Qt.Key.Key_H)

    def draw(self) -> None:
        """Drag the outline, draw a line, measure a width."""
        self.window.canvas.view = "blended"
        self.window.canvas.whole()
        self.until(lambda: not self.window.canvas.flying)
        self.key(Qt.Key.Key_E)
        review = self.bench.review
        assert review is not None
        outline = review.entry.result.outline
        if outline is not None:
            middle = outline.points.mean(axis=0)
            self.hand.drag(self.hand.at(*middle), self.hand.at(*(middle + self.chance.uniform(-9, 9, 2))))
        self.key(Qt.Key.Key_Escape)
        for tool in (Qt.Key.Key_W, Qt.Key.Key_9):
            self.key(tool)
            x, y = self.chance.uniform(300, 500, 2)
            self.hand.draw(self.hand.at(x, y), self.hand.at(x + 50, y + 60))
            self.key(Qt.Key.Key_Escape)

    def record(self, number: int) -> None:
        """Enter a reading and a remark."""
        panel = self.panel("Test record", TestRecordPanel)
        QTest.keyClicks(panel.value, f"1.76{number % 10}")
        QTest.keyClick(panel.value, Qt.Key.Key_Return)
        QTest.keyClicks(panel.remark, f"seen again in hour {number}")
        QTest.keyClick(panel.remark, Qt.Key.Key_Return)
        self.acts += 2

    def examine(self) -> None:
        """Examine a stone anew."""
        self.key(Qt.Key.Key_F5)
        self.until(lambda: not self.window.examining.running)

    def photograph(self, stone: StoneEntry, number: int) -> None:
        """Add photographs of another occasion."""
        files = []
        for k, (occasion, file) in enumerate(sample_stones()[0].photographs()):
            if occasion == "as received":
                own = self.scratch / f"{stone.position}-{number}-{file.name}"
                own.write_bytes(commented(file.read_bytes(), f"{stone.position}, hour {number}, {k}"))
                files.append(own)
        before = len(self.bench.photographs)
        self.window.docks["Photographs"].widget().add(files)
        self.until(lambda: len(self.bench.photographs) > before)

    def hand_out(self, number: int) -> None:
        """Look at the hand-out, and write it."""
        panel = self.panel("Hand-out", HandOutPanel)
        panel.show_preview()
        self.until(panel.cancel.isHidden)
        file = self.scratch / f"hand-out-{number}-{self.acts}.html"
        panel.write_to(file)
        self.until(panel.cancel.isHidden)
        assert file.exists()

    def compare(self) -> None:
        """Compare before with after."""
        panel = self.panel("Compare", ComparePanel)
        panel.run.click()
        self.until(panel.cancel.isHidden)

    def panel(self, title: str, kind: type[P]) -> P:
        """Bring a panel to the front."""
        self.window.show(title)
        self.acts += 1
        (found,) = self.window.docks[title].findChildren(kind)
        return found

    def key(self, key: Qt.Key, modifiers: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
        """Press a key on the picture."""
        self.hand.key(key, modifiers=modifiers)
        self.acts += 1

    def until(self, true: Callable[[], bool]) -> None:
        """Wait for something."""
        end = time.monotonic() + PATIENCE_S
        while not true():
            assert time.monotonic() < end, "the window has not done it in time"
            rest(0.05)
        self.acts += 1


def main() -> int:
    """Work, and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--hours", type=int, default=8)
    parser.add_argument("--stones", type=int, default=8)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        scratch = Path(name)
        settings.settings_file = lambda: scratch / "settings.json"  # nobody's own
        make_book(scratch / "book", scratch, asked.stones)
        shutil.copytree(scratch / "book", scratch / "other")
        window = furnish(napari.Viewer(show_welcome_screen=False), scratch / "book", "Ada")
        wait_for_shown(window, window.bench.progress[0].stone.id)
        day = Day(window, scratch)
        print("| hour | acts | s | MiB | threads | files | layers | widgets | objects |")
        print("|---|---|---|---|---|---|---|---|---|", flush=True)
        begun, after = time.monotonic(), []
        for hour in range(asked.hours + 1):
            if hour:
                day.hour(hour, scratch / "other")
            after.append(held(window))
            cells = (
                hour,
                day.acts,
                f"{time.monotonic() - begun:.0f}",
                f"{after[-1].memory_mib:.0f}",
                *after[-1][1:],
            )
            print("|", " | ".join(map(str, cells)), "|", flush=True)
        window.viewer.close()
    second, last = after[min(2, asked.hours)], after[-1]
    grown = [n for n in ("threads", "files", "layers", "widgets") if getattr(last, n) > getattr(second, n)]
    half = asked.hours // 2 + 1
    if last.memory_mib > 1.05 * max(h.memory_mib for h in after[:half]):
        grown.append("memory")
    print("Nothing grew." if not grown else f"GREW: {', '.join(grown)}")
    return bool(grown)


if __name__ == "__main__":
    sys.exit(main())

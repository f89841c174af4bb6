"""How quick the window is with 20-megapixel photographs, and how much memory it takes.

Run it with a screen (or under xvfb-run), from the top of the checkout::

    python benchmarks/window.py [BOOK]

It makes a book of ten stones with a pair of photographs each, in a temporary folder or, to be used again, where BOOK
says; opens one stone after the other,
and prints the time from the click until both photographs are painted, the time of one step of panning, what a decision
by key takes the program (painting, which a graphics card does in no time, left out), and the memory of the program after
the second stone and after the tenth, once what is done in the background is done.
"""

import sys
import tempfile
import time
from pathlib import Path

import cv2
import napari  # noqa: TID251
import numpy as np
import psutil
from qtpy.QtCore import QEvent  # noqa: TID251
from qtpy.QtOpenGLWidgets import QOpenGLWidget  # noqa: TID251
from qtpy.QtWidgets import QApplication  # noqa: TID251

from setstone.annotate.panels.window import Window, furnish
from setstone.capture.photograph import Lamp
from setstone.measure.candidates import Candidate, Reason
from setstone.measure.examination import Examination
from setstone.measure.outline import Outline, diameters
from setstone.measure.quantity import Quantity
from setstone.measure.scale import Scale
from setstone.record.book import Book
from setstone.sample_images import sample_stones

STONES = 10
SIZE = (5472, 3648)
CANDIDATES = 60


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        book = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(folder) / "book"
        if not book.exists():
            make_book(book, Path(folder))
        window = furnish(napari.Viewer(show_welcome_screen=False), book, "benchmark")
        wait_for_shown(window, window.bench.progress[0].stone.id)
        memory = []
        cold = []
        for progress in window.bench.progress:
            cold.append(open_stone(window, progress.stone.id))
            rest(6.0)  # the photographs are judged in the background
            memory.append(psutil.Process().memory_info().rss / 2**20)
        warm = [open_stone(window, window.bench.progress[i % 2].stone.id) for i in range(6)]
        known = [open_stone(window, window.bench.progress[2 + i].stone.id) for i in range(6)]
        print(f"pair of {SIZE[0] * SIZE[1] / 1e6:.0f}-megapixel photographs, {CANDIDATES} candidates")
        print(f"click to painted, first time:            {np.median(cold):.2f} s (median of {len(cold)})")
        print(f"click to painted, files read before:     {np.median(known):.2f} s (median of {len(known)})")
        print(f"click to painted, back to the one before: {np.median(warm):.2f} s (median of {len(warm)})")
        print(f"one step of panning:                     {1000 * np.median(pan(window)):.0f} ms")
        print(f"one decision by key, without painting:   {1000 * np.median(decide(window)):.0f} ms")
        print(f"memory after 2 stones {memory[1]:.0f} MiB, after {len(memory)} stones {memory[-1]:.0f} MiB")
        window.viewer.close()


def make_book(folder: Path, scratch: Path) -> None:
    """Make a book of examined stones from enlarged sample photographs."""
    noise = np.random.default_rng(1)
    sources = {
        lamp: cv2.resize(cv2.imread(str(file)), SIZE, interpolation=cv2.INTER_CUBIC)
        for lamp, (_, file) in zip((Lamp.WHITE, Lamp.BLUE), sample_stones()[0].photographs(), strict=False)
    }
    with Book.create(folder) as book:
        box = book.add_object("Presentation snuff box")
        for number in range(1, STONES + 1):
            stone = book.add_stone(box, f"lid-{number}")
            kept = {}
            for lamp, source in sources.items():
                file = scratch / f"{number}-{lamp}.jpg"
                grain = noise.integers(0, 12, (SIZE[1] // 4, SIZE[0] // 4, 3), np.uint8)
                picture = cv2.add(source, cv2.resize(grain, SIZE))
                cv2.imwrite(str(file), picture, [cv2.IMWRITE_JPEG_QUALITY, 92])
                kept[lamp] = book.add_photograph(stone, file, lamp=lamp)[0].sha256
                file.unlink()
            book.save_examination(
                stone,
                examination(noise),
                occasion="as received",
                white=kept[Lamp.WHITE],
                blue=kept[Lamp.BLUE],
                by="benchmark",
            )


def examination(noise: np.random.Generator, size: tuple[int, int] = SIZE) -> Examination:
    """Make up an examination with many candidates of a photograph of a size, width and height in pixels."""
    middle = np.array(size) / 2
    radius = 0.41 * min(size)
    angle = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    outline = Outline(
        middle + radius * np.column_stack([np.cos(angle), np.sin(angle)]),
        np.ones(360, np.bool_),
        1.0,
        "ellipse",
    )
    scale = Scale(0.8, 0.002, "given")
    reason = (Reason("thin-bright", "Thin and brighter than both sides.", speaks_for=True),)
    candidates = []
    for _ in range(CANDIDATES):
        begin = middle + radius * noise.uniform(-0.65, 0.65, 2)
        path = begin + radius / 1500 * np.cumsum(noise.uniform(-4, 8, (120, 2)), axis=0)
        sizes = {"length": Quantity(0.4, 0.01, "mm")}
        candidates.append(Candidate("line", path, "blue", float(noise.uniform(0.3, 1)), reason, 20.0, sizes))
    candidates.sort(key=lambda c: -c.score)
    return Examination(
        "white", size, scale, outline, diameters(outline, scale), np.eye(3), tuple(candidates), None, ()
    )


def open_stone(window: Window, stone_id: int) -> float:
    """Choose a stone, as a click does; return the seconds until its photographs are painted."""
    stone = next(p.stone for p in window.bench.progress if p.stone.id == stone_id)
    begin = time.perf_counter()
    window.bench.choose(stone)
    wait_for_shown(window, stone_id)
    return time.perf_counter() - begin


def wait_for_shown(window: Window, stone_id: int) -> None:
    """Let the window work until the photographs of a stone are on the screen."""
    name = next(p.stone.full_name for p in window.bench.progress if p.stone.id == stone_id)
    layers = window.canvas.layers
    while not layers.there or layers["white light"].metadata.get("setstone", {}).get("stone") != name:
        work()
    paint(window)


def work() -> None:
    """Let the window do what there is to do, as its event loop does."""
    QApplication.processEvents()
    QApplication.sendPostedEvents(
        None, QEvent.Type.DeferredDelete.value
    )  # else only an event loop that ends does


def rest(seconds: float = 2.0) -> None:
    """Let the window work for some seconds."""
    end = time.perf_counter() + seconds
    while time.perf_counter() < end:
        work()
        time.sleep(0.005)


def paint(window: Window) -> None:
    """Let the window work until the picture was painted anew."""
    painted: list[bool] = []
    (picture,) = window.docks["Stones"].parent().findChildren(QOpenGLWidget)
    connection = picture.frameSwapped.connect(lambda: painted.append(True))
    picture.update()
    while not painted:
        work()
    picture.frameSwapped.disconnect(connection)


def decide(window: Window) -> list[float]:
    """Accept one candidate after the other; return the seconds of work until all stands still at the next."""
    canvas, review = window.canvas, window.bench.review
    assert review is not None
    (picture,) = window.docks["Stones"].parent().findChildren(QOpenGLWidget)
    window.show("Review")
    rest()
    seconds = []
    picture.setUpdatesEnabled(False)
    for _ in range(12):
        begin = time.thread_time()
        review.accept()
        work()
        while canvas.flying:
            time.sleep(0.001)
            work()
        seconds.append(time.thread_time() - begin)
    picture.setUpdatesEnabled(True)
    return seconds


def pan(window: Window) -> list[float]:
    """Move the view step by step; return the seconds each took until it was painted."""
    seconds = []
    for step in range(20):
        begin = time.perf_counter()
        _, y, x = window.viewer.scene.camera.center
        window.viewer.scene.camera.center = (0, y, x + (20 if step % 2 else -20))
        paint(window)
        seconds.append(time.perf_counter() - begin)
    return seconds


if __name__ == "__main__":
    main()

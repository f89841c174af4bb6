"""Thousands of stones examined in one run: memory, threads and open files, at the beginning, in the middle, at the end.

    nice python benchmarks/long_run.py --stones 2000

The stones are those of the demo snuff box at 300 pixels, each photograph its own file. Needs psutil, and Linux or macOS.
"""

import argparse
import io
import tempfile
import time
from pathlib import Path

import psutil
from PIL import Image

from setstone.record.book import Book
from setstone.record.examining import examine_stones, to_examine
from setstone.sample_images import sample_stones

MIB = 2**20


def fill(book: Book, stones: int, folder: Path) -> None:
    """Add stones with a white and a blue photograph each; every hundredth's photograph shows nothing."""
    tray = book.add_object("Tray", by="Ada")
    small = []
    for sample in sample_stones():
        for lamp in ("white", "blue"):
            with Image.open(sample.folder / f"before_{lamp}.jpg") as picture:
                data = io.BytesIO()
                picture.resize((300, round(300 * picture.height / picture.width))).save(data, "JPEG")
                small.append((lamp, data.getvalue()))
    blank = io.BytesIO()
    Image.new("RGB", (300, 225), (90, 90, 90)).save(blank, "JPEG")
    for n in range(stones):
        stone = book.add_stone(tray, f"stone-{n + 1}", by="Ada")
        for lamp, good in small[2 * (n % 3) : 2 * (n % 3) + 2]:
            data = blank.getvalue() if n % 100 == 50 else good
            path = folder / f"{lamp}.jpg"
            # Each its own photograph: a comment (T.81, B.2.4.5) after the start of the image differs.
            path.write_bytes(data[:2] + b"\xff\xfe\x00\x0a" + f"{lamp[0]}{n:07d}".encode() + data[2:])
            book.add_photograph(stone, path, by="Ada")


def row(done: int, begun: float) -> str:
    """Memory, threads and open files of this process and of each that measures for it, as a row of a table."""
    own = psutil.Process()
    measuring = [p for p in own.children() if p.memory_info().rss > 100 * MIB]
    cells = [
        f"{p.memory_info().rss / MIB:.0f} / {p.num_threads()} / {p.num_fds()}" for p in (own, *measuring)
    ]
    return f"| {done} | {time.perf_counter() - begun:.0f} | " + " | ".join(cells) + " |"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--stones", type=int, default=2000)
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with Book.create(folder / "book", workshop="Workshop on the Quay") as book:
            fill(book, options.stones, folder)
            asked = to_examine(book)
            failed = 0
            begun = time.perf_counter()
            print(
                "| stones | s | book: MiB / threads / files | each worker: the same | |\n|---|---|---|---|---|"
            )
            work = examine_stones(book, asked, by="Ada", workers=options.workers)
            for done, outcome in enumerate(work, 1):
                failed += outcome.entry is None
                if done == min(50, options.stones) or done % max(1, options.stones // 8) == 0:
                    print(row(done, begun), flush=True)
            print(
                f"\n{len(asked)} stones, {failed} that cannot be examined; left over: {len(to_examine(book))}"
            )


if __name__ == "__main__":
    main()

"""The hand-out on a stone with two photographs of 20 megapixels: size, seconds, and why JPEG.

    python benchmarks/handout.py [--megapixels 20]

Prints the size of the HTML file, of the PDF and of the signed package with the seconds each took, and those of checking it, the time to the first picture where Chromium and
Playwright are installed, and JPEG, WebP and AVIF beside each other at like size: seconds of the processor to write and to
read, and structural similarity (Wang et al. 2004) to the photograph. Seconds count on a calm machine only; the last column is
the ratio to JPEG in the same run.
"""

import argparse
import io
import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import Image
from skimage.metrics import structural_similarity
from speed import pair
from window import examination

from setstone.annotate.handout import write_handout
from setstone.annotate.package.checking import check_package
from setstone.annotate.package.key import workshop_key
from setstone.annotate.package.writing import write_package
from setstone.annotate.pdf import write_pdf
from setstone.annotate.photo_copies import MOST_BYTES, copies_of
from setstone.annotate.texts import english
from setstone.capture.open import open_photograph
from setstone.capture.photograph import Lamp
from setstone.record.book import Book

#: Goals for a stone: bytes and seconds of the HTML file, seconds to the first picture.
GOAL_BYTES, GOAL_WRITTEN, GOAL_SHOWN = 8_000_000, 3.0, 1.0


def main() -> None:
    """Print all figures."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--megapixels", type=float, default=20)
    options = parser.parse_args()
    photographs = pair(options.megapixels)
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        with Book.create(folder / "book") as book:
            fill(book, photographs)
            page, paper = folder / "hand-out.html", folder / "hand-out.pdf"
            html = timed(lambda: write_handout(book, book.stones(), page))
            html = min(html, timed(lambda: write_handout(book, book.stones(), page)))
            pdf = timed(lambda: write_pdf(book, book.stones(), paper))
            package, key = folder / "package.zip", workshop_key(folder / "key.pem")
            signed = timed(lambda: write_package(book, book.stones(), package, key))
            checked = timed(lambda: check_package(package, english()))
        size = page.stat().st_size
        print(
            f"HTML  {size / 1e6:5.2f} MB (goal {GOAL_BYTES / 1e6:.0f})  {html:.2f} s (goal {GOAL_WRITTEN:.0f})"
        )
        print(f"PDF   {paper.stat().st_size / 1e6:5.2f} MB  {pdf:.2f} s")
        print(f"ZIP   {package.stat().st_size / 1e6:5.0f} MB  {signed:.2f} s, checked in {checked:.2f} s")
        show(page)
    for path in photographs:
        codecs(open_photograph(path).pixels, path.stem)


def fill(book: Book, photographs: tuple[Path, Path]) -> None:
    """Put one stone with two photographs and many candidates into a book."""
    stone = book.add_stone(book.add_object("Presentation snuff box"), "lid-1", claimed_as="ruby")
    white, blue = (
        book.add_photograph(stone, path, lamp=lamp)[0]
        for path, lamp in zip(photographs, (Lamp.WHITE, Lamp.BLUE), strict=True)
    )
    found = examination(np.random.default_rng(1), (white.width, white.height))
    book.save_examination(
        stone, found, occasion="as received", white=white.sha256, blue=blue.sha256, by="benchmark"
    )


def timed(work: Callable[[], object]) -> float:
    """Seconds by the clock."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def show(page: Path) -> None:
    """Print the time to the first picture in Chromium, and of the frames while it zooms."""
    chromium = shutil.which("chromium")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        chromium = None
    if chromium is None:
        print("first picture: not measured, Chromium or Playwright is not installed")
        return
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        tab = browser.new_page(viewport={"width": 1440, "height": 900})
        tab.goto("about:blank")
        tab.goto(page.as_uri())
        shown = tab.evaluate(
            """async () => {
                await document.querySelector("figure img").decode();
                const paint = performance.getEntriesByName("first-contentful-paint")[0].startTime;
                return [paint, performance.now()];
            }"""
        )
        # The second is asked for after the whole file is loaded: the picture may have stood earlier.
        print(
            f"first paint {shown[0] / 1000:.2f} s, first picture at the latest {shown[1] / 1000:.2f} s"
            f" (goal {GOAL_SHOWN:.0f})"
        )
        frames = tab.evaluate(
            """async () => {
                const stage = document.querySelector("figure .stage"), times = [];
                stage.scrollIntoView();
                const box = stage.getBoundingClientRect();
                for (let step = 0; step < 60; step += 1) {
                    stage.dispatchEvent(new WheelEvent("wheel", { deltaY: step < 30 ? -10 : 8, ctrlKey: true, cancelable: true,
                        clientX: box.left + 300, clientY: box.top + 300 }));
                    const begin = performance.now();
                    await new Promise(requestAnimationFrame);
                    times.push(performance.now() - begin);
                }
                return times.sort((a, b) => a - b);
            }"""
        )
        print(
            f"zooming: frames of {frames[30]:.0f} ms (median), {frames[56]:.0f} ms (95 %), {frames[-1]:.0f} ms (slowest)"
        )
        browser.close()


def codecs(pixels: np.ndarray, name: str) -> None:
    """Print codecs beside each other."""
    whole = Image.fromarray(pixels)
    print(f"\n{name}: {pixels.shape[1]} x {pixels.shape[0]}, at most {MOST_BYTES / 1e6:.1f} MB a photograph")
    print("codec            MB   write s  read s   SSIM   write : JPEG   read : JPEG")
    first: tuple[float, float] | None = None
    for label, write in (
        ("JPEG, ours", lambda: copies_of(pixels).full),
        ("JPEG 75", lambda: saved(whole, "JPEG", quality=75)),
        ("WebP 90, fast", lambda: saved(whole, "WEBP", quality=90, method=0)),
        ("AVIF 75, fast", lambda: saved(whole, "AVIF", quality=75, speed=10, max_threads=1)),
    ):
        begin = time.process_time()
        data = write()
        written = time.process_time() - begin
        begin = time.process_time()
        read = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
        seconds = time.process_time() - begin
        first = first or (written, seconds)
        middle = tuple(slice(s // 4, 3 * s // 4) for s in pixels.shape[:2])
        alike = structural_similarity(read[middle][..., 1], pixels[middle][..., 1])
        print(
            f"{label:14} {len(data) / 1e6:5.2f} {written:8.2f} {seconds:8.2f}   {alike:.3f}"
            f" {written / first[0]:10.1f} {seconds / first[1]:13.1f}"
        )


def saved(picture: Image.Image, codec: str, **settings: int) -> bytes:
    """Encode with Pillow."""
    file = io.BytesIO()
    picture.save(file, codec, **settings)
    return file.getvalue()


if __name__ == "__main__":
    main()

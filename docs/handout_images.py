"""Make the pictures of docs/handout.md from a demo book: `python docs/handout_images.py BOOK`.

Needs Playwright, Chromium and pdftoppm (Debian: chromium, poppler-utils).
"""

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

from setstone.annotate.handout import write_handout
from setstone.annotate.pdf import write_pdf
from setstone.record.book import Book

IMAGES = Path(__file__).with_name("images")


def main() -> None:
    """Write the three pictures."""
    with tempfile.TemporaryDirectory() as scratch, Book.open(sys.argv[1], read_only=True) as book:
        folder = Path(scratch)
        page = write_handout(book, book.stones(), folder / "hand-out.html")
        paper = write_pdf(book, book.stones(), folder / "hand-out.pdf")
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
            for width, height in ((1440, 900), (360, 740)):
                tab = browser.new_page(viewport={"width": width, "height": height})
                tab.goto(page.as_uri())
                tab.locator(".exam").first.scroll_into_view_if_needed()
                tab.locator(".exam").first.evaluate("exam => exam.scrollIntoView()")
                tab.screenshot(path=folder / "shot.png")
                Image.open(folder / "shot.png").convert("RGB").save(
                    IMAGES / f"handout-{width}.jpg", quality=85
                )
            browser.close()
        draw = ["pdftoppm", "-r", "60", "-f", "2", "-l", "3", "-png", str(paper), str(folder / "page")]
        subprocess.run(draw, check=True)  # noqa: S603 our own arguments
        pages = [Image.open(path) for path in sorted(folder.glob("page*.png"))]
        both = Image.new("RGB", (sum(p.width for p in pages) + 12, pages[0].height), "grey")
        for number, picture in enumerate(pages):
            both.paste(picture, (number * (picture.width + 12), 0))
        both.save(IMAGES / "handout-pdf.jpg", quality=85)


if __name__ == "__main__":
    main()

"""Make the pictures of the window in docs/images. Needs a screen; without one: xvfb-run -s "-screen 0 1920x1080x24" python docs/screenshots.py.

The window shows the demo snuff box: one stone signed, one under review, one to be examined, one without a photograph.
Pass the folder of a book to show that one instead.
"""

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from napari.viewer import Viewer  # noqa: TID251
from qtpy.QtCore import Qt  # noqa: TID251
from qtpy.QtGui import QColor, QPainter, QPixmap  # noqa: TID251
from qtpy.QtWidgets import QApplication  # noqa: TID251

from setstone.annotate.bench import settings, snuff_box
from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.typed_reading import TypedReading
from setstone.annotate.bench.typed_work import TypedWork
from setstone.annotate.panels.window import Window, furnish
from setstone.record.examining import examine_stone
from setstone.record.vocabulary import Fact, WorkKind

IMAGES = Path(__file__).parent / "images"
SIZES = ((1920, 1080), (1366, 768))
THEMES = ("dark", "light")
#: Width and height of one panel on the picture of all panels, and how many stand in a row.
PANEL, IN_ROW = (350, 690), 4


def main(book: Path | None) -> None:
    """Make all pictures."""
    with tempfile.TemporaryDirectory() as folder:
        settings.settings_file = lambda: Path(folder) / "settings.json"  # nobody's own, before and after
        if book is None:
            book = Path(folder) / "snuff box"
            make_book(book)
        for theme in THEMES:
            for size in SIZES:
                window = opened(book, theme, size)
                window.show("Review")
                wait(lambda: False, 1.5)
                save(window.docks["Review"].parent().grab(), f"window-{size[0]}-{theme}")
                if size == SIZES[0]:
                    save(all_panels(window), f"panels-{theme}")
                window.viewer.close()
                wait(lambda: False, 0.5)


def make_book(folder: Path) -> None:
    """Make the book that is shown."""
    bench = Bench("A. Sample")
    bench.start(folder, workshop="Workshop on the Quay")
    snuff_box.fill(bench.opened, by=bench.by)
    bench.add_stone("lid-1", claimed_as="ruby", to=bench.objects[0].name)
    for position in ("lid-3", "lid-5"):
        stone = bench.opened.stone(position)
        for occasion in bench.opened.occasions(stone):
            examine_stone(bench.opened, stone, occasion=occasion, by=bench.by)
    judge(bench, "lid-5", 1.0)
    tell_of_the_object(bench)
    bench.sign()
    judge(bench, "lid-3", 0.4)
    bench.enter_reading(TypedReading("refractometer", "1.762-1.770 table unset ± 0.002"))
    bench.enter_reading(TypedReading("long wave", "strong red"))
    bench.add_remark("Old glue at the lower edge, yellow and crazed.")
    bench.close()


def tell_of_the_object(bench: Bench) -> None:
    """Enter facts and work, and sign in between."""
    for fact, value in (
        (Fact.METAL, "yellow metal"),
        (Fact.FINENESS, "750, last figure worn"),
        (Fact.HALLMARK, "crowned G; another mark not readable"),
        (Fact.DATE, "about 1790, family tradition"),
    ):
        bench.state_fact(bench.objects[0], fact, value)
    stone = bench.required_stone
    bench.add_work(TypedWork(WorkKind.UNSET, solvent="acetone", done="2026-03-02 09:30", done_by="B. Sample"))
    bench.sign()
    bench.state_fact(stone, Fact.SETTING, "closed collet")
    bench.state_fact(stone, Fact.BACK, "closed")
    bench.add_work(
        TypedWork(WorkKind.SET, adhesive="acrylic copolymer in acetone, 40 %", done="2026-03-04 15:00")
    )


def judge(bench: Bench, position: str, share: float) -> None:
    """Judge a share of the candidates of a stone: likely ones are accepted, others rejected."""
    stone = bench.opened.stone(position)
    for occasion in bench.opened.occasions(stone):
        bench.choose(stone, occasion)
        review = bench.review
        if review is None:
            continue
        left = round(review.left * (1 - share))
        while review.left > left and review.current is not None:
            if review.current.candidate.score > 0.5:
                review.accept()
            else:
                review.reject()


def opened(book: Path, theme: str, size: tuple[int, int]) -> Window:
    """Open a window of a size on the stone under review."""
    viewer = Viewer(show_welcome_screen=False)
    viewer.theme = theme
    window = furnish(viewer, book, "A. Sample")
    wait(lambda: False, 0.5)
    viewer.window.set_geometry(0, 0, *size)
    there = [p.stone for p in window.bench.progress if p.left] or [p.stone for p in window.bench.progress]
    window.bench.choose(there[0])
    wait(lambda: False, 4)
    return window


def all_panels(window: Window) -> QPixmap:
    """Put all panels into one picture, row by row."""
    hand_out = window.docks["Hand-out"].widget()
    window.show("Hand-out")
    hand_out.show_preview()
    wait(lambda: "at a glance" in hand_out.page.toPlainText(), 60)
    record = window.docks["Test record"].widget()
    window.show("Test record")
    wait(lambda: "Consistent with" in record.there.toPlainText(), 60)
    width, height = PANEL
    rows = -(-len(window.docks) // IN_ROW)
    picture = QPixmap((width + 8) * IN_ROW - 8, (height + 8) * rows - 8)
    picture.fill(QColor("#808080"))
    painter = QPainter(picture)
    shown = window.bench.stone
    signed = next((p.stone for p in window.bench.progress if p.signature), shown)
    compare = window.docks["Compare"].widget()
    for place, (title, dock) in enumerate(window.docks.items()):
        window.bench.choose(signed if title in ("Object", "Work", "Compare", "Versions") else shown)
        window.show(title)
        dock.setFloating(True)
        dock.resize(width, height)
        if title == "Compare":
            compare.run.click()
            wait(lambda: compare.lamp.count() == 2, 60)
        wait(lambda: False, 1)
        row, column = divmod(place, IN_ROW)
        # A panel that cannot be so narrow is shown smaller, not squeezed.
        seen = dock.grab().scaled(
            width, height, Qt.AspectRatioMode.KeepAspectRatio, Qt.TransformationMode.SmoothTransformation
        )
        painter.drawPixmap(column * (width + 8), row * (height + 8), seen)
    painter.end()
    return picture


def save(picture: QPixmap, name: str) -> None:
    """Save a picture among the images of the docs."""
    picture.save(str(IMAGES / f"{name}.jpg"), "JPEG", 88)


def wait(until: Callable[[], bool], seconds: float) -> None:
    """Let the window work until something is so, at most so long."""
    end = time.monotonic() + seconds
    while not until() and time.monotonic() < end:
        QApplication.processEvents()
        time.sleep(0.01)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else None)

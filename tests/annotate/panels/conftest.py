"""A window on a book with one stone examined."""

import os
import shutil
import sys
from collections.abc import Callable, Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest
from made_up import examination, line

from setstone.annotate.bench import settings
from setstone.annotate.bench.bench import Bench
from setstone.record.book import Book
from setstone.sample_images import sample_stones

_SCREEN = sys.platform in ("win32", "darwin") or any(map(os.environ.get, ("DISPLAY", "WAYLAND_DISPLAY")))
if not _SCREEN:
    # Panels alone need no screen then; without this Qt would end the whole program.
    os.environ["QT_QPA_PLATFORM"] = "offscreen"

if find_spec("pytestqt") is None:

    @pytest.fixture
    def qtbot() -> None:
        """Stand in for the fixture that is missing."""
        pytest.skip("pytest-qt is not installed (pip install setstone[dev-gui])")


@pytest.fixture(autouse=True)
def screen(request: pytest.FixtureRequest) -> None:
    """Skip what needs napari's picture where there is no screen to draw it on."""
    if "make_napari_viewer" in request.fixturenames:
        request.getfixturevalue("on_screen")


@pytest.fixture
def on_screen() -> None:
    """Skip where there is no screen."""
    if not _SCREEN:
        pytest.skip("no screen to open a window on (run under xvfb-run)")


@pytest.fixture(scope="session")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with one stone examined: three lines to judge and a weak one, and another stone without anything."""
    folder = tmp_path_factory.mktemp("window") / "book"
    with Book.create(folder, workshop="Workshop on the Quay") as book:
        box = book.add_object("Presentation snuff box")
        stone = book.add_stone(box, "lid-3", claimed_as="ruby")
        photographs = [
            book.add_photograph(stone, file, occasion=occasion)[0]
            for occasion, file in sample_stones()[0].photographs()
            if occasion == "as received"
        ]
        white, blue = (next(p.sha256 for p in photographs if p.lamp == lamp) for lamp in ("white", "blue"))
        result = examination(line(250, 0.9), line(400, 0.6), line(450, 0.5), line(500, 0.1))
        book.save_examination(stone, result, occasion="as received", white=white, blue=blue, by="Ada")
        book.add_stone(box, "lid-4")
    return folder


@pytest.fixture(autouse=True)
def settings_of_nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the settings of whoever runs the tests as they are."""
    monkeypatch.setattr(settings, "settings_file", lambda: tmp_path / "settings.json")


@pytest.fixture
def book(filled: Path, tmp_path: Path) -> Path:
    """A copy of it."""
    return Path(shutil.copytree(filled, tmp_path / "book"))


@pytest.fixture
def bench(book: Path) -> Iterator[Bench]:
    """A bench on it."""
    made = Bench("Ada")
    made.open(book)
    yield made
    made.close()


@pytest.fixture
def open_window(make_napari_viewer: Callable[..., Any], qtbot: Any) -> Iterator[Callable[..., Any]]:
    """Open a window, on a book or on none, and wait until its photographs are shown."""
    from setstone.annotate.panels.window import furnish

    windows = []

    def opened(book: Path | None, *, show: bool = False) -> Any:
        window = furnish(make_napari_viewer(show=show), None, "Ada")
        windows.append(window)
        if book is not None:
            with qtbot.waitSignal(window.canvas.shown, timeout=10_000):
                window.bench.open(book)
        return window

    yield opened
    while windows:
        windows.pop().close()

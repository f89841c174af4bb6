"""The window as a person finds it."""

import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip(
    "napari.qt", reason="the window is not installed (pip install setstone[dev-gui])", exc_type=ImportError
)

from npe2 import PluginManifest
from qtpy.QtCore import QThreadPool  # noqa: TID251
from qtpy.QtWidgets import (  # noqa: TID251
    QAbstractButton,
    QAbstractItemView,
    QAbstractSlider,
    QAbstractSpinBox,
    QComboBox,
    QHeaderView,
    QLabel,
    QLineEdit,
    QListView,
    QScrollBar,
    QToolBar,
    QWidget,
)

from setstone.annotate.bench.bench import Bench
from setstone.annotate.panels.commands import bindings
from setstone.annotate.panels.window import window_of
from setstone.record.book import Book

_CONTROLS = (
    QAbstractButton,
    QAbstractItemView,
    QAbstractSlider,
    QAbstractSpinBox,
    QComboBox,
    QLineEdit,
)


def test_a_book_is_opened_with_its_first_stone_on_the_canvas(
    book: Path, open_window: Callable[[Path | None], Any]
) -> None:
    window = open_window(book)
    assert window.viewer.title == "book – setstone"
    assert window.bench.stone.position == "lid-3"
    layers = {layer.name: layer for layer in window.viewer.layers}
    assert layers["white light"].visible
    assert str(layers["white light"].units[0]) == "micrometer"
    assert layers["white light"].scale.tolist() == [4.0, 4.0]
    assert len(layers["candidates and findings"].data) == 3


def test_without_a_book_it_says_where_to_begin(open_window: Callable[[Path | None], Any]) -> None:
    window = open_window(None)
    assert not window.docks["Stones"].isHidden()
    assert window.docks["Stones"].widget().start.isVisibleTo(window.docks["Stones"])
    assert not window.viewer.canvas.overlays.scale_bar.visible  # it would tell pixels


def test_a_second_window_is_told(book: Path, open_window: Callable[[Path | None], Any]) -> None:
    first = Bench("Bea")
    first.open(book)
    window = open_window(book)
    assert window.viewer.title.startswith("book – open in another window too: Bea at ")
    window.bench.close()
    assert window.viewer.title == "setstone"
    first.close()


@pytest.mark.parametrize("view", ["white", "blue", "blended"])
def test_one_light_fills_the_room_two_side_by_side_had(
    book: Path, open_window: Callable[[Path | None], Any], view: str, qtbot: Any
) -> None:
    canvas = open_window(book).canvas
    camera = canvas.viewer.scene.camera
    beside = camera.zoom
    canvas.view = view
    fitted = camera.zoom
    assert fitted > beside
    canvas.whole()
    qtbot.waitUntil(lambda: not canvas.flying)
    assert camera.zoom == pytest.approx(fitted)
    canvas.view = "side by side"
    assert camera.zoom == pytest.approx(beside)


def test_each_panel_opens_from_the_menu_of_plugins(
    make_napari_viewer: Callable[..., Any], npe2pm: Any
) -> None:
    manifest = PluginManifest.from_file(str(files("setstone.annotate") / "napari.yaml"))
    viewer = make_napari_viewer()
    with npe2pm.tmp_plugin(manifest=manifest):
        for widget in manifest.contributions.widgets:
            _, panel = viewer.window.add_plugin_dock_widget("setstone", widget.display_name)
            assert isinstance(panel, QWidget)
    window_of(viewer).close()


def test_the_menu_of_plugins_finds_the_panels_that_are_there(
    open_window: Callable[..., Any], npe2pm: Any
) -> None:
    manifest = PluginManifest.from_file(str(files("setstone.annotate") / "napari.yaml"))
    window = open_window(None)
    with npe2pm.tmp_plugin(manifest=manifest):
        for widget in manifest.contributions.widgets:
            dock, _ = window.viewer.window.add_plugin_dock_widget("setstone", widget.display_name)
            assert dock is window.docks[widget.display_name]
            assert dock.windowTitle() == widget.display_name


def test_in_napari_itself_one_panel_brings_the_bar_and_all_commands_and_a_closed_one_comes_back(
    book: Path, make_napari_viewer: Callable[..., Any], npe2pm: Any, qtbot: Any
) -> None:
    manifest = PluginManifest.from_file(str(files("setstone.annotate") / "napari.yaml"))
    viewer = make_napari_viewer()
    with npe2pm.tmp_plugin(manifest=manifest):
        dock, panel = viewer.window.add_plugin_dock_widget("setstone", "Stones")
        window = window_of(viewer)
        qtbot.waitUntil(lambda: "Stones" in window.docks)
        main = panel.window()
        assert [bar for bar in main.findChildren(QToolBar) if bar.objectName() == "setstone bar"]
        with qtbot.waitSignal(window.canvas.shown, timeout=10_000):
            window.bench.open(book)
        for _, _, run in bindings():  # none ends in a fault of the program, whatever is docked
            run(viewer)
        assert window.docks["Stones"].widget() is panel  # not a second one
        window.show("Hand-out")
        viewer.window.remove_dock_widget(window.docks["Hand-out"])  # as napari's cross does
        qtbot.waitUntil(lambda: "Hand-out" not in window.docks)
        window.show("Hand-out")
        assert window.docks["Hand-out"].widget() is not None
        assert dock is window.docks["Stones"]
    window.close()


def test_every_command_of_the_manifest_is_there() -> None:
    manifest = PluginManifest.from_file(str(files("setstone.annotate") / "napari.yaml"))
    manifest.validate_imports()
    keys = [key for key, _, _ in bindings()]
    assert len(keys) == len(set(keys))


def test_the_keyboard_reaches_each_panel(book: Path, open_window: Callable[..., Any], qtbot: Any) -> None:
    window = open_window(book, show=True)
    main = window.docks["Stones"].parent()
    main.activateWindow()
    qtbot.waitUntil(main.isActiveWindow)
    for title, dock in window.docks.items():
        window.show(title)
        qtbot.waitUntil(lambda dock=dock: dock.isAncestorOf(main.focusWidget()))
    window.to_the_picture()
    assert not any(dock.isAncestorOf(main.focusWidget()) for dock in window.docks.values())


def controls(panel: QWidget) -> Iterator[QWidget]:
    """What a person works with; not the parts Qt makes such things of."""
    for widget in (w for w in panel.findChildren(QWidget) if isinstance(w, _CONTROLS)):
        whole = widget.parent()
        part = isinstance(whole, QAbstractItemView | QComboBox | QLineEdit) or widget.objectName().startswith(
            "qt_"
        )
        list_of_a_box = type(whole).__name__ == "QFrame" and isinstance(widget, QListView)
        if not (part or list_of_a_box or isinstance(widget, QScrollBar | QHeaderView)):
            yield widget


def test_every_control_says_what_it_does_and_has_a_name(book: Path, open_window: Callable[..., Any]) -> None:
    """The name is what a screen reader says (WCAG 2.2, success criterion 4.1.2)."""
    window = open_window(book)
    main = window.docks["Stones"].parent()
    (bar,) = (b for b in main.findChildren(QToolBar) if b.objectName() == "setstone bar")
    seen, missing = 0, []
    for panel in (bar, *(dock.widget() for dock in window.docks.values())):
        labelled = {label.buddy() for label in panel.findChildren(QLabel)}
        for control in controls(panel):
            seen += 1
            text = control.text() if isinstance(control, QAbstractButton) else ""
            what = f"{type(panel).__name__}: {type(control).__name__} {control.accessibleName() or text}"
            if not control.toolTip():
                missing.append(f"tooltip of {what}")
            if not (control.accessibleName() or text or control in labelled):
                missing.append(f"name of {what}: {control.toolTip()}")
    assert missing == []
    assert seen > 100


def test_closing_during_an_examination_ends_its_thread_and_harms_nothing(
    book: Path, open_window: Callable[..., Any], qtbot: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    window = open_window(book, show=True)
    main = window.docks["Stones"].parent()
    window.examining.this_stone()
    assert window.examining.running
    main.hide()  # what closing begins with; the rest napari's fixture does
    assert window.bench.book is None
    qtbot.waitUntil(lambda: QThreadPool.globalInstance().activeThreadCount() == 0, timeout=120_000)
    assert capsys.readouterr().err == ""
    with Book.open(book) as again:
        kept = again.examination(again.stone("lid-3"), "as received")
    assert len(kept.candidates) == 4  # of the examination before


OPENED = """
import sys
import napari
from setstone.__main__ import main
from setstone.annotate.bench import settings
from pathlib import Path
from qtpy.QtCore import QTimer

settings.settings_file = lambda: Path(sys.argv[2]).parent / "settings.json"  # nobody's own
shown = napari.run

def run():
    QTimer.singleShot(0, lambda: print("open", flush=True))
    shown()

napari.run = run
main()
"""


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such signals")
@pytest.mark.usefixtures("on_screen")
def test_told_to_end_the_window_ends_and_the_book_is_whole(book: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", OPENED, "open", str(book), "--by", "Ada"], stdout=subprocess.PIPE, text=True
    ) as window:
        assert window.stdout is not None
        assert window.stdout.readline() == "open\n"
        window.terminate()
        window.wait(timeout=30)
    assert window.returncode == -signal.SIGTERM
    with Book.open(book) as again:
        assert again.stones()

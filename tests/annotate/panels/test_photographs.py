"""The panel of photographs: dropped, corrected, and their scale set on the canvas."""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytest.importorskip(
    "napari.qt", reason="the window is not installed (pip install setstone[dev-gui])", exc_type=ImportError
)

from qtpy.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl  # noqa: TID251
from qtpy.QtGui import QDragEnterEvent, QDropEvent  # noqa: TID251
from qtpy.QtWidgets import QApplication, QWidget  # noqa: TID251

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.pixels import Pixels
from setstone.annotate.bench.settings import Settings, keep_settings
from setstone.annotate.panels.photographs import PhotographsPanel
from setstone.annotate.panels.scale_tool import BAR
from setstone.annotate.panels.watching import Watching
from setstone.capture.photograph import Lamp
from setstone.record.book import Book
from setstone.sample_images import sample_stones

LID_5 = sample_stones()[1].folder


@pytest.fixture
def bench(book: Path) -> Iterator[Bench]:
    made = Bench("Ada")
    made.open(book)
    made.choose_by(1)  # lid-4, without a photograph
    yield made
    made.close()


@pytest.fixture
def panel(bench: Bench, qtbot: Any) -> PhotographsPanel:
    made = PhotographsPanel(bench, Pixels())
    qtbot.addWidget(made)
    made.show()
    return made


def drop(on: QWidget, *files: Path) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(file)) for file in files])
    with_what = (Qt.DropAction.CopyAction, data, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier)
    QApplication.sendEvent(on, QDragEnterEvent(QPoint(5, 5), *with_what))
    QApplication.sendEvent(on, QDropEvent(QPointF(5, 5), *with_what))


def test_files_dropped_are_there_with_light_and_occasion(
    panel: PhotographsPanel, bench: Bench, qtbot: Any, tmp_path: Path
) -> None:
    assert "drop the photographs of lid-4" in panel.hint.text()
    bad = tmp_path / "cut.jpg"
    bad.write_bytes((LID_5 / "after_white.jpg").read_bytes()[:500])
    drop(panel, LID_5 / "before_white.jpg", bad, LID_5 / "before_blue.jpg")
    qtbot.waitUntil(lambda: len(panel.rows) == 2 and panel.drop.isEnabled(), timeout=30_000)
    assert [(row.lamp.currentText(), row.occasion.currentText()) for row in panel.rows] == [
        ("white", "as received"),
        ("blue", "as received"),
    ]
    assert panel.problems.text() == (
        "'cut.jpg' is damaged or cut short and cannot be opened; copy it again from the camera."
    )
    assert "do not look into the lamp" in panel.blue.text()
    assert panel.blue.isVisible()
    assert not panel.hint.isVisible()
    assert bad.stat().st_size == 500


def test_a_photograph_of_another_stone_is_refused_and_can_be_moved(
    panel: PhotographsPanel, bench: Bench, qtbot: Any
) -> None:
    drop(panel, sample_stones()[0].folder / "before_white.jpg")  # it is lid-3's
    qtbot.waitUntil(lambda: panel.problems.isVisible(), timeout=30_000)
    assert "as one of Presentation snuff box/lid-3" in panel.problems.text()
    assert panel.rows == []


def test_light_and_occasion_are_corrected_and_back(bench: Bench, qtbot: Any) -> None:
    bench.choose_by(-1)
    panel = PhotographsPanel(bench, Pixels())
    qtbot.addWidget(panel)
    white = panel.rows[0]
    white.lamp.setCurrentIndex(white.lamp.findData(Lamp.OTHER))
    white.lamp.activated.emit(white.lamp.currentIndex())
    assert [p.lamp for p in bench.photographs] == [Lamp.OTHER, Lamp.BLUE]
    bench.undo()
    assert [p.lamp for p in bench.photographs] == [Lamp.WHITE, Lamp.BLUE]
    again = panel.rows[0]
    again.occasion.setCurrentText("before")
    again.occasion.activated.emit(again.occasion.currentIndex())
    assert bench.photographs[0].occasion == "before"


def test_the_scale_is_shown_in_millimetres_with_its_uncertainty(bench: Bench, qtbot: Any) -> None:
    bench.choose_by(-1)
    panel = PhotographsPanel(bench, Pixels())
    qtbot.addWidget(panel)
    assert " mm ± " in panel.rows[0].scale.text()
    assert "px" not in panel.rows[0].scale.text() + panel.rows[0].scale.toolTip()


def test_the_scale_is_set_by_dragging_the_ends_of_the_bar(
    book: Path, open_window: Callable[[Path | None], Any], qtbot: Any
) -> None:
    window = open_window(book)
    panel = window.docks["Photographs"].widget()
    entry = window.bench.photographs[0]
    panel.correct_scale(entry)
    qtbot.waitUntil(lambda: BAR in window.viewer.layers, timeout=30_000)
    layer = window.viewer.layers[BAR]
    assert str(layer.mode) == "direct"
    assert panel.scale.length.text().startswith("500 ")
    found = panel.scale._tool.ends
    layer.data = [np.array([found[0], found[0] + (100.0, 0)])[:, ::-1]]
    panel.scale.length.setText("50")
    assert not panel.scale.take.isEnabled()  # no unit
    panel.scale.length.setText("0,5 mm")
    assert panel.scale.take.isEnabled()
    qtbot.keyClick(panel.scale.length, Qt.Key.Key_Return)
    assert BAR not in window.viewer.layers
    scale = window.bench.photographs[0].scale
    assert scale.um_per_px == pytest.approx(5)
    # Two ends set by hand, 2 px each (JCGM 100:2008, 5.1.2).
    assert scale.relative_u == pytest.approx(2 * 2**0.5 / 100)
    window.bench.undo()


def test_photographs_go_into_the_book_they_were_dropped_on(
    panel: PhotographsPanel, bench: Bench, qtbot: Any, tmp_path: Path
) -> None:
    first = bench.opened.folder
    other = Path(shutil.copytree(first, tmp_path / "other"))  # its stones have the same numbers
    panel.add([LID_5 / "before_white.jpg"])
    bench.open(other)
    qtbot.waitUntil(lambda: not panel.cancel.isVisible(), timeout=30_000)
    stone = bench.opened.stone("lid-4")
    assert bench.opened.photographs(stone) == ()


def test_files_dropped_on_the_picture_go_to_the_chosen_stone(
    book: Path, open_window: Callable[[Path | None], Any], qtbot: Any
) -> None:
    window = open_window(None)
    main = window.docks["Stones"].parent()
    canvas = next(w for w in main.centralWidget().findChildren(QWidget) if w.acceptDrops())
    said: list[str] = []
    window.bench.said.connect(said.append)
    drop(canvas, LID_5 / "before_white.jpg")
    assert "Choose the stone first" in said[0]
    drop(canvas, book)
    assert window.bench.opened.folder == book
    window.bench.choose_by(1)
    drop(canvas, LID_5 / "before_white.jpg")
    qtbot.waitUntil(lambda: len(window.bench.photographs) == 1, timeout=30_000)
    with qtbot.waitSignal(window.canvas.shown, timeout=30_000):
        window.bench.choose_by(-1)


def test_what_the_camera_saves_goes_to_the_stone_chosen(bench: Bench, qtbot: Any, tmp_path: Path) -> None:
    folder = tmp_path / "camera"
    folder.mkdir()
    (folder / "before.jpg").write_bytes((LID_5 / "before_white.jpg").read_bytes())  # there already: not ours
    file = tmp_path / "settings.json"
    keep_settings(Settings(camera_folder=str(folder)), file)
    panel = PhotographsPanel(bench, Pixels(), settings_file=file)
    qtbot.addWidget(panel)
    panel.watch.click()
    assert panel.watch.text() == "Watching"
    qtbot.wait(500)
    (folder / "after.jpg").write_bytes((LID_5 / "after_white.jpg").read_bytes())
    qtbot.waitUntil(lambda: [row.entry.name for row in panel.rows] == ["after.jpg"], timeout=30_000)
    panel.watch.click()
    assert panel.watch.text() == "Watch"
    assert not panel.watching.running


def test_a_watched_folder_that_is_not_there_is_told(qtbot: Any, tmp_path: Path) -> None:
    watching = Watching()
    with qtbot.waitSignal(watching.ended, timeout=10_000) as blocker:
        watching.start(tmp_path / "gone")
    assert "There is no folder" in blocker.args[0]
    assert not watching.running


def test_the_first_photographs_of_a_window_are_shown_whole(
    tmp_path: Path, open_window: Callable[[Path | None], Any], qtbot: Any
) -> None:
    folder = tmp_path / "new"
    with Book.create(folder) as book:
        stone = book.add_stone(book.add_object("Presentation snuff box"), "lid-5")
        for lamp in ("white", "blue"):
            book.add_photograph(stone, LID_5 / f"before_{lamp}.jpg")
    window = open_window(folder)
    width = window.viewer.layers["white light"].data.shape[1]
    box = np.asarray(window.viewer.canvas.viewbox_size(window.viewer.layers), float)
    assert window.viewer.scene.camera.zoom * width < box.max()

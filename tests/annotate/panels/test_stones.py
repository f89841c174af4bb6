"""The panel of the object and its stones, as a person uses it."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip(
    "napari.qt", reason="the window is not installed (pip install setstone[dev-gui])", exc_type=ImportError
)

from qtpy.QtCore import QPoint, Qt  # noqa: TID251

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.pixels import Pixels
from setstone.annotate.bench.settings import read_settings
from setstone.annotate.bench.typed_reading import TypedReading
from setstone.annotate.panels.settings import NewBookDialog, SettingsDialog
from setstone.annotate.panels.stone_list import CLAIM, STATE, STONE
from setstone.annotate.panels.stones import StonesPanel
from setstone.record.progress import Stage


@pytest.fixture
def bench() -> Iterator[Bench]:
    made = Bench("Ada")
    yield made
    made.close()


@pytest.fixture
def panel(bench: Bench, qtbot: Any, tmp_path: Path) -> StonesPanel:
    made = StonesPanel(bench, Pixels(), settings_file=tmp_path / "settings.json")
    qtbot.addWidget(made)
    made.resize(300, 500)
    made.show()
    return made


def rows(panel: StonesPanel) -> list[tuple[str, str]]:
    """Position and state as they are shown."""
    model = panel.table.model()
    return [
        (model.index(row, STONE).data(), model.index(row, STATE).data()) for row in range(model.rowCount())
    ]


def press(qtbot: Any, panel: StonesPanel, key: Qt.Key) -> None:
    panel.table.setFocus()
    qtbot.keyClick(panel.table, key)


def test_without_a_book_it_says_what_to_do_next_and_remembers_books(
    panel: StonesPanel, bench: Bench, book: Path, tmp_path: Path
) -> None:
    assert panel.start.isVisible()
    assert panel.open.isVisible()
    panel.open_book(book)
    assert panel.table.isVisible()
    assert not panel.start.isVisible()
    assert read_settings(tmp_path / "settings.json").recent_books == (book,)
    bench.close()
    assert panel.start.isVisible()
    panel.recent.itemAt(1).widget().click()
    assert bench.opened.folder == book


def test_a_folder_without_a_book_is_refused_in_one_sentence(
    panel: StonesPanel, bench: Bench, tmp_path: Path
) -> None:
    said: list[str] = []
    bench.said.connect(said.append)
    panel.open_book(tmp_path)
    assert len(said) == 1
    assert "holds no book" in said[0]


def test_a_new_book_is_started_and_the_first_stones_added_by_keyboard(
    panel: StonesPanel, bench: Bench, qtbot: Any, tmp_path: Path
) -> None:
    dialog = NewBookDialog("Ada", tmp_path)
    qtbot.addWidget(dialog)
    qtbot.keyClicks(dialog.name, "Presentation snuff box")
    assert dialog.path == tmp_path / "Presentation-snuff-box"
    panel.start_book(dialog)
    assert panel.hint.isVisible()  # what to do next
    qtbot.keyClicks(panel.position, "lid-9")
    qtbot.keyClicks(panel.claim, "ruby")
    qtbot.keyClick(panel.claim, Qt.Key.Key_Return)
    assert rows(panel) == [("lid-9", "no photograph")]
    assert panel.position.text() == "lid-10"  # offered
    qtbot.keyClick(panel.position, Qt.Key.Key_Return)
    assert [p for p, _ in rows(panel)] == ["lid-9", "lid-10"]
    assert bench.stone is not None
    assert bench.stone.full_name == "Presentation snuff box/lid-10"


def test_states_are_told_in_words_and_by_shape(panel: StonesPanel, bench: Bench, book: Path) -> None:
    bench.open(book)
    assert rows(panel) == [("lid-3", "to review (3)"), ("lid-4", "no photograph")]
    icons = [panel.stage.itemIcon(i).pixmap(32).toImage() for i in range(1, panel.stage.count())]
    grey = [icon.convertToFormat(icon.Format.Format_Grayscale8) for icon in icons]
    # Not by colour alone: no two signs are the same in grey.
    assert all(a != b for i, a in enumerate(grey) for b in grey[:i])


def test_one_click_or_an_arrow_key_opens_a_stone(
    panel: StonesPanel, bench: Bench, book: Path, qtbot: Any
) -> None:
    bench.open(book)
    at = panel.table.visualRect(panel.table.model().index(1, STONE)).center()
    qtbot.mouseClick(panel.table.viewport(), Qt.MouseButton.LeftButton, pos=QPoint(at))
    assert bench.stone is not None
    assert bench.stone.position == "lid-4"
    press(qtbot, panel, Qt.Key.Key_Up)
    assert bench.stone.position == "lid-3"
    bench.choose_by(1)  # by another way
    assert panel.table.currentIndex().row() == 1


def test_a_stone_is_removed_by_key_and_comes_back(
    panel: StonesPanel, bench: Bench, book: Path, qtbot: Any
) -> None:
    bench.open(book)
    press(qtbot, panel, Qt.Key.Key_Delete)
    assert [p for p, _ in rows(panel)] == ["lid-4"]
    bench.undo()
    assert rows(panel) == [("lid-3", "to review (3)"), ("lid-4", "no photograph")]


def test_position_and_claim_are_changed_in_place(panel: StonesPanel, bench: Bench, book: Path) -> None:
    bench.open(book)
    model = panel.table.model()
    assert model.setData(model.index(0, STONE), "rim-1")
    assert [p for p, _ in rows(panel)] == ["lid-4", "rim-1"]
    assert model.setData(model.index(1, CLAIM), "garnet")
    bench.undo()
    bench.undo()
    assert [p for p, _ in rows(panel)] == ["lid-3", "lid-4"]
    said: list[str] = []
    bench.said.connect(said.append)
    assert not model.setData(model.index(0, STONE), "LID-4")
    assert "choose another position" in said[0]


def test_the_filter_keeps_the_stone_in_hand(panel: StonesPanel, bench: Bench, book: Path) -> None:
    bench.open(book)
    panel.text.setText("lid-4")
    assert [p for p, _ in rows(panel)] == ["lid-3", "lid-4"]
    bench.choose_by(1)
    panel.text.setText("LID-4")
    assert [p for p, _ in rows(panel)] == ["lid-4"]
    panel.text.clear()
    panel.stage.setCurrentIndex(panel.stage.findData(Stage.TO_REVIEW))
    panel.stage.activated.emit(panel.stage.currentIndex())
    assert [p for p, _ in rows(panel)] == ["lid-3", "lid-4"]
    assert bench.stone is not None
    assert bench.stone.position == "lid-4"


def test_next_and_before_follow_the_list_as_it_is_shown(panel: StonesPanel, bench: Bench, book: Path) -> None:
    bench.open(book)
    for position in ("lid-5", "lid-6", "lid-15"):
        bench.add_stone(position)
    bench.choose(bench.progress[0].stone)
    panel.text.setText("5")
    seen = []
    for _ in range(4):
        panel.choose_by(1)
        assert bench.stone is not None
        seen.append(bench.stone.position)
    assert seen == ["lid-5", "lid-15", "lid-15", "lid-15"]
    panel.choose_by(-1)
    assert bench.stone is not None
    assert bench.stone.position == "lid-5"


def test_stones_are_searched_by_all_the_book_says_of_them(
    panel: StonesPanel, bench: Bench, book: Path, qtbot: Any
) -> None:
    bench.open(book)
    bench.add_remark("old glue at the lower edge")
    bench.enter_reading(TypedReading("refractometer", "1.544-1.553 unset ± 0.002"))  # no ruby
    bench.choose_by(1)
    assert not panel.narrowing.isVisible()
    qtbot.mouseClick(panel.narrow, Qt.MouseButton.LeftButton)
    assert panel.narrowing.isVisible()
    panel.contradicted.setChecked(True)
    assert [p for p, _ in rows(panel)] == ["lid-3", "lid-4"]  # lid-4 is in hand
    assert rows(panel)[0][1].endswith("!")
    assert panel.count.text() == "1 of 2 stones, 0 signed"
    panel.contradicted.setChecked(False)
    panel.species.setText("quartz")
    assert panel.count.text() == "1 of 2 stones, 0 signed"
    panel.species.clear()
    panel.changed.setEditText("2026-1")
    assert "'2026-1' is no time" in panel.count.text()
    panel.changed.setEditText("to 2020-01-01")
    assert panel.count.text() == "0 of 2 stones, 0 signed"
    qtbot.mouseClick(panel.narrow, Qt.MouseButton.LeftButton)
    assert panel.count.text() == "2 stones, 0 signed"
    panel.text.setText("glue edge")
    assert panel.count.text() == "1 of 2 stones, 0 signed"


def test_a_reviewed_stone_can_be_signed_and_the_signature_taken_back(
    panel: StonesPanel, bench: Bench, book: Path
) -> None:
    bench.open(book)
    assert not panel.sign.isEnabled()
    review = bench.review
    assert review is not None
    while review.left:
        review.accept()
    assert rows(panel)[0] == ("lid-3", "reviewed")
    panel.sign.click()
    assert rows(panel)[0] == ("lid-3", "signed")
    panel.sign.click()
    assert rows(panel)[0] == ("lid-3", "reviewed")


def test_thumbnails_come_by_themselves(panel: StonesPanel, bench: Bench, book: Path, qtbot: Any) -> None:
    bench.open(book)
    index = panel.table.model().index(0, STONE)

    def shown() -> bool:
        picture = index.data(Qt.ItemDataRole.DecorationRole).pixmap(32).toImage()
        return bool(picture.pixelColor(picture.width() // 2, picture.height() // 2).alpha())

    qtbot.waitUntil(shown, timeout=10_000)


def test_the_demo_is_made_and_opened(panel: StonesPanel, bench: Bench, qtbot: Any, tmp_path: Path) -> None:
    panel.start_demo(tmp_path / "demo")
    qtbot.waitUntil(lambda: bench.book is not None, timeout=60_000)
    assert rows(panel) == [(f"lid-{n}", "to examine") for n in (3, 5, 8)]


def test_settings_are_kept(qtbot: Any, tmp_path: Path) -> None:
    file = tmp_path / "settings.json"
    dialog = SettingsDialog(file=file)
    qtbot.addWidget(dialog)
    qtbot.keyClicks(dialog.operator, "Ada")
    dialog.books.edit.setText(str(tmp_path))
    dialog.accept()
    assert read_settings(file).by == "Ada"
    assert read_settings(file).new_books == tmp_path

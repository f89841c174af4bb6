"""The panel of the test record."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip(
    "napari.qt", reason="the window is not installed (pip install setstone[gui])", exc_type=ImportError
)

from qtpy.QtCore import Qt  # noqa: TID251

from setstone.annotate.bench.bench import Bench
from setstone.annotate.panels.test_record import TestRecordPanel as Panel


@pytest.fixture
def bench(book: Path) -> Iterator[Bench]:
    made = Bench("Ada")
    made.open(book)
    yield made
    made.close()


@pytest.fixture
def panel(bench: Bench, qtbot: Any) -> Panel:
    made = Panel(bench)
    qtbot.addWidget(made)
    made.show()
    return made


def test_it_says_what_it_understood_while_one_types(panel: Panel, qtbot: Any) -> None:
    qtbot.keyClicks(panel.value, "1,762-1.770")
    assert "two shadow edges, 1.762 and 1.770" in panel.says.text()
    panel.value.setText("1.1")
    assert "check the digits" in panel.says.text()
    panel.value.setText(">1.81")
    assert "over the limit" in panel.says.text()


def test_a_reading_is_entered_by_keyboard(panel: Panel, bench: Bench, qtbot: Any) -> None:
    qtbot.keyClicks(panel.value, "1.762-1.770")
    qtbot.keyClicks(panel.uncertainty, "0.002")
    panel.is_set.setChecked(False)
    qtbot.keyClick(panel.value, Qt.Key.Key_Return)
    assert bench.stone is not None
    (reading,) = bench.opened.readings(bench.stone)
    assert (reading.test, reading.value, reading.uncertainty) == ("refractometer", "1.762-1.770", "0.002")
    assert not reading.stone_is_set
    assert "1.762-1.770 ± 0.002" in panel.there.toPlainText()
    assert panel.value.text() == ""


def test_a_remark_is_entered_and_an_empty_one_refused(panel: Panel, bench: Bench) -> None:
    said: list[str] = []
    bench.said.connect(said.append)
    panel.add_remark.click()
    assert said == ["The remark is empty; give it."]
    panel.remark.setPlainText("old glue <b>at</b> the lower edge")
    panel.add_remark.click()
    assert "old glue <b>at</b> the lower edge" in panel.there.toPlainText()


def test_cautions_stand_beside_the_tests_that_need_them(panel: Panel) -> None:
    panel.test.setCurrentText("fluorescence short wave")
    assert "harms eyes and skin" in panel.caution.text()
    panel.test.setCurrentText("thermal tester")
    assert "neither moissanite nor laboratory-grown diamond" in panel.caution.text()
    panel.test.setCurrentText("body colour")
    assert not panel.caution.isVisible()


def test_without_a_stone_nothing_can_be_entered(panel: Panel, bench: Bench) -> None:
    bench.choose(None)
    assert not panel.widget().isEnabled()
    assert panel.title.text() == "Choose a stone first."

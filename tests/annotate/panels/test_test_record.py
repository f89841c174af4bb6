"""The panel of the test record."""

from typing import Any

import pytest

pytest.importorskip(
    "napari.qt", reason="the window is not installed (pip install setstone[dev-gui])", exc_type=ImportError
)

from qtpy.QtCore import Qt, QUrl  # noqa: TID251
from qtpy.QtWidgets import QInputDialog  # noqa: TID251

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.typed_reading import TypedReading
from setstone.annotate.panels.test_record import TestRecordPanel as Panel
from setstone.record.entries import ReadingEntry


@pytest.fixture
def panel(bench: Bench, qtbot: Any) -> Panel:
    made = Panel(bench)
    qtbot.addWidget(made)
    made.show()
    return made


def readings(bench: Bench) -> tuple[ReadingEntry, ...]:
    assert bench.stone is not None
    return bench.opened.readings(bench.stone)


def test_it_says_what_it_understood_while_one_types(panel: Panel, qtbot: Any) -> None:
    qtbot.keyClicks(panel.value, "1,762-1.770")
    assert "two shadow edges, 1.762 and 1.770" in panel.says.text()
    panel.value.setText("refractometer 1.1")
    assert "check the digits" in panel.says.text()
    panel.value.setText(">1.81")
    assert "over the limit" in panel.says.text()
    panel.value.setText("4,00 unset")
    assert "density 4.00 g/cm³" in panel.says.text()


def test_a_reading_is_entered_by_keyboard(panel: Panel, bench: Bench, qtbot: Any) -> None:
    panel.test.setCurrentText("refractometer")
    qtbot.keyClicks(panel.value, "1.762-1.770 table")
    qtbot.keyClicks(panel.uncertainty, "0.002")
    panel.is_set.setChecked(False)
    qtbot.keyClick(panel.value, Qt.Key.Key_Return)
    (reading,) = readings(bench)
    assert (reading.test, reading.value, reading.uncertainty) == ("refractometer", "1.762-1.770", "0.002")
    assert not reading.stone_is_set
    assert reading.details == {"part": "table"}
    assert "1.762-1.770 ± 0.002" in panel.there.toPlainText()
    assert panel.value.text() == ""


def test_what_the_readings_are_consistent_with_is_shown(panel: Panel, bench: Bench, qtbot: Any) -> None:
    # Corundum, 1.762 to 1.770: Gemological tables, as cited in record/evidence/materials.csv.
    bench.enter_reading(TypedReading("refractometer", "1.762-1.770 unset ± 0.002"))
    qtbot.waitUntil(lambda: "Consistent with" in panel.there.toPlainText(), timeout=30_000)
    text = panel.there.toPlainText()
    assert "Corundum" in text
    assert "natural or laboratory-grown" in text
    assert "What to test next" in text
    assert "Not a laboratory report" in text


def test_a_reading_is_corrected_and_withdrawn(
    panel: Panel, bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.enter_reading(TypedReading("thermal tester", "high check 2/8"))
    (first,) = readings(bench)
    panel.there.anchorClicked.emit(QUrl(f"correct:{first.id}"))
    assert (panel.value.text(), panel.check.text()) == ("high", "2/8")
    panel.value.setText("low")
    panel.enter.click()
    (second,) = readings(bench)
    assert second.value == "low"
    monkeypatch.setattr(QInputDialog, "getText", lambda *_: ("touched the claw", True))
    panel.there.anchorClicked.emit(QUrl(f"withdraw:{second.id}"))
    assert readings(bench) == ()


def test_a_check_is_typed_once_a_day_for_each_instrument(panel: Panel, bench: Bench) -> None:
    panel.test.setCurrentText("polariscope")
    assert panel.check.isHidden()  # it has none
    panel.test.setCurrentText("thermal tester")
    panel.value.setText("7.5 # wiped first")
    assert "no calibration check" in panel.says.text()
    panel.check.setText("2/8")
    assert "the calibration check was in order" in panel.says.text()
    panel.enter.click()
    panel.test.setCurrentText("")
    panel.value.setText("1.762-1.770")
    assert not panel.check.isHidden()  # told by the reading to be a refractometer's
    assert panel.check.text() == ""
    panel.check.setText("1.517/1.516")
    panel.enter.click()
    panel.test.setCurrentText("thermal tester")
    assert panel.check.text() == "2/8"
    thermal, index = readings(bench)
    assert (thermal.details["check"], thermal.remark) == ({"simulant": "2", "diamond": "8"}, "wiped first")
    assert index.details["check"]["read"] == "1.516"


def test_what_is_not_understood_is_told_and_not_kept(panel: Panel, bench: Bench) -> None:
    said: list[str] = []
    bench.said.connect(said.append)
    panel.test.setCurrentText("refractometer")
    panel.value.setText("about two")
    panel.enter.click()
    assert "is no refractometer reading" in said[0]
    assert readings(bench) == ()
    assert panel.value.text() == "about two"


def test_a_remark_is_entered_and_an_empty_one_refused(panel: Panel, bench: Bench) -> None:
    said: list[str] = []
    bench.said.connect(said.append)
    panel.add_remark.click()
    assert said == ["The remark is empty; give it."]
    panel.remark.setText("old glue <b>at</b> the lower edge")
    panel.add_remark.click()
    assert "old glue <b>at</b> the lower edge" in panel.there.toPlainText()


def test_cautions_stand_beside_the_tests_that_need_them(panel: Panel) -> None:
    panel.test.setCurrentText("fluorescence short wave")
    assert "burns eyes and skin" in panel.caution.text()
    panel.test.setCurrentText("thermal tester")
    assert "neither from moissanite nor from laboratory-grown diamond" in panel.caution.text()
    panel.test.setCurrentText("body colour")
    assert not panel.caution.isVisible()


def test_without_a_stone_nothing_can_be_entered(panel: Panel, bench: Bench) -> None:
    bench.choose(None)
    assert not panel.widget().isEnabled()
    assert panel.title.text() == "Choose a stone first."

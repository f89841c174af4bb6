"""Optical setups in the window: named, calibrated by a drawn micrometer, told of photographs, compared over time."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("napari.qt", reason="needs napari and a Qt binding", exc_type=ImportError)

from PIL import Image
from ruled import ruled

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.calibrating import calibration_doubts
from setstone.annotate.panels.lines_seen import LinesDialog
from setstone.annotate.panels.setups import NewSetupDialog, SetupsPanel

PERIOD = 11.0


@pytest.fixture
def panel(bench: Bench, qtbot: Any) -> SetupsPanel:
    made = SetupsPanel(bench)
    qtbot.addWidget(made)
    made.show()
    return made


def micrometer(folder: Path, bench: Bench, *, angle: float = 12.0, period: float = PERIOD) -> Path:
    """A micrometer in the size of the stone's photographs."""
    width, height = bench.photographs[0].width, bench.photographs[0].height
    file = folder / f"m{angle:g}-{period:g}.png"
    Image.fromarray(ruled(period, angle, lines=40, size=max(width, height))[:height, :width]).save(file)
    return file


def test_named_calibrated_and_used(bench: Bench, panel: SetupsPanel, qtbot: Any, tmp_path: Path) -> None:
    assert "Name yours" in panel.says.text()
    assert not panel.calibrate.isEnabled()
    dialog = NewSetupDialog()
    dialog.name.setText("60x")
    dialog.objective.setText("1x")
    dialog.aperture.setValue(0.08)
    panel.add(dialog)
    assert panel.setup.currentText() == "60x"
    assert "objective 1x, aperture 0.08" in panel.says.text()
    panel.certificate.setText("1 µm in 1 mm")
    panel.calibrate_by([micrometer(tmp_path, bench), micrometer(tmp_path, bench, angle=100)])
    qtbot.waitUntil(lambda: "0.909" in panel.says.text(), timeout=60_000)
    assert "Width over height of a pixel" in panel.says.text()
    assert "Over the field" in panel.says.text()
    assert panel.plot.isHidden()  # one calibration is no comparison
    assert "0 of 2 photographs of lid-3" in panel.of_stone.text()
    panel.use.click()
    assert "2 of 2" in panel.of_stone.text()
    assert {p.setup_id for p in bench.photographs} == {bench.opened.setup("60x").id}
    bench.undo()
    bench.undo()
    assert "0 of 2" in panel.of_stone.text()
    panel.use.click()
    panel.leave.click()
    assert {p.setup_id for p in bench.photographs} == {None}


def test_the_lines_counted_are_seen(bench: Bench, panel: SetupsPanel, qtbot: Any, tmp_path: Path) -> None:
    assert not panel.lines.isEnabled()
    setup = bench.opened.add_setup("60x")
    files = [micrometer(tmp_path, bench), micrometer(tmp_path, bench, angle=100)]
    bench.opened.calibrate_setup(setup, files, division_um=10, by="Ada")
    bench.photographs_changed.emit()
    panel.lines.click()
    qtbot.waitUntil(lambda: panel.findChild(LinesDialog) is not None, timeout=60_000)
    dialog = panel.findChild(LinesDialog)
    assert "m12-11.png: 3" in dialog.words.text()  # of 40 lines, those at the ends are left out
    assert "lines counted" in dialog.words.text()
    dialog.next.click()
    assert "m100-11.png" in dialog.words.text()


def test_over_time_old_and_changed(bench: Bench, panel: SetupsPanel, tmp_path: Path, qtbot: Any) -> None:
    setup = bench.opened.add_setup("60x")
    for year, period in ((2023, PERIOD), (2024, 1.01 * PERIOD)):
        bench.opened.calibrate_setup(
            setup,
            [micrometer(tmp_path, bench, period=period)],
            division_um=10,
            certificate="0.01 %",
            made=datetime(year, 1, 10, tzinfo=UTC),
            by="Ada",
        )
    bench.photographs_changed.emit()
    assert not panel.plot.isHidden()
    panel.plot.grab()
    assert "days old, the limit is 365" in panel.doubts.text()
    assert "changed by -0.99%" in panel.doubts.text()
    known = bench.opened.calibrations(setup)
    fresh = calibration_doubts(setup, known[:1], datetime(2023, 2, 1, tzinfo=UTC))
    assert not any("days old" in text for text in fresh)


def test_a_picture_without_micrometer_gets_a_sentence(bench: Bench, panel: SetupsPanel, qtbot: Any) -> None:
    bench.opened.add_setup("60x")
    bench.photographs_changed.emit()
    said: list[str] = []
    bench.said.connect(said.append)
    panel.calibrate_by([bench.photographs[0].path])
    qtbot.waitUntil(lambda: bool(said), timeout=60_000)
    assert "No micrometer" in said[0]
    panel.division.setText("ten")
    qtbot.waitUntil(panel.calibrate.isEnabled, timeout=10_000)
    panel.calibrate_by([bench.photographs[0].path])
    qtbot.waitUntil(lambda: len(said) == 2, timeout=60_000)
    assert "no length with a unit" in said[1]

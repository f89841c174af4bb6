"""Combining photographs in the window, and whether they are fit, at a glance."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytest.importorskip("napari.qt", reason="needs napari and a Qt binding", exc_type=ImportError)

from PIL import Image
from qtpy.QtCore import Qt  # noqa: TID251

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.pixels import Pixels
from setstone.annotate.panels.photographs import PhotographsPanel
from setstone.capture.photograph import Lamp
from setstone.sample_images import sample_stones


@pytest.fixture
def bench(book: Path, tmp_path: Path) -> Iterator[Bench]:
    """A bench at lid-4, photographed three times alike."""
    made = Bench("Ada")
    made.open(book)
    made.choose_by(1)
    pixels = np.asarray(Image.open(sample_stones()[0].folder / "before_white.jpg").convert("RGB"))[
        300:900, 300:900
    ]
    assert made.stone is not None
    for number in range(3):
        file = tmp_path / f"w{number}.png"
        Image.fromarray(np.roll(pixels, number, axis=1)).save(file)
        made.opened.add_photograph(made.stone, file, occasion="before", lamp=Lamp.WHITE)
    made.choose(made.stone, "before")
    yield made
    made.close()


@pytest.fixture
def panel(bench: Bench, qtbot: Any) -> PhotographsPanel:
    made = PhotographsPanel(bench, Pixels())
    qtbot.addWidget(made)
    made.show()
    return made


def test_repeats_become_one_photograph_and_it_can_be_taken_out(
    panel: PhotographsPanel, bench: Bench, qtbot: Any
) -> None:
    panel.combine.click()
    dialog = panel.combining
    assert [e.name for e in dialog.chosen.entries] == ["w0.png", "w1.png", "w2.png"]
    dialog.which.item(2).setCheckState(Qt.CheckState.Unchecked)
    assert dialog.make.isEnabled()
    dialog.which.item(1).setCheckState(Qt.CheckState.Unchecked)
    assert not dialog.make.isEnabled()  # of one alone nothing is made
    dialog.which.item(1).setCheckState(Qt.CheckState.Checked)
    dialog.make.click()
    qtbot.waitUntil(lambda: len(bench.photographs) == 4 and not dialog.isVisible(), timeout=30_000)
    assert bench.photographs[-1].format == "OME-TIFF"
    bench.undo()
    assert [p.name for p in bench.photographs] == ["w0.png", "w1.png", "w2.png"]


def test_a_stack_takes_step_and_table(panel: PhotographsPanel) -> None:
    panel.combine.click()
    dialog = panel.combining
    dialog.way.setCurrentText("stack through the focus")
    assert dialog.stack.isVisible()
    assert (dialog.chosen.step_um, dialog.chosen.table_frame) == (None, None)
    dialog.step.setValue(50)
    dialog.direction.setCurrentText("up")
    dialog.table.setValue(2)
    assert (dialog.chosen.step_um, dialog.chosen.table_frame) == (-50, 2)
    dialog.reject()
    assert not dialog.isVisible()


def test_each_photograph_says_whether_it_is_fit(panel: PhotographsPanel, qtbot: Any) -> None:
    qtbot.waitUntil(lambda: all("judged" not in row.verdict.text() for row in panel.rows), timeout=30_000)
    assert {row.verdict.text()[0] for row in panel.rows} <= set("✓!✕")

"""The whole job as a person does it: a new book, two photographs, examination, review, reading, hand-out."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytest.importorskip(
    "napari.qt", reason="the window is not installed (pip install setstone[dev-gui])", exc_type=ImportError
)

from hand import Hand
from qtpy.QtCore import QMimeData, QPointF, Qt, QUrl  # noqa: TID251
from qtpy.QtGui import QDropEvent  # noqa: TID251
from qtpy.QtWidgets import QWidget  # noqa: TID251

from setstone.annotate.panels.settings import NewBookDialog
from setstone.sample_images import sample_stones

#: An examination takes some ten seconds; a machine that does other things too takes longer.
_PATIENCE_MS = 240_000


def drop(panel: QWidget, files: list[Path]) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(f)) for f in files])
    action, button = Qt.DropAction.CopyAction, Qt.MouseButton.LeftButton
    panel.dropEvent(QDropEvent(QPointF(5, 5), action, data, button, Qt.KeyboardModifier.NoModifier))


def test_the_whole_job(
    open_window: Callable[..., Any], tmp_path: Path, qtbot: Any, capfd: pytest.CaptureFixture[str]
) -> None:
    window = open_window(None, show=True)
    bench = window.bench
    hand = Hand(window)

    # A new book with a stone.
    stones = window.docks["Stones"].widget()
    dialog = NewBookDialog(bench.by, tmp_path)
    qtbot.addWidget(dialog)
    qtbot.keyClicks(dialog.name, "Presentation snuff box")
    qtbot.keyClicks(dialog.workshop, "Workshop on the Quay")
    stones.start_book(dialog)
    folder = dialog.path
    assert folder.is_dir()
    qtbot.keyClicks(stones.position, "lid-3")
    qtbot.keyClicks(stones.claim, "ruby")
    qtbot.keyClick(stones.claim, Qt.Key.Key_Return)
    assert bench.stone.full_name == "Presentation snuff box/lid-3"

    # Two photographs are dropped.
    files = [file for occasion, file in sample_stones()[0].photographs() if occasion == "as received"]
    with qtbot.waitSignal(window.canvas.shown, timeout=_PATIENCE_MS):
        drop(window.docks["Photographs"].widget(), files)
        qtbot.waitUntil(lambda: len(bench.photographs) == 2, timeout=_PATIENCE_MS)
    assert {str(p.lamp) for p in bench.photographs} == {"white", "blue"}

    # Examined; the window stays alive meanwhile.
    hand.key(Qt.Key.Key_F5)
    assert window.examining.running
    qtbot.waitUntil(lambda: not window.examining.running, timeout=_PATIENCE_MS)
    review = bench.review
    assert review.left > 3
    measured = review.entry.result.diameters.mean.value
    assert measured == pytest.approx(2.92, rel=0.02)  # the truth of the computed stone

    # The outline is moved and made larger by its corner.
    window.canvas.view = "blended"
    window.canvas.whole()
    qtbot.waitUntil(lambda: not window.canvas.flying)
    hand.key(Qt.Key.Key_E)
    corners = np.array(window.canvas.layers["girdle"].data[0])[:, ::-1]
    centre = corners.mean(axis=0)
    hand.drag(hand.at(*centre), hand.at(*(centre + np.array([20, 10]))))
    qtbot.waitUntil(lambda: review.entry.outline_redrawn)
    moved = np.array(window.canvas.layers["girdle"].data[0])[:, ::-1].mean(axis=0) - centre
    assert moved == pytest.approx([20, 10], abs=6)  # four pixels of the screen
    hand.key(Qt.Key.Key_Escape)

    # Two are accepted, one rejected.
    first = [c.number for c in review.queue[:3]]
    hand.key(Qt.Key.Key_G)
    hand.key(Qt.Key.Key_G)
    hand.key(Qt.Key.Key_Q)
    decided = {c.number: str(c.decision.verdict) for c in review.queue if c.decision is not None}
    assert decided == dict(zip(first, ("accepted", "accepted", "rejected"), strict=True))

    # One is drawn, taken back, and drawn again.
    window.canvas.whole()
    qtbot.waitUntil(lambda: not window.canvas.flying)
    hand.key(Qt.Key.Key_W)
    hand.draw(hand.at(450, 450), hand.at(500, 470), hand.at(520, 520))
    qtbot.waitUntil(lambda: any(c.origin == "hand" for c in review.queue))
    (drawn,) = (c for c in review.queue if c.origin == "hand")
    assert drawn.candidate.path[[0, -1]] == pytest.approx(np.array([[450, 450], [520, 520]]), abs=4)
    hand.key(Qt.Key.Key_Z, modifiers=Qt.KeyboardModifier.ControlModifier)
    assert not any(c.origin == "hand" for c in review.queue)
    hand.key(Qt.Key.Key_Z, modifiers=Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.ShiftModifier)
    assert any(c.origin == "hand" for c in review.queue)

    # A reading, and the hand-out.
    record = window.docks["Test record"].widget()
    qtbot.keyClicks(record.value, "1.762-1.770")
    qtbot.keyClicks(record.uncertainty, "0.002")
    qtbot.keyClick(record.uncertainty, Qt.Key.Key_Return)
    sheet = tmp_path / "hand-out.html"
    hand_out = window.docks["Hand-out"].widget()
    hand_out.write_to(sheet)
    qtbot.waitUntil(sheet.exists, timeout=_PATIENCE_MS)
    assert "1.762-1.770" in sheet.read_text(encoding="utf-8")

    # Closed and opened again: everything is there, and seen.
    window.close()
    again = open_window(folder, show=True)
    book, stone, entry = again.bench.opened, again.bench.stone, again.bench.review.entry
    assert stone.full_name == "Presentation snuff box/lid-3"
    assert entry.outline_redrawn
    verdicts = [str(c.decision.verdict) for c in entry.candidates if c.decision is not None]
    assert sorted(verdicts) == ["accepted", "accepted", "accepted", "rejected"]
    assert len(again.bench.photographs) == 2
    assert "1.762-1.770" in again.docks["Test record"].widget().there.toPlainText()
    assert (
        again.docks["Review"].widget().count.text().startswith(f"<b>{again.bench.review.left} left to judge")
    )
    assert again.docks["Examination"].widget().mean.text() == str(entry.result.diameters.mean)
    assert len(again.canvas.layers["candidates and findings"].data) == len(again.bench.review.queue)
    assert {e.by for e in book.journal(stone) if e.action != "add photograph"} == {"Ada"}
    assert capfd.readouterr().err == ""

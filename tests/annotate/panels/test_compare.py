"""The panel Compare: both days of a stone in one picture, and what changed in a list that leads to it."""

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytest.importorskip(
    "napari.qt", reason="the window is not installed (pip install setstone[dev-gui])", exc_type=ImportError
)

from qtpy.QtCore import QPoint, Qt, QUrl  # noqa: TID251

from setstone.annotate.bench.comparing import VIEWS, Compared, compare
from setstone.annotate.panels import compare as panel_module
from setstone.annotate.panels.compare import ComparePanel

Open = Callable[..., Any]


@pytest.fixture(scope="module")
def done() -> list[Compared]:
    """What the first window finds out: the others have the same book."""
    return []


@pytest.fixture
def compared(
    two_days: Path,
    tmp_path: Path,
    open_window: Open,
    qtbot: Any,
    done: list[Compared],
    monkeypatch: pytest.MonkeyPatch,
) -> ComparePanel:
    """The panel, with the comparison done."""

    def once(*asked: Any) -> Compared:
        if not done:
            done.append(compare(*asked))
        return done[0]

    monkeypatch.setattr(panel_module, "compare", once)
    window = open_window(shutil.copytree(two_days, tmp_path / "two days"), show=True)
    window.show("Compare")
    (panel,) = window.docks["Compare"].findChildren(ComparePanel)
    panel.run.click()
    qtbot.waitUntil(lambda: panel.lamp.count() == 2, timeout=60_000)
    return panel


def test_new_fissures_come_first_and_a_link_leads_to_each(compared: ComparePanel, qtbot: Any) -> None:
    text = compared.page.toPlainText()
    assert text.startswith("Possible damage")  # the sample stone has new fissures after the work (its README)
    assert "as received" in text
    assert "µm (root mean square)" in text
    assert "Same stone? – strongly consistent with the same stone" in text
    assert "yellowness index (ASTM E313)" in text
    whole = compared.pictures.grab().toImage()
    compared.page.anchorClicked.emit(QUrl("fly:0"))
    assert compared.pictures.grab().toImage() != whole


def test_each_view_shows_both_days(compared: ComparePanel, qtbot: Any) -> None:
    pictures = compared.pictures
    pictures.marks_seen = False
    seen = []
    for at, view in enumerate(VIEWS):
        compared.view.setCurrentIndex(at)
        compared.view.activated.emit(at)
        assert pictures.view == view
        seen.append(pictures.grab().toImage())
    assert all(a != b for i, a in enumerate(seen) for b in seen[:i])
    compared.view.activated.emit(VIEWS.index("blink"))
    first = pictures.grab().toImage()
    qtbot.waitUntil(lambda: pictures.grab().toImage() != first, timeout=3000)


def test_the_divider_is_dragged_or_moved_by_key(compared: ComparePanel, qtbot: Any) -> None:
    pictures = compared.pictures
    middle = QPoint(pictures.width() // 2, pictures.height() // 3)
    qtbot.mousePress(pictures, Qt.MouseButton.LeftButton, pos=middle)
    qtbot.mouseMove(pictures, QPoint(pictures.width() // 4, middle.y()))
    qtbot.mouseRelease(pictures, Qt.MouseButton.LeftButton, pos=QPoint(pictures.width() // 4, middle.y()))
    assert pictures.divider == pytest.approx(0.25, abs=0.02)
    qtbot.keyClick(pictures, Qt.Key.Key_Right)
    assert pictures.divider == pytest.approx(0.27, abs=0.02)


def test_both_sides_move_and_grow_together(compared: ComparePanel, qtbot: Any) -> None:
    pictures = compared.pictures
    pictures.view = "side by side"
    pictures.marks_seen = False
    for _ in range(6):
        qtbot.keyClick(pictures, Qt.Key.Key_Plus)
    qtbot.keyClick(pictures, Qt.Key.Key_Down, modifier=Qt.KeyboardModifier.ShiftModifier)
    image = pictures.grab().toImage().convertToFormat(pictures.grab().toImage().Format.Format_RGB888)
    raw = np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), image.bytesPerLine())
    drawn = raw[:, : 3 * image.width()].reshape(image.height(), image.width(), 3).mean(-1)
    half = image.width() // 2
    rows = slice(image.height() // 4, 3 * image.height() // 4)
    left, right = drawn[rows, : half - 1], drawn[rows, image.width() - half + 1 :]
    assert np.corrcoef(left.ravel(), right.ravel())[0, 1] > 0.5
    assert np.corrcoef(left[:-40].ravel(), right[40:].ravel())[0, 1] < 0.5  # and not where they do not belong


def test_one_occasion_is_told_what_to_do(book: Path, open_window: Open) -> None:
    window = open_window(book, show=True)
    window.show("Compare")
    (panel,) = window.docks["Compare"].findChildren(ComparePanel)
    assert not panel.run.isEnabled()
    assert panel.page.toPlainText().startswith("Photograph and examine the stone on two occasions")


def test_keys_choose_the_view_and_go_from_mark_to_mark(compared: ComparePanel, qtbot: Any) -> None:
    pictures = compared.pictures
    for key, view in zip("1234", VIEWS, strict=True):
        qtbot.keyClick(pictures, key)
        assert pictures.view == compared.view.currentText() == view
    with qtbot.waitSignals(
        [pictures.clicked] * 3, check_params_cbs=[lambda at, n=n: at == n for n in (0, 1, 0)]
    ):
        for key in (Qt.Key.Key_PageDown, Qt.Key.Key_PageDown, Qt.Key.Key_PageUp):
            qtbot.keyClick(pictures, key)


def test_what_is_kept_is_raised_in_the_review(compared: ComparePanel, open_window: Open) -> None:
    bench = compared._bench
    assert bench.book is not None
    assert bench.stone is not None
    bench.choose(bench.stone, "after")
    compared.keep.click()
    (kept,) = bench.book.comparisons(bench.stone)
    assert not compared.keep.isEnabled()
    assert f"Kept in the book by {kept.by}" in compared.page.toPlainText()
    assert bench.review is not None
    assert bench.review.current is not None
    first = bench.review.differing[bench.review.current.number]
    assert first.says == "only after the work: possible damage"


def test_the_book_is_searched_for_the_stone_in_photographs(compared: ComparePanel, qtbot: Any) -> None:
    book = compared._bench.opened
    files = [p.path for p in book.photographs(book.stones()[0], occasion="after")]
    compared.search(book, files)
    qtbot.waitUntil(lambda: "The photographs are most like" in compared.page.toPlainText(), timeout=120_000)
    text = compared.page.toPlainText()
    assert text.index("lid-5 (after): strongly consistent with the same stone") < text.index(
        "Possible damage"
    )
    assert "This is no proof" in text

"""The review panel and the tools: what is pressed and drawn is in the book at once."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from made_up import comparison
from numpy.typing import NDArray

pytest.importorskip(
    "napari.qt", reason="the window is not installed (pip install setstone[dev-gui])", exc_type=ImportError
)

from qtpy.QtGui import QKeySequence, QShortcut  # noqa: TID251
from qtpy.QtWidgets import QPushButton  # noqa: TID251

from setstone.annotate.bench.guide import next_step
from setstone.annotate.panels.layers import CANDIDATES, DRAWING, GIRDLE, MARKS, MEASURING, beside
from setstone.annotate.panels.marks import INKS, LOOKED_AT
from setstone.annotate.panels.review import ReviewPanel
from setstone.measure.changes import Where
from setstone.record.book import Book
from setstone.record.entries import ExaminationEntry

Open = Callable[[Path | None], Any]


def press(window: Any, key: str) -> None:
    """What the key does, whether or not the virtual screen gives the window the keyboard."""
    shortcuts = window.docks["Review"].parent().findChildren(QShortcut)
    (found,) = (s for s in shortcuts if s.key() == QKeySequence(key))
    found.activated.emit()


def kept(book: Path) -> ExaminationEntry:
    """The examination as the book has it, read anew."""
    with Book.open(book) as again:
        return again.examination(again.stones()[0])


def decisions(book: Path) -> dict[int, str]:
    return {c.number: str(c.decision.verdict) for c in kept(book).candidates if c.decision is not None}


def panel(window: Any) -> ReviewPanel:
    (found,) = window.docks["Review"].findChildren(ReviewPanel)
    assert isinstance(found, ReviewPanel)
    return found


def test_keys_accept_reject_and_take_back(book: Path, open_window: Open) -> None:
    window = open_window(book)
    review = panel(window)
    assert review.count.text().startswith("<b>3 left to judge</b>, number 1 of 3")
    press(window, "G")
    press(window, "Q")
    assert decisions(book) == {1: "accepted", 2: "rejected"}
    assert review.count.text().startswith("<b>1 left to judge</b>, number 3 of 3")
    press(window, "Ctrl+Z")
    assert decisions(book) == {1: "accepted"}
    press(window, "Ctrl+Shift+Z")
    press(window, "U")
    press(window, "K")
    assert review.kind.currentText() == "feather"
    press(window, "Backspace")
    assert window.bench.review.current.decision is None


def click(window: Any, at: NDArray[np.float64]) -> None:
    """Click on the picture, at a point x, y in pixels of the reference photograph."""
    viewer = window.viewer
    viewer.cursor.position = tuple(at[::-1] * window.canvas.um_per_px)
    (pick,) = (c for c in viewer.mouse_drag_callbacks if getattr(c, "__self__", None) is window.tools)
    event = SimpleNamespace(type="mouse_press")
    pressed = pick(viewer, event)
    next(pressed)
    event.type = "mouse_release"
    next(pressed, None)


def test_the_button_splits_a_line_where_the_picture_is_clicked_next(book: Path, open_window: Open) -> None:
    window = open_window(book)
    line = next(c for c in window.bench.review.queue if c.candidate.kind == "line")
    window.bench.review.go_to(line.number)
    (split,) = (b for b in panel(window).findChildren(QPushButton) if b.text().startswith("Split"))
    split.click()
    assert "Click the place" in window.viewer.help
    assert len(kept(book).candidates) == 4
    press(window, "Escape")
    click(window, line.candidate.path[1])  # put down: it only chooses
    assert len(kept(book).candidates) == 4
    split.click()
    click(window, line.candidate.path[1])
    assert len(kept(book).candidates) == 6
    assert decisions(book)[line.number] == "rejected"


def test_the_threshold_shows_more_candidates_at_once(book: Path, open_window: Open) -> None:
    window = open_window(book)
    review = panel(window)
    review.threshold.setValue(5)
    assert "of 4 shown" in review.count.text()
    window.canvas.draw_marks()
    assert len(window.canvas.layers[CANDIDATES].data) == 4
    for _ in range(20):
        press(window, ".")
    assert review.count.text() == "<b>No candidates</b> at this threshold"
    press(window, "G")  # says that there is none, and nothing else


def test_a_missed_line_is_drawn_taken_back_and_drawn_again(book: Path, open_window: Open, qtbot: Any) -> None:
    window = open_window(book)
    press(window, "W")
    layer = window.canvas.layers[DRAWING]
    assert layer.mode == "add_polyline"
    layer.add(np.array([[300.0, 310.0], [320.0, 330.0], [320.0, 360.0]]), shape_type="path")
    qtbot.waitUntil(lambda: len(kept(book).candidates) == 5)
    drawn = kept(book).candidates[-1]
    assert drawn.is_finding
    # Three points on a grid of 4 µm: 20·√2 + 30 pixels.
    assert drawn.candidate.sizes["length"].value == pytest.approx((20 * 2**0.5 + 30) * 4 / 1000)
    assert len(layer.data) == 0
    press(window, "Ctrl+Z")
    assert decisions(book)[5] == "rejected"
    press(window, "Ctrl+Shift+Z")
    assert decisions(book)[5] == "accepted"


def test_a_moved_outline_changes_the_diameter_while_it_moves(
    book: Path, open_window: Open, qtbot: Any
) -> None:
    window = open_window(book)
    press(window, "E")
    layer = window.canvas.layers[GIRDLE]
    told: list[str] = []
    window.tools.dragging.connect(lambda _, words: told.append(words))
    before = kept(book).result.diameters
    assert before is not None
    corners = np.array(layer.data[0])
    centre = corners.mean(axis=0)
    with window.canvas.layers.drawing():
        layer.data = [(centre + 1.1 * (corners - centre), "ellipse")]
        layer.selected_data = {0}
    drag = window.tools.while_dragging(layer, type("Event", (), {"type": "mouse_move"}))
    next(drag)
    next(drag)
    drag.close()
    layer.events.data(value=layer.data, action="changed", data_indices=(0,), vertex_indices=((),))
    qtbot.waitUntil(lambda: kept(book).outline_redrawn)
    after = kept(book).result.diameters
    assert after is not None
    assert after.mean.value == pytest.approx(1.1 * before.mean.value, rel=2e-3)
    assert told[-1].splitlines()[0] == str(after.mean)
    press(window, "Ctrl+Z")
    undone = kept(book).result.diameters
    assert undone is not None
    assert undone.mean.value == pytest.approx(before.mean.value)


def test_a_distance_is_told_in_millimetres(book: Path, open_window: Open) -> None:
    window = open_window(book)
    told: list[str] = []
    window.tools.dragging.connect(lambda what, words: told.append(f"{what} {words}"))
    press(window, "9")
    window.canvas.layers[MEASURING].add(np.array([[100.0, 100.0], [100.0, 350.0]]), shape_type="line")
    assert told[-1].startswith("distance 1.000 mm ±")


def test_marks_can_be_hidden_and_are_shown_beside_too(book: Path, open_window: Open) -> None:
    window = open_window(book)
    layers = window.canvas.layers
    assert layers[beside(MARKS)].visible
    assert len(layers[CANDIDATES].data) == 3
    for here, there in zip(layers[MARKS].data, layers[beside(MARKS)].data, strict=True):
        assert len(here) > 100
        assert np.array_equal(here, there)
    press(window, "M")
    assert not layers[MARKS].visible
    assert not layers[beside(MARKS)].visible
    press(window, "M")
    window.canvas.view = "blended"
    assert layers[MARKS].visible
    assert not layers[beside(MARKS)].visible


def test_dashes_mark_the_end_a_line_has_grown_by(book: Path, open_window: Open) -> None:
    window = open_window(book)
    bench = window.bench
    stone, opened = bench.required_stone, bench.opened
    after = opened.examination(stone)
    before = opened.save_examination(
        stone, after.result, occasion="on arrival", white=None, blue=None, by="Ada"
    )
    bench.keep_comparison(comparison(before, after, Where.BOTH, Where.LONGER))
    path = after.candidates[1].candidate.path
    first, second = bench.review.entry.candidates[:2]
    assert bench.review.new_end(first) is None
    assert bench.review.new_end(replace(second, first_drawn=second.candidate)) is None  # drawn again since
    assert bench.review.new_end(second) == pytest.approx(np.stack([path.mean(axis=0), path[-1]]), abs=0.05)
    window.canvas.draw_marks()
    # The ring around what is looked at is twice as far from the line.
    vertices, _, inks = window.canvas.layers[MARKS].data
    drawn = vertices[inks == INKS.index(LOOKED_AT) + 0.5][:, ::-1]
    near = [np.hypot(*(drawn - at).T).min() / window.canvas.unit for at in (path[0], path[-1])]
    assert near[1] < 5.5 < near[0]


def test_what_can_be_dragged_is_shown_as_long_as_it_is_in_hand(book: Path, open_window: Open) -> None:
    window = open_window(book)
    layers = window.canvas.layers
    for key, name in (("E", GIRDLE), ("D", CANDIDATES)):
        assert not layers[name].visible
        press(window, key)
        assert layers[name].visible
        at_this_zoom = list(layers[name].edge_width)
        window.viewer.scene.camera.zoom *= 4
        window.canvas.draw_marks()
        assert layers[name].edge_width == [w / 4 for w in at_this_zoom]
        press(window, "Escape")
        assert not layers[name].visible


def test_the_counts_here_and_on_other_occasions_make_that_of_the_list(
    book: Path, open_window: Open, qtbot: Any
) -> None:
    with Book.open(book) as other:
        entry = kept(book)
        result = replace(entry.result, candidates=tuple(c.candidate for c in entry.candidates))
        other.save_examination(
            other.stones()[0], result, occasion="after", white=entry.white, blue=None, by="Bea"
        )
    window = open_window(book)
    review = panel(window)
    assert window.bench.here.left == 6
    assert review.count.text() == "<b>3 left to judge</b>, number 1 of 3 shown"
    assert review.done.text() == "as received: 0%"
    assert review.elsewhere.text() == "3 more on this stone: other occasions"
    press(window, "G")
    press(window, "Q")
    press(window, "G")
    assert window.bench.here.left == 3
    assert next_step(window.bench) == "All is judged here; 3 candidates wait at another occasion of lid-3."
    review.elsewhere.click()
    assert window.bench.occasion == "after"
    assert review.count.text() == "<b>3 left to judge</b>, number 1 of 3 shown"
    assert review.done.text() == "after: 0%"
    assert not review.elsewhere.isVisibleTo(review)
    for _ in range(3):
        press(window, "G")
    assert window.bench.here.left == 0

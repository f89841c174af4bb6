"""The examination panel: it runs in a thread, tells how far it is, and can be cancelled."""

import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from made_up import examination, line

pytest.importorskip(
    "napari.qt", reason="the window is not installed (pip install setstone[dev-gui])", exc_type=ImportError
)

from setstone.annotate.panels import examining
from setstone.annotate.panels.examination import ExaminationPanel
from setstone.measure.colour import StoneColour
from setstone.measure.errors import MeasurementError
from setstone.record.book import Book

Open = Callable[[Path | None], Any]


def panel(window: Any) -> ExaminationPanel:
    (found,) = window.docks["Examination"].findChildren(ExaminationPanel)
    assert isinstance(found, ExaminationPanel)
    return found


def test_it_shows_what_was_measured_with_uncertainty(book: Path, open_window: Open) -> None:
    shown = panel(open_window(book))
    assert shown.mean.text() == "2.400 mm ± 0.014 mm"  # a circle of 600 pixels of 4 µm
    assert shown.scale.text() == "scale bar 1000 µm, ± 0.2 %"
    assert shown.colour.text() == "–"
    assert [shown.sizes.item(row, 2).text() for row in range(3)] == ["0.400 mm ± 0.020 mm"] * 3
    assert "no photograph under blue light" in shown.flags.text()


def test_an_examination_is_kept_and_shown(
    book: Path, open_window: Open, qtbot: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    threads: list[str] = []

    def examined(book: Book, stone: Any, *, occasion: str, by: str, progress: Any, **_: Any) -> Any:
        threads.append(threading.current_thread().name)
        progress("finding the outline")
        before = book.examination(stone, occasion)
        colour = StoneColour((34.2, 41.0, 12.3), "deep red", 0.12, unevenness=4.4)
        result = replace(examination(line(300, 0.7)), flags=(), colour=colour)
        return book.save_examination(
            stone, result, occasion=occasion, white=before.white, blue=before.blue, by=by
        )

    monkeypatch.setattr(examining, "examine_stone", examined)
    window = open_window(book)
    told: list[str] = []
    window.examining.told.connect(told.append)
    panel(window).this.click()
    assert not panel(window).this.isEnabled()
    qtbot.waitUntil(lambda: not window.examining.running)
    assert told == ["lid-3, as received: finding the outline"]
    assert panel(window).colour.text() == "deep red, uneven by ΔE₀₀ 4.4, haze 0.12"
    assert threads != [threading.main_thread().name]
    assert panel(window).sizes.rowCount() == 1
    assert panel(window).this.isEnabled()


def test_a_cancelled_examination_leaves_nothing_behind(
    book: Path, open_window: Open, qtbot: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    going, seen = threading.Event(), threading.Event()

    def never_ends(*_: Any, progress: Any, **__: Any) -> None:
        progress("first step")
        going.set()
        seen.wait(10)
        while True:
            progress("next step")

    monkeypatch.setattr(examining, "examine_stone", never_ends)
    window = open_window(book)
    said: list[str] = []
    window.bench.said.connect(said.append)
    before = window.bench.review.entry.id
    panel(window).this.click()
    qtbot.waitUntil(going.is_set)
    panel(window).cancel.click()
    seen.set()
    qtbot.waitUntil(lambda: not window.examining.running)
    assert said == ["Stopped; what was not finished is not in the book."]
    assert window.bench.review.entry.id == before


def test_a_fault_on_one_stone_does_not_end_the_work_on_the_others(
    book: Path, open_window: Open, qtbot: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked_at: list[str] = []

    def fails(_book: Any, stone: Any, **_: Any) -> None:
        looked_at.append(stone.position)
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr(examining, "examine_stone", fails)
    window = open_window(book)
    stones = [p.stone for p in window.bench.progress]
    said: list[str] = []
    window.bench.said.connect(said.append)
    window.examining._run([(stone, "as received") for stone in stones])
    qtbot.waitUntil(lambda: not window.examining.running)
    assert looked_at == [stone.position for stone in stones]
    assert len(said) == len(stones) > 1
    assert all("a fault of its own (ZeroDivisionError: division by zero)" in text for text in said)


def test_what_cannot_be_examined_is_told_in_a_sentence(
    book: Path, open_window: Open, qtbot: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuses(*_: Any, **__: Any) -> None:
        raise MeasurementError("The photographs show no stone; take them again.")

    monkeypatch.setattr(examining, "examine_stone", refuses)
    window = open_window(book)
    said: list[str] = []
    window.bench.said.connect(said.append)
    panel(window).this.click()
    qtbot.waitUntil(lambda: not window.examining.running)
    assert said == ["lid-3, as received: The photographs show no stone; take them again."]
    panel(window).bar_length.setText("long")
    panel(window).this.click()
    assert said[-1].startswith("'long' is no length with a unit")

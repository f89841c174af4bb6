"""The window as a person finds it."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip(
    "napari.qt", reason="the window is not installed (pip install setstone[gui])", exc_type=ImportError
)

from setstone.annotate.bench.bench import Bench


def test_a_book_is_opened_with_its_first_stone_on_the_canvas(
    book: Path, open_window: Callable[[Path | None], Any]
) -> None:
    window = open_window(book)
    assert window.viewer.title == "book – setstone"
    assert window.bench.stone.position == "lid-3"
    layers = {layer.name: layer for layer in window.viewer.layers}
    assert layers["white light"].visible
    assert str(layers["white light"].units[0]) == "micrometer"
    assert layers["white light"].scale.tolist() == [4.0, 4.0]
    assert len(layers["candidates and findings"].data) == 3


def test_without_a_book_it_says_where_to_begin(open_window: Callable[[Path | None], Any]) -> None:
    window = open_window(None)
    assert not window.docks["Stones"].isHidden()
    assert window.docks["Stones"].widget().start.isVisibleTo(window.docks["Stones"])
    window.bench.close()


def test_a_second_window_is_told(book: Path, open_window: Callable[[Path | None], Any]) -> None:
    first = Bench("Bea")
    first.open(book)
    window = open_window(book)
    assert window.viewer.title.startswith("book – open in another window too: Bea at ")
    first.close()

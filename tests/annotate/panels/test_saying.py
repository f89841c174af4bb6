"""What is said to the person is shown whole."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip(
    "napari.qt", reason="the window is not installed (pip install setstone[dev-gui])", exc_type=ImportError
)

from qtpy.QtWidgets import QToolButton  # noqa: TID251

from setstone.annotate.panels.saying import Saying

LONG = (
    "The position of the stone has 87 characters; at most 40 are kept, so give a shorter one, such as lid-3."
)


def test_a_sentence_is_shown_whole_over_the_picture(book: Path, open_window: Callable[..., Any]) -> None:
    window = open_window(book, show=True)
    (saying,) = window.docks["Stones"].parent().findChildren(Saying)
    assert not saying.isVisible()
    window.bench.said.emit(LONG)
    assert saying.isVisible()
    assert saying.text.text() == LONG
    assert saying.text.height() >= saying.text.heightForWidth(saying.text.width())
    assert saying.parent().rect().contains(saying.geometry())
    window.bench.said.emit("lid-4 was taken out of the list.")
    assert saying.text.text() == f"{LONG}\nlid-4 was taken out of the list."
    saying.findChild(QToolButton).click()
    assert not saying.isVisible()
    window.bench.said.emit(LONG)
    assert saying.text.text() == LONG  # what was put away does not come back

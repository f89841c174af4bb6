"""What is said to the person is shown whole, and where the keyboard is can be seen."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip(
    "napari.qt", reason="the window is not installed (pip install setstone[dev-gui])", exc_type=ImportError
)

from napari.utils.theme import get_theme  # noqa: TID251
from qtpy.QtWidgets import QToolButton  # noqa: TID251

from setstone.annotate.panels.looks import FOCUS
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


def luminance(colour: tuple[float, ...]) -> float:
    """Relative luminance of an sRGB colour, 0 to 1 (WCAG 2.2)."""
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in colour)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


@pytest.mark.parametrize("theme", ["dark", "light"])
def test_the_frame_of_what_has_the_keyboard_stands_out(theme: str) -> None:
    frame = luminance(tuple(c / 255 for c in bytes.fromhex(re.findall(r"#(\w{6})", FOCUS)[0])))
    ground = luminance(tuple(c / 255 for c in get_theme(theme).background.as_rgb_tuple()))
    least, most = sorted((frame, ground))
    assert (most + 0.05) / (least + 0.05) >= 3  # WCAG 2.2, success criterion 1.4.11

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from setstone.record.errors import BookError
from setstone.record.text import clean, key, operator, shown


@given(st.text(max_size=120))
def test_a_text_is_refused_or_can_be_kept_and_shown(text: str) -> None:
    try:
        cleaned = clean(text, "The name")
    except BookError:
        return
    assert 0 < len(cleaned) <= 100
    assert cleaned == cleaned.strip() == unicodedata.normalize("NFC", cleaned)
    assert not any(unicodedata.category(c) in ("Cc", "Cs") for c in cleaned)
    assert cleaned.encode() == clean(cleaned, "The name").encode()


def test_two_ways_to_write_a_letter_are_one_text() -> None:
    """Unicode Standard Annex 15: é is U+00E9, or e and U+0301."""
    assert clean("Boite\u0301", "") == "Boit\u00e9"
    assert key("STRASSE 1") == key("straße  1")  # CaseFolding.txt: ß folds to ss


def test_line_breaks_only_where_they_belong() -> None:
    assert clean("a\r\nb\tc", "", lines=True) == "a\nb\tc"
    with pytest.raises(BookError, match=r"U\+000A"):
        clean("a\nb", "The name")


@pytest.mark.parametrize("name", ["white.jpg", "\udcff\x00.jpg", "x" * 300])
def test_any_file_name_can_be_shown(name: str) -> None:
    assert shown(name).encode().decode().isprintable()
    assert len(shown(name)) <= 255


def test_nobody_is_not_an_operator() -> None:
    assert operator(" ", required=False) == ""
    with pytest.raises(BookError, match="say who does this"):
        operator(" ", required=True)

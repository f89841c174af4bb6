"""What is typed is understood as it was meant, or refused with one sentence; never with a fault of its own."""

import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from setstone.record.errors import BookError
from setstone.record.evidence.figures import parse_numbers, parse_uncertainty
from setstone.record.evidence.line import LONGEST, read_line
from setstone.record.evidence.readings import Edges, OverLimit, Typed, Word
from setstone.record.evidence.understand import understand


@pytest.mark.parametrize(
    "typed",
    ["0.002 (k = 0)", "0.002 (k = 0.5)", "resolution 0.001 k = 0", "1e9", "9" * 400, "0,00000001", "11"],
)
def test_impossible_uncertainties_are_refused(typed: str) -> None:
    """A coverage factor is one or more (JCGM 100:2008, 2.3.6: it typically is 2 to 3)."""
    with pytest.raises(BookError, match=r"uncertainty|resolution"):
        parse_uncertainty(typed, 0.003)


def test_an_uncertainty_is_read_with_its_factor() -> None:
    assert parse_uncertainty("0.002 (k = 2)", 0.003) == (0.001, 0.002, True)
    assert parse_uncertainty("± 0,002", 0.003)[0] == pytest.approx(0.002 / 3**0.5)


@pytest.mark.parametrize("line", ["1" * 5000 + " directions single", "1." + "7" * 600, "loupe needle " * 60])
def test_lines_too_long_are_refused(line: str) -> None:
    with pytest.raises(BookError, match=f"{LONGEST} characters"):
        read_line(line)


@pytest.mark.parametrize(
    "line",
    [
        "thermal 5 check 2/" + "9" * 400,
        "thermal " + "9" * 400 + " check 2/8",
        "density " + "9" * 400 + " unset",
    ],
)
def test_numbers_no_instrument_shows_are_refused(line: str) -> None:
    try:
        says = read_line(line).says
    except BookError:
        return
    assert "inf" not in says
    assert "nan" not in says


def test_a_number_too_great_is_none() -> None:
    assert parse_numbers("9" * 400) is None


@pytest.mark.parametrize(
    ("typed", "liquid", "limit"),
    [(">1.81", 1.79, 1.79), (">1.78", 1.81, 1.78), (">1.78", None, 1.78), ("over the limit", 1.79, 1.79)],
)
def test_over_the_limit_counts_to_the_lesser_of_both(typed: str, liquid: float | None, limit: float) -> None:
    """No edge shows above the liquid's own index (Handbook of Precious Stones p. 36)."""
    read = understand(Typed("refractometer", typed, details={} if liquid is None else {"liquid": liquid}))
    assert isinstance(read.value, OverLimit)
    assert read.value.limit == limit
    assert f"{limit:.2f}" in read.says


@pytest.mark.parametrize("line", ["1.762 liquid 1.74", "1.762-1.770 liquid 1.74", "1.90", "1.70-1.85"])
def test_an_edge_above_the_liquid_is_refused(line: str) -> None:
    """Light passes from stone to glass only below the liquid's index, so that nothing is read above it."""
    with pytest.raises(BookError, match="contact liquid"):
        read_line(line)


@given(st.integers(1300, 1900), st.integers(150, 190))
@example(1785, 179)
def test_what_is_said_of_one_edge_is_true(edge: int, liquid: int) -> None:
    typed = Typed("refractometer", f"{edge / 1000:.3f}", details={"liquid": liquid / 100})
    if edge > 10 * liquid + 5:
        with pytest.raises(BookError, match="contact liquid"):
            understand(typed)
        return
    value = understand(typed).value
    assert isinstance(value, Edges if edge < 10 * liquid - 5 else OverLimit)


@pytest.mark.parametrize("liquid", ["0.9", "1.2", "3.0", "17.9"])
def test_an_impossible_contact_liquid_is_refused(liquid: str) -> None:
    with pytest.raises(BookError, match="contact liquid"):
        read_line(f"1.54 liquid {liquid}")


@pytest.mark.parametrize(
    ("line", "both"),
    [
        ("1.762 table pavilion", "'table' and 'pavilion'"),
        ("1.762 on the pavilion, table", "'pavilion' and 'table'"),
        ("4.00 set unset", "'set' and 'unset'"),
        ("1.762 loose, set", "'set' and 'unset'"),
        ("1.762 liquid 1.79 liquid 1.81", "'1.79' and '1.81'"),
        ("single 1 direction 3 directions", "'1' and '3'"),
    ],
)
def test_what_is_said_twice_otherwise_is_asked(line: str, both: str) -> None:
    with pytest.raises(BookError, match=re.escape(both)):
        read_line(line)


def test_what_is_said_twice_alike_is_taken_once() -> None:
    assert read_line("1.762-1.770 table unset loose TABLE").typed.details == {"part": "table"}


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ("DR", "double"),
        ("sr unset", "single"),
        ("ADR 3 directions", "single with strain"),
        ("double refraction", "double"),
    ],
)
def test_what_only_a_polariscope_shows_needs_no_name(line: str, word: str) -> None:
    read = read_line(line)
    assert read.typed.test == "polariscope"
    assert isinstance(read.understood.value, Word)
    assert read.understood.value.word == word


@pytest.mark.parametrize(
    ("line", "other"),
    [
        ("1.76 distant vision", "distant 1.76"),
        ("inert long wave", "long wave inert"),
        ("weak pleochroism", "pleochroism weak"),
        ("no doubling", "doubling none"),
        ("loupe filled fissure, finding 3", "filled fissure finding 3"),
    ],
)
def test_the_test_may_stand_before_or_behind_its_value(line: str, other: str) -> None:
    assert read_line(line).understood == read_line(other).understood


def test_hardness_is_a_table_value_only() -> None:
    with pytest.raises(BookError, match="table value only"):
        understand(Typed("hardness", "9"))
    with pytest.raises(BookError, match="table value only"):
        read_line("Mohs: 9")
    with pytest.raises(BookError, match="never made"):
        read_line("9 Mohs")

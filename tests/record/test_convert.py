"""Whatever is stored comes back equal."""

import json
from dataclasses import fields, is_dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from made_up import examination, line

from setstone.measure.candidates import Candidate, Reason
from setstone.measure.examination import Examination, Flag
from setstone.measure.quantity import Quantity
from setstone.record.convert import from_json, to_json
from setstone.record.errors import BookError

numbers = st.floats(allow_nan=False)
paths = arrays.arrays(np.float64, st.tuples(st.integers(0, 6), st.just(2)), elements=numbers)
quantities = st.builds(Quantity, numbers, numbers, st.sampled_from(["mm", "µm", ""]))
candidates = st.builds(
    Candidate,
    kind=st.sampled_from(["line", "spot"]),
    path=paths,
    lamp=st.sampled_from(["white", "blue"]),
    score=st.floats(0, 1),
    reasons=st.lists(st.builds(Reason, st.text(), st.text(), st.booleans()), max_size=3).map(tuple),
    contrast=numbers,
    sizes=st.dictionaries(st.text(), quantities, max_size=3),
)


def same(a: object, b: object) -> bool:
    if isinstance(a, np.ndarray):
        return isinstance(b, np.ndarray) and a.dtype == b.dtype and np.array_equal(a, b)
    if isinstance(a, tuple):
        return isinstance(b, tuple) and len(a) == len(b) and all(map(same, a, b))
    if is_dataclass(a):
        return type(a) is type(b) and all(same(getattr(a, f.name), getattr(b, f.name)) for f in fields(a))
    return a == b


def there_and_back(value: object) -> object:
    return from_json(json.loads(json.dumps(to_json(value), allow_nan=False)), type(value))


@given(candidates)
def test_candidates_come_back_equal(candidate: Candidate) -> None:
    assert same(candidate, there_and_back(candidate))


def test_an_examination_comes_back_equal() -> None:
    result = examination(line(100), line(200, 0.1))
    assert same(result, there_and_back(result))


def test_numbers_json_does_not_know_come_back() -> None:
    back = there_and_back(Quantity(np.nan, np.inf, "mm"))
    assert isinstance(back, Quantity)
    assert np.isnan(back.value)
    assert back.u == np.inf


@pytest.mark.parametrize("data", [None, [], {}, {"reference": "white"}, "x"])
def test_what_cannot_have_been_stored_is_said(data: object) -> None:
    with pytest.raises(BookError, match="cannot be read"):
        from_json(data, Examination)


def test_tuples_of_flags_need_their_type() -> None:
    flags = (Flag("a", "b"),)
    assert from_json(to_json(flags, tuple[Flag, ...]), tuple[Flag, ...]) == flags

"""Which of two turns photographs prefer, on fields of chance."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from setstone.measure.tiles import Field
from setstone.measure.turns import preference, preferred

SIDE = 320


def field(seed: int) -> Field:
    rng = np.random.default_rng(seed)
    return np.asarray(rng.normal(0, 1, (SIDE, SIDE)) + 1j * rng.normal(0, 1, (SIDE, SIDE)), np.complex64)


COMMON, OWN = field(0), field(1)


@given(st.integers(2, 1000), st.floats(0.2, 2))
def test_what_differs_between_the_two_decides_however_much_they_share(seed: int, much: float) -> None:
    other = field(seed)
    one = 3 * COMMON + np.complex64(much) * OWN
    sums = [preference(one + field(seed + k), one, 3 * COMMON + np.complex64(much) * other) for k in (1, 2)]
    assert preferred(sums)
    assert not preferred([-s for s in sums])
    assert not preferred(sums[:1])
    assert not preferred([sums[0], -0.5 * sums[1]])


def test_it_is_as_rare_by_chance_as_the_normal_distribution_says() -> None:
    """Source: three standard deviations are exceeded to one side once in 741 (Abramowitz & Stegun 1964, table 26.1)."""
    told = 0
    for seed in range(200):
        fixed, one, other = (field(1000 + 3 * seed + k) for k in range(3))
        sums = preference(fixed, one, other)
        told += preferred([sums, preference(fixed[::-1], one, other)])
    assert told <= 3  # more than 3 of 200 would happen once in 5,000 times


def test_what_one_of_them_does_not_show_says_nothing() -> None:
    one, other = OWN.copy(), COMMON.copy()
    other[:, : SIDE // 2] = 0
    sums = preference(OWN, one, other).reshape(SIDE // 32, -1)
    assert (sums[:, : SIDE // 64] == 0).all()
    assert (sums[:, SIDE // 64 :] > 0).all()


@pytest.mark.parametrize("shape", [(0, 0), (8, 8), (32, 70)])
def test_any_size_is_borne(shape: tuple[int, int]) -> None:
    empty = np.zeros(shape, np.complex64)
    assert not preferred([preference(empty, empty, empty)] * 2)

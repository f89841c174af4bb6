"""Bands beside the paths of a strip, against plain sums."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from setstone.measure.rim import _Bands
from setstone.measure.rings import PER_CENT


@given(st.integers(0, 2**32 - 1), st.floats(-6, 5), st.floats(0, 6))
def test_a_band_sums_the_columns_beside_a_path(seed: int, inner: float, width: float) -> None:
    outer = min(inner + width, 6.0)
    chance = np.random.default_rng(seed)
    plane = chance.random((5, 60)).astype(np.float32)
    columns = chance.integers(0, 60, (3, 5))
    beside = np.arange(round(inner * PER_CENT), round(outer * PER_CENT) + 1)
    plain = plane[np.arange(5)[:, None], np.clip(columns[..., None] + beside, 0, 59)].sum(axis=2)
    np.testing.assert_allclose(_Bands(plane)(columns, inner, outer), plain, rtol=1e-5, atol=1e-5)

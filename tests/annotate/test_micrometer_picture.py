"""The lines of a micrometer drawn over its photograph."""

import numpy as np
from ruled import ruled

from setstone.annotate.micrometer_picture import LONGEST, micrometer_picture
from setstone.measure.micrometer import find_micrometer


def test_each_line_counted_is_marked_where_it_is() -> None:
    pixels = ruled(11.0, 12.0, lines=40, size=600)
    lines = find_micrometer(pixels)
    assert lines is not None
    drawn = micrometer_picture(pixels, lines)
    for x, y in lines.centres:
        there = drawn[round(y), round(x)].astype(int)
        assert there[2] - there[0] > 60, (x, y)  # blue, where the photograph is grey
    assert not np.shares_memory(drawn, pixels)


def test_a_large_photograph_is_drawn_small() -> None:
    pixels = np.kron(ruled(11.0, 12.0, lines=40, size=600), np.ones((4, 4, 1), np.uint8))
    lines = find_micrometer(pixels)
    assert lines is not None
    drawn = micrometer_picture(pixels, lines)
    assert max(drawn.shape) == LONGEST
    x, y = (lines.centres[5] + 0.5) * LONGEST / 2400 - 0.5
    there = drawn[round(y), round(x)].astype(int)
    assert there[2] - there[0] > 60

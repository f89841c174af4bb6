"""The lines of a micrometer drawn over its photograph."""

import numpy as np
from ruled import ruled

from setstone.annotate.micrometer_picture import micrometer_picture, place_of_lines
from setstone.measure.micrometer import find_micrometer


def test_each_line_counted_is_marked_where_it_is() -> None:
    pixels = ruled(11.0, 12.0, lines=40, size=600)
    lines = find_micrometer(pixels)
    assert lines is not None
    drawn = micrometer_picture(pixels, lines)
    x0, y0, x1, y1 = place_of_lines(lines)
    assert drawn.shape == (y1 - y0, x1 - x0, 3)
    for x, y in lines.centres - (x0, y0):
        there = drawn[round(y), round(x)].astype(int)
        assert there[2] - there[0] > 60, (x, y)  # blue, where the photograph is grey
    assert not np.shares_memory(drawn, pixels)


def test_only_the_part_with_the_lines_is_drawn() -> None:
    pixels = np.pad(ruled(11.0, 2.0, lines=30, size=600), ((0, 900), (700, 0), (0, 0)), mode="edge")
    lines = find_micrometer(pixels)
    assert lines is not None
    height, width = micrometer_picture(pixels, lines).shape[:2]
    assert (height, width) < (400, 700)
    assert width > lines.centres[:, 0].max() - lines.centres[:, 0].min()

"""The line drawn around a flaw, against the buffer of a general-purpose geometry library."""

import numpy as np
import pytest

from setstone.annotate.casing import around

shapely = pytest.importorskip("shapely", reason="shapely comes with rapidocr")


@pytest.mark.parametrize(
    ("path", "closed"),
    [
        ([(50.0, 50.0), (180.0, 75.0), (240.0, 190.0)], False),
        ([(0.0, 0.0), (400.0, 3.0)], False),
        ([(20.0, 20.0), (60.0, 25.0), (40.0, 70.0)], True),
        ([(10.0, 10.0), (10.0, 10.0)], False),
    ],
)
@pytest.mark.parametrize("distance", [6.0, 40.0])
def test_it_is_the_offset_curve(path: list[tuple[float, float]], closed: bool, distance: float) -> None:
    # shapely (GEOS) buffers exactly but for its polygonal arcs
    shape = shapely.Polygon(path) if closed else shapely.LineString(path)
    truth = shape.buffer(distance, quad_segs=64).exterior
    drawn = shapely.LinearRing(around(np.array(path), distance, closed=closed))
    assert shapely.hausdorff_distance(drawn, truth, densify=0.05) < 0.1 * distance


def test_the_flaw_itself_stays_clear() -> None:
    path = np.array([(50.0, 50.0), (180.0, 75.0), (240.0, 190.0)])
    ring = shapely.LinearRing(around(path, 8.0, closed=False))
    assert ring.distance(shapely.LineString(path)) > 7.2

"""See where a stone has a new fissure, as a person does who looks from one day's photographs to the other's.

A line that only the later day shows may be new, or an old fissure seen in a facet that lights up now; what lies around it, under both lamps and on
both days, tells more than the line itself. A small network (`setstone.measure.network`), trained on computed stones that were set anew
with and without new fissures, says of every pixel of the frame of both days whether a new fissure is directly seen there.
"""

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.candidates import LampName
from setstone.measure.network import Network, applied, read_network
from setstone.measure.new_places_weights import WEIGHTS
from setstone.measure.sights import Points, Sights

Planes = NDArray[np.float32]

#: Diameter of the girdle in what the network says, px; it looks at so many times finer pictures.
GIRDLE, FINER = 480.0, 2
#: Lamps in the order of the network's planes: of each before, then after.
LAMPS: tuple[LampName, ...] = ("blue", "white")
#: Brightness beyond which more says no more, natural logarithms.
MOST = 3.0
#: Share of a line's places that count: its best, since a fissure fades towards its ends and where facets meet.
_BEST = 0.2


def new_places(both: Sights) -> Planes | None:
    """Log odds that a new fissure is seen at each place of the frame, made smaller.

    Parameters
    ----------
    both : Sights

    Returns
    -------
    (H, W) float32 array or None
        The frame with a girdle of `GIRDLE` px; None where the days have no photograph under the same lamp.
    """
    common = [(k, lamp) for k, lamp in enumerate(LAMPS) if all(lamp in day for day in both.lines)]
    if not common:
        return None
    height, width = both.shape
    scale = GIRDLE / both.diameter_px
    size = max(1, round(width * scale)), max(1, round(height * scale))
    fine = FINER * size[0], FINER * size[1]
    planes = np.zeros((2 * len(LAMPS), fine[1], fine[0]), np.float32)
    for k, lamp in common:
        planes[2 * k : 2 * k + 2] = [seen(day[lamp].sharp, fine) for day in both.lines]
    return applied(network(), folded(planes))


def along(places: Planes, path: Points, both: Sights) -> float:
    """Log odds along a line.

    Parameters
    ----------
    places : (H, W) float32 array
        Of `new_places`.
    path : (N, 2) float64 array
        The line, px of the frame, points evenly apart.
    both : Sights

    Returns
    -------
    float
        What the best fifth of the line exceeds.
    """
    x, y = _smaller(path, both).astype(np.float32).T
    found = cv2.remap(places, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return float(np.quantile(found, 1 - _BEST))


@cache
def network() -> Network:
    """Network that sees new fissures."""
    return read_network(WEIGHTS)


def _smaller(path: Points, both: Sights) -> Points:
    """Places of the frame in what the network sees."""
    return np.asarray((path + 0.5) * GIRDLE / both.diameter_px - 0.5)


def seen(sharp: Planes, size: tuple[int, int]) -> Planes:
    """Brightness as the network looks at it.

    Parameters
    ----------
    sharp : (H, W) float32 array
        Brightness of a day in the frame of both, natural logarithms (`setstone.measure.sights.Lines`).
    size : (int, int)
        Width and height wanted, px.

    Returns
    -------
    (height, width) float32 array
    """
    return np.asarray(np.clip(cv2.resize(sharp, size, interpolation=cv2.INTER_AREA), -MOST, MOST), np.float32)


def folded(planes: Planes) -> Planes:
    """Fold `FINER` x `FINER` pixels into planes of their own, (C, FINER H, FINER W) to (C FINER^2, H, W) (Shi et al. 2016, CVPR:1874)."""
    channels, height, width = planes.shape
    blocks = planes.reshape(channels, height // FINER, FINER, width // FINER, FINER)
    return np.ascontiguousarray(blocks.transpose(0, 2, 4, 1, 3).reshape(-1, height // FINER, width // FINER))

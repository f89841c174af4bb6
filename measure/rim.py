"""What tells the girdle from the other rings of a set stone.

Outside the girdle a setting runs evenly around: lip, grooves and shadow look alike all along. Within
it, facets change from one to the next. Every closed path gets a handful of measures of this kind; a
conditional logit model (McFadden 1974) turns them into the probability of being the girdle.
"""

from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from setstone.measure.light import Plane
from setstone.measure.rim_weights import SLOPE
from setstone.measure.rings import PER_CENT, Mask, Path, Strip, edge_strength, over_colours, squeezed

T = TypeVar("T", bound=np.generic)

#: Measures of a path, in the order of the columns of `evidence`.
MEASURES = (
    "contrast",  # edge strength along the path above that of what lies within
    "sharpness",  # how much of the colour step is taken at once
    "independence",  # less likeness of the patterns on the two sides
    "unevenness",  # change from facet to facet within
    "unevenness_drop",  # how much less of it there is beyond
    "hue_drop",  # how much more like the stone's heart the hue is within than beyond
    "hue_beyond",  # how like the heart's hue is that beyond
    "clearance",  # distance to the nearest other path
    "inner_rival",  # stronger edge within
    "outer_rival",  # stronger edge beyond: the lip
)


@dataclass(frozen=True, eq=False)
class _Maps:
    """Per-pixel quantities of a strip, from which the measures of all paths are taken."""

    log_edge: Plane
    squeezed: Plane
    known: Mask
    pattern: Plane
    unevenness: Plane
    hue: Plane
    colours: Plane


def evidence(strip: Strip, paths: list[Path], heart: Plane) -> NDArray[np.float64]:
    """Measures of closed paths.

    Parameters
    ----------
    strip : Strip
        Straightened.
    paths : list of (RAYS,) int64 arrays
    heart : (K, 3) float32 array
        Colours from well inside the stone.

    Returns
    -------
    (len(paths), len(MEASURES)) float64 array
    """
    maps = _maps(_halved(strip), heart)
    halves = [path[::2] for path in paths]
    rows = np.array([_measures(maps, path) for path in halves])
    position = np.array([np.median(path) for path in halves])
    peak = np.array([_peak(maps, path) for path in halves])
    neighbours = []
    for own_position, own_peak in zip(position, peak, strict=True):
        away = (position - own_position) / PER_CENT
        neighbours.append(
            (
                np.log1p(np.abs(away[away != 0]).min(initial=5.0)),
                peak[away < -0.4].max(initial=-1.2) - own_peak,
                peak[(away > 0.4) & (away < 8)].max(initial=-1.2) - own_peak,
            )
        )
    return np.hstack([rows, np.array(neighbours)])


def girdle_score(strip: Strip, paths: list[Path], heart: Plane) -> NDArray[np.float64]:
    """How much speaks for each closed path to be the girdle.

    Parameters
    ----------
    strip : Strip
        Straightened.
    paths : list of (RAYS,) int64 arrays
    heart : (K, 3) float32 array
        Colours from well inside the stone.

    Returns
    -------
    (len(paths),) float64 array
        Logarithm of the odds between any two.
    """
    lamp = "blue" if under_blue_light(strip) else "white"
    return evidence(strip, paths, heart) @ SLOPE[lamp]


def under_blue_light(strip: Strip) -> bool:
    """Whether the setting itself is lit by blue light only."""
    colours = strip.colours[strip.inside]
    return bool(np.median(colours[:, 2] / (over_colours(colours) + 1)) > 0.45)


def _halved(strip: Strip) -> Strip:
    """Every two rays in one; what is measured here is wider."""
    colours: Plane = (strip.colours[::2] + strip.colours[1::2]) * np.float32(0.5)
    return Strip(strip.curve[::2], strip.offsets, colours, strip.inside[::2] & strip.inside[1::2])


def _maps(strip: Strip, heart: Plane) -> _Maps:
    edge, known = edge_strength(strip)
    turn = len(strip.colours)
    pattern = _band(strip.colours, turn / 120, turn / 12, 1.2)
    fine = _band(strip.colours, turn / 300, turn / 20, 1.0)
    unevenness = np.log1p(np.sqrt(over_colours(fine**2)))
    return _Maps(
        np.log(edge + np.float32(0.3)),
        squeezed(edge, known),
        known,
        pattern,
        unevenness,
        _hue_likeness(strip.colours, heart),
        strip.colours,
    )


def _band(colours: Plane, fine: float, coarse: float, along_ray: float) -> Plane:
    """Change from ray to ray between two widths (in rays)."""
    pad = int(4 * coarse)
    turns = np.concatenate([colours[-pad:], colours, colours[:pad]])
    narrow = cv2.GaussianBlur(turns, (0, 0), sigmaX=along_ray, sigmaY=fine)
    return (narrow - cv2.GaussianBlur(turns, (0, 0), sigmaX=along_ray, sigmaY=coarse))[pad:-pad]


def _hue_likeness(colours: Plane, heart: Plane) -> Plane:
    """Log-likelihood, -4.6..0, of each pixel's hue among the hues of the stone's heart."""

    def plane(c: Plane) -> NDArray[np.float32]:
        total = over_colours(c) + 36
        red_green, blue = c[..., 0] - c[..., 1], c[..., 0] + c[..., 1] - 2 * c[..., 2]
        return np.stack([red_green / total, blue / total], axis=-1)

    reference = plane(heart)
    middle = np.median(reference, axis=0)
    spread = np.maximum(1.48 * np.median(np.abs(reference - middle), axis=0), 0.02)
    cells, reach = 40, 10.0

    def cell(c: Plane) -> NDArray[np.int64]:
        place = ((plane(c) - middle) / spread + reach) * (cells / (2 * reach))
        return np.clip(place, 0, cells - 1).astype(np.int64)

    count = np.zeros((cells, cells))
    np.add.at(count, tuple(np.moveaxis(cell(heart), -1, 0)), 1)
    smooth = gaussian_filter(count, 1.5)
    table = np.log(smooth / smooth.max() + 0.03).astype(np.float32)
    at = cell(cv2.GaussianBlur(colours, (0, 0), sigmaX=1.2, sigmaY=1.5))
    return table[at[..., 0], at[..., 1]]


def _measures(maps: _Maps, path: Path) -> list[float]:
    known = maps.known

    def mean(plane: Plane, inner: float, outer: float) -> float:
        return _mean(plane, known, path, inner, outer)

    here = _at(maps.squeezed, path, (-1, 0, 1)).max(axis=1)
    seen = _at(known, path, (0,))[:, 0]
    contrast = float(here[seen].mean()) if seen.any() else 0.0

    def pattern(offset: float) -> Plane:
        return _at(maps.pattern, path, (round(offset * PER_CENT),))[:, 0][seen]

    inner_pattern, outer_pattern = pattern(-0.5), pattern(0.5)
    energy = np.sqrt((inner_pattern**2).sum() * (outer_pattern**2).sum()) + seen.sum() + 1.0

    def colour(inner: float, outer: float) -> Plane:
        columns = range(round(inner * PER_CENT), round(outer * PER_CENT) + 1)
        return _at(maps.colours, path, tuple(columns)).mean(axis=1)[seen]

    step = np.linalg.norm(colour(0.3, 0.8) - colour(-0.8, -0.3), axis=1)
    return [
        contrast - mean(maps.squeezed, -4, -0.8),
        _peak(maps, path) - float(np.log(step.mean() + 2 if step.size else 2)),
        -max(float((inner_pattern * outer_pattern).sum() / energy), 0.0),
        mean(maps.unevenness, -3, -0.4),
        mean(maps.unevenness, -3, -0.4) - mean(maps.unevenness, 0.4, 1.5),
        mean(maps.hue, -6, -0.4) - mean(maps.hue, 0.4, 4),
        mean(maps.hue, 0.4, 1.5),
    ]


def _peak(maps: _Maps, path: Path) -> float:
    """Mean logarithm of the edge strength along a path."""
    return _mean(maps.log_edge, maps.known, path, -0.2, 0.2)


def _at(plane: NDArray[T], path: Path, offsets: tuple[int, ...]) -> NDArray[T]:
    """Values at some columns from a path, (RAYS, len(offsets), ...)."""
    columns = np.clip(path[:, None] + np.array(offsets), 0, plane.shape[1] - 1)
    return plane[np.arange(len(path))[:, None], columns]


def _mean(plane: Plane, known: Mask, path: Path, inner: float, outer: float) -> float:
    """Mean over all rays of a band beside a path, limits in hundredths of the diameter."""
    offsets = tuple(range(round(inner * PER_CENT), round(outer * PER_CENT) + 1))
    seen = _at(known, path, offsets)
    return float(_at(plane, path, offsets)[seen].mean()) if seen.any() else 0.0

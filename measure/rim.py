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
from scipy.ndimage import gaussian_filter, maximum_filter1d

from setstone.measure.light import Plane
from setstone.measure.rim_weights import SLOPE
from setstone.measure.rings import PER_CENT, Mask, Path, Strip, edge_strength, over_colours, squeezed

T = TypeVar("T", bound=np.generic)
#: Column of several paths in every ray, (paths, rays).
Columns = NDArray[np.int64]

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
    "with_body",  # how near it keeps to what looks like the body of a stone
)


#: From here on, in diameters beyond the girdle, there is nothing but the setting.
SETTING = 0.02
#: How far from the girdle what looks like the body of a stone may well end, in diameters.
ASTRAY = 0.01
#: Widest band beside a path, in columns.
_WIDEST = 6 * PER_CENT


class _Bands:
    """Sums of a strip's plane over bands of columns beside paths, from running sums: a band costs two look-ups a ray.

    Beyond the strip its last column goes on.
    """

    def __init__(self, plane: Plane) -> None:
        beyond = [(0, 0), (_WIDEST + 1, _WIDEST)] + [(0, 0)] * (plane.ndim - 2)
        self._running = np.cumsum(np.pad(plane, beyond, mode="edge"), axis=1, dtype=np.float64)

    def __call__(self, columns: Columns, inner: float, outer: float) -> NDArray[np.float64]:
        """Sums (paths, rays, ...) from `inner` to `outer`, in hundredths of the diameter."""
        start = columns + _WIDEST + round(inner * PER_CENT)
        end = columns + _WIDEST + round(outer * PER_CENT) + 1
        rays = np.arange(columns.shape[1])
        return np.asarray(self._running[rays, end] - self._running[rays, start], np.float64)


@dataclass(frozen=True, eq=False)
class _Maps:
    """Per-pixel quantities of a strip, from which the measures of all paths are taken; bands count what is known."""

    crest: Plane
    known: Mask
    pattern: Plane
    colours: _Bands
    log_edge: _Bands
    squeezed: _Bands
    unevenness: _Bands
    hue: _Bands
    count: _Bands


def evidence(
    strip: Strip, paths: list[Path], heart: Plane, astray: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Measures of closed paths.

    Parameters
    ----------
    strip : Strip
        Straightened.
    paths : list of (RAYS,) int64 arrays
    heart : (K, 3) float32 array
        Colours from well inside the stone.
    astray : (len(paths),) float64 array
        How far each runs from the body of the stone (`setstone.measure.body`), in diameters.

    Returns
    -------
    (len(paths), len(MEASURES)) float64 array
    """
    maps = _maps(_halved(strip), heart)
    columns: Columns = np.asarray(paths, np.int64).reshape(len(paths), -1)[:, ::2]
    peak = _mean(maps.log_edge, maps, columns, -0.2, 0.2)
    position = np.median(columns, axis=1)
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
    with_body = -np.log1p((astray / ASTRAY) ** 2)
    return np.column_stack([*_measures(maps, columns, peak), np.array(neighbours), with_body])


def girdle_score(
    strip: Strip, paths: list[Path], heart: Plane, astray: NDArray[np.float64]
) -> NDArray[np.float64]:
    """How much speaks for each closed path to be the girdle.

    Parameters
    ----------
    strip : Strip
        Straightened.
    paths : list of (RAYS,) int64 arrays
    heart : (K, 3) float32 array
        Colours from well inside the stone.
    astray : (len(paths),) float64 array
        How far each runs from the body of the stone, in diameters.

    Returns
    -------
    (len(paths),) float64 array
        Logarithm of the odds between any two.
    """
    lamp = "blue" if under_blue_light(strip) else "white"
    return evidence(strip, paths, heart, astray) @ SLOPE[lamp]


def under_blue_light(strip: Strip) -> bool:
    """Whether the stone and the setting are lit by blue light only: a blue stone under white light lies in a setting that is not blue."""
    beyond = strip.offsets >= SETTING * strip.column * 100 * PER_CENT
    return bool(_blueness(strip, np.ones_like(beyond)) > 0.45 and _blueness(strip, beyond) > 0.4)


def _blueness(strip: Strip, columns: Mask) -> float:
    """Median share of the blue channel; every eighth ray is enough for it."""
    colours = strip.colours[::8, columns][strip.inside[::8, columns]]
    return float(np.median(colours[:, 2] / (over_colours(colours) + 1))) if len(colours) else 1.0


def _halved(strip: Strip) -> Strip:
    """Every two rays in one; what is measured here is wider."""
    colours: Plane = (strip.colours[::2] + strip.colours[1::2]) * np.float32(0.5)
    return Strip(strip.curve[::2], strip.offsets, colours, strip.inside[::2] & strip.inside[1::2])


def _maps(strip: Strip, heart: Plane) -> _Maps:
    edge, known = edge_strength(strip)
    turn = len(strip.colours)
    fine = _band(strip.colours, turn / 300, turn / 20, 1.0)
    clear = squeezed(edge, known)

    def bands(plane: Plane) -> _Bands:
        return _Bands(np.where(known, plane, np.float32(0)))

    return _Maps(
        crest=maximum_filter1d(clear, 3, axis=1, mode="nearest"),
        known=known,
        pattern=_band(strip.colours, turn / 120, turn / 12, 1.2),
        colours=_Bands(strip.colours),
        log_edge=bands(np.log(edge + np.float32(0.3))),
        squeezed=bands(clear),
        unevenness=bands(np.log1p(np.sqrt(over_colours(fine**2)))),
        hue=bands(_hue_likeness(strip.colours, heart)),
        count=bands(np.ones_like(edge)),
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


def _measures(maps: _Maps, columns: Columns, peak: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """Measures of each path that do not ask for the other paths."""
    seen = _at(maps.known, columns)
    rays = np.maximum(seen.sum(axis=1), 1)

    def mean(bands: _Bands, inner: float, outer: float) -> NDArray[np.float64]:
        return _mean(bands, maps, columns, inner, outer)

    def pattern(offset: float) -> Plane:
        return _at(maps.pattern, columns + round(offset * PER_CENT)) * seen[..., None]

    inner, outer = pattern(-0.5), pattern(0.5)
    energy = np.sqrt((inner**2).sum(axis=(1, 2)) * (outer**2).sum(axis=(1, 2))) + seen.sum(axis=1) + 1.0
    wide = round(0.8 * PER_CENT) - round(0.3 * PER_CENT) + 1
    step = np.linalg.norm(maps.colours(columns, 0.3, 0.8) - maps.colours(columns, -0.8, -0.3), axis=-1) / wide
    return [
        (_at(maps.crest, columns) * seen).sum(axis=1) / rays - mean(maps.squeezed, -4, -0.8),
        peak - np.log((step * seen).sum(axis=1) / rays + 2),
        -np.maximum((inner * outer).sum(axis=(1, 2)) / energy, 0.0),
        mean(maps.unevenness, -3, -0.4),
        mean(maps.unevenness, -3, -0.4) - mean(maps.unevenness, 0.4, 1.5),
        mean(maps.hue, -6, -0.4) - mean(maps.hue, 0.4, 4),
        mean(maps.hue, 0.4, 1.5),
    ]


def _at(plane: NDArray[T], columns: Columns) -> NDArray[T]:
    """Values at one column in every ray, (paths, rays, ...)."""
    return plane[np.arange(columns.shape[1]), np.clip(columns, 0, plane.shape[1] - 1)]


def _mean(bands: _Bands, maps: _Maps, columns: Columns, inner: float, outer: float) -> NDArray[np.float64]:
    """Mean of each path over all rays of a band beside it, limits in hundredths of the diameter."""
    total = bands(columns, inner, outer).sum(axis=1)
    return np.asarray(total / np.maximum(maps.count(columns, inner, outer).sum(axis=1), 1), np.float64)

"""Find the girdle of a set stone: the outline in which stone and setting meet.

Two curves to begin with are looked for on small copies: around what looks like the body of the stone, and along the strongest
closed edge around the centre of symmetry. The picture is unrolled and straightened along each, every closed
path in it is a candidate, and of these the one is taken that looks most like a girdle.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.spatial import cKDTree

from setstone.measure.body import body_of
from setstone.measure.claws import claws, covered
from setstone.measure.light import Pixels, Plane
from setstone.measure.outline import Outline
from setstone.measure.quantity import combine
from setstone.measure.rim import girdle_score, under_blue_light
from setstone.measure.rings import (
    PER_CENT,
    RAYS,
    Curve,
    Mask,
    Path,
    Strip,
    edge_strength,
    edge_width,
    edges_near,
    gradient,
    parallel_course,
    resampled,
    ring_paths,
    settled,
    squeezed,
    strongest_ring,
    unrolled,
)
from setstone.measure.silhouette import TOLERANCE, Silhouette, fit_silhouette
from setstone.measure.view import Pyramid, View

#: Rings looked at as candidates.
CANDIDATES = 16
#: How far from the expected course an edge may lie, in columns (0.6 % of the diameter).
REACH = 0.6 * PER_CENT
#: Where in a blurred edge the outline "is", as a standard uncertainty: share of the 10-90 % width.
EDGE_DEFINITION = 0.1
#: What speaks for a ring at which a person points: all of its edge being there, against this much distance, in diameters; and
#: how much more must speak for one near the body.
COMPLETE, AT_POINT, BETTER = 4.0, 0.015, 0.5
#: Completeness of the strongest ring, and of the best path near a curve, below which no stone is said to be seen there.
LEAST_RING = 0.45
#: Share of the probability that the rings must hold whose spread is the doubt about the ring. Under blue light the
#: likeliest is not the girdle too often to leave any out: with 90 % of it the intervals held the truth of 39 of 44 stones
#: only, with all of it of 42.
HELD = {"white": 0.9, "blue": 1.0}
#: By how much chances are flatter than the scores say. Under blue light they are too sure of themselves: with 1.0 the intervals
#: below 10 % held the truth of 32 of 33 test photographs and 68 of 77 rendered ones, with 1.5 of 28 of 28 and 70 of 76.
TEMPERATURE = {"white": 1.0, "blue": 1.5}
#: Score of the likeliest ring below which none is said to be a girdle: all test stones reach 6.8, of 89 pictures of other things 6
#: (discs and boards) come to it. Blue light shows too little of the setting to say so: there the uncertainty has to tell.
LEAST_SCORE = 2.5


def find_girdle(pixels: Pixels, *, near: tuple[float, float] | None = None) -> Outline | None:
    """Outline of the girdle in a photograph of a set stone.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        sRGB-encoded photograph, under white light where there is one.
    near : (float, float), optional
        A point x, y that a person has put on the girdle, in pixels: of the closed edges found, the
        nearest to it is taken.

    Returns
    -------
    Outline or None
        None where no stone is to be seen.
    """
    if near is None:
        rings, score = _likeliest(candidate_rings(pixels))
        if rings is None:
            return None
        lamp = "blue" if under_blue_light(rings.strip) else "white"
        if lamp == "white" and score.max() < LEAST_SCORE:
            return None
        held = HELD[lamp]
        chance = np.exp((score - score.max()) / TEMPERATURE[lamp])
    else:
        rings, chance = _through(candidate_rings(pixels), near)
        if rings is None:
            return None
        held = 1.0
    fit = _refined(rings, rings.paths[int(chance.argmax())])
    doubt = _doubt_about_ring(rings, chance / chance.sum(), held)
    outline = fit.silhouette
    u_px = combine(fit.u_px, doubt) / float(rings.view.scale.mean())
    return Outline(rings.view.back(outline.points), outline.seen, u_px, outline.form)


def visible_stone(pixels: Pixels, outline: Outline) -> NDArray[np.bool_]:
    """Tell what is seen of a stone: inside its outline and not under claws.

    A bezel that reaches over the girdle hides it; then its lip is the outline.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        sRGB-encoded photograph, under white light where there is one.
    outline : Outline

    Returns
    -------
    (H, W) bool array
    """
    view = Pyramid(pixels).around(outline.points)
    bars = [view.back(bar) for bar in claws(view.image, resampled(view.into(outline.points), RAYS))]
    shape = pixels.shape[0], pixels.shape[1]
    return covered(shape, [outline.points]) & ~covered(shape, bars)


@dataclass(frozen=True, eq=False)
class Rings:
    """Closed edges around a stone, one of which may be the girdle.

    Parameters
    ----------
    view : View
    strip : Strip
        The view unrolled and straightened along them.
    paths : list of (RAYS,) int64 arrays
        Their columns in the strip.
    completeness : (len(paths),) float64 array
        Mean squeezed edge strength along each, 0..1.
    heart : (K, 3) float32 array
        Colours from well inside.
    body : (N, 2) float64 array or None
        What looks like the body of the stone, in pixels of the photograph; None where nothing does.
    """

    view: View
    strip: Strip
    paths: list[Path]
    completeness: NDArray[np.float64]
    heart: Plane
    body: Curve | None

    @property
    def astray(self) -> NDArray[np.float64]:
        """Median distance of each path from the body, in diameters; 0 where no body is seen."""
        if self.body is None:
            return np.zeros(len(self.paths))
        tree = cKDTree(resampled(self.body, 4 * RAYS))
        extent = float(np.ptp(self.body, axis=0).mean())
        return np.array([np.median(tree.query(curve)[0]) for curve in self.curves]) / extent

    @property
    def extent(self) -> float:
        """Width of the curve they run along, in pixels of the photograph."""
        return float(np.ptp(self.view.back(self.strip.curve), axis=0).mean())

    @property
    def curves(self) -> list[Curve]:
        """The paths in pixels of the photograph."""
        return [self.view.back(self.strip.at(path.astype(np.float64))) for path in self.paths]


def candidate_rings(pixels: Pixels) -> Iterator[Rings]:
    """Find the closed edges of a photograph: those near the body of the stone, then those near the strongest ring."""
    pyramid = Pyramid(pixels)
    body = body_of(pyramid)
    if body is not None:
        yield from _rings_near(pyramid, body, body)
    small = pyramid.small()
    ring, complete = strongest_ring(gradient(small.image, 1.0))
    if complete >= LEAST_RING:
        yield from _rings_near(pyramid, small.back(ring), body)


def _rings_near(pyramid: Pyramid, curve: Curve, body: Curve | None) -> Iterator[Rings]:
    """Closed edges around a curve, which is given in pixels of the photograph, if there are any."""
    view = pyramid.around(curve)
    strip = unrolled(view.image, settled(view.image, resampled(view.into(curve), RAYS)), -0.2, 0.1)
    score = squeezed(*edge_strength(strip))
    paths = ring_paths(score, CANDIDATES)
    completeness = np.array([score[np.arange(RAYS), path].mean() for path in paths])
    if completeness.max(initial=0.0) >= LEAST_RING:
        yield Rings(view, strip, paths, completeness, _heart(view.image, strip.curve), body)


def _likeliest(found: Iterator[Rings]) -> tuple[Rings | None, NDArray[np.float64]]:
    """Rings among which the likeliest girdle is, and what speaks for each of them."""
    best, best_score = None, np.array([-np.inf])
    for rings in found:
        score = girdle_score(rings.strip, rings.paths, rings.heart, rings.astray)
        if score.max() > best_score.max():
            best, best_score = rings, score
    return best, best_score


def _through(found: Iterator[Rings], point: tuple[float, float]) -> tuple[Rings | None, NDArray[np.float64]]:
    """Rings among which is the one a point means, the most complete of those near it; 1 for it, 0 for the others."""
    best, best_worth = None, np.array([-np.inf])
    # A person points where the program went wrong, perhaps about the body: rings near it come last and must be better.
    for rings in reversed(list(found)):
        away = np.array([np.hypot(*(curve - point).T).min() for curve in rings.curves]) / rings.extent
        worth = COMPLETE * rings.completeness - away / AT_POINT
        if worth.max() > best_worth.max() + BETTER:
            best, best_worth = rings, worth
    return best, (best_worth == best_worth.max()).astype(np.float64)


def _heart(image: Plane, ring: Curve) -> Plane:
    """Colours from well inside a ring, evenly over its area, (K, 3)."""
    centre = ring.mean(axis=0)
    shrink = np.sqrt(np.linspace(0.02, 0.5, 16))
    at = (centre + shrink[None, :, None] * (ring[::6, None] - centre)).astype(np.float32)
    smooth = cv2.GaussianBlur(image, (0, 0), 1.2)
    return np.asarray(cv2.remap(smooth, at[..., 0], at[..., 1], cv2.INTER_LINEAR).reshape(-1, 3), np.float32)


@dataclass(frozen=True, eq=False)
class _Fit:
    """Clean outline in view pixels, with the standard uncertainty of its mean position."""

    silhouette: Silhouette
    u_px: float


def _refined(rings: Rings, path: Path) -> _Fit:
    """Clean outline along a ring, fitted to the edges near the ring, then to those near the fit."""
    columns, known = edges_near(rings.strip, parallel_course(path.astype(np.float64)), REACH)
    silhouette = fit_silhouette(rings.strip.at(columns), known & _in_full_view(rings.strip))
    for _ in range(2):
        strip = unrolled(rings.view.image, resampled(silhouette.points, RAYS), -0.015, 0.015)
        middle = (strip.offsets.size - 1) / 2
        columns, known = edges_near(strip, np.full(RAYS, middle), REACH)
        silhouette = fit_silhouette(strip.at(columns), known)
    definition = EDGE_DEFINITION * edge_width(strip, columns, known)
    unseen = (1 - float(silhouette.seen.mean())) * 100 * PER_CENT * TOLERANCE
    return _Fit(silhouette, combine(definition, unseen) * strip.column)


def _doubt_about_ring(rings: Rings, chance: NDArray[np.float64], least: float) -> float:
    """Spread of the ring's distance over the rings that may be the girdle, in view pixels.

    The standard deviation over the smallest set of rings that holds the least share of the probability.
    """
    order = np.argsort(-chance, kind="stable")
    held = order[: int(np.searchsorted(np.cumsum(chance[order]), least)) + 1]
    distance = np.array([np.median(rings.paths[i]) for i in held]) * rings.strip.column
    share = chance[held] / chance[held].sum()
    return float(np.sqrt(share @ (distance - distance[0]) ** 2))


def _in_full_view(strip: Strip) -> Mask:
    """Rays on which, and near which, the setting's ring itself lies in the photograph."""
    ring = round(-strip.offsets[0] / strip.column)
    out = ~strip.inside[:, ring + round(1.5 * PER_CENT)]
    return uniform_filter1d(out.astype(np.float64), RAYS // 40, mode="wrap") < 0.01

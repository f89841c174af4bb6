"""How deep a candidate lies, by the frame of a series through the focus in which it is sharpest.

A hint, not a measurement of the stone: what is seen through a surface seems nearer than it is. Straight down through
a flat table the true depth is the apparent one times the refractive index (Hecht, Optics, 5th ed., 5.2; rays close to
the axis); through an inclined facet, or in a reflection, it is something else.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.candidates import Candidate, Reason
from setstone.measure.errors import MeasurementError
from setstone.measure.light import Pixels, Plane
from setstone.measure.quantity import COVERAGE, Quantity, combine

#: Fewer frames leave nothing to tell the doubt of a peak by.
FEWEST = 5

#: How far across a line or outline sharpness is looked at, in pixels; more of them see other things.
_ACROSS, _SAMPLE = 8.0, 0.5
#: Stretches whose depths are compared: a line may run downwards, and a neighbour may be sharp elsewhere.
_PARTS = 4
#: A peak that rises less above the rest of the series, or explains less of it, is none.
_RISES, _EXPLAINS = 0.3, 0.7
#: Doubt of the peak between two frames, in steps: the true curve is none of those fitted (found by simulation,
#: tests/measure/test_depth.py).
_BETWEEN = 0.06
#: Distance of the places tried, in steps, and curves held against all of them at once: memory is bounded.
_PLACE, _TOGETHER = 0.05, 50
#: A table in focus is stated to the nearest frame: a rectangle one step wide (JCGM 100:2008, 4.3.7).
_STATED = 1 / np.sqrt(12)


@dataclass(frozen=True)
class Index:
    """Refractive index of the stone, for true depths.

    Parameters
    ----------
    low, high : float
        Between which it lies.
    source : str
        Where it comes from, for example ``"claimed: ruby"``.
    """

    low: float
    high: float
    source: str


def with_depths(
    candidates: Sequence[Candidate],
    frames: Iterable[Pixels],
    *,
    step_um: float,
    motions: NDArray[np.float64] | None = None,
    table: float | None = None,
    index: Index | None = None,
) -> tuple[Candidate, ...]:
    """Add to each candidate the depth in which it is sharpest, where it can be told.

    Parameters
    ----------
    candidates : sequence of Candidate
        With paths in the pixels of the first frame.
    frames : iterable of (H, W, 3) uint8 or uint16 array
        sRGB-encoded, in the order of the focus; one is held at a time.
    step_um : float
        How far the focus went down from frame to frame, µm; negative where it went up. Taken as exact.
    motions : (N, 2, 3) float64 array, optional
        Maps pixels of the first frame to those of each frame.
    table : float, optional
        Number of the frame, from 0, in which the table is sharp.
    index : Index, optional
        Only with it, and with the table, true depths are computed.

    Returns
    -------
    tuple of Candidate
        In the same order. Added are the sizes ``below_first_frame``, or ``below_table`` where the table is known
        (µm, apparent), ``depth`` (µm, inside the stone) and a first reason.

    Raises
    ------
    MeasurementError
        When there are fewer than five frames or the step is none.
    """
    if not np.isfinite(step_um) or step_um == 0:
        raise MeasurementError("The step of a series through the focus is a length other than zero, in µm.")
    if not candidates:
        return ()
    curves = sharpness([c.path for c in candidates], [c.kind == "spot" for c in candidates], frames, motions)
    if curves.shape[2] < FEWEST:
        raise MeasurementError(
            f"Depths need at least {FEWEST} frames; take more, from above the table to below what is looked at."
        )
    found, u = sharpest(curves)
    return tuple(
        _named(c, float(at), float(doubt), step_um, table, index) if np.isfinite(at) else c
        for c, at, doubt in zip(candidates, found, u, strict=True)
    )


def sharpness(
    paths: Sequence[NDArray[np.float64]],
    closed: Sequence[bool],
    frames: Iterable[Pixels],
    motions: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """Sharpness of each path in each frame: energy of the slopes of its mean profile.

    The profile across is averaged along the path before its slopes are squared: what does not follow the path,
    such as grain and the facets behind, cancels.

    Parameters
    ----------
    paths : sequence of (N, 2) float64 array
        Pixels x, y of the first frame; at least one path.
    closed : sequence of bool
        Whether the path is an outline.
    frames : iterable of (H, W, 3) uint8 or uint16 array
    motions : (F, 2, 3) float64 array, optional

    Returns
    -------
    (P, 1 + 4, F) float64 array
        For each path that of the whole and of its four stretches, in squared grey levels.
    """
    across = np.arange(-_ACROSS, _ACROSS + _SAMPLE / 2, _SAMPLE)
    cuts = [_across(p, c, across) for p, c in zip(paths, closed, strict=True)]
    ends = np.cumsum([len(c) for c in cuts])
    points = np.concatenate(cuts)
    rows = []
    for number, frame in enumerate(frames):
        at = points if motions is None else points @ motions[number, :, :2].T + motions[number, :, 2]
        profiles = np.split(_sampled(_grey(frame), at), ends[:-1])
        rows.append([[_energy(p), *(_energy(s) for s in np.array_split(p, _PARTS))] for p in profiles])
    return np.moveaxis(np.array(rows, np.float64).reshape(len(rows), len(cuts), 1 + _PARTS), 0, 2)


def sharpest(curves: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Where between the frames sharpness peaks.

    A Lorentzian, the energy of the slopes of an edge whose blur grows on both sides of the focus, on an even
    ground is fitted by least squares to each curve.

    Parameters
    ----------
    curves : (P, 1 + S, F) float64 array
        As from `sharpness`.

    Returns
    -------
    peak, u : (P,) float64 array
        Frame number from 0 and its standard uncertainty: of the fit, of the mean of the stretches, and of what
        lies between two frames. Not a number where there is no peak inside the series.
    """
    paths, parts, count = curves.shape
    top = curves.max(axis=2, keepdims=True)
    scaled = (curves / np.where(top > 0, top, 1)).reshape(-1, count)
    peak, se, rise, explained = (a.reshape(paths, parts) for a in _peaks(scaled))
    spread = peak[:, 1:].std(axis=1, ddof=1) / np.sqrt(parts - 1)
    u = np.sqrt(se[:, 0] ** 2 + spread**2 + _BETWEEN**2)
    at = peak[:, 0]
    good = (
        (at > 0)
        & (at < count - 1)
        & (rise[:, 0] > _RISES)
        & (explained[:, 0] > _EXPLAINS)
        & (COVERAGE * u < count / 4)
    )
    return np.where(good, at, np.nan), np.where(good, u, np.nan)


def _peaks(
    curves: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Place, its standard error, share that rises above the ground, and share of the variance explained."""
    count = curves.shape[1]
    places = np.arange(-1, count + _PLACE / 2, _PLACE)
    widths = np.geomspace(0.3, count, 24)
    bells = 1 / (1 + ((np.arange(count) - places[:, None, None]) / widths[:, None]) ** 2)
    groups = np.array_split(curves, max(1, len(curves) // _TOGETHER))
    at, se, rise, explained = zip(*(_fitted(group, places, bells) for group in groups), strict=True)
    return np.concatenate(at), np.concatenate(se), np.concatenate(rise), np.concatenate(explained)


def _fitted(
    curves: NDArray[np.float64], places: NDArray[np.float64], bells: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """The same of curves held against all bells (places, widths, frames) at once."""
    count = curves.shape[1]
    # Height and ground of each bell by linear least squares; a ground below nothing is nothing.
    mean, even = bells.mean(axis=2), curves.mean(axis=1)
    off = bells - mean[..., None]
    square = (off**2).sum(axis=2)
    height = np.einsum("pwf,cf->cpw", off, curves) / square
    ground = even[:, None, None] - height * mean
    plain = np.einsum("pwf,cf->cpw", bells, curves) / (bells**2).sum(axis=2)
    height, ground = np.where(ground < 0, plain, height), np.maximum(ground, 0)
    left = (
        (curves**2).sum(axis=1)[:, None, None]
        - 2 * height * np.einsum("pwf,cf->cpw", bells, curves)
        - 2 * ground * (count * even)[:, None, None]
        + height**2 * (bells**2).sum(axis=2)
        + 2 * height * ground * count * mean
        + count * ground**2
    )
    left = np.where(height > 0, np.maximum(left, 0), np.inf)
    best = left.reshape(len(curves), -1).argmin(axis=1)
    place, width = np.unravel_index(best, left.shape[1:])
    # Around the best place, the least over all widths is a parabola.
    least = left.min(axis=2)
    inner = np.clip(place, 1, len(places) - 2)
    number = np.arange(len(curves))
    a, b, c = (least[number, inner + k] for k in (-1, 0, 1))
    with np.errstate(invalid="ignore", divide="ignore"):
        bend = a - 2 * b + c
        shift = np.where((bend > 0) & np.isfinite(bend), 0.5 * (a - c) / bend, 0.0)
        noise = b / max(count - 4, 1)
        se = _PLACE * np.sqrt(2 * noise / np.where(bend > 0, bend, np.nan))
    at = places[inner] + _PLACE * np.clip(shift, -1, 1)
    tall, low = height[number, place, width], ground[number, place, width]
    spread = ((curves - even[:, None]) ** 2).sum(axis=1)
    missed = left[number, place, width]
    explained = np.where(missed < spread, 1 - np.minimum(missed, spread) / np.maximum(spread, 1e-12), 0.0)
    se = np.where(np.isfinite(se), se, np.inf)
    return at, se, tall / np.maximum(tall + low, 1e-12), explained


def _across(path: NDArray[np.float64], closed: bool, across: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points on cuts across a path, (N, len(across), 2)."""
    ring = np.concatenate([path, path[:1]]) if closed else path
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    at = np.linspace(0, along[-1], max(2 * _PARTS, int(along[-1]) + 1))
    line = np.column_stack([np.interp(at, along, ring[:, k]) for k in (0, 1)])
    if closed:
        line = line[:-1]
        way = np.roll(line, -2, axis=0) - np.roll(line, 2, axis=0)
    else:
        way = np.gradient(line, axis=0)
    normal = np.column_stack([-way[:, 1], way[:, 0]]) / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    return np.asarray(line[:, None] + across[:, None] * normal[:, None])


def _grey(frame: Pixels) -> Plane:
    """Grey levels of 255, blurred a little: between two pixels nothing is less sharp than on one."""
    light = np.full((1, 3), 255 / 3 / np.iinfo(frame.dtype).max, np.float32)
    grey = cv2.transform(frame.astype(np.float32), light).reshape(frame.shape[:2])
    return np.asarray(cv2.GaussianBlur(grey, (0, 0), 1), np.float32)


def _sampled(grey: Plane, at: NDArray[np.float64]) -> Plane:
    x, y = np.ascontiguousarray(at.reshape(-1, at.shape[1], 2).transpose(2, 0, 1), np.float32)
    # OpenCV maps no more than 32767 rows at once.
    strips = [
        cv2.remap(
            grey, x[k : k + 30_000], y[k : k + 30_000], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        for k in range(0, len(x), 30_000)
    ]
    return np.concatenate(strips)


def _energy(profiles: Plane) -> float:
    return float((np.diff(profiles.mean(axis=0, dtype=np.float64)) ** 2).sum())


def _named(
    candidate: Candidate, at: float, u: float, step_um: float, table: float | None, index: Index | None
) -> Candidate:
    step = abs(step_um)
    if table is None:
        below = Quantity(at * step_um, u * step, "µm")
        return replace(candidate, sizes={**candidate.sizes, "below_first_frame": below})
    below = Quantity((at - table) * step_um, combine(u, float(_STATED)) * step, "µm")
    sizes = {**candidate.sizes, "below_table": below}
    if abs(below.value) <= below.expanded:
        text = "sharp at the depth of the table: consistent with dust, a fibre or a scratch on it, or with a flaw that reaches it"
        reason = Reason("at-table", text, False)
    elif below.value < 0:
        above = Quantity(-below.value, below.u, "µm")
        text = f"sharpest {above} above the table: consistent with dust or a fibre that stands off the stone"
        reason = Reason("above-table", text, False)
    else:
        true = "the true depth is this times the refractive index"
        if index is not None:
            middle, half = (index.low + index.high) / 2, (index.high - index.low) / 2
            depth = Quantity(
                below.value * middle, combine(middle * below.u, below.value * half / float(np.sqrt(3))), "µm"
            )
            sizes["depth"] = depth
            true = f"{depth} deep if its refractive index is {middle:.2f} ({index.source})"
        text = (
            f"sharpest {below} below the table as seen; straight through the table {true}: "
            "inside the stone, or on a facet that lies lower"
        )
        reason = Reason("below-table", text, True)
    return replace(candidate, sizes=sizes, reasons=(reason, *candidate.reasons))

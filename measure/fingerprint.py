"""A stone's inside as its fingerprint, whichever way it is turned, and how alike two of them are.

Four layers are drawn on a polar grid around the girdle's centre, in units of its radius: lines and spots, each weighing
as much as its score, and the grain of the white and of the blue photograph. Turning the stone shifts the grid along its
rows, which in Fourier's terms changes no amplitude: two stones are compared at every turn at once (as in Reddy & Chatterji
1996, IEEE Trans. Image Process. 5, 1266), thousands of them in one product of arrays.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.candidates import LIKELY, Candidate
from setstone.measure.errors import MeasurementError
from setstone.measure.light import Pixels, encoded_plane
from setstone.measure.outline import Outline
from setstone.measure.rings import even_diameter

Waves = NDArray[np.complex64]

#: Rings of the grid, and waves around it: orders -ORDERS to ORDERS.
RINGS, ORDERS = 24, 32
#: How much each layer says where the best turn is looked for.
WEIGHTS = np.array([1.0, 0.5, 1.0, 1.0], np.float32)
LAYERS = ("lines", "spots", "white grain", "blue grain")
#: Radii of the rings, in girdle radii. The rim is left out of it: glue and setting change there.
RADII = (np.arange(RINGS) + 0.5) / RINGS * 0.95
_M = np.arange(-ORDERS, ORDERS + 1)
#: By how much places are blurred, in girdle radii: what an outline found twice differs by.
BLUR = 0.02
#: Candidates scored lower draw nothing.
LEAST_SCORE = 0.05
#: Turns that are told apart.
TURNS = 256
#: Within these radii the grain is looked at.
GRAIN_WITHIN = (0.08, 0.85)
#: Side of the picture of a stone in which its grain is looked at, and width of the averages, in pixels and radii.
_SIDE, _AVERAGED = 480, 0.008
#: Length of the waves of what is too little to tell stones apart, by layer: that of a sure line a seventh of a radius long,
#: and half that of a sure spot.
_LITTLE = np.array([1.0, 5.0, 1e-9, 1e-9])


@dataclass(frozen=True, eq=False)
class Fingerprint:
    """What is peculiar to one stone on one occasion.

    Parameters
    ----------
    waves : (4, RINGS, 2 ORDERS + 1) complex64 array
        Each of the `LAYERS` in waves around the centre, zero where there is nothing; of length 1 each.
    findings : int
        How many likely candidates, or findings of a person, it was drawn from.
    """

    waves: Waves
    findings: int


@dataclass(frozen=True)
class Likeness:
    """How alike two fingerprints are, at the turn at which they are most alike.

    Parameters
    ----------
    layers : (float, float, float, float)
        Correlation of each of the `LAYERS`, -1 to 1, at that turn.
    turn_deg : float
        By how much the second must be turned to lie on the first, degrees, from x towards y.
    """

    layers: tuple[float, float, float, float]
    turn_deg: float


def fingerprint(
    outline: Outline,
    candidates: Iterable[Candidate],
    white: Pixels | None,
    blue: Pixels | None,
) -> Fingerprint:
    """Draw the fingerprint of a stone.

    Parameters
    ----------
    outline : Outline
        The girdle in pixels of the photographs.
    candidates : iterable of Candidate
        Score 1 for what a person accepted; without what was rejected.
    white, blue : (H, W, 3) uint8 or uint16 array or None
        sRGB-encoded photographs, blue aligned on white.

    Returns
    -------
    Fingerprint

    Raises
    ------
    MeasurementError
        When the outline encloses nothing.
    """
    radius = even_diameter(outline.points) / 2
    if not radius > 1:
        raise MeasurementError("The outline of the stone encloses nothing; draw it again.")
    centre = np.array(outline.centre)
    some = [c for c in candidates if c.score >= LEAST_SCORE]
    waves = np.zeros((len(LAYERS), RINGS, len(_M)), np.complex128)
    for layer, kind in enumerate(("line", "spot")):
        for candidate in some:
            if candidate.kind == kind:
                waves[layer] += _drawn(
                    (candidate.path - centre) / radius, candidate.score, line=kind == "line"
                )
    for layer, pixels in ((2, white), (3, blue)):
        if pixels is not None:
            waves[layer] = _grain(pixels, centre, radius)
    # One short line or one spot lies on another at some turn: little that is drawn stays short of length 1.
    length = np.sqrt((np.abs(waves) ** 2).sum(axis=(1, 2)) + _LITTLE**2)
    unit = (waves / length[:, None, None]).astype(np.complex64)
    return Fingerprint(unit, sum(c.score >= LIKELY for c in some))


def likeness(one: Fingerprint, others: Sequence[Fingerprint]) -> tuple[Likeness, ...]:
    """Compare a fingerprint with others, each at the turn at which they are most alike.

    Parameters
    ----------
    one : Fingerprint
    others : sequence of Fingerprint

    Returns
    -------
    tuple of Likeness
        In the order of `others`.
    """
    if not others:
        return ()
    found = likeness_of_waves(one.waves, np.stack([o.waves for o in others]))
    return tuple(
        Likeness(tuple(float(v) for v in layers), float(turn))  # type: ignore[arg-type]
        for layers, turn in zip(*found, strict=True)
    )


def likeness_of_waves(one: Waves, others: Waves) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Compare one fingerprint's waves with those of many at once.

    Parameters
    ----------
    one : (4, RINGS, 2 n + 1) complex64 array
        Orders -n to n; all of them, or the slowest for a quick look.
    others : (N, 4, RINGS, 2 n + 1) complex64 array

    Returns
    -------
    (N, 4) and (N,) float64 arrays
        Correlations by layer at the best turn, and that turn in degrees.
    """
    products = np.einsum("lrm,nlrm->nlm", one.conj(), others).conj()
    at_turns = np.zeros((len(others), TURNS), np.complex64)
    orders = np.arange(one.shape[-1]) - one.shape[-1] // 2
    at_turns[:, orders % TURNS] = np.einsum("l,nlm->nm", WEIGHTS, products)
    best = np.fft.ifft(at_turns, axis=-1).real.argmax(axis=-1)
    turned = np.exp(2j * np.pi / TURNS * np.outer(best, orders))
    correlations: NDArray[np.float64] = np.einsum("nlm,nm->nl", products, turned).real
    return correlations, best * (360 / TURNS)


def _drawn(path: NDArray[np.float64], weight: float, *, line: bool) -> NDArray[np.complex128]:
    """Waves of one candidate whose path is given in girdle radii from the centre."""
    if line:
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
        n = max(2, int(along[-1] / BLUR))
        at = (np.arange(n) + 0.5) / n * along[-1]
        points = np.column_stack([np.interp(at, along, path[:, k]) for k in (0, 1)])
        heading = np.arctan2(*np.gradient(points, axis=0).T[::-1])
        weights = np.full(n, weight * along[-1] / n, np.complex128)
    else:
        points, heading, weights = path.mean(axis=0)[None], None, np.array([weight], np.complex128)
    angle, far = np.arctan2(points[:, 1], points[:, 0]), np.hypot(*points.T)
    weights[far >= RADII[-1]] = 0
    if heading is not None:
        # Twice the direction against the radius: the same whichever way the stone and the line are turned.
        weights *= np.exp(2j * (heading - angle))
    # Never narrower than the rings lie apart, else a line between two of them draws nothing.
    rings = np.exp(-0.5 * ((far[:, None] - RADII) / max(BLUR, 0.6 * RADII[0] * 2)) ** 2)
    waves = np.einsum("p,pr,pm->rm", weights, rings, np.exp(-1j * np.outer(angle, _M)))
    blurred: NDArray[np.complex128] = waves * np.exp(-0.5 * (_M * BLUR / RADII[:, None]) ** 2)
    return blurred / np.sqrt(RADII)[:, None]


def _grain(pixels: Pixels, centre: NDArray[np.float64], radius: float) -> NDArray[np.complex128]:
    """Waves of the orientation of edges (doubled angle; Bigün & Granlund 1987), whatever their contrast."""
    scale = _SIDE / 2 / 1.02
    matrix = np.column_stack([np.eye(2) * (scale / radius), _SIDE / 2 - centre * (scale / radius)])
    small = cv2.warpAffine(pixels, matrix, (_SIDE, _SIDE), flags=cv2.INTER_AREA)
    brightest = encoded_plane(small.max(axis=2)[..., None].repeat(3, axis=2), (1 / 3, 1 / 3, 1 / 3))
    level = cv2.GaussianBlur(np.log(brightest + 8), (0, 0), 1.5)
    slope = cv2.Sobel(level, cv2.CV_32F, 1, 0) + 1j * cv2.Sobel(level, cv2.CV_32F, 0, 1)
    size = np.abs(slope)
    edges = slope**2 / (size**2 + 1e-6) * (size / (size + 2 * np.median(size) + 1e-6))
    angle = np.arange(TURNS) * (2 * np.pi / TURNS)
    x = (_SIDE / 2 + scale * RADII[:, None] * np.cos(angle)).astype(np.float32)
    y = (_SIDE / 2 + scale * RADII[:, None] * np.sin(angle)).astype(np.float32)
    real, imaginary = (
        cv2.remap(
            cv2.GaussianBlur(part.astype(np.float32), (0, 0), _AVERAGED * scale), x, y, cv2.INTER_LINEAR
        )
        for part in (edges.real, edges.imag)
    )
    polar = (real + 1j * imaginary) * np.exp(-2j * angle) * np.sqrt(RADII)[:, None]
    inner, outer = GRAIN_WITHIN
    polar[(inner > RADII) | (outer < RADII)] = 0
    waves: NDArray[np.complex128] = np.fft.fft(polar, axis=1)[:, _M % TURNS]
    return waves

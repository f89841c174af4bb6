"""Closed edges that run around one centre: the tool with which the girdle is found.

A set stone is a family of closed curves, one inside the other: girdle, lip of the bezel, rows of
beads. Together they have a centre of symmetry. One of them is found around that centre, the picture
is unrolled along it and straightened until all of them run straight, and then each is a path.
"""

import math
from dataclasses import dataclass

import cv2
import numba
import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from setstone.measure.light import Plane
from setstone.measure.robust import TUKEY, biweight

Curve = NDArray[np.float64]
Mask = NDArray[np.bool_]
Path = NDArray[np.int64]

#: Rays around the centre in every unrolled picture after the first look.
RAYS = 720
#: Columns of an unrolled picture per hundredth of the ring's diameter.
PER_CENT = 6

#: Score of a ray that leaves the photograph on both sides: neither for nor against an edge.
_UNSEEN = 0.35


@dataclass(frozen=True, eq=False)
class Gradient:
    """Colour gradient of a picture.

    Parameters
    ----------
    strength : (H, W) float32 array
        Root of the summed squared derivatives of all channels, per pixel.
    direction : (H, W) complex64 array
        Unit vector at *twice* the angle across the edge, so that both signs of an edge agree.
    """

    strength: Plane
    direction: NDArray[np.complex64]


@dataclass(frozen=True, eq=False)
class Strip:
    """A picture unrolled along the normals of a closed curve.

    Parameters
    ----------
    curve : (RAYS, 2) float64 array
        The curve, in pixels of the picture.
    offsets : (R,) float64 array
        Distance of every column from the curve, outward positive, in pixels.
    colours : (RAYS, R, 3) float32 array
    inside : (RAYS, R) bool array
        False where the photograph does not reach.
    """

    curve: Curve
    offsets: NDArray[np.float64]
    colours: Plane
    inside: Mask

    @property
    def column(self) -> float:
        """Width of a column, in pixels."""
        return float(self.offsets[1] - self.offsets[0])

    def at(self, columns: NDArray[np.float64]) -> Curve:
        """Points of the picture at one (fractional) column per ray."""
        distance = self.offsets[0] + columns * self.column
        points: Curve = self.curve + distance[:, None] * normals(self.curve)
        return points


def gradient(image: Plane, sigma: float) -> Gradient:
    """Gradient of a colour picture by its structure tensor (Di Zenzo 1986).

    Parameters
    ----------
    image : (H, W, 3) float32 array
    sigma : float
        Gaussian smoothing before derivation, in pixels.

    Returns
    -------
    Gradient
    """
    smooth = cv2.GaussianBlur(image, (0, 0), sigma)
    gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=1 / 8)
    gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=1 / 8)
    xx, xy, yy = (over_colours(a * b) for a, b in ((gx, gx), (gx, gy), (gy, gy)))
    double = (xx - yy) + 2j * xy
    unit = np.asarray(double / np.maximum(np.abs(double), 1e-6), np.complex64)
    return Gradient(np.sqrt(xx + yy), unit)


def symmetry_centre(edges: Gradient) -> tuple[float, float]:
    """Point about which the edges best agree with themselves turned by 180 degrees.

    The correlation of the edge directions with their own mirror image, as one product of spectra.
    The rings of any setting agree along all their length; texture and scale bars do not. Where
    the setting is not symmetric (a pear), the point still lies well inside it.

    Returns
    -------
    x, y : float
        In pixels, to half a pixel.
    """
    height, width = edges.strength.shape
    field = _squeezed(edges.strength) * edges.direction
    size = [scipy.fft.next_fast_len(2 * n) for n in (height, width)]
    spectrum = scipy.fft.fft2(field, size)
    mirrored = scipy.fft.fft2(np.conj(field), size)
    agreement = scipy.fft.ifft2(spectrum * mirrored).real[: 2 * height - 1, : 2 * width - 1]
    agreement = cv2.GaussianBlur(np.asarray(agreement, np.float32), (0, 0), 1.5)
    y, x = np.unravel_index(int(agreement.argmax()), agreement.shape)
    return float(x) / 2, float(y) / 2


def strongest_ring(edges: Gradient) -> tuple[Curve, float]:
    """Find the closed curve around the centre of symmetry along which edges are strongest.

    Looked for twice: around the centre, then in the frame in which the first find has equal second
    moments, so that a long stone is sought as if it were round.

    Returns
    -------
    ring : (RAYS, 2) float64 array
        Points x, y, in pixels.
    completeness : float
        Mean squeezed edge strength along it, 0..1.
    """
    ring, _ = _ring_in_frame(edges, np.array(symmetry_centre(edges)), np.eye(2), stiffness=0.05)
    even = resampled(ring, RAYS)
    frame: NDArray[np.float64] = np.linalg.cholesky(np.cov(even.T)).astype(np.float64)
    frame /= math.sqrt(np.linalg.det(frame))
    found, completeness = _ring_in_frame(edges, even.mean(axis=0), frame, stiffness=0.12)
    return resampled(gaussian_filter1d(resampled(found, RAYS), 5.0, axis=0, mode="wrap"), RAYS), completeness


def even_diameter(curve: Curve) -> float:
    """Diameter of the disc of equal area, the same however the curve is turned."""
    return float(2 * np.sqrt(cv2.contourArea(curve.astype(np.float32)) / np.pi))


def unrolled(image: Plane, curve: Curve, inner: float, outer: float, diameter: float | None = None) -> Strip:
    """Unroll a picture along the normals of a closed curve.

    Parameters
    ----------
    image : (H, W, 3) float32 array
    curve : (RAYS, 2) float64 array
        With equal steps.
    inner, outer : float
        Limits of the distance from the curve as shares of its diameter, outward positive.
    diameter : float, optional
        In pixels; when not given the mean of the extents along x and y, which is another one once a square is turned.

    Returns
    -------
    Strip
    """
    diameter = float(np.ptp(curve, axis=0).mean()) if diameter is None else diameter
    columns = np.arange(round(100 * PER_CENT * inner), round(100 * PER_CENT * outer) + 1)
    offsets = (columns * (diameter / (100 * PER_CENT))).astype(np.float64)
    x, y = (
        start[:, None] + normal[:, None] * offsets.astype(np.float32)
        for start, normal in zip(curve.T.astype(np.float32), normals(curve).T.astype(np.float32), strict=True)
    )
    colours = cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    height, width = image.shape[:2]
    inside = (x >= 0) & (y >= 0) & (x <= width - 1) & (y <= height - 1)
    return Strip(curve, offsets, colours, inside)


def edge_strength(strip: Strip, sigma: float = 1.2) -> tuple[Plane, Mask]:
    """Strength of the colour change across the columns, and where it can be told.

    Parameters
    ----------
    strip : Strip
    sigma : float
        Smoothing along a ray before derivation, in columns.

    Returns
    -------
    strength : (RAYS, R) float32 array
        Per column; zero where it cannot be told.
    known : (RAYS, R) bool array
    """
    smooth = cv2.GaussianBlur(strip.colours, (0, 0), sigmaX=sigma, sigmaY=1.0)
    strength: Plane = np.sqrt(over_colours(np.gradient(smooth, axis=1) ** 2))
    known = told(strip)
    strength[~known] = 0
    return strength, known


def told(strip: Strip) -> Mask:
    """Where an edge can be told: three columns and a ray within the photograph."""
    return cv2.erode(strip.inside.astype(np.uint8), np.ones((3, 7)), borderType=cv2.BORDER_REPLICATE) > 0


def over_colours(channels: Plane) -> Plane:
    """Sum of three channels, (..., 3) to (...): in a third of the time of a sum along so short an axis."""
    return channels[..., 0] + channels[..., 1] + channels[..., 2]


def squeezed(strength: Plane, known: Mask) -> Plane:
    """Edge strength squeezed to 0..1, with 1.5 times the strip's own median in the middle."""
    score: Plane = strength / (strength + np.float32(1.5 * np.median(strength[known]) + 0.3))
    score[~known] = _UNSEEN
    return score


def settled(image: Plane, curve: Curve) -> Curve:
    """Curve drawn onto the strongest closed edge near it, and then straightened as a family.

    Parameters
    ----------
    image : (H, W, 3) float32 array
    curve : (RAYS, 2) float64 array

    Returns
    -------
    (RAYS, 2) float64 array
        A curve from which all rings of the setting keep an even distance.
    """
    strip = unrolled(image, curve, -0.035, 0.035)
    strength, known = edge_strength(strip)
    path = closed_path(squeezed(strength, known), reach=1, stiffness=0.2)
    curve = strip.at(gaussian_filter1d(path.astype(float), 3.0, mode="wrap"))
    for reach in (6, 2, 2):
        curve = _straightened(image, resampled(curve, RAYS), reach)
    return curve


def _straightened(image: Plane, curve: Curve, reach: int) -> Curve:
    """Shift stretches of the curve so that their profiles across all rings agree.

    A path along one edge may change over to a neighbouring ring for a while; the profile across
    several rings shows it. The profile to agree with is the mean, or that of one quarter of the turn
    where agreement with it goes further.
    """
    strip = unrolled(image, curve, -0.14, 0.09)
    step = np.gradient(cv2.GaussianBlur(strip.colours, (0, 0), sigmaX=1.5, sigmaY=1.0), axis=1)
    strength, known = np.sqrt(over_colours(step**2)), told(strip)
    step /= (strength + np.float32(1.5 * np.median(strength[known]) + 0.3))[..., None]
    step[~known] = 0
    stretch = 4
    profiles = step.reshape(RAYS // stretch, stretch, *step.shape[1:]).mean(axis=1)
    quarters = np.array_split(profiles, 4)
    models = np.stack([part.mean(axis=0) for part in (profiles, *quarters)])
    shifts = _shifts_to(profiles, models, reach * PER_CENT)
    best = max(shifts, key=lambda shift: _unity(profiles, shift))
    distance = gaussian_filter1d(np.repeat(best, stretch) * strip.column, 1.5 * stretch, mode="wrap")
    moved: Curve = curve + distance[:, None] * normals(curve)
    return resampled(moved, RAYS)


def _shifts_to(profiles: Plane, models: Plane, span: int) -> list[NDArray[np.float64]]:
    """For each model the shift of every profile, in columns, that agrees with it, changing little from one to the next.

    The agreements are correlations, taken as products of spectra; each model's ends are cut off, so that none runs over
    the edge.
    """
    columns = models.shape[1]
    inner = models.copy()
    inner[:, :span] = inner[:, columns - span :] = 0
    size = scipy.fft.next_fast_len(columns, real=True)
    of_profiles, of_models = (scipy.fft.rfft(planes, size, axis=1) for planes in (profiles, inner))
    spectra = np.einsum("pfc,mfc->pmf", of_profiles, np.conj(of_models))
    shift = np.arange(-span, span + 1)
    agreement = scipy.fft.irfft(spectra, size)[..., shift]
    agreement /= np.maximum((inner**2).sum(axis=(1, 2)), 1e-6)[:, None]
    shifts = []
    for one in np.moveaxis(agreement, 1, 0):
        path = closed_path(one, reach=2, stiffness=0.05)
        shifts.append(shift[path] + vertex(one, path))
    return shifts


def _unity(profiles: Plane, shift: NDArray[np.float64]) -> float:
    """Energy of the mean of the shifted profiles, whose ends go on beyond them."""
    whole = np.round(shift).astype(int)
    most = int(np.abs(whole).max())
    longer = np.pad(profiles, [(0, 0), (most, most), (0, 0)], mode="edge").reshape(len(profiles), -1)
    length, channels = profiles[0].size, profiles.shape[-1]
    laid = np.lib.stride_tricks.sliding_window_view(longer, length, axis=1)[:, ::channels]
    return float((laid[np.arange(len(profiles)), whole + most].mean(axis=0) ** 2).sum())


def ring_paths(score: Plane, most: int) -> list[Path]:
    """Distinct closed paths, each confined to a band of seven columns, the strongest first.

    Parameters
    ----------
    score : (RAYS, R) float32 array
        Squeezed edge strength of a straightened strip.
    most : int
        Number of paths to return at most.

    Returns
    -------
    list of (RAYS,) int64 arrays
        Column of the path in every ray.
    """
    half = 3
    score = np.ascontiguousarray(score, np.float32)
    worth = _confined(score, half, np.float32(0.3))
    paths: list[Path] = []
    for column in np.argsort(-worth, kind="stable"):
        if not half <= column < score.shape[1] - half or len(paths) == most:
            continue
        path = closed_path(score[:, column - half : column + half + 1], reach=1, stiffness=0.3)
        if np.mean(np.abs(path - half) == half) > 0.35:  # it leans on a stronger ring beside the band
            continue
        path = path + column - half
        if all(np.mean(np.abs(path - other)) >= 1.5 for other in paths):
            paths.append(path)
    return paths


def closed_path(score: Plane, reach: int, stiffness: float) -> Path:
    """Find the closed path of the greatest score through an unrolled picture, by dynamic programming.

    The path is sought over two turns and the middle turn is kept, which closes it (for minimal
    paths in pictures see Cohen & Kimmel 1997, IJCV 24:57).

    Parameters
    ----------
    score : (T, R) float32 array
        One row per ray, one column per distance.
    reach : int
        Greatest step between neighbouring rays, in columns.
    stiffness : float
        Cost of a step of one column.

    Returns
    -------
    (T,) int64 array
        Column of the path in every ray.
    """
    path: Path = _closed_path(np.ascontiguousarray(score, np.float32), reach, np.float32(stiffness))
    return path


def vertex(score: Plane, path: Path) -> NDArray[np.float64]:
    """Offset in columns, within half a column, of the parabola's vertex at a path's columns."""
    rays = np.arange(len(path))
    low, mid, high = (
        score[rays, np.clip(path + k, 0, score.shape[1] - 1)].astype(np.float64) for k in (-1, 0, 1)
    )
    curvature = np.minimum(low - 2 * mid + high, -1e-9)
    return np.clip(0.5 * (low - high) / curvature, -0.5, 0.5)


def parallel_course(columns: NDArray[np.float64]) -> NDArray[np.float64]:
    """Course of a path as it would be if it ran parallel to the strip's rings.

    A stone may sit a little aside or aslant in its setting, so that its girdle keeps the distance
    from the rings up to a wave of one or two turns. Stretches that follow something else have no say
    (Tukey's biweight).
    """
    angle = np.arange(len(columns)) * (2 * np.pi / len(columns))
    waves = np.column_stack([np.ones_like(angle), *(f(k * angle) for k in (1, 2) for f in (np.cos, np.sin))])
    most = np.bincount(np.round(columns - columns.min()).astype(int))
    course = np.full(len(columns), columns.min() + int(gaussian_filter1d(most.astype(float), 0.7).argmax()))
    for used in (waves[:, :1], waves[:, :3], waves):
        for _ in range(4):
            residual = columns - course
            near = np.abs(residual[np.abs(residual) < 4])
            spread = float(np.clip(1.48 * np.median(near), 0.5, 1.0)) if near.size else 1.0
            weight = np.sqrt(biweight(residual, TUKEY * spread))
            course = used @ np.linalg.lstsq(weight[:, None] * used, weight * columns, rcond=None)[0]
    return course


def edges_near(strip: Strip, course: NDArray[np.float64], reach: float) -> tuple[NDArray[np.float64], Mask]:
    """Edge nearest to a course in every ray, the stronger the farther it may lie.

    Parameters
    ----------
    strip : Strip
    course : (RAYS,) float64 array
        Column around which to look.
    reach : float
        Greatest distance, in columns.

    Returns
    -------
    columns : (RAYS,) float64 array
        The edge, to a fraction of a column; the course itself where there is none.
    found : (RAYS,) bool array
    """
    strength, known = edge_strength(strip)
    score = squeezed(strength, known)
    away = np.arange(strength.shape[1]) - course[:, None]
    peak = known & (score > 0.3)
    peak[:, 1:] &= strength[:, 1:] >= strength[:, :-1]
    peak[:, :-1] &= strength[:, :-1] > strength[:, 1:]
    worth = np.where(peak & (np.abs(away) <= reach), score * np.exp(-2 * (away / reach) ** 2), 0)
    path = worth.argmax(axis=1)
    found = worth[np.arange(len(path)), path] > 0
    return np.where(found, path + vertex(strength, path), course), found


def edge_width(strip: Strip, columns: NDArray[np.float64], found: Mask) -> float:
    """Width from 10 % to 90 % of the blurred edge along some columns, in columns.

    From the second moment of the mean edge strength beside it, less the smoothing that went into it.
    """
    sigma = 0.7
    strength, known = edge_strength(strip, sigma)
    away = np.arange(-4, 5)
    at = np.round(columns[found]).astype(int)[:, None] + away
    inside = (at >= 0).all(axis=1) & (at < strength.shape[1]).all(axis=1)
    rays = np.flatnonzero(found)[inside, None]
    if not inside.any():
        return float(len(away))
    profile = np.where(known[rays, at[inside]], strength[rays, at[inside]], 0).mean(axis=0)
    profile = profile - profile.min()
    variance = float(profile @ away**2 / max(profile.sum(), 1e-9)) - sigma**2
    return 2.56 * math.sqrt(max(variance, 1 / 12))


def resampled(curve: Curve, n: int) -> Curve:
    """Return a closed curve with `n` points at equal steps along it, in pixels."""
    closed = np.vstack([curve, curve[:1]])
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    at = np.linspace(0, length[-1], n, endpoint=False)
    return np.column_stack([np.interp(at, length, closed[:, 0]), np.interp(at, length, closed[:, 1])])


def normals(curve: Curve) -> Curve:
    """Outward unit normals of a closed curve with equal steps, (N, 2)."""
    k = max(1, len(curve) // 150)
    tangent = np.roll(curve, -k, axis=0) - np.roll(curve, k, axis=0)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    normal = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    outward: Curve = normal * np.sign(((curve - curve.mean(axis=0)) * normal).sum())
    return outward


def _squeezed(strength: Plane) -> Plane:
    return strength / (strength + 2 * np.median(strength) + np.float32(0.5))


def _ring_in_frame(
    edges: Gradient,
    centre: NDArray[np.float64],
    frame: NDArray[np.float64],
    stiffness: float,
) -> tuple[Curve, float]:
    """Strongest closed path around a centre, in polar coordinates of a linear frame."""
    height, width = edges.strength.shape
    rays = RAYS // 2
    angles = np.arange(rays) * (2 * np.pi / rays)
    unit = np.column_stack([np.cos(angles), np.sin(angles)])
    ray = unit @ frame.T
    farthest = 0.55 * math.hypot(height, width) / np.hypot(*ray.T).min()
    radii = np.arange(0.12 * min(height, width), farthest)
    x = (centre[0] + np.outer(ray[:, 0], radii)).astype(np.float32)
    y = (centre[1] + np.outer(ray[:, 1], radii)).astype(np.float32)

    def along(plane: Plane) -> Plane:
        return cv2.remap(np.ascontiguousarray(plane), x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)

    across = unit @ np.linalg.inv(frame)
    double = np.exp(2j * np.arctan2(across[:, 1], across[:, 0]))[:, None].astype(np.complex64)
    alike = along(edges.direction.real) * double.real + along(edges.direction.imag) * double.imag
    score = along(_squeezed(edges.strength)) * (0.5 + 0.5 * np.clip(alike, -1, 1))
    # Where a ray leaves the photograph, the opposite side stands in for it.
    beyond = (x < 1) | (y < 1) | (x > width - 2) | (y > height - 2)
    stand_in = np.where(np.roll(beyond, rays // 2, axis=0), _UNSEEN, np.roll(score, rays // 2, axis=0))
    score = np.where(beyond, stand_in, score)
    path = closed_path(score, reach=3, stiffness=stiffness)
    on_path = score[np.arange(rays), path][~beyond[np.arange(rays), path]]
    return centre + radii[path, None] * ray, float(on_path.mean()) if on_path.size else 0.0


@numba.njit(cache=True, nogil=True)
def _closed_path(score: Plane, reach: int, stiffness: np.float32) -> Path:
    rays, columns = score.shape
    half = rays // 2
    best = score[half].copy()
    following = np.empty_like(best)
    steps = np.zeros((2 * rays, columns), np.int8)
    for i in range(1, 2 * rays):
        row = score[(half + i) % rays]
        for r in range(columns):
            top = np.float32(-1e30)
            for step in range(max(-reach, -r), min(reach, columns - 1 - r) + 1):
                value = best[r + step] - stiffness * abs(step)
                if value > top:
                    top = value
                    steps[i, r] = step
            following[r] = top + row[r]
        best[:] = following
    path = np.empty(2 * rays, np.int64)
    r = best.argmax()
    for i in range(2 * rays - 1, -1, -1):
        path[i] = r
        r += steps[i, r]
    return path[rays - half : 2 * rays - half]


@numba.njit(cache=True, nogil=True)
def _confined(score: Plane, half: int, stiffness: np.float32) -> NDArray[np.float32]:
    """Score per ray of the best open path within `half` columns of every column."""
    rays, columns = score.shape
    worth = np.full(columns, -np.inf, np.float32)
    width = 2 * half + 1
    best = np.empty(width, np.float32)
    following = np.empty(width, np.float32)
    for column in range(half, columns - half):
        best[:] = score[0, column - half : column + half + 1]
        for t in range(1, rays):
            for j in range(width):
                top = best[j]
                if j > 0:
                    top = max(top, best[j - 1] - stiffness)
                if j < width - 1:
                    top = max(top, best[j + 1] - stiffness)
                following[j] = top + score[t, column - half + j]
            best[:] = following
        worth[column] = best.max() / rays
    return worth

"""Cut stones as the half-spaces that bound them.

Coordinates in mm, z up towards the camera, the girdle around z = 0. Proportions are spread widely around common
ones (common practice, no source): old cuts are high, with small tables and open culets, and nothing is regular.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

Values = NDArray[np.float64]
Random = np.random.Generator

CUTS = ("round", "old round", "oval", "cushion", "step", "square step", "pear", "marquise", "mixed", "rose")
CROWN, GIRDLE, PAVILION = 0, 1, 2
#: Half the height of the girdle, as a share of the half width.
EDGE = 0.02


@dataclass(frozen=True, eq=False)
class Stone:
    """A convex stone: points x with ``normals @ x <= offsets``.

    Parameters
    ----------
    cut : str
    normals : (P, 3) float64 array
        Unit vectors.
    offsets : (P,) float64 array
        mm.
    parts : (P,) int64 array
        `CROWN` (table included), `GIRDLE` or `PAVILION`.
    outline : (N, 2) float64 array
        Girdle, mm.
    """

    cut: str
    normals: Values
    offsets: Values
    parts: NDArray[np.int64]
    outline: Values


def cut_stone(cut: str, width_mm: float, rng: Random) -> Stone:
    """Make up a stone of one cut, its mean width given."""
    unit = _outline(cut, rng)
    radius = (
        float(
            _support(unit, np.linspace(0, np.pi, 90)).mean()
            + _support(unit, np.linspace(0, np.pi, 90) + np.pi).mean()
        )
        / 2
    )
    unit = unit / radius
    planes: list[tuple[float, float, float, int]] = []  # azimuth, angle from the girdle plane, offset, part
    stepped = cut in ("step", "square step")
    around = np.linspace(0, 2 * np.pi, 64, endpoint=False) if not stepped else _azimuths(unit)
    planes += [(a, np.pi / 2, float(_support(unit, a)), GIRDLE) for a in around]
    if stepped:
        planes += _steps(unit, rng, CROWN) + _steps(unit, rng, PAVILION)
    elif cut == "rose":
        planes += _rose(unit, rng)
    else:
        planes += _brilliant_crown(unit, rng, old=cut in ("old round", "cushion"))
        planes += (
            _steps(unit, rng, PAVILION, np.arange(0, 2 * np.pi, np.pi / 6))
            if cut == "mixed"
            else _brilliant_pavilion(unit, rng, old=cut in ("old round", "cushion"))
        )
    normals = np.array(
        [
            (
                np.sin(t) * np.cos(a),
                np.sin(t) * np.sin(a),
                (1 if part == CROWN else -1 if part == PAVILION else 0) * np.cos(t),
            )
            for a, t, _, part in planes
        ]
    )
    normals[np.abs(normals) < 1e-12] = 0
    scale = width_mm / 2
    return Stone(
        cut,
        normals,
        np.array([o for _, _, o, _ in planes]) * scale,
        np.array([p for *_, p in planes]),
        unit * scale,
    )


def _outline(cut: str, rng: Random) -> Values:
    t = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    x, y = np.cos(t), np.sin(t)
    if cut == "oval":
        y = y * rng.uniform(0.68, 0.9)
    elif cut in ("cushion", "mixed"):
        power = 2 / rng.uniform(2.3, 3.4) if cut == "cushion" else 1.0
        x, y = np.sign(x) * np.abs(x) ** power, np.sign(y) * np.abs(y) ** power * rng.uniform(0.75, 1)
    elif cut in ("step", "square step"):
        a = 1.0 if cut == "square step" else rng.uniform(0.65, 0.85)
        c = rng.uniform(0.12, 0.35) * a
        return np.array(
            [
                (1, a - c),
                (1 - c, a),
                (c - 1, a),
                (-1, a - c),
                (-1, c - a),
                (c - 1, -a),
                (1 - c, -a),
                (1, c - a),
            ]
        )
    elif cut == "pear":
        y = y * rng.uniform(0.6, 0.75) * (1 - np.clip(x, 0, 1) ** 2 * 0.55)
    elif cut == "marquise":
        bend = rng.uniform(0.45, 0.6)
        return np.concatenate([_arc(bend), -_arc(bend)])
    return _hull(np.stack([x, y], axis=1))


def _arc(half_width: float) -> Values:
    radius = (1 + half_width**2) / (2 * half_width)
    x = np.linspace(1, -1, 360, endpoint=False)
    return np.stack([x, np.sqrt(radius**2 - x**2) - (radius - half_width)], axis=1)


def _hull(points: Values) -> Values:
    return np.asarray(points[ConvexHull(points).vertices])


def _support(outline: Values, azimuth: Values | float) -> Values:
    direction = np.stack([np.cos(azimuth), np.sin(azimuth)])
    return np.asarray((outline @ direction).max(axis=0))


def _azimuths(outline: Values) -> Values:
    """Directions in which the sides of a polygon face."""
    side = np.roll(outline, -1, axis=0) - outline
    return np.arctan2(-side[:, 0], side[:, 1])


def _brilliant_crown(unit: Values, rng: Random, *, old: bool) -> list[tuple[float, float, float, int]]:
    fold = int(rng.choice([8, 8, 8, 6, 10, 12]))
    table = rng.uniform(0.4, 0.58) if old else rng.uniform(0.5, 0.65)
    height = EDGE + (1 - table) * np.tan(np.radians(rng.uniform(34, 43) if old else rng.uniform(30, 37)))
    loose = rng.uniform(0.5, 2.0) if old else rng.uniform(0, 0.4)
    start = rng.uniform(0, 0.3)
    planes = [(0.0, 0.0, height * 1.0, CROWN)]

    def add(azimuth: float, angle: float, radius: float, z: float) -> None:
        azimuth += np.radians(rng.normal(0, loose))
        angle += np.radians(rng.normal(0, loose * 0.6))
        planes.append((azimuth, angle, np.sin(angle) * radius + np.cos(angle) * z, CROWN))

    for k in range(fold):
        a = start + 2 * np.pi * k / fold
        h = float(_support(unit, a))
        main = np.arctan2(height - EDGE, (1 - table) * h)
        add(a, main, h, EDGE)
        between = a + np.pi / fold
        hb = float(_support(unit, between))
        add(between, main * rng.uniform(0.5, 0.65), table * hb * np.cos(np.pi / fold) * 1.02, height)
        for side in (-1, 1):
            b = a + side * np.pi / fold / 2
            add(b, main + np.radians(rng.uniform(4, 8)), float(_support(unit, b)), EDGE * 0.7)
    return planes


def _brilliant_pavilion(unit: Values, rng: Random, *, old: bool) -> list[tuple[float, float, float, int]]:
    fold = int(rng.choice([8, 8, 8, 6, 10]))
    narrow = float(_support(unit, np.linspace(0, np.pi, 60)).min())
    depth = np.tan(np.radians(rng.uniform(39, 46) if old else rng.uniform(38, 43))) * (0.4 + 0.6 * narrow)
    loose = rng.uniform(0.5, 2.0) if old else rng.uniform(0, 0.4)
    start = rng.uniform(0, 0.3)
    culet = rng.uniform(0.06, 0.2) if old else rng.uniform(0, 0.03)
    planes = [(0.0, 0.0, EDGE + depth * (1 - culet), PAVILION)]
    for k in range(fold):
        for turn, steeper in ((0.0, 0.0), (-0.5, rng.uniform(1, 3)), (0.5, rng.uniform(1, 3))):
            a = start + 2 * np.pi * (k + turn / 2) / fold + np.radians(rng.normal(0, loose))
            h = float(_support(unit, a))
            angle = np.arctan2(depth, h) + np.radians(steeper + rng.normal(0, loose * 0.5))
            planes.append((a, angle, np.sin(angle) * h + np.cos(angle) * EDGE, PAVILION))
    return planes


def _steps(
    unit: Values, rng: Random, part: int, azimuths: Values | None = None
) -> list[tuple[float, float, float, int]]:
    tiers = int(rng.integers(2, 4)) if part == CROWN else int(rng.integers(3, 5))
    angles = np.radians(
        np.sort(rng.uniform(24, 52, tiers) if part == CROWN else rng.uniform(36, 62, tiers))[::-1]
    )
    widths = rng.dirichlet(np.full(tiers, 6.0)) * (rng.uniform(0.28, 0.45) if part == CROWN else 0.58)
    inset, z, planes = 0.0, EDGE, []
    sides = _azimuths(unit) if azimuths is None else azimuths
    for angle, width in zip(angles, widths, strict=True):
        for a in sides:
            radius = float(_support(unit, a)) - inset
            planes.append((float(a), float(angle), float(np.sin(angle) * radius + np.cos(angle) * z), part))
        inset, z = inset + width, z + width * np.tan(angle)
    if part == CROWN:
        planes.append((0.0, 0.0, float(z), part))
    else:
        planes.append((0.0, 0.0, float(z * rng.uniform(0.97, 1.15)), part))
    return planes


def _rose(unit: Values, rng: Random) -> list[tuple[float, float, float, int]]:
    planes = [(0.0, 0.0, rng.uniform(0.03, 0.15), PAVILION)]
    top = rng.uniform(0.45, 0.75)
    for k in range(6):
        a = np.pi / 3 * k + rng.normal(0, 0.03)
        h = float(_support(unit, a))
        angle = np.arctan2(top * 0.42, 0.6 * h) + rng.normal(0, 0.01)
        planes.append((a, angle, float(np.cos(angle) * top), CROWN))
    for k in range(12):
        a = np.pi / 6 * (k + 0.5) + rng.normal(0, 0.03)
        h = float(_support(unit, a))
        angle = np.arctan2(top * 0.75, 0.62 * h) + rng.normal(0, 0.03)
        planes.append((a, angle, float(np.sin(angle) * h + np.cos(angle) * EDGE), CROWN))
    return planes

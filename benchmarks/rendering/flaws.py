"""Made-up fissures and inclusions inside a stone."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rendering.cuts import Random, Stone, Values

LEVELS = {"clear": (0.8, 1.0), "medium": (0.5, 0.8), "faint": (0.25, 0.45)}
#: Length of one facet of a sheet, as a share of the stone's width.
STEP = 0.012


@dataclass(frozen=True, eq=False)
class Fissure:
    """A thin sheet along a wandering line, with branches.

    Parameters
    ----------
    branches : list of (N, 3) float64 array
        Centre lines, mm.
    rise : (3,) float64 array
        From the lower to the upper edge of the sheet, mm.
    opacity : float
        Share of the light it scatters.
    grown : bool
        Whether it is what another has grown by.
    """

    kind: str
    level: str
    branches: list[Values]
    rise: Values
    opacity: float
    grown: bool = False

    def sheets(self) -> tuple[Values, Values, Values]:
        """Corners and the two edges of the parallelograms the fissure consists of."""
        corners, along = [], []
        for line in self.branches:
            corners.append(line[:-1] - self.rise / 2)
            along.append(np.diff(line, axis=0))
        a = np.concatenate(along)
        return np.concatenate(corners), a, np.broadcast_to(self.rise, a.shape).copy()


@dataclass(frozen=True, eq=False)
class Body:
    """A dark inclusion, or a gas bubble, as an ellipsoid ``|shape @ (x - centre)| <= 1``."""

    centre: Values
    shape: Values
    diameter_um: float
    bubble: bool


def inside(stone: Stone, points: Values, room: float = 0.0) -> NDArray[np.bool_]:
    """Which points lie in the stone, at least `room` mm under its surface."""
    return np.asarray((points @ stone.normals.T <= stone.offsets - room).all(axis=1))


def make_fissure(stone: Stone, width_mm: float, rng: Random) -> Fissure | None:
    """One fissure somewhere in the stone, or None when no place was found."""
    kind = str(rng.choice(["line", "hair", "feather"], p=[0.72, 0.18, 0.1]))
    level = str(rng.choice(list(LEVELS), p=[0.42, 0.4, 0.18]))
    lean = np.radians(rng.uniform(35, 55) if kind == "feather" else rng.uniform(2, 12))
    height = {"line": rng.uniform(25, 90), "hair": rng.uniform(8, 30), "feather": rng.uniform(80, 200)}[
        kind
    ] / 1000
    length = {
        "line": rng.uniform(0.14, 0.5),
        "hair": rng.uniform(0.18, 0.4),
        "feather": rng.uniform(0.07, 0.25),
    }[kind]
    for _ in range(40):
        start = np.array([*rng.uniform(-0.42, 0.42, 2) * width_mm, 0.0])
        start[2] = rng.uniform(-0.12, 0.14) * width_mm
        main = _wander(start, rng.uniform(0, 2 * np.pi), length * width_mm, width_mm, rng)
        branches = [main]
        for _ in range(int(rng.choice([0, 1, 2, 3], p=[0.4, 0.25, 0.2, 0.15])) if kind != "feather" else 0):
            at = int(rng.integers(len(main) // 5, max(len(main) // 5 + 1, 4 * len(main) // 5)))
            way = main[min(at + 1, len(main) - 1)] - main[at - 1]
            turn = np.arctan2(way[1], way[0]) + rng.choice([-1, 1]) * rng.uniform(0.35, 1.1)
            branches.append(_wander(main[at], turn, length * width_mm * rng.uniform(0.2, 0.5), width_mm, rng))
        branches = [_kept(stone, line) for line in branches]
        branches = [line for line in branches if len(line) >= 5]
        if branches and len(branches[0]) >= 0.6 * len(main):
            break
    else:
        return None
    side = rng.uniform(0, 2 * np.pi)
    way = branches[0][-1] - branches[0][0]
    side = np.arctan2(way[1], way[0]) + np.pi / 2
    rise = height * np.array([np.sin(lean) * np.cos(side), np.sin(lean) * np.sin(side), np.cos(lean)])
    return Fissure(kind, level, branches, rise, rng.uniform(*LEVELS[level]) * (0.8 if kind == "hair" else 1))


def growth(stone: Stone, fissures: list[Fissure], width_mm: float, rng: Random) -> Fissure | None:
    """What one of the fissures has grown by at its end, or None where none has room."""
    for _ in range(40 if fissures else 0):
        old = fissures[rng.integers(len(fissures))]
        line = old.branches[0]
        if rng.random() < 0.5:
            line = line[::-1]
        way = line[-1] - line[-4]
        longer = _wander(
            line[-1], np.arctan2(way[1], way[0]), rng.uniform(0.08, 0.35) * width_mm, width_mm, rng
        )
        kept = _kept(stone, longer)
        if len(kept) >= max(5, 0.6 * len(longer)):
            return Fissure(old.kind, old.level, [kept], old.rise, old.opacity, grown=True)
    return None


def make_body(stone: Stone, width_mm: float, rng: Random, *, bubble: bool = False) -> Body | None:
    """One inclusion or bubble somewhere in the stone."""
    diameter = float(np.exp(rng.uniform(np.log(14), np.log(110)))) / 1000
    for _ in range(40):
        centre = np.array([*rng.uniform(-0.42, 0.42, 2) * width_mm, rng.uniform(-0.15, 0.15) * width_mm])
        if inside(stone, centre[None], diameter)[0]:
            break
    else:
        return None
    q, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    axes = np.ones(3) if bubble else np.exp(rng.normal(0, 0.2, 3))
    axes /= np.prod(axes) ** (1 / 3)
    return Body(centre, (q / (axes * diameter / 2)).T, diameter * 1000, bubble)


def _wander(start: Values, heading: float, length: float, width: float, rng: Random) -> Values:
    step = STEP * width
    n = max(5, round(length / step))
    bend = rng.normal(0, 0.05) + np.convolve(
        rng.normal(0, rng.uniform(0.1, 0.35), n + 4), np.ones(5) / 5, "valid"
    )
    angle = heading + np.cumsum(bend) + rng.normal(0, 0.12, n)
    climb = rng.normal(0, 0.12)
    way = np.stack([np.cos(angle), np.sin(angle), np.full(n, climb)], axis=1) * step
    return np.concatenate([start[None], start + np.cumsum(way, axis=0)])


def _kept(stone: Stone, line: Values) -> Values:
    """The line as far as it stays under the surface."""
    out = np.flatnonzero(~inside(stone, line, 0.015))
    return line[: out[0]] if len(out) else line

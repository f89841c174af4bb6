"""What lies on the surface of a stone and is no flaw inside: worn edges, scratches, dust and fibres."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from rendering.cuts import CROWN, Random, Stone, Values

#: How many stones have worn edges, scratches, dust, fibres.
WORN, SCRATCHED, DUSTY, FIBROUS = 0.75, 0.35, 0.4, 0.3
#: Side of the pattern of wear, which turns with the stone, px.
_PATTERN = 1400


@dataclass(frozen=True, eq=False)
class Grid:
    """Where each pixel looks at a stone: mm across it, and how many of these a pixel is."""

    x: Values
    y: Values
    pixel: float


def soil(
    light: Values, stone: Stone, grid: Grid, seen: NDArray[np.bool_], *, wear: Random, dirt: Random
) -> None:
    """Lay wear and dirt over traced light, which they scatter towards the camera.

    Parameters
    ----------
    light : (H, W, 9) float64 array
        Of `rendering.trace.trace`; changed in place.
    stone : Stone
    grid : Grid
    seen : (H, W) bool array
        Where the setting leaves the stone free.
    wear, dirt : numpy random generators
        The first the same whenever the stone is photographed, the second as on that day.
    """
    reach = 1.15 * np.abs(stone.outline).max()
    broken = _broken(grid, reach, wear)
    level = light[seen, :4].mean(axis=0)
    if wear.random() < WORN:
        edges = _edges(stone, grid, wear)
        _scatter(light, seen * edges * _grains(broken, wear), level, wear)
    if wear.random() < SCRATCHED:
        scratches = _scratches(stone, grid, wear)
        _scatter(light, seen * scratches * _grains(broken, wear), level, wear)
    if dirt.random() < DUSTY:
        _scatter(light, _dust(grid.x.shape, dirt), level, dirt)
    if dirt.random() < FIBROUS:
        _scatter(light, _fibres(stone, grid, dirt), level, dirt)


def _scatter(light: Values, cover: Values, level: Values, rng: Random) -> None:
    """What covers a place shows the light that falls on it, under blue light more of it than what lies around."""
    cover = cv2.GaussianBlur(cover, (0, 0), 0.5) * rng.uniform(0.35, 1.0)
    shown = np.array(
        [*np.full(3, level[:3].mean() * rng.uniform(0.3, 1.3)), level[3] * rng.uniform(0.7, 4.0)]
    )
    light[..., :4] += cover[..., None] * (shown - light[..., :4])


def _broken(grid: Grid, reach: float, rng: Random) -> Values:
    """A pattern of grains that stays with the stone, even shares of 0 to 1."""
    grains = cv2.GaussianBlur(
        rng.normal(0, 1, (_PATTERN, _PATTERN)).astype(np.float32), (0, 0), rng.uniform(1.0, 2.6)
    )
    order = np.searchsorted(np.sort(grains[::7, ::7], axis=None), grains) / (grains[::7, ::7].size)
    at = [(p / reach + 1) / 2 * (_PATTERN - 1) for p in (grid.y, grid.x)]
    return np.asarray(map_coordinates(order, at, order=1, mode="nearest"))


def _grains(broken: Values, rng: Random) -> Values:
    """How bright the grains of worn places are: few bright ones among many dim ones, or all alike."""
    share = rng.uniform(0.25, 0.9)
    return np.asarray(np.clip(1 - broken / share, 0, 1) ** rng.uniform(0.0, 1.5) * (broken < share))


def _edges(stone: Stone, grid: Grid, rng: Random) -> Values:
    """How worn the edge near each place is: 0 away from edges, each edge worn as it happens."""
    crown = (stone.parts == CROWN) & (stone.normals[:, 2] > 0.05)
    normals, offsets = stone.normals[crown], stone.offsets[crown]
    slopes = -normals[:, :2] / normals[:, 2:]
    tops = offsets / normals[:, 2]
    first, second = (np.full(grid.x.shape, np.inf) for _ in range(2))
    one, two = (np.zeros(grid.x.shape, np.int64) for _ in range(2))
    for k, (slope, top) in enumerate(zip(slopes, tops, strict=True)):
        height = top + slope[0] * grid.x + slope[1] * grid.y
        lower = height < first
        between = ~lower & (height < second)
        second, two = (
            np.where(lower, first, np.where(between, height, second)),
            np.where(lower, one, np.where(between, k, two)),
        )
        first, one = np.where(lower, height, first), np.where(lower, k, one)
    steep = np.maximum(np.hypot(*np.moveaxis(slopes[one] - slopes[two], -1, 0)), 1e-6)
    away = (second - first) / steep / grid.pixel
    table = rng.random((len(tops), len(tops)))
    worn = np.clip(table + table.T - rng.uniform(0.2, 1.2), 0, 1)
    width = rng.uniform(0.5, 2.2)
    return np.asarray(worn[one, two] * np.clip(width - away + 0.5, 0, 1))


def _scratches(stone: Stone, grid: Grid, rng: Random) -> Values:
    """Straight scratches on top."""
    extent = np.ptp(stone.outline, axis=0).mean()
    cover = np.zeros(grid.x.shape)
    for _ in range(int(rng.integers(3, 26))):
        middle, turn = rng.uniform(-0.45, 0.45, 2) * extent, rng.uniform(0, np.pi)
        along = (grid.x - middle[0]) * np.cos(turn) + (grid.y - middle[1]) * np.sin(turn)
        across = (grid.y - middle[1]) * np.cos(turn) - (grid.x - middle[0]) * np.sin(turn)
        far = np.clip(rng.uniform(0.4, 0.9) + 0.5 - np.abs(across) / grid.pixel, 0, 1)
        cover = np.maximum(
            cover, rng.uniform(0.3, 1) * far * (np.abs(along) < rng.uniform(0.03, 0.25) * extent)
        )
    return cover


def _dust(shape: tuple[int, ...], rng: Random) -> Values:
    """Grains of dust anywhere in the picture."""
    cover = np.zeros(shape, np.float32)
    for _ in range(int(rng.integers(5, 80))):
        x, y = rng.uniform(0, shape[1]), rng.uniform(0, shape[0])
        axes = np.maximum(rng.exponential(1.2, 2) + 0.4, 0.5)
        centre, sixteenths = (int(16 * x), int(16 * y)), (int(16 * axes[0]), int(16 * axes[1]))
        turn, opaque = rng.uniform(0, 180), rng.uniform(0.4, 1)
        cv2.ellipse(cover, centre, sixteenths, turn, 0, 360, (opaque,), -1, cv2.LINE_8, 4)
    return cover.astype(np.float64)


def _fibres(stone: Stone, grid: Grid, rng: Random) -> Values:
    """Fibres that lie on the stone and over its setting."""
    extent = np.ptp(stone.outline, axis=0).mean() / grid.pixel
    cover = np.zeros(grid.x.shape, np.float32)
    for _ in range(int(rng.integers(1, 4))):
        steps = 60
        bend = np.cumsum(rng.normal(0, 0.03, steps)) + rng.normal(0, 0.02)
        heading = rng.uniform(0, 2 * np.pi) + np.cumsum(0.15 * bend)
        step = rng.uniform(0.12, 0.6) * extent / steps
        path = np.cumsum(step * np.column_stack([np.cos(heading), np.sin(heading)]), axis=0)
        path += np.array(cover.shape[::-1]) / 2 + rng.uniform(-0.4, 0.4, 2) * extent - path.mean(axis=0)
        opaque, thick = rng.uniform(0.4, 1), int(rng.integers(1, 4))
        cv2.polylines(cover, [np.rint(16 * path).astype(np.int32)], False, (opaque,), thick, cv2.LINE_8, 4)
    return cover.astype(np.float64)

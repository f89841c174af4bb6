"""Straight edges of the facets, and how lines lie to them and to their like elsewhere in the stone."""

import math

import cv2
import numpy as np
from numba import njit
from numpy.typing import NDArray

from setstone.measure.grid import Grid, cells_near, grid_of, rows_near
from setstone.measure.light import Plane
from setstone.measure.outline import Outline
from setstone.measure.runs import Starts, Values, median_each

#: A line lies on an edge when both run the same way to within this.
SAME_WAY = math.radians(9)


def straight_edges(plane: Plane, stone: NDArray[np.bool_], least: float) -> Values:
    """Straight steps of brightness inside the stone (LSD; von Gioi et al. 2010).

    Parameters
    ----------
    plane : (H, W) float32 array
        Encoded grey levels 0..255.
    stone : (H, W) bool array
    least : float
        Shortest of interest, in pixels.

    Returns
    -------
    (N, 4) float64 array
        Ends x0, y0, x1, y1.
    """
    detector = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD)
    found = detector.detect(np.clip(plane, 0, 255).astype(np.uint8))[0]
    if found is None or len(found) == 0:
        return np.zeros((0, 4))
    ends = np.asarray(found, np.float64).reshape(-1, 4)
    middle = np.rint((ends[:, :2] + ends[:, 2:]) / 2).astype(int)
    x = np.clip(middle[:, 0], 0, plane.shape[1] - 1)
    y = np.clip(middle[:, 1], 0, plane.shape[0] - 1)
    length = np.hypot(*(ends[:, 2:] - ends[:, :2]).T)
    return ends[stone[y, x] & (length >= least)]


def turned(segments: Values, outline: Outline) -> Values:
    """Segments turned by half a turn about the centre of the outline, stones being cut symmetrically."""
    if not len(segments):
        return segments
    cx, cy = outline.centre
    return np.asarray(2 * np.array([cx, cy, cx, cy]) - segments, np.float64)


def on_segments(
    points: Values, tangent: Values, starts: Starts, segments: Values, reach: float
) -> tuple[NDArray[np.bool_], Values]:
    """Which points lie on a segment of their own direction.

    Parameters
    ----------
    points, tangent : (N, 2) float64 arrays
        Points of all lines and unit directions there.
    starts : (L + 1,) int64 array
        Where each line begins.
    segments : (S, 4) float64 array
    reach : float
        Largest distance, in pixels.

    Returns
    -------
    on : (N,) bool array
    longest : (L,) float64 array
        Length of the longest segment that more than 0.3 of the line lies on.
    """
    on = np.zeros(len(points), np.bool_)
    longest = np.zeros(len(starts) - 1)
    _on_segments(points, tangent, starts, segments, reach, math.cos(SAME_WAY), on, longest)
    return on, longest


def crossings(path: Values, starts: Starts, segments: Values, step: int, reach: float) -> Values:
    """How many straight edges each line crosses, not counting what happens near its ends.

    Parameters
    ----------
    path : (N, 2) float64 array
    starts : (L + 1,) int64 array
    segments : (S, 4) float64 array
    step : int
        Every how many points of the path are looked at.
    reach : float
        How far from the ends begins the inner part, in pixels.

    Returns
    -------
    (L,) float64 array
    """
    out = np.zeros(len(starts) - 1)
    _crossings(path, starts, segments, step, reach, out)
    return out


class Families:
    """Straight edges by distance from the centre and slant: a cut repeats each edge all round the stone.

    The distance is a share of the girdle's in the same direction, so that ovals are as good as rounds.
    """

    SECTORS = 24
    DISTANCE, SLANT = 0.02, math.radians(6)

    def __init__(self, segments: Values, outline: Outline, sigma: float) -> None:
        self.centre = np.array(outline.centre)
        rim = outline.points - self.centre
        angle = np.arctan2(rim[:, 1], rim[:, 0])
        order = np.argsort(angle)
        self.rim_angle, self.rim_radius = angle[order], np.hypot(*rim[order].T)
        self.grid: Grid | None = None
        if len(segments):
            parts = [
                (
                    np.linspace(a, b, max(2, round(math.dist(a, b) / (3 * sigma)))),
                    (b - a) / max(math.dist(a, b), 1e-9),
                )
                for a, b in zip(segments[:, :2], segments[:, 2:], strict=True)
            ]
            points = np.concatenate([p for p, _ in parts])
            directions = np.concatenate([np.broadcast_to(d, p.shape) for p, d in parts])
            self.place, self.sector = self._place(points, directions)
            self.grid = grid_of(self.place, 1.0)

    def share(self, points: Values, directions: Values, starts: Starts) -> Values:
        """Share of the sectors round the stone where an edge lies as far out and as slanting as each line: (L,)."""
        if self.grid is None:
            return np.zeros(len(starts) - 1)
        place, sector = self._place(points, directions)
        count = np.zeros(len(points))
        _sectors_alike(place, sector, self.place, self.sector, self.grid, self.SECTORS, count)
        return median_each(count / self.SECTORS, starts)

    def _place(self, points: Values, directions: Values) -> tuple[Values, NDArray[np.int64]]:
        out = points - self.centre
        angle = np.arctan2(out[:, 1], out[:, 0])
        radius = np.hypot(*out.T)
        rim = np.interp(angle, self.rim_angle, self.rim_radius, period=2 * math.pi)
        slant = np.arccos(np.clip(np.abs((out * directions).sum(axis=1)) / np.maximum(radius, 1e-9), 0, 1))
        sector = np.floor((angle / (2 * math.pi)) % 1 * self.SECTORS).astype(np.int64)
        return np.stack([radius / rim / self.DISTANCE, slant / self.SLANT], axis=1), sector


@njit(cache=True, nogil=True)
def _on_segments(points, tangent, starts, segments, reach, same_way, on, longest):  # type: ignore[no-untyped-def] # pragma: no cover
    for i in range(len(starts) - 1):
        first, last = starts[i], starts[i + 1]
        mx, my = points[first:last, 0].mean(), points[first:last, 1].mean()
        radius = 0.0
        for n in range(first, last):
            radius = max(radius, (points[n, 0] - mx) ** 2 + (points[n, 1] - my) ** 2)
        radius = math.sqrt(radius) + reach
        for s in range(len(segments)):
            x0, y0 = segments[s, 0], segments[s, 1]
            ux, uy = segments[s, 2] - x0, segments[s, 3] - y0
            length = max(math.hypot(ux, uy), 1e-9)
            ux, uy = ux / length, uy / length
            closest = min(max((mx - x0) * ux + (my - y0) * uy, 0.0), length)
            if (x0 + closest * ux - mx) ** 2 + (y0 + closest * uy - my) ** 2 >= radius**2:
                continue
            hits = 0
            for n in range(first, last):
                dx, dy = points[n, 0] - x0, points[n, 1] - y0
                along = dx * ux + dy * uy
                if (
                    abs(dx * uy - dy * ux) < reach
                    and -reach < along < length + reach
                    and abs(tangent[n, 0] * ux + tangent[n, 1] * uy) > same_way
                ):
                    hits += 1
                    on[n] = True
            if hits > 0.3 * (last - first):
                longest[i] = max(longest[i], length)


@njit(cache=True, nogil=True)
def _crossings(path, starts, segments, step, reach, out):  # type: ignore[no-untyped-def] # pragma: no cover
    for i in range(len(starts) - 1):
        points = path[starts[i] : starts[i + 1] : step]
        count = len(points)
        if count < 4:
            continue
        at = np.zeros(count)
        for n in range(1, count):
            at[n] = at[n - 1] + math.hypot(points[n, 0] - points[n - 1, 0], points[n, 1] - points[n - 1, 1])
        low_x, high_x = points[:, 0].min(), points[:, 0].max()
        low_y, high_y = points[:, 1].min(), points[:, 1].max()
        for s in range(len(segments)):
            qx, qy = segments[s, 0], segments[s, 1]
            ex, ey = segments[s, 2] - qx, segments[s, 3] - qy
            # An edge that falls a little short of the line counts as crossed.
            slack = 0.05 * max(abs(ex), abs(ey))
            if (
                min(qx, qx + ex) - slack > high_x
                or max(qx, qx + ex) + slack < low_x
                or min(qy, qy + ey) - slack > high_y
                or max(qy, qy + ey) + slack < low_y
            ):
                continue
            for n in range(count - 1):
                if not (at[n] > reach and at[n + 1] < at[count - 1] - reach):
                    continue
                dx, dy = points[n + 1, 0] - points[n, 0], points[n + 1, 1] - points[n, 1]
                cross = dx * ey - dy * ex
                if abs(cross) <= 0.4 * max(math.hypot(dx, dy) * math.hypot(ex, ey), 1e-9):
                    continue
                gx, gy = qx - points[n, 0], qy - points[n, 1]
                t, u = (gx * ey - gy * ex) / cross, (gx * dy - gy * dx) / cross
                if 0 <= t < 1 and -0.05 <= u <= 1.05:
                    out[i] += 1
                    break


@njit(cache=True, nogil=True)
def _sectors_alike(place, sector, edges, edge_sector, grid, sectors, count):  # type: ignore[no-untyped-def] # pragma: no cover
    """Count the sectors, but for the own one and its neighbours, with an edge within 1 of each place."""
    seen = np.full(sectors, -1)
    for n in range(len(place)):
        for row in rows_near(grid, place[n, 1], 1.0):
            for at in cells_near(grid, row, place[n, 0], 1.0):
                m = grid.order[at]
                other = edge_sector[m]
                if seen[other] == n:
                    continue
                if (edges[m, 0] - place[n, 0]) ** 2 + (edges[m, 1] - place[n, 1]) ** 2 <= 1:
                    seen[other] = n
                    apart = abs((other - sector[n] + sectors // 2) % sectors - sectors // 2)
                    count[n] += apart > 1

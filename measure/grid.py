"""Points sorted into square cells, for compiled loops that ask what lies near."""

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

#: No more cells than this across, however far the points lie apart.
MOST_CELLS = 512


class Grid(NamedTuple):
    """Indices of points, cell by cell in rows: those of cell c are ``order[first[c] : first[c + 1]]``."""

    order: NDArray[np.int64]
    first: NDArray[np.int64]
    x0: float
    y0: float
    cell: float
    columns: int
    rows: int


def grid_of(points: NDArray[np.float64], cell: float) -> Grid:
    """Sort points into cells.

    Parameters
    ----------
    points : (N, 2) float64 array
        At least one.
    cell : float
        Width of the cells wished for; wider where that makes too many.

    Returns
    -------
    Grid
    """
    low = points.min(axis=0)
    extent = points.max(axis=0) - low
    cell = max(cell, float(extent.max()) / MOST_CELLS)
    place = np.floor((points - low) / cell).astype(np.int64)
    columns, rows = (int(n) for n in place.max(axis=0) + 1)
    key = place[:, 1] * columns + place[:, 0]
    order = np.argsort(key, kind="stable")
    first = np.searchsorted(key[order], np.arange(rows * columns + 1))
    return Grid(order, first.astype(np.int64), float(low[0]), float(low[1]), cell, columns, rows)


@njit(cache=True, nogil=True, inline="always")
def rows_near(grid, y, reach):  # type: ignore[no-untyped-def] # pragma: no cover
    """Rows of cells within reach of y, for compiled callers."""
    top = int(math.floor((y - reach - grid.y0) / grid.cell))  # noqa: RUF046 -- compiled, a float
    bottom = int(math.floor((y + reach - grid.y0) / grid.cell))  # noqa: RUF046
    return range(min(max(top, 0), grid.rows), min(max(bottom + 1, 0), grid.rows))


@njit(cache=True, nogil=True, inline="always")
def cells_near(grid, row, x, reach):  # type: ignore[no-untyped-def] # pragma: no cover
    """Where the points in a row of cells within reach of x begin and end in the order, for compiled callers."""
    left = int(math.floor((x - reach - grid.x0) / grid.cell))  # noqa: RUF046 -- compiled, a float
    right = int(math.floor((x + reach - grid.x0) / grid.cell))  # noqa: RUF046
    first = row * grid.columns
    return range(
        grid.first[first + min(max(left, 0), grid.columns)],
        grid.first[first + min(max(right + 1, 0), grid.columns)],
    )

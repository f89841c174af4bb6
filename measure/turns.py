"""Tell two turns apart by which a stone looks much the same.

What a motion and its rival share, the facets of a step cut after half a turn, speaks for both. What is left is where the
turned photograph differs from itself by the rival's turn: there fissures, inclusions and wear lie. Whether the fixed photograph goes with
the one or with the other in these places is asked of tiles, and their answers are summed against the sum of their squares: if
their signs were chance (Fisher 1935, The Design of Experiments, ch. III), the quotient would be about standard normal.

A lamp that stays where it is while the stone is turned can speak for a wrong turn, under blue light as strongly as
anything does: so every photograph must speak for a turn, and one alone is not believed.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from setstone.measure.tiles import Field

Sums = NDArray[np.float64]

#: Side of a tile, px.
_TILE = 32
#: Standard deviations by which all photographs together, and each by itself, must speak for a turn. Of 116 step cuts of our own
#: rendering, each set again, 67 are told at these values and none wrongly (benchmarks/turns.py).
_TOGETHER, _EACH = 3.0, 0.5


def preference(fixed: Field, one: Field, other: Field) -> Sums:
    """By how much each tile of a photograph prefers one motion of another photograph to a rival.

    Parameters
    ----------
    fixed : (H, W) complex64 array
        Orientation field of the fixed photograph.
    one, other : (H, W) complex64 arrays
        Orientation field of the moving photograph after the one motion and after the other; 0 where nothing is seen.

    Returns
    -------
    (tiles,) float64 array
        Above 0 where the first motion is preferred.
    """
    both = (one != 0) & (other != 0)
    gain = np.where(both, (fixed * np.conj(one - other)).real, 0)
    rows, columns = (side // _TILE for side in gain.shape)
    tiles = gain[: rows * _TILE, : columns * _TILE].reshape(rows, _TILE, columns, _TILE)
    return np.asarray(tiles.sum(axis=(1, 3), dtype=np.float64).ravel())


def preferred(sums: Sequence[Sums]) -> bool:
    """Whether photographs tell a motion from its rival.

    Parameters
    ----------
    sums : sequence of (tiles,) float64 arrays
        `preference` of each photograph.

    Returns
    -------
    bool
        Whether there are two photographs at least, each speaks for the motion, and all together do so clearly.
    """
    return (
        len(sums) > 1
        and all(_deviations(of_one) >= _EACH for of_one in sums)
        and _deviations(np.concatenate(sums)) >= _TOGETHER
    )


def _deviations(sums: Sums) -> float:
    return float(sums.sum() / max(1e-9, float(np.linalg.norm(sums))))

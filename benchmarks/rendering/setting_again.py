"""A stone that was taken out and set again: how it lies then, and what happened to it meanwhile."""

from dataclasses import dataclass, replace

import numpy as np

from rendering.cuts import Stone
from rendering.flaws import Body, Fissure


@dataclass(frozen=True)
class SetAgain:
    """How a stone was set again.

    Parameters
    ----------
    turn_deg, zoom : float
        Turn of the stone under the lamps, and zoom of the camera, against before.
    lean_deg : (float, float)
        By how much its table leans about x and about y.
    fissures : int
        How many fissures it has more.
    grown : bool
        Whether one of its old fissures is longer.
    without_inclusion : bool
        Whether its first inclusion is gone.
    time : int
        Which time it was set again, from 0: each time other things befall it.
    """

    turn_deg: float = 0.0
    zoom: float = 1.0
    lean_deg: tuple[float, float] = (0.0, 0.0)
    fissures: int = 0
    grown: bool = False
    without_inclusion: bool = False
    time: int = 0


def drawn(number: int, new: int = 1, *, damaged: float = 0.5, grown: float = 0.0, time: int = 0) -> SetAgain:
    """Make up how stone `number` is set again.

    A share of them is damaged: it has new fissures, as many as are asked for, or, a share of these, an old one has grown. Some of the others
    are without an inclusion. Every second is turned by a little, the others by anything; the table leans by some tenths of a degree. Each further time is drawn anew.
    """
    rng = np.random.default_rng((number, 9, time))
    turn = rng.uniform(-6, 6) if rng.random() < 0.5 else rng.uniform(0, 360)
    x, y = rng.normal(0, 0.3, 2)
    kind = rng.choice(
        ["fissure", "inclusion", "nothing"], p=[damaged, 0.3 * (1 - damaged), 0.7 * (1 - damaged)]
    )
    grew = kind == "fissure" and np.random.default_rng((number, 10, time)).random() < grown
    return SetAgain(
        float(turn),
        float(rng.uniform(0.95, 1.05)),
        (float(x), float(y)),
        fissures=new if kind == "fissure" and not grew else 0,
        grown=grew,
        without_inclusion=kind == "inclusion",
        time=time,
    )


def leaning(
    stone: Stone, fissures: list[Fissure], bodies: list[Body], lean_deg: tuple[float, float]
) -> tuple[Stone, list[Fissure], list[Body]]:
    """Turn a stone and what is in it about x, then about y."""
    a, b = np.radians(lean_deg)
    about_x = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    about_y = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
    turn = about_y @ about_x
    return (
        replace(stone, normals=stone.normals @ turn.T, outline=stone.outline @ turn[:2, :2].T),
        [replace(f, branches=[p @ turn.T for p in f.branches], rise=turn @ f.rise) for f in fissures],
        [replace(b, centre=turn @ b.centre, shape=b.shape @ turn.T) for b in bodies],
    )

"""What the program proposes: candidate lines and spots, each with a score and what it rests on.

A candidate is not a finding: a person accepts, corrects or rejects it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from setstone.measure.quantity import Quantity

CandidateKind = Literal["line", "spot"]
LampName = Literal["white", "blue"]

#: Sizes that are depths: they do not grow with the scale of a photograph.
DEPTHS = ("below_first_frame", "below_table", "depth")

#: Candidates scored at least so high are shown unless a person asks for more or fewer. Where scores are probabilities,
#: the harmonic mean of precision and recall is greatest at half its own value (Lipton et al. 2014, ECML PKDD), 0.35
#: for the 0.7 reached on stones not trained on; lower, since a fissure missed costs more than a line rejected: as low as leaves
#: fewer than two false lines on a clean stone.
LIKELY = 0.21


@dataclass(frozen=True)
class Reason:
    """One thing a score rests on.

    Parameters
    ----------
    code : str
        Stable name, for example ``"facet-edge"``; see docs/methods.md.
    text : str
        The same in plain words for the technician.
    speaks_for : bool or None
        True when it speaks for a flaw inside the stone, False when against; None for a question to the person, which no
        score weighs.
    """

    code: str
    text: str
    speaks_for: bool | None


@dataclass(frozen=True, eq=False)
class Candidate:
    """A possible fissure (line) or inclusion (spot).

    Parameters
    ----------
    kind : {"line", "spot"}
    path : (N, 2) float64 array
        Centre line of a line, or closed outline of a spot, in pixels x, y of the reference
        photograph; (0, 0) is the centre of the first pixel.
    lamp : {"white", "blue"}
        The light under which it was found.
    score : float
        0 to 1: the share of candidates with this score that are expected to be real.
    reasons : tuple of Reason
        What the score rests on, weightiest first.
    contrast : float
        Against its surroundings, in grey levels of an 8-bit sRGB picture; positive is brighter.
    sizes : mapping of str to Quantity
        ``length`` (mm), ``width`` and ``greatest_width`` (µm) of a line; ``diameter`` (µm, of the
        disc of equal area) and ``elongation`` (longest by shortest axis, a plain number) of a spot.
        Lengths are absent when the scale is not known. From a series through the focus the `DEPTHS`, µm
        (`setstone.measure.depth`).
    """

    kind: CandidateKind
    path: NDArray[np.float64]
    lamp: LampName
    score: float
    reasons: tuple[Reason, ...]
    contrast: float
    sizes: Mapping[str, Quantity] = field(default_factory=dict)

    @property
    def position(self) -> tuple[float, float]:
        """Where to point at: the middle of a line, the centre of a spot, in pixels."""
        if self.kind == "spot":
            x, y = self.path.mean(axis=0)
            return float(x), float(y)
        steps = np.hypot(*np.diff(self.path, axis=0).T)
        along = np.concatenate(([0.0], np.cumsum(steps)))
        half = along[-1] / 2
        return float(np.interp(half, along, self.path[:, 0])), float(np.interp(half, along, self.path[:, 1]))

    def shifted(self, dx: float, dy: float) -> "Candidate":
        """Return the same candidate moved by (dx, dy) pixels."""
        return replace(self, path=self.path + np.array([dx, dy]))


def percent(share: float) -> int:
    """Turn a score or chance into whole per cent between 1 and 99: nothing proposed is certain, nothing impossible.

    >>> percent(0.724), percent(1.0), percent(0.0)
    (72, 99, 1)
    """
    return min(99, max(1, round(100 * share)))

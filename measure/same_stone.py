"""How strongly two fingerprints speak for one stone: a likelihood ratio, and a word for it.

The likelihood ratio says how many times more often two photographs of *one* stone look as alike as these two do than
photographs of *two* stones. It is no probability that it is the same stone: that depends on what else is known. Strength of
evidence is said in likelihood ratios as the forensic guideline of ENFSI (2015) recommends; the words are our own.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from setstone.measure.fingerprint import LAYERS, Fingerprint, Likeness, likeness
from setstone.measure.units import shorter_turn

#: Logistic regression of same against other on the correlations of `setstone.measure.fingerprint.LAYERS`, less the
#: logarithm of the ratio of pairs it was trained on, so that it gives the natural logarithm of the likelihood ratio.
#: Trained and cross-validated stone by stone by benchmarks/same_stone.py.
WEIGHTS, CONSTANT = (3.23, 3.429, 5.279, 3.547), -2.509
#: No more is claimed, either way: rarer likenesses were not to be met among the pairs compared.
MOST, LEAST = 1000.0, 0.01
#: Likelihood ratios from which on, and below which, it is said. The most alike of
#: 7339 pairs of different stones reached 19, cross-validated.
STRONG, SOME, AGAINST = 200.0, 30.0, 0.1
#: Findings that both must have for a strong word, and for any.
FINDINGS_STRONG, FINDINGS = 3, 1
_GRAIN = ("white grain", "blue grain")


class Strength(StrEnum):
    """How strongly the photographs speak, in words."""

    STRONG = "strongly consistent with the same stone"
    SOME = "consistent with the same stone"
    OPEN = "can't tell"
    AGAINST = "more like two stones"


@dataclass(frozen=True)
class SameStone:
    """What two sets of photographs say on whether they show one stone.

    Parameters
    ----------
    strength : Strength
    likelihood_ratio : float
        Above 1 for the same stone, below for two; between `LEAST` and `MOST`.
    why : str
        What it rests on, or why it can't be told; one sentence.
    turn_deg : float
        By how much the second is turned against the first, degrees.
    """

    strength: Strength
    likelihood_ratio: float
    why: str
    turn_deg: float


def same_stone(one: Fingerprint, other: Fingerprint) -> SameStone:
    """Weigh whether two fingerprints are of one stone.

    Parameters
    ----------
    one, other : Fingerprint

    Returns
    -------
    SameStone
        "Can't tell" where either has no findings: facets alone are the cut's and not the stone's.
    """
    (found,) = likeness(one, [other])
    in_both = [all(np.any(day.waves[LAYERS.index(layer)]) for day in (one, other)) for layer in _GRAIN]
    return weighed(found, min(one.findings, other.findings), lights=sum(in_both))


def weighed(found: Likeness, findings: int, *, lights: int = 2) -> SameStone:
    """Weigh a likeness of two stones, the one with fewer findings having `findings`, photographed under so many lights in common."""
    # Calibrated on photographs under both lights: a layer that was never photographed speaks neither for nor against.
    ratio = likelihood_ratio(found) if lights == len(_GRAIN) else max(1.0, likelihood_ratio(found))
    if findings < FINDINGS:
        why = (
            "One of them shows no likely finding inside, and facets alone are the cut's and not the stone's."
        )
        return SameStone(Strength.OPEN, 1.0, why, found.turn_deg)
    lines, spots, *grain = (max(0.0, v) for v in found.layers)
    angle, way = shorter_turn(found.turn_deg)
    why = (
        f"At a turn of {angle:.0f}° {way} lines agree by {lines:.0%}, spots by {spots:.0%}, the grain of facets and inside by "
        f"{max(grain):.0%}; the one with fewer has {findings} likely findings."
    )
    if lights < len(_GRAIN):
        common = "Only one light is" if lights else "No light is"
        why += f" {common} in common, so unlikeness says nothing."
    if ratio >= STRONG and findings >= FINDINGS_STRONG:
        strength = Strength.STRONG
    elif ratio >= SOME:
        strength = Strength.SOME
    else:
        strength = Strength.AGAINST if ratio <= AGAINST else Strength.OPEN
    return SameStone(strength, ratio, why, found.turn_deg)


def likelihood_ratio(found: Likeness) -> float:
    """How many times more often one stone looks as alike as two do, between `LEAST` and `MOST`."""
    logarithm = CONSTANT + sum(w * v for w, v in zip(WEIGHTS, found.layers, strict=True))
    return min(max(math.exp(logarithm), LEAST), MOST)


def meaning(result: SameStone) -> str:
    """Say in plain words what the likelihood ratio means, and what not."""
    ratio = result.likelihood_ratio
    if result.strength is Strength.OPEN:
        told = "The photographs do not decide it."
    elif ratio >= 1:
        told = (
            f"A likeness like this is met {'at least' if ratio >= MOST else 'about'} {ratio:,.0f} times as often between photographs of "
            "one stone as between two stones of the collection it was calibrated on."
        )
    else:
        told = (
            f"A likeness as small as this is met about {1 / ratio:.0f} times as often between two stones as between photographs of "
            "one; dirt, a wrong outline or another focus can do that too."
        )
    return (
        told + " This is no proof: it was calibrated on computed stones, and what else is known counts too."
    )

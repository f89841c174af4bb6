"""Weigh all readings of a stone together under every material of the table.

Each reading has a probability under each material (`weights`). Readings that depend on one another form a group,
and a group counts as the reading in it that the material explains worst: whatever their dependence, all of them
together are at most as probable as that one (upper bound of Fréchet 1951, reached when one follows from the others).
Groups are taken as independent given the material, so their probabilities are multiplied. What is left is the
probability of the readings under each material relative to the others (likelihood: Edwards 1972): it needs no
belief on how frequent a material is.

A ratio below three is 'not worth more than a bare mention' (Kass & Raftery 1995, J. Am. Stat. Assoc. 90, 773, section
3.2, after Jeffreys 1961): materials that close share their rank.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from setstone.measure.quantity import Quantity
from setstone.record.evidence import weights
from setstone.record.evidence.materials import Kind, Material, materials
from setstone.record.evidence.readings import Edges, OverLimit, ReadingKind, Understood, Word
from setstone.record.evidence.weights import Weighed

#: A material is excluded by a reading that agrees with it less than this: probability of one so far off on either side,
#: for the true value that agrees best.
EXCLUDED_BELOW = 0.01
#: Ratio of two probabilities below which two materials share a rank (Kass & Raftery 1995).
TIED_WITHIN = 3.0
#: A reading is named as speaking for or against from this factor on (a tenth more or less than on average).
_WORTH_NAMING = math.log10(1.1)

#: Readings that depend on one another given the material: they share a property that varies within it
#: (strain and the direction looked in; iron content; what the stone went through as it grew).
GROUPS: Mapping[ReadingKind, str] = {
    ReadingKind.REFRACTOMETER: "index",
    ReadingKind.DISTANT_VISION: "index",
    ReadingKind.POLARISCOPE: "double refraction",
    ReadingKind.DOUBLING: "double refraction",
    ReadingKind.OPTIC_CHARACTER: "double refraction",
    ReadingKind.PLEOCHROISM: "double refraction",
    ReadingKind.UV_LONG: "fluorescence",
    ReadingKind.UV_SHORT: "fluorescence",
    ReadingKind.OBSERVATION: "signs",
    ReadingKind.THERMAL: "thermal",
    ReadingKind.DENSITY: "density",
    ReadingKind.COLOUR: "colour",
}
BY_WORD: Mapping[ReadingKind, Callable[[Word, Material], Weighed]] = {
    ReadingKind.THERMAL: weights.weigh_thermal,
    ReadingKind.POLARISCOPE: weights.weigh_polariscope,
    ReadingKind.DOUBLING: weights.weigh_doubling,
    ReadingKind.OPTIC_CHARACTER: weights.weigh_optic_character,
    ReadingKind.UV_LONG: weights.weigh_uv_long,
    ReadingKind.UV_SHORT: weights.weigh_uv_short,
    ReadingKind.PLEOCHROISM: weights.weigh_pleochroism,
    ReadingKind.COLOUR: weights.weigh_colour,
    ReadingKind.OBSERVATION: weights.weigh_sign,
}


@dataclass(frozen=True)
class Evidence:
    """Something read or seen on a stone, understood.

    Parameters
    ----------
    understood : Understood
    reading_id : int or None
        Number of the reading in the book; None for a finding in a picture.
    """

    understood: Understood
    reading_id: int | None = None

    @property
    def weighed(self) -> bool:
        """Whether a rule weighs it."""
        u = self.understood
        return u.value is not None and not u.unused and u.kind in GROUPS


@dataclass(frozen=True)
class Voice:
    """How much one reading speaks for a material or against it.

    Parameters
    ----------
    says : str
        The reading as understood.
    reading_ids : tuple of int
        Which readings these are.
    factor : float
        Probability of the reading under the material over that under the materials of the table on average
        (weight of evidence: Good 1950).
    agreement : float
        How easily the reading comes from the material at its best, 0 to 1.
    """

    says: str
    reading_ids: tuple[int, ...]
    factor: float
    agreement: float


@dataclass(frozen=True)
class Ranked:
    """A material with what the readings say of it.

    Parameters
    ----------
    material : Material
    rank : int
        From 1; materials the readings do not tell apart share it. 0 for one that is excluded.
    relative : float
        Probability of the readings under it over that under the best one.
    share : float
        Its part among all rows of the table, 0 to 1, each row taken as likely as any other beforehand. It serves to
        choose the next test, not to be shown: nobody measured how frequent the rows are.
    speaks_for, speaks_against : Voice or None
        The reading that speaks most for it, and most against it.
    excluded_by : tuple of Voice
        Readings it is not consistent with, the worst first.
    """

    material: Material
    rank: int
    relative: float
    share: float
    speaks_for: Voice | None
    speaks_against: Voice | None
    excluded_by: tuple[Voice, ...]

    @property
    def consistent(self) -> bool:
        """Whether no reading excludes it."""
        return not self.excluded_by


@dataclass(frozen=True)
class Item:
    """A reading, or all readings of the index taken together, under every material.

    Parameters
    ----------
    group : str
        Readings of one group depend on one another.
    says : str
    ids : tuple of int
        Numbers of the readings.
    under : tuple of Weighed
        In the order of the table.
    """

    group: str
    says: str
    ids: tuple[int, ...]
    under: tuple[Weighed, ...]


def rank(evidence: Sequence[Evidence]) -> tuple[Ranked, ...]:
    """Rank the materials of the table by how probable the readings are under each.

    Parameters
    ----------
    evidence : sequence of Evidence
        What no rule weighs is passed over; a missing reading says nothing.

    Returns
    -------
    tuple of Ranked
        Those the readings are consistent with, the best first, then the excluded ones; what is laboratory-grown is not
        listed as excluded while its natural counterpart is not. Empty when nothing can be weighed.
    """
    items = weighed_items(evidence)
    if not items:
        return ()
    table = materials()
    logs = _log_likelihoods(items)
    best = max(logs)
    relative = [math.exp(log - best) for log in logs]
    whole = math.fsum(relative)
    averages = [math.fsum(w.likelihood for w in item.under) / len(table) for item in items]
    found = []
    for i, material in enumerate(table):
        voices = [
            Voice(item.says, item.ids, item.under[i].likelihood / average, item.under[i].agreement)
            for item, average in zip(items, averages, strict=True)
        ]
        out = sorted((v for v in voices if v.agreement < EXCLUDED_BELOW), key=lambda v: v.agreement)
        found.append(
            Ranked(
                material,
                0,
                relative[i],
                relative[i] / whole,
                _loudest(voices, 1),
                out[0] if out else _loudest(voices, -1),
                tuple(out),
            )
        )
    consistent = sorted((r for r in found if r.consistent), key=lambda r: -r.relative)
    # The published range of a grown material is that of a few makers, and often narrower than the natural one: that a
    # reading lies outside it does not make the stone natural.
    natural = {r.material.group for r in consistent if r.material.kind is Kind.NATURAL}
    excluded = sorted(
        (
            r
            for r in found
            if not r.consistent
            and not (r.material.kind is Kind.LABORATORY_GROWN and r.material.group in natural)
        ),
        key=lambda r: -r.relative,
    )
    return (*_with_ranks(consistent), *excluded)


def origin_note(group: str, left: Sequence[Ranked] = ()) -> str:
    """Say what these readings cannot tell of the origin of a material; beside every naming of it.

    Parameters
    ----------
    group : str
        Group of the table.
    left : sequence of Ranked, optional
        What the readings are consistent with.

    Returns
    -------
    str
        Empty for simulants and composites, which have no natural counterpart.
    """
    origins = {Kind.NATURAL, Kind.LABORATORY_GROWN}
    known = {m.kind for m in materials() if m.group == group} & origins
    remaining = {r.material.kind for r in left if r.material.group == group and r.consistent} & origins
    if not known:
        return ""
    if known == origins and remaining == {Kind.LABORATORY_GROWN}:
        return (
            "natural and laboratory-grown read alike on most instruments; what was read or seen speaks for one, "
            "laboratory-grown: have it confirmed"
        )
    if known == origins:
        return "natural or laboratory-grown: not separable by these readings"
    if known == {Kind.LABORATORY_GROWN}:
        return "laboratory-grown; natural stones can come near these readings: have it confirmed"
    return "natural or laboratory-grown cannot be told from these readings"


def weighed_items(evidence: Sequence[Evidence]) -> list[Item]:
    """Weigh each reading by itself, and those of the index together, under every material.

    Parameters
    ----------
    evidence : sequence of Evidence

    Returns
    -------
    list of Item
    """
    weighed = [e for e in evidence if e.weighed]
    index = [e for e in weighed if isinstance(e.understood.value, Edges | OverLimit)]
    items = []
    if index:
        # All readings of index are of one true value, so they are weighed together.
        facets = [e.understood.value for e in index if isinstance(e.understood.value, Edges | OverLimit)]
        items.append(
            Item(
                "index",
                "; ".join(dict.fromkeys(e.understood.says for e in index)),
                _ids(index),
                weights.weigh_index(facets, materials()),
            )
        )
    for e in weighed:
        kind, value = e.understood.kind, e.understood.value
        if kind is None or isinstance(value, Edges | OverLimit):
            continue
        if isinstance(value, Quantity):
            under = tuple(weights.weigh_density(value, m) for m in materials())
        elif isinstance(value, Word):
            under = tuple(BY_WORD[kind](value, m) for m in materials())
        else:
            continue
        items.append(Item(GROUPS[kind], e.understood.says, _ids([e]), under))
    return items


def _ids(evidence: Sequence[Evidence]) -> tuple[int, ...]:
    return tuple(e.reading_id for e in evidence if e.reading_id is not None)


def _log_likelihoods(items: Sequence[Item]) -> tuple[float, ...]:
    groups: dict[str, list[Item]] = {}
    for item in items:
        groups.setdefault(item.group, []).append(item)
    return tuple(
        math.fsum(math.log(min(item.under[i].likelihood for item in members)) for members in groups.values())
        for i in range(len(materials()))
    )


def _loudest(voices: Sequence[Voice], sign: int) -> Voice | None:
    """Return the reading that speaks most for (1) or against (-1); None when none is worth naming."""
    loudest = max(voices, key=lambda v: sign * v.factor)
    return loudest if sign * math.log10(max(loudest.factor, 1e-30)) >= _WORTH_NAMING else None


def _with_ranks(ordered: Sequence[Ranked]) -> list[Ranked]:
    ranked: list[Ranked] = []
    leader, place = math.inf, 0
    for position, r in enumerate(ordered, start=1):
        if r.relative * TIED_WITHIN < leader or place == 0:
            leader, place = r.relative, position
        ranked.append(Ranked(r.material, place, r.relative, r.share, r.speaks_for, r.speaks_against, ()))
    return ranked

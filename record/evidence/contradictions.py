"""What in a record cannot all be so: the claim, readings of one property, readings no material explains together."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from setstone.measure.quantity import Quantity
from setstone.record.evidence.likelihood import agreement
from setstone.record.evidence.materials import Range, claimed
from setstone.record.evidence.ranking import EXCLUDED_BELOW, Evidence, Item, Ranked, weighed_items
from setstone.record.evidence.readings import Edges, OverLimit, ReadingKind, Word
from setstone.record.evidence.weights import table_differs_from_pavilion

_DOUBLE = {
    ReadingKind.POLARISCOPE: ("double",),
    ReadingKind.DOUBLING: ("slight", "strong"),
    ReadingKind.OPTIC_CHARACTER: ("uniaxial", "biaxial"),
    ReadingKind.PLEOCHROISM: ("distinct", "strong"),
}
_SINGLE = {
    ReadingKind.POLARISCOPE: ("single", "single with strain"),
    ReadingKind.OPTIC_CHARACTER: ("isotropic",),
}
#: Words of tests that go by strength, in order: two readings two steps apart contradict one another.
_STEPS = {
    ReadingKind.THERMAL: ("low", "moderate", "high"),
    ReadingKind.UV_LONG: ("inert", "weak", "moderate", "strong"),
    ReadingKind.UV_SHORT: ("inert", "weak", "moderate", "strong"),
    ReadingKind.PLEOCHROISM: ("none", "weak", "distinct", "strong"),
}
#: Signs of a join, which no stone of one piece has.
_JOINS = ("join line", "red ring", "lustre step", "flat bubbles in a plane")
#: Steps between two words from which on they contradict one another.
_APART = 2


@dataclass(frozen=True)
class Contradiction:
    """Things in a record that do not go together.

    Parameters
    ----------
    text : str
        What contradicts what.
    do : str
        What would settle it.
    reading_ids : tuple of int
        Readings concerned.
    """

    text: str
    do: str
    reading_ids: tuple[int, ...]


def contradictions(
    evidence: Sequence[Evidence], ranked: Sequence[Ranked], *, claim: str
) -> tuple[Contradiction, ...]:
    """Find what contradicts what.

    Parameters
    ----------
    evidence : sequence of Evidence
    ranked : sequence of Ranked
        The same evidence weighed.
    claim : str
        What the stone is claimed to be; may be empty.

    Returns
    -------
    tuple of Contradiction
    """
    found = [
        *_claim(claim, ranked),
        *_colour_of_claim(claim, evidence),
        *_single_and_double(evidence),
        *_one_property(evidence),
    ]
    # Of a stone put together of several pieces, each reading may be of another piece.
    if not composite_signs(evidence):
        found += _no_material(weighed_items(evidence), found)
    return tuple(found)


def composite_signs(evidence: Sequence[Evidence]) -> tuple[str, ...]:
    """Say what tells of a stone put together of several pieces.

    Parameters
    ----------
    evidence : sequence of Evidence

    Returns
    -------
    tuple of str
        One sentence for each; empty when nothing does, which excludes no composite.
    """
    facets = [e for e in evidence if e.weighed and e.understood.kind in _REFRACTOMETER]
    signs = []
    same = table_differs_from_pavilion([e.understood.value for e in facets])  # type: ignore[misc]
    if same is not None and same < EXCLUDED_BELOW:
        read = "; ".join(e.understood.says for e in facets)
        signs.append(f"Table and pavilion do not read alike ({read}): consistent with a composite stone.")
    signs += [
        f"{e.understood.value.word}: consistent with a composite stone.".capitalize()
        for e in evidence
        if e.understood.kind is ReadingKind.OBSERVATION
        and isinstance(e.understood.value, Word)
        and e.understood.value.word in _JOINS
    ]
    return tuple(dict.fromkeys(signs))


_REFRACTOMETER = (ReadingKind.REFRACTOMETER, ReadingKind.DISTANT_VISION)


def _claim(claim: str, ranked: Sequence[Ranked]) -> Iterator[Contradiction]:
    meant = {m.id for m in claimed(claim)}
    of_claim = [r for r in ranked if r.material.id in meant]
    if of_claim and not any(r.consistent for r in of_claim):
        against = of_claim[0].excluded_by
        yield Contradiction(
            f"Claimed as {claim}, but not consistent with it: {'; '.join(v.says for v in against)}.",
            "Read that again; if it stays, correct the claim before the stone is described to anyone.",
            tuple(i for v in against for i in v.reading_ids),
        )


def _colour_of_claim(claim: str, evidence: Sequence[Evidence]) -> Iterator[Contradiction]:
    """A colour excludes no material, but a claim names one of a colour: a blue stone is no ruby."""
    meant = claimed(claim)
    for e in evidence:
        value = e.understood.value
        if e.understood.kind is not ReadingKind.COLOUR or not isinstance(value, Word) or not meant:
            continue
        if not any(value.word in m.colours for m in meant):
            yield Contradiction(
                f"Claimed as {claim}, and {e.understood.says} is not among its colours.",
                "Look at the colour again in daylight; if it stays, correct the claim.",
                _ids(e),
            )


def _single_and_double(evidence: Sequence[Evidence]) -> Iterator[Contradiction]:
    single = [e for e in evidence if e.weighed and _says(e, _SINGLE)]
    double = [e for e in evidence if e.weighed and (_says(e, _DOUBLE) or _two_edges(e))]
    if single and double:
        said = "; ".join(dict.fromkeys(e.understood.says for e in (*single, *double)))
        yield Contradiction(
            f"Single refraction and double refraction do not go together: {said}.",
            "Look through the stone again in three directions: along its optic axis a doubly refracting stone looks "
            "single, and strain makes a singly refracting one look double.",
            _ids(*single, *double),
        )


def _one_property(evidence: Sequence[Evidence]) -> Iterator[Contradiction]:
    """Readings of one property that lie further apart than their uncertainties allow."""
    weighed = [e for e in evidence if e.weighed]
    for a, b in combinations(weighed, 2):
        if _property(a) == _property(b) and _disagree(a, b):
            yield Contradiction(
                f"Two readings of one property do not agree: {a.understood.says}; {b.understood.says}.",
                "Read a third time and withdraw the one that was mistaken.",
                _ids(a, b),
            )


def _property(e: Evidence) -> str:
    """What was read: by distant vision it is the index too."""
    kind = e.understood.kind
    return "index" if kind in _REFRACTOMETER else str(kind)


def _disagree(a: Evidence, b: Evidence) -> bool:
    one, other = a.understood.value, b.understood.value
    if isinstance(one, OverLimit) and isinstance(other, Edges):
        one, other = other, one
    if isinstance(one, Edges) and isinstance(other, OverLimit):
        return (
            one.part == other.part and agreement(other.limit - one.high, one.u, Range(-1, 0)) < EXCLUDED_BELOW
        )
    if isinstance(one, Edges) and isinstance(other, Edges):
        if one.part != other.part:
            return False
        u = math.hypot(one.u, other.u)
        if one.two != other.two:
            many, few = (one, other) if one.two else (other, one)
            return agreement(few.low, u, Range(many.low, many.high)) < EXCLUDED_BELOW
        return any(
            agreement(x - y, u, Range(0, 0)) < EXCLUDED_BELOW
            for x, y in ((one.low, other.low), (one.high, other.high))
        )
    if isinstance(one, Quantity) and isinstance(other, Quantity):
        u = math.hypot(one.u, other.u)
        return agreement(one.value - other.value, u, Range(0, 0)) < EXCLUDED_BELOW
    if isinstance(one, Word) and isinstance(other, Word) and a.understood.kind in _STEPS:
        steps = _STEPS[a.understood.kind]
        if one.word in steps and other.word in steps:
            return abs(steps.index(one.word) - steps.index(other.word)) >= _APART
    return False


def _no_material(items: Sequence[Item], found: Sequence[Contradiction]) -> Iterator[Contradiction]:
    """Readings that no material explains together, where that is not told of them already."""
    told = [set(c.reading_ids) for c in found]
    pairs = [
        (a, b)
        for a, b in combinations(items, 2)
        if _alone(a) and _alone(b) and not _together([a, b])
        if not any(t and (t <= {*a.ids, *b.ids} or (t & {*a.ids} and t & {*b.ids})) for t in told)
    ]
    for a, b in pairs:
        yield Contradiction(
            f"No material of the table is consistent with both: {a.says}; {b.says}.",
            "Read both again, on clean facets and with checked instruments.",
            (*a.ids, *b.ids),
        )
    if items and not found and not pairs and not _together(items):
        yield Contradiction(
            "No material of the table is consistent with all readings together.",
            "Read again what speaks against the first of those they are not consistent with; the stone may also be a composite, "
            "or of a material that the table does not hold.",
            tuple(i for item in items for i in item.ids),
        )


def _says(e: Evidence, words: dict[ReadingKind, tuple[str, ...]]) -> bool:
    kind, value = e.understood.kind, e.understood.value
    return kind in words and isinstance(value, Word) and value.word in words[kind]


def _two_edges(e: Evidence) -> bool:
    """Whether two edges were read further apart than one edge read twice would be (k = 2)."""
    value = e.understood.value
    if not isinstance(value, Edges) or not value.two:
        return False
    apart = value.birefringence
    return apart.value > apart.expanded


def _alone(item: Item) -> bool:
    return any(w.agreement >= EXCLUDED_BELOW for w in item.under)


def _together(items: Sequence[Item]) -> bool:
    return any(
        all(item.under[i].agreement >= EXCLUDED_BELOW for item in items) for i in range(len(items[0].under))
    )


def _ids(*evidence: Evidence) -> tuple[int, ...]:
    return tuple(e.reading_id for e in evidence if e.reading_id is not None)

"""How probable each single reading is under one material, and whether it agrees at all.

Where nothing is published on how often a reaction is misread, the figures here are judgement, marked 'common
practice, no source'. They are set so that one misread word does not exclude a
material unless the trade's own rules say that it does.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import NamedTuple

from setstone.measure.quantity import Quantity
from setstone.record.evidence.likelihood import (
    FAR,
    agreement,
    density_under,
    edges_density,
    pooled,
    probability_above,
)
from setstone.record.evidence.materials import Kind, Material, Range, Refraction, materials, signs
from setstone.record.evidence.readings import Edges, OverLimit, Word


class Weighed(NamedTuple):
    """A reading under a material.

    Parameters
    ----------
    likelihood : float
        Probability (or its density) of the reading, above zero.
    agreement : float
        Between 0 and 1: how easily the reading comes from the material at its best.
    """

    likelihood: float
    agreement: float


#: Published ranges are widened by this before anything is compared: rounding of tables and spread between them
#: (common practice, no source). Index, birefringence, g/cm³.
INDEX_MARGIN, BIREFRINGENCE_MARGIN, DENSITY_MARGIN = 0.002, 0.001, 0.01
#: How well the index of a contact liquid is known.
_U_LIMIT = 0.003
#: Share of readings that showed the whole birefringence; the others were turned too little.
_WHOLE = 0.9
#: Two edges seen where there is one: misread. The second may then lie anywhere within 0.05.
_MISREAD, _ANYWHERE = 0.005, 0.05
#: One edge seen where there are two, by the greatest birefringence of the material.
_ONE_SEEN = ((0.012, 0.4), (0.03, 0.2), (math.inf, 0.1))
#: Nothing is impossible to a pen.
_LEAST = 1e-30

_POLARISCOPE: Mapping[Refraction, Mapping[str, float]] = {
    Refraction.SINGLE: {"single": 0.94, "single with strain": 0.04, "double": 0.005, "aggregate": 0.015},
    Refraction.STRAINED: {"single": 0.55, "single with strain": 0.38, "double": 0.05, "aggregate": 0.02},
    Refraction.DOUBLE: {"single": 0.05, "single with strain": 0.03, "double": 0.9, "aggregate": 0.02},
    Refraction.AGGREGATE: {"single": 0.02, "single with strain": 0.03, "double": 0.05, "aggregate": 0.9},
    Refraction.EITHER: {"single": 0.5, "single with strain": 0.1, "double": 0.38, "aggregate": 0.02},
}
#: Dark in every one of three directions leaves a doubly refracting stone only this.
_SINGLE_THROUGHOUT = 0.004
_DOUBLING = {
    "single": {"none": 0.99, "slight": 0.008, "strong": 0.002},
    "aggregate": {"none": 0.95, "slight": 0.04, "strong": 0.01},
    # by the greatest birefringence
    0.012: {"none": 0.68, "slight": 0.3, "strong": 0.02},
    0.03: {"none": 0.25, "slight": 0.5, "strong": 0.25},
    math.inf: {"none": 0.1, "slight": 0.15, "strong": 0.75},
}
_NO_DOUBLING_THROUGHOUT = {0.012: 0.6, 0.03: 0.1, math.inf: 0.004}
_PLEOCHROISM_SINGLE = {"none": 0.97, "weak": 0.02, "distinct": 0.007, "strong": 0.003}
_PLEOCHROISM_AGGREGATE = {"none": 0.9, "weak": 0.05, "distinct": 0.03, "strong": 0.02}
#: Small stones, metal and dirt make a stone read lower than it is, hardly ever higher (from memory).
_THERMAL = {
    "high": {"high": 0.85, "moderate": 0.08, "low": 0.07},
    "moderate": {"high": 0.005, "moderate": 0.7, "low": 0.295},
    "low": {"high": 0.005, "moderate": 0.095, "low": 0.9},
}
#: A reaction that the table does not list for a material, against one that it lists.
_UNLISTED_GLOW, _UNLISTED_COLOUR = 0.15, 0.02
_SIGNS = {"typical": 0.3, "possible": 0.05, "unexpected": 0.01, "impossible": 0.0004}


def weigh_index(facets: Sequence[Edges | OverLimit], among: Iterable[Material]) -> tuple[Weighed, ...]:
    """Weigh all readings of index of one stone together: they are of the same true value.

    Parameters
    ----------
    facets : sequence of Edges or OverLimit
        At least one.
    among : iterable of Material

    Returns
    -------
    tuple of Weighed
        One for each material.
    """
    if not facets:
        raise ValueError("no reading to weigh")
    table = _one([f for f in facets if f.part != "pavilion"])
    pavilion = _one([f for f in facets if f.part == "pavilion"])
    if table is None or pavilion is None:
        same, taken = None, table or pavilion
    else:
        same, taken = _same(table, pavilion), _both(table, pavilion)

    def weigh(material: Material) -> Weighed:
        index, biref = material.index.wider(INDEX_MARGIN), _birefringence(material)
        # Two pieces of one species read as one stone does.
        if material.pavilion is not None and material.pavilion != material.index:
            below = material.pavilion.wider(INDEX_MARGIN)
            pairs = [(f, r) for f, r in ((table, index), (pavilion, below)) if f is not None]
            return _product(_facet(f, r, biref, material.refraction) for f, r in pairs)
        assert taken is not None  # noqa: S101 one of both was read
        whole = _facet(taken, index, biref, material.refraction)
        return whole if same is None else _product((whole, same))

    return tuple(weigh(m) for m in among)


def table_differs_from_pavilion(facets: Sequence[Edges | OverLimit]) -> float | None:
    """How easily table and pavilion are of one material, 0 to 1; None where one was not read."""
    table = _one([f for f in facets if f.part == "table"])
    pavilion = _one([f for f in facets if f.part == "pavilion"])
    return None if table is None or pavilion is None else _same(table, pavilion).agreement


def weigh_density(density: Quantity, material: Material) -> Weighed:
    """Weigh a density; a material without a published one neither gains nor loses."""
    if material.density is None:
        return Weighed(1.0, 1.0)
    range_ = material.density.wider(DENSITY_MARGIN)
    return Weighed(
        max(_LEAST, density_under(density.value, density.u, range_)),
        agreement(density.value, density.u, range_),
    )


def weigh_polariscope(seen: Word, material: Material) -> Weighed:
    """Weigh light and dark between crossed filters."""
    row = dict(_POLARISCOPE[material.refraction])
    if seen.thorough and seen.word == "single" and material.refraction is Refraction.DOUBLE:
        row["single"] = _SINGLE_THROUGHOUT
    return _of(row, seen.word)


def weigh_doubling(seen: Word, material: Material) -> Weighed:
    """Weigh the doubling of back facets seen through the stone."""
    if material.refraction in (Refraction.SINGLE, Refraction.STRAINED):
        return _of(_DOUBLING["single"], seen.word)
    if material.refraction is Refraction.AGGREGATE:
        return _of(_DOUBLING["aggregate"], seen.word)
    most = next(
        m for m in (0.012, 0.03, math.inf) if material.birefringence.high <= m
    )  # slightly, plainly, strongly doubling
    row = dict(_DOUBLING[most])
    if seen.thorough and seen.word == "none":
        row["none"] = _NO_DOUBLING_THROUGHOUT[most]
    return _of(row, seen.word)


def weigh_optic_character(seen: Word, material: Material) -> Weighed:
    """Weigh a figure between crossed filters, or what moving edges told."""
    if seen.word in ("isotropic", "aggregate"):
        return weigh_polariscope(Word("single" if seen.word == "isotropic" else "aggregate"), material)
    if material.refraction in (Refraction.SINGLE, Refraction.STRAINED):
        return Weighed(0.005, 0.005)
    if material.refraction is Refraction.AGGREGATE or material.optic_character != seen.word:
        return Weighed(0.03, 0.03)
    against = bool(seen.extra and material.optic_sign and seen.extra != material.optic_sign)
    # A sign is easily taken the wrong way round.
    return Weighed(0.93 * 0.05, 0.05) if against else Weighed(0.93, 1.0)


def weigh_pleochroism(seen: Word, material: Material) -> Weighed:
    """Weigh how the colour changes with direction; a pale stone shows none whatever it may be."""
    if material.refraction in (Refraction.SINGLE, Refraction.STRAINED):
        return _of(_PLEOCHROISM_SINGLE, seen.word)
    if material.refraction is Refraction.AGGREGATE:
        return _of(_PLEOCHROISM_AGGREGATE, seen.word)
    if seen.word in _known(material, "pleochroism"):
        return Weighed(0.9, 1.0)
    return Weighed(0.3, 0.3) if seen.word == "none" else Weighed(0.1, 0.1)


def weigh_thermal(seen: Word, material: Material) -> Weighed:
    """Weigh a thermal reading; a material of two classes is taken as half of each."""
    rows = [_THERMAL[c] for c in material.thermal] or [_THERMAL["low"]]
    row = {w: math.fsum(r[w] for r in rows) / len(rows) for w in _THERMAL}
    return _of(row, seen.word)


def weigh_uv_long(seen: Word, material: Material) -> Weighed:
    """Weigh fluorescence under long-wave ultraviolet, which does not part natural from laboratory-grown."""
    return _listed(seen.word, _of_group(material.group, "uv_long"), _UNLISTED_GLOW)


def weigh_uv_short(seen: Word, material: Material) -> Weighed:
    """Weigh fluorescence under short-wave ultraviolet, which does not part natural from laboratory-grown."""
    return _listed(seen.word, _of_group(material.group, "uv_short"), _UNLISTED_GLOW)


def weigh_colour(seen: Word, material: Material) -> Weighed:
    """Weigh the body colour: it never excludes by itself."""
    return _listed(seen.word, _known(material, "colours"), _UNLISTED_COLOUR)


def weigh_sign(seen: Word, material: Material) -> Weighed:
    """Weigh something seen under magnification."""
    sign = signs()[seen.word]
    if sign.elsewhere == "tells nothing":
        return Weighed(1.0, 1.0)
    likelihood = _SIGNS["typical" if sign.name in _known(material, "signs") else sign.elsewhere]
    return Weighed(likelihood, min(1.0, likelihood / _SIGNS["possible"]))


def _of(row: Mapping[str, float], word: str) -> Weighed:
    return Weighed(row[word], row[word] / max(row.values()))


def _listed(word: str, known: frozenset[str], otherwise: float) -> Weighed:
    # Which of its reactions a material shows how often is not published: all that are listed count alike.
    return Weighed(1.0, 1.0) if word in known else Weighed(otherwise, otherwise)


@cache
def _of_group(group: str, reactions: str) -> frozenset[str]:
    """Return the reactions of all rows of a group: tables list those of natural stones only, or of grown ones."""
    found: frozenset[str] = frozenset()
    return found.union(*(getattr(m, reactions) for m in materials() if m.group == group))


@cache
def _known(material: Material, what: str) -> frozenset[str]:
    """Return what occurs in a material; in a laboratory-grown one also all that occurs in natural ones of its group.

    What is met in natural stones proves none natural: a laboratory can grow it, or it was scratched or filled in.
    """
    found: frozenset[str] = getattr(material, what)
    if material.kind is not Kind.LABORATORY_GROWN:
        return found
    natural = (m for m in materials() if m.group == material.group and m.kind is Kind.NATURAL)
    return found.union(*(getattr(m, what) for m in natural))


def _product(parts: Iterable[Weighed]) -> Weighed:
    likelihood, least = 1.0, 1.0
    for part in parts:
        likelihood, least = likelihood * part.likelihood, min(least, part.agreement)
    return Weighed(max(_LEAST, likelihood), least)


def _birefringence(material: Material) -> Range:
    low, high = material.birefringence.low, material.birefringence.high
    return Range(max(0.0, low - BIREFRINGENCE_MARGIN), high + BIREFRINGENCE_MARGIN)


def _one(facets: Sequence[Edges | OverLimit]) -> Edges | OverLimit | None:
    """Take the readings of one part together: sharp edges before spots, any edge before none."""
    edges = [f for f in facets if isinstance(f, Edges)]
    if not edges:
        return max((f for f in facets if isinstance(f, OverLimit)), key=lambda f: f.limit, default=None)
    sharp = [e for e in edges if not e.spot] or edges
    best = [e for e in sharp if e.two] or sharp
    low, u = pooled([e.low for e in best], [e.u for e in best])
    high, _ = pooled([e.high for e in best], [e.u for e in best])
    return Edges(low, high, u, best[0].spot, best[0].part)


def _same(table: Edges | OverLimit, pavilion: Edges | OverLimit) -> Weighed:
    """Probability that two facets of one material read so far apart."""
    if isinstance(table, OverLimit) and isinstance(pavilion, OverLimit):
        return Weighed(1.0, 1.0)
    if isinstance(table, OverLimit) or isinstance(pavilion, OverLimit):
        return Weighed(_LEAST, 1e-6)
    u = math.hypot(table.u, pavilion.u)
    if table.two == pavilion.two:
        apart = Weighed(
            density_under(table.low - pavilion.low, u, Range(0, 0)),
            agreement(table.low - pavilion.low, u, Range(0, 0)),
        )
        if not table.two:
            return Weighed(max(_LEAST, apart.likelihood), apart.agreement)
        return _product(
            (
                apart,
                Weighed(
                    density_under(table.high - pavilion.high, u, Range(0, 0)),
                    agreement(table.high - pavilion.high, u, Range(0, 0)),
                ),
            )
        )
    one, two = (pavilion, table) if table.two else (table, pavilion)
    between = Range(two.low, two.high)
    return Weighed(max(_LEAST, density_under(one.low, u, between)), agreement(one.low, u, between))


def _both(table: Edges | OverLimit, pavilion: Edges | OverLimit) -> Edges | OverLimit:
    if isinstance(table, Edges) and isinstance(pavilion, Edges):
        taken = _one([table, pavilion])
        if taken is not None:
            return taken
    return table if isinstance(table, Edges) else pavilion


def _facet(seen: Edges | OverLimit, index: Range, birefringence: Range, refraction: Refraction) -> Weighed:
    """Weigh what one facet showed against a range of index."""
    double = refraction in (Refraction.DOUBLE, Refraction.EITHER)
    if isinstance(seen, OverLimit):
        lower = Range(index.low, max(index.low, index.high - birefringence.low)) if double else index
        beyond = max(0.0, seen.limit - lower.high)
        return Weighed(
            max(_LEAST, probability_above(seen.limit, _U_LIMIT, lower)),
            math.erfc(beyond / _U_LIMIT / math.sqrt(2)),
        )
    if refraction is Refraction.EITHER:
        single = _facet(seen, index, birefringence, Refraction.SINGLE)
        doubled = _facet(seen, index, birefringence, Refraction.DOUBLE)
        return Weighed((single.likelihood + doubled.likelihood) / 2, max(single.agreement, doubled.agreement))
    if refraction is Refraction.AGGREGATE:
        # A spot that blinks between two values: any part of the range of the aggregate's grains.
        anything = Range(0.0, index.high - index.low)
        return _edges(seen, index, anything, one_seen=0.8, whole=1.0)
    if double:
        one_seen = next(share for most, share in _ONE_SEEN if birefringence.high <= most)
        return _edges(seen, index, birefringence, one_seen=1.0 if seen.spot else one_seen, whole=_WHOLE)
    middle = (seen.low + seen.high) / 2
    agrees = agreement(middle, seen.u, index)
    likelihood = density_under(middle, seen.u, index)
    if seen.two:
        likelihood, agrees = likelihood * _MISREAD / _ANYWHERE, min(agrees, _MISREAD)
    return Weighed(max(_LEAST, likelihood), agrees)


def _edges(seen: Edges, index: Range, birefringence: Range, *, one_seen: float, whole: float) -> Weighed:
    """Weigh edges under a material that has two."""
    if not seen.two:
        likelihood = one_seen * density_under(seen.low, seen.u, index)
        return Weighed(max(_LEAST, likelihood), agreement(seen.low, seen.u, index))
    apart, u_apart = seen.high - seen.low, seen.u * math.sqrt(2)
    if max(index.low - seen.low, seen.high - index.high) > FAR * seen.u:
        return Weighed(_LEAST, 0.0)  # saves the integral
    agrees = min(
        agreement(seen.low, seen.u, Range(index.low, max(index.low, index.high - birefringence.low))),
        agreement(seen.high, seen.u, Range(min(index.high, index.low + birefringence.low), index.high)),
        max(agreement(apart, u_apart, birefringence), (1 - whole) * (apart <= birefringence.high)),
    )
    likelihood = edges_density(seen.low, seen.high, seen.u, index, birefringence, whole=whole)
    return Weighed(max(_LEAST, (1 - min(one_seen, 0.95)) * likelihood), agrees)

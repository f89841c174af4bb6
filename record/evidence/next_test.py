"""Which test would tell the leading materials apart best.

The gain of a test is the information it is expected to give on the material (Lindley 1956, Ann. Math. Stat. 27, 986): for
every result, how far it would move the shares of the materials (Kullback & Leibler 1951), averaged over results as the
materials now expect them. Results in words are summed over; numbers are drawn from the published ranges with the
usual uncertainty of the instrument, from a fixed seed, so that the same record gives the same advice.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from setstone.measure.quantity import Quantity
from setstone.record.evidence import weights
from setstone.record.evidence.materials import Material, Range, Refraction, signs
from setstone.record.evidence.ranking import BY_WORD, GROUPS, Evidence, Ranked, weighed_items
from setstone.record.evidence.readings import Edges, OverLimit, ReadingKind, Word
from setstone.record.evidence.understand import USUAL, USUAL_LIQUID, WORDS

#: Shares below this do not count as leading.
_LEAST_SHARE = 0.002
#: At most so many materials are told apart, and so many results of a measuring test are drawn in all.
_MOST_MATERIALS, _DRAWS = 24, 240
#: A look through the microscope that shows nothing telling (common practice, no source).
_NOTHING_SEEN = 0.5
#: A test that is expected to tell less than this, in bits, is not worth advising.
_LEAST_GAIN = 0.02
#: A test tells two materials apart when in this part of its results one becomes three times as probable (Kass & Raftery
#: 1995) against the other.
_USUALLY, _THREE = 0.5, 3.0
#: From so many materials on no pair is named.
_MANY = 12

_THROUGH = (
    "needs light through the stone: only unset, or in a setting open at the back; look in three directions"
)
CAUTIONS: Mapping[ReadingKind, tuple[str, ...]] = {
    ReadingKind.REFRACTOMETER: (
        "contact liquid (diiodomethane) is toxic and irritant: gloves, ventilation, one small drop, wipe off at once, "
        "follow its safety sheet",
        "keep the liquid from open joints and foils; the refractometer's glass is soft and scratches",
        "check the refractometer on a glass of known index first, and enter what it read",
    ),
    ReadingKind.THERMAL: (
        "check the tester with both reference stones first; touch no metal, and let stone and room be at one temperature",
        "it tells diamond neither from moissanite nor from laboratory-grown diamond; small or dirty stones read too low",
    ),
    ReadingKind.POLARISCOPE: (_THROUGH,),
    ReadingKind.OPTIC_CHARACTER: (_THROUGH,),
    ReadingKind.PLEOCHROISM: ("look in several directions; a pale stone may show none",),
    ReadingKind.DOUBLING: (
        "look in three directions and not along the optic axis only: there a doubly refracting stone shows none",
    ),
    ReadingKind.UV_LONG: (
        "never look into an ultraviolet lamp or its reflection; spectacles that stop ultraviolet (EN 170), skin covered",
    ),
    ReadingKind.UV_SHORT: (
        "short-wave ultraviolet burns eyes and skin: closed box, spectacles that stop it, skin covered",
    ),
    ReadingKind.OBSERVATION: (
        "do not look through the eyepieces under blue or ultraviolet light; use the camera",
    ),
    ReadingKind.DENSITY: (
        "only unset and clean; not for porous, glued or foil-backed stones, which take up water",
        "check the balance with a check weight first, and enter what it read",
    ),
}
#: What of a test can harm a stone, as the table names it.
_HARMS = {ReadingKind.REFRACTOMETER: "contact liquid", ReadingKind.DENSITY: "density"}
#: Tests that cannot be made in the setting.
_UNSET_ONLY = {ReadingKind.DENSITY}
#: Directions in which a stone was looked through, from which on one sign of double refraction missing tells.
_THOROUGH = 3


@dataclass(frozen=True)
class NextTest:
    """A test that was not made yet.

    Parameters
    ----------
    test : str
        As readings name it, with the part of the stone where it matters.
    gain_bits : float
        Information it is expected to give on the material, in bits.
    why : str
        What it would tell apart, or what to look for.
    cautions : tuple of str
    possible : bool
        Whether it can be made in the stone's present state.
    """

    test: str
    gain_bits: float
    why: str
    cautions: tuple[str, ...]
    possible: bool


@dataclass(frozen=True)
class _Result:
    """One result of a test: how probable each leading material makes it, and what it does to their shares."""

    #: Probability under each leading material that this result comes; sums to one over all results of a test.
    comes: tuple[float, ...]
    #: Factor by which each share is multiplied.
    factors: tuple[float, ...]
    name: str = ""


def next_tests(
    evidence: Sequence[Evidence], ranked: Sequence[Ranked], table: Sequence[Material], *, is_set: bool
) -> tuple[NextTest, ...]:
    """Rank the tests that were not made yet by how much they are expected to tell.

    Parameters
    ----------
    evidence : sequence of Evidence
    ranked : sequence of Ranked
        The same evidence weighed; empty where there is none.
    table : sequence of Material
        The whole table.
    is_set : bool
        Whether the stone is in its setting.

    Returns
    -------
    tuple of NextTest
        Possible ones first, the one that tells most in front; then those that ask for the stone to be unset. Empty
        when no test is expected to tell the materials that are left apart.
    """
    leading = _leading(ranked, table)
    if len(leading) < 2:
        return ()
    items = weighed_items(evidence)
    shares = _shares(leading)
    place = {m.id: i for i, m in enumerate(table)}
    old = {
        group: [
            min(item.under[place[m.id]].likelihood for item in items if item.group == group)
            for m, _ in leading
        ]
        for group in {item.group for item in items}
    }
    only = [m for m, _ in leading]
    tests = []
    for kind, part, results in _tests(evidence, only, old):
        gain = _gain(shares, results)
        if gain < _LEAST_GAIN:
            continue
        harmed = [m.name for m in only if _HARMS.get(kind) in m.avoid]
        cautions = CAUTIONS.get(kind, ())
        if harmed:
            cautions = (f"not if it may be {_few(harmed)}: the test can harm it", *cautions)
        tests.append(
            NextTest(
                kind.value + (f", {part}" if part else ""),
                gain,
                _why(kind, only, shares, results),
                cautions,
                not (is_set and (kind in _UNSET_ONLY or part == "pavilion")),
            )
        )
    return tuple(sorted(tests, key=lambda t: (not t.possible, -t.gain_bits)))


def _leading(ranked: Sequence[Ranked], table: Sequence[Material]) -> list[tuple[Material, float]]:
    if not ranked:
        return [(m, 1 / len(table)) for m in table]
    left = [(r.material, r.share) for r in ranked if r.consistent and r.share >= _LEAST_SHARE]
    return left[:_MOST_MATERIALS]


def _shares(leading: Sequence[tuple[Material, float]]) -> list[float]:
    whole = math.fsum(s for _, s in leading)
    return [s / whole for _, s in leading]


def _tests(
    evidence: Sequence[Evidence],
    only: Sequence[Material],
    old: Mapping[str, Sequence[float]],
) -> Iterator[tuple[ReadingKind, str, list[_Result]]]:
    """Go through the tests that are open, each with its results."""
    made = {e.understood.kind for e in evidence if e.weighed}
    facets = [
        e.understood.value
        for e in evidence
        if e.weighed and isinstance(e.understood.value, Edges | OverLimit)
    ]
    if not any(f.part != "pavilion" and not (isinstance(f, Edges) and f.spot) for f in facets):
        yield ReadingKind.REFRACTOMETER, "", _index_results(only, facets, "")
    elif not any(f.part == "pavilion" for f in facets) and any(_unlike(m) for m in only):
        yield ReadingKind.REFRACTOMETER, "pavilion", _index_results(only, facets, "pavilion")
    if ReadingKind.DENSITY not in made:
        yield ReadingKind.DENSITY, "", _density_results(only)
    for kind in BY_WORD:
        if kind is ReadingKind.OBSERVATION:
            yield kind, "", _sign_results(only, evidence, old.get(GROUPS[kind]))
        elif kind not in made or _to_be_repeated(kind, evidence):
            yield kind, "", _word_results(kind, only, old.get(GROUPS[kind]))


def _to_be_repeated(kind: ReadingKind, evidence: Sequence[Evidence]) -> bool:
    """Single refraction and no doubling tell little until three directions were looked in."""
    values = [e.understood.value for e in evidence if e.weighed and e.understood.kind is kind]
    words = [v for v in values if isinstance(v, Word)]
    return kind in (ReadingKind.POLARISCOPE, ReadingKind.DOUBLING) and all(
        w.word in ("single", "none") and not w.thorough for w in words
    )


def _word_results(kind: ReadingKind, only: Sequence[Material], old: Sequence[float] | None) -> list[_Result]:
    columns = []
    for name in WORDS[kind]:
        if kind is ReadingKind.THERMAL and name not in ("high", "moderate", "low"):
            continue
        word, _, extra = name.partition(" ") if kind is ReadingKind.OPTIC_CHARACTER else (name, "", "")
        seen = Word(word, thorough=True, extra=extra)
        columns.append((name, [BY_WORD[kind](seen, m).likelihood for m in only]))
    whole = [math.fsum(likelihoods[i] for _, likelihoods in columns) for i in range(len(only))]
    return [
        _Result(
            tuple(p / w for p, w in zip(likelihoods, whole, strict=True)), _factors(likelihoods, old), name
        )
        for name, likelihoods in columns
    ]


def _sign_results(
    only: Sequence[Material], evidence: Sequence[Evidence], old: Sequence[float] | None
) -> list[_Result]:
    """One look shows one sign, or nothing telling, which says nothing."""
    seen = {e.understood.value.word for e in evidence if isinstance(e.understood.value, Word)}
    telling = [s for s in signs().values() if s.elsewhere != "tells nothing" and s.name not in seen]
    columns = [(s.name, [weights.weigh_sign(Word(s.name), m).likelihood for m in only]) for s in telling]
    whole = [math.fsum(p[i] for _, p in columns) + _NOTHING_SEEN for i in range(len(only))]
    return [
        _Result(
            tuple(p / w for p, w in zip(likelihoods, whole, strict=True)), _factors(likelihoods, old), name
        )
        for name, likelihoods in columns
    ]


def _factors(likelihoods: Sequence[float], old: Sequence[float] | None) -> tuple[float, ...]:
    """What a reading does to the shares: in a group already read only what is worse explained counts."""
    if old is None:
        return tuple(likelihoods)
    return tuple(min(new, before) / before for new, before in zip(likelihoods, old, strict=True))


def _density_results(only: Sequence[Material]) -> list[_Result]:
    u = USUAL[ReadingKind.DENSITY] / math.sqrt(3)

    def draw(m: Material, rng: np.random.Generator) -> tuple[float, ...] | None:
        if m.density is None:
            return None
        seen = Quantity(_within(rng, m.density) + rng.normal(0, u), u, "g/cm³")
        return tuple(weights.weigh_density(seen, other).likelihood for other in only)

    return _drawn(only, draw)


def _index_results(only: Sequence[Material], facets: Sequence[Edges | OverLimit], part: str) -> list[_Result]:
    before = [w.likelihood for w in weights.weigh_index(facets, only)] if facets else [1.0] * len(only)

    def draw(m: Material, rng: np.random.Generator) -> tuple[float, ...] | None:
        # A stone of one piece reads on its pavilion as on its table.
        again = next((f for f in facets if f.part != "pavilion"), None) if part else None
        seen = again if again is not None and not _unlike(m) else _edges(m, rng, part)
        moved = (
            Edges(seen.low, seen.high, seen.u, seen.spot, part)
            if isinstance(seen, Edges)
            else OverLimit(seen.limit, part)
        )
        now = weights.weigh_index([*facets, moved], only)
        return tuple(w.likelihood / b for w, b in zip(now, before, strict=True))

    return _drawn(only, draw)


def _unlike(m: Material) -> bool:
    """Whether its pavilion reads unlike its table."""
    return m.pavilion is not None and m.pavilion != m.index


def _edges(m: Material, rng: np.random.Generator, part: str) -> Edges | OverLimit:
    """Draw what a refractometer would show of a material."""
    u = USUAL[ReadingKind.REFRACTOMETER] / math.sqrt(3)
    range_ = m.pavilion if part and m.pavilion is not None else m.index
    b = 0.0
    if m.refraction is Refraction.DOUBLE:
        b = rng.uniform(m.birefringence.low, m.birefringence.high)
    n = _within(rng, Range(range_.low, max(range_.low, range_.high - b)))
    if n >= USUAL_LIQUID:
        return OverLimit(USUAL_LIQUID, part)
    low, high = n + rng.normal(0, u), n + b + rng.normal(0, u)
    if b == 0 or high >= USUAL_LIQUID:
        high = low
    return Edges(min(low, high), max(low, high), u, False, part)


def _within(rng: np.random.Generator, range_: Range) -> float:
    """Draw from the trapezoid of `likelihood`: the sum of two rectangular distributions."""
    half = (range_.high - range_.low) / 2
    return float(range_.middle + half * (rng.uniform(-0.75, 0.75) + rng.uniform(-0.25, 0.25)))


def _drawn(
    only: Sequence[Material],
    draw: Callable[[Material, np.random.Generator], tuple[float, ...] | None],
) -> list[_Result]:
    rng = np.random.default_rng(0)
    count = max(2, _DRAWS // len(only))
    results = []
    for i, material in enumerate(only):
        for _ in range(count):
            factors = draw(material, rng)
            if factors is not None:
                comes = tuple(1 / count if j == i else 0.0 for j in range(len(only)))
                results.append(_Result(comes, factors))
    return results


def _gain(shares: Sequence[float], results: Sequence[_Result]) -> float:
    """Information expected, in bits."""
    gain = 0.0
    for result in results:
        comes = math.fsum(s * p for s, p in zip(shares, result.comes, strict=True))
        if comes > 0:
            gain += comes * _moved(shares, result)
    return gain


def _moved(shares: Sequence[float], result: _Result) -> float:
    after = [s * f for s, f in zip(shares, result.factors, strict=True)]
    whole = math.fsum(after)
    if whole <= 0:
        return 0.0
    return math.fsum(
        a / whole * math.log2(a / whole / s) for a, s in zip(after, shares, strict=True) if a > 0
    )


def _why(
    kind: ReadingKind, only: Sequence[Material], shares: Sequence[float], results: Sequence[_Result]
) -> str:
    if kind is ReadingKind.OBSERVATION:
        best = sorted(
            results,
            key=lambda r: -_moved(shares, r) * math.fsum(s * p for s, p in zip(shares, r.comes, strict=True)),
        )
        return f"look for {_few([r.name for r in best[:4]], 'or')}"
    leader = only[0]
    apart = [
        m for j, m in enumerate(only) if max(_how_often(results, 0, j), _how_often(results, j, 0)) >= _USUALLY
    ]
    if len(only) > _MANY:
        return f"parts the {len(only)} materials that are left"
    others = [m.group for m in apart if m.group != leader.group]
    if others:
        # By the names of their groups: no such test parts natural from laboratory-grown.
        return f"tells {leader.group} from {_few(others)}"
    if apart:
        return f"tells {leader.name} from {_few([m.name for m in apart])}"
    return "makes some of the materials that are left more probable than others"


def _how_often(results: Sequence[_Result], true: int, other: int) -> float:
    """How often results that come of one material make another three times less probable."""
    return math.fsum(r.comes[true] for r in results if r.factors[other] * _THREE <= r.factors[true])


def _few(names: Sequence[str], joint: str = "and") -> str:
    """Name at most four, and say how many more there are."""
    names = list(dict.fromkeys(names))
    if len(names) > 4:
        return f"{'; '.join(names[:3])} {joint} {len(names) - 3} more"
    return f" {joint} ".join(["; ".join(names[:-1]), names[-1]]) if len(names) > 1 else names[0]

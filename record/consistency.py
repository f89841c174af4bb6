"""What the record of a stone is consistent with, what contradicts what, and what to test next.

One function gathers all that a panel, a command or the hand-out shows. Its words are 'consistent with' and 'not
consistent with': a reading is not a verdict.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from setstone.record import notes
from setstone.record.clock import day_of
from setstone.record.entries import ExaminationEntry, ReadingEntry, StoneEntry
from setstone.record.evidence.contradictions import Contradiction, composite_signs
from setstone.record.evidence.gist import LEADING, contradicting, ranked, sign, understood
from setstone.record.evidence.harms import FILLED, claimed_filled, not_to_do
from setstone.record.evidence.materials import Kind, claimed, materials
from setstone.record.evidence.next_test import NextTest, next_tests
from setstone.record.evidence.ranking import Evidence, Ranked, Voice, origin_note
from setstone.record.evidence.readings import Typed, Understood
from setstone.record.evidence.treatment import Treatment, treatments
from setstone.record.examinations import latest_examinations
from setstone.record.store import Store
from setstone.record.work import Known

#: With more materials possible than this, a list of them helps nobody.
TOO_MANY = 12


@dataclass(frozen=True)
class ReadAs:
    """A reading and what was understood of it.

    Parameters
    ----------
    entry : ReadingEntry
    says : str
    mark : str
        Why it is not weighed, for example that no valid calibration check stands beside it; empty when it is.
    unchecked : str
        Why it is weighed and yet marked: no check of the instrument stands beside it, or one too old.
    """

    entry: ReadingEntry
    says: str
    mark: str
    unchecked: str = ""


@dataclass(frozen=True)
class Line:
    """A material on the list.

    Parameters
    ----------
    rank : int
        From 1; materials the readings do not tell apart share it. 0 for one that is excluded.
    name, kind : str
        ``"natural"``, ``"treated"``, ``"laboratory-grown"``, ``"simulant"`` or ``"composite"`` is the kind.
    note : str
        What the readings cannot tell of its origin; to be shown wherever the name is.
    relative : float
        Probability of the readings under it over that under the best one.
    speaks_for, speaks_against : str
        The reading that speaks most for it and against it, with how much; of an excluded one, the readings it is
        not consistent with. May be empty.
    material_id : str
    """

    rank: int
    name: str
    kind: str
    note: str
    relative: float
    speaks_for: str
    speaks_against: str
    material_id: str


@dataclass(frozen=True)
class Consistency:
    """All that the readings of a stone say, ready to be shown.

    Parameters
    ----------
    stone : StoneEntry
    is_set : bool
        The state the next tests are chosen for.
    read : tuple of ReadAs
    lines : tuple of Line
        Materials the readings are consistent with, the best first; empty while nothing can be weighed.
    excluded : tuple of Line
        Those they are not consistent with.
    contradictions : tuple of Contradiction
    composite : tuple of str
        What tells of a stone put together of several pieces.
    treatments : tuple of Treatment
        Whether it was treated: a question of its own.
    next_tests : tuple of NextTest
        The one that tells most in front.
    cautions : tuple of str
        For cleaning and handling, from what is still possible.
    summary : str
    cannot_tell : tuple of str
    """

    stone: StoneEntry
    is_set: bool
    read: tuple[ReadAs, ...]
    lines: tuple[Line, ...]
    excluded: tuple[Line, ...]
    contradictions: tuple[Contradiction, ...]
    composite: tuple[str, ...]
    treatments: tuple[Treatment, ...]
    next_tests: tuple[NextTest, ...]
    cautions: tuple[str, ...]
    summary: str
    cannot_tell: tuple[str, ...]


def consistency(book: Store, stone: StoneEntry, *, is_set: bool | None = None) -> Consistency:
    """Weigh what stands in the record of a stone.

    Parameters
    ----------
    stone : StoneEntry
    is_set : bool, optional
        Whether the stone is in its setting now; when not given, as the newest reading or the newest work on it
        says, else set.

    Returns
    -------
    Consistency
        Of the readings that hold and the findings in the newest pictures of each occasion.
    """
    with book.snapshot():
        read, evidence = _gathered(book, stone)
        if is_set is None:
            is_set = notes.is_set(book, stone)
    order = ranked(evidence)
    leading = _leading(order)
    treated = treatments(evidence)
    against = contradicting(evidence, stone.claimed_as)
    composite = composite_signs(evidence)
    return Consistency(
        stone=stone,
        is_set=is_set,
        read=tuple(ReadAs(e, u.says, u.unused, u.unchecked) for e, u in read),
        lines=tuple(_line(r, order) for r in order if r.consistent),
        excluded=tuple(_line(r, order) for r in order if not r.consistent),
        contradictions=against,
        composite=composite,
        treatments=treated,
        next_tests=_open_tests(evidence, is_set),
        cautions=_cautions(leading, treated, stone.claimed_as),
        summary=_summary(order, against, is_composite=bool(composite)),
        cannot_tell=_cannot_tell(leading),
    )


def known_for_work(book: Store, stone: StoneEntry) -> Known:
    """Read what work on a stone must heed: signs of filled fissures, tested or found in its newest pictures, and what its readings leave open.

    Parameters
    ----------
    stone : StoneEntry

    Returns
    -------
    Known
        That there are no signs excludes no filling.
    """
    read, evidence = _gathered(book, stone)
    leading = _leading(ranked(evidence))
    many = len(leading) > TOO_MANY
    may_be = () if many else tuple(r.material for r in leading)
    return Known(_filled(treatments(evidence)), may_be, much_open=many and bool(read))


def _gathered(
    book: Store, stone: StoneEntry
) -> tuple[list[tuple[ReadingEntry, Understood]], tuple[Evidence, ...]]:
    """Readings with what is understood of them, and all evidence: theirs and that of the findings."""
    with book.snapshot():
        entries = notes.readings(book, stone)
        seen = _seen(latest_examinations(book, stone))
    read = [(e, _understood(e)) for e in entries]
    return read, (*(Evidence(u, e.id) for e, u in read), *seen)


def read_as(entry: ReadingEntry) -> ReadAs:
    """Say what is understood of a reading.

    Parameters
    ----------
    entry : ReadingEntry

    Returns
    -------
    ReadAs
    """
    read = _understood(entry)
    return ReadAs(entry, read.says, read.unused, read.unchecked)


def _understood(entry: ReadingEntry) -> Understood:
    return understood(
        Typed(
            entry.test,
            entry.value,
            entry.unit,
            entry.uncertainty,
            entry.stone_is_set,
            entry.details,
            day_of(entry.taken or entry.at),
        )
    )


def _seen(examinations: tuple[ExaminationEntry, ...]) -> tuple[Evidence, ...]:
    """Findings in the pictures that are words of the vocabulary, each word once."""
    words: dict[str, str] = {}
    for examination in examinations:
        for candidate in examination.candidates:
            decision = candidate.decision
            if candidate.is_finding and decision is not None and decision.kind is not None:
                where = f"finding {candidate.number}, {examination.occasion}"
                words.setdefault(str(decision.kind), where)
    return tuple(e for word, where in words.items() if (e := sign(word, where)) is not None)


@lru_cache(maxsize=256)
def _open_tests(evidence: tuple[Evidence, ...], is_set: bool) -> tuple[NextTest, ...]:
    return next_tests(evidence, ranked(evidence), materials(), is_set=is_set)


def alike(lines: Sequence[Line]) -> list[list[Line]]:
    """Put materials together of which the readings say the same, in the order of the first of each."""
    groups: dict[tuple[object, ...], list[Line]] = {}
    for line in lines:
        groups.setdefault((line.rank, line.note, line.speaks_for, line.speaks_against), []).append(line)
    return list(groups.values())


def _line(one: Ranked, order: tuple[Ranked, ...]) -> Line:
    m = one.material
    against = "; ".join(v.says for v in one.excluded_by) or _told(one.speaks_against)
    return Line(
        one.rank,
        m.name,
        str(m.kind),
        origin_note(m.group, order),
        one.relative,
        _told(one.speaks_for),
        against,
        m.id,
    )


def _told(voice: Voice | None) -> str:
    if voice is None:
        return ""
    times = voice.factor if voice.factor >= 1 else 1 / voice.factor
    figure = f"{times:.0f}" if times >= 10 else f"{times:.1f}"
    more = "more" if voice.factor >= 1 else "less"
    return f"{voice.says}: {figure} times {more} probable than under the table's average"


def _summary(order: tuple[Ranked, ...], against: tuple[Contradiction, ...], *, is_composite: bool) -> str:
    first = [r.material for r in order if r.rank == 1]
    if not order:
        return "Nothing was read yet that tells materials apart."
    if not first and is_composite:
        said = (
            "The readings are consistent with a composite stone, and together with none that the table holds."
        )
    elif not first:
        said = "The readings together are not consistent with any material of the table."
    elif len(first) > TOO_MANY:
        said = f"Too little was read yet: {len(first)} materials of the table are equally consistent with it."
    else:
        groups = dict.fromkeys(m.group for m in first)
        named = "; ".join(_named(g, [m.name for m in first if m.group == g], order) for g in groups)
        others = sum(r.consistent and r.rank > 1 for r in order)
        said = f"The readings are most consistent with {named}"
        said += f"; also consistent with {others} more." if others else "."
    if against:
        count = len(against)
        said += f" The record holds {count} contradiction{'s' if count > 1 else ''}."
    return said + " Not a laboratory report."


def _named(group: str, names: list[str], order: tuple[Ranked, ...]) -> str:
    note = origin_note(group, order)
    species, comma, _ = names[0].partition(", ")
    if comma and len(names) > 1 and all(name.startswith(species + comma) for name in names):
        names = [species + ": " + names[0].removeprefix(species + comma)] + [
            name.removeprefix(species + comma) for name in names[1:]
        ]
    return ", ".join(names) + (f" ({note})" if note else "")


def _cannot_tell(leading: list[Ranked]) -> tuple[str, ...]:
    told = []
    kinds: dict[str, set[Kind]] = {}
    for m in materials():
        kinds.setdefault(m.group, set()).add(m.kind)
    groups = list(dict.fromkeys(r.material.group for r in leading))
    both = [g for g in groups if kinds[g] >= {Kind.NATURAL, Kind.LABORATORY_GROWN}]
    if both:
        told.append(
            f"whether it grew in nature or in a laboratory: natural and laboratory-grown {', '.join(both[:4])} read alike"
        )
    if "diamond" in groups and "moissanite" in groups:
        told.append(
            "diamond or moissanite, until double refraction is tested: a thermal tester reads both alike"
        )
    told += [
        "whether it was treated, where no sign of it was seen",
        "where it was found",
    ]
    return tuple(told)


def _leading(order: Sequence[Ranked]) -> list[Ranked]:
    return [r for r in order if r.consistent and r.relative >= LEADING]


def _filled(treated: Sequence[Treatment]) -> bool:
    return any(t.question == "filling" and t.signs for t in treated)


def _cautions(leading: list[Ranked], treated: tuple[Treatment, ...], claim: str) -> tuple[str, ...]:
    """What must not be done while it is open what the stone is."""
    told = [FILLED] if _filled(treated) or claimed_filled(claim) else []
    possible = [r.material for r in leading] or list(claimed(claim))
    if len(possible) <= TOO_MANY:
        told += not_to_do(possible)
        told += dict.fromkeys(f"{m.name}: {m.cautions}." for m in possible[:3] if m.cautions)
    else:
        told.append(
            "What it is stays open: no heat, steam, ultrasonics, acid or solvents until it is known better."
        )
    return tuple(told)

"""How each stone stands, worked out anew whenever something is entered on it, for lists of thousands.

Nothing here is told by a person: all of it follows from the other tables, and `refresh_all` makes it anew.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from sqlalchemy import ColumnElement, Connection, Select, case, delete, func, insert, or_, select

from setstone.capture.photograph import Lamp
from setstone.measure.candidates import LIKELY
from setstone.record import schema
from setstone.record.clock import day_of
from setstone.record.evidence.readings import Typed
from setstone.record.text import key
from setstone.record.vocabulary import Verdict

if TYPE_CHECKING:
    from setstone.record.evidence.gist import Gist

_o, _s, _p = schema.objects.c, schema.stones.c, schema.photographs.c
_e, _c, _d = schema.examinations.c, schema.candidates.c, schema.decisions.c

#: Entries that say who stands for a record, and do not change it.
SIGNING = ("sign", "take signature back")
#: How many stones are worked out at once.
_AT_ONCE = 500


class Stage(StrEnum):
    """How far the work on a stone has come."""

    NO_PHOTOGRAPH = "no photograph"
    TO_EXAMINE = "to examine"
    TO_REVIEW = "to review"
    REVIEWED = "reviewed"
    SIGNED = "signed"


@dataclass
class _Gathered:
    """What the tables hold on one stone."""

    object_id: int
    claimed_as: str
    changed: datetime
    photographs: int = 0
    #: SHA-256 of the newest photograph under each lamp, by occasion.
    newest: dict[str, dict[str, str]] = field(default_factory=lambda: defaultdict(dict))
    examined: dict[str, set[str | None]] = field(default_factory=dict)
    #: Scale a person measured on the photograph the scale is taken from, and that of the examination, by occasion.
    measured: dict[str, dict[str, Any]] = field(default_factory=dict)
    scaled: dict[str, dict[str, Any] | None] = field(default_factory=dict)
    left: int = 0
    findings: int = 0
    #: Numbers of the newest line of the journal that changed it, and of the newest about a signature.
    changed_line: int = 0
    signing_line: int = 0
    signed: tuple[str, datetime] | None = None
    words: list[str] = field(default_factory=list)
    readings: list[Typed] = field(default_factory=list)
    #: Kinds of the findings.
    seen: list[str] = field(default_factory=list)

    @property
    def to_examine(self) -> list[str]:
        """Occasions whose newest white or blue photograph was not examined, or not with the scale measured on it."""
        return [
            occasion
            for occasion, by_lamp in self.newest.items()
            if not set(by_lamp.values()) <= self.examined.get(occasion, set())
            or self._scale_changed(occasion)
        ]

    def _scale_changed(self, occasion: str) -> bool:
        """Whether a scale was measured since; one stated at the examination itself counts more than it."""
        measured, used = self.measured.get(occasion), self.scaled.get(occasion)
        stated = used is not None and used.get("source") == "given" and not used.get("detail")
        return measured is not None and not stated and measured != used

    @property
    def stage(self) -> Stage:
        if not self.photographs:
            return Stage.NO_PHOTOGRAPH
        if self.to_examine:
            return Stage.TO_EXAMINE
        if self.left:
            return Stage.TO_REVIEW
        return Stage.REVIEWED if self.signature is None else Stage.SIGNED

    @property
    def signature(self) -> tuple[str, datetime] | None:
        """Who signed and when, where nothing was changed since."""
        return self.signed if self.changed_line < self.signing_line else None

    @property
    def gist(self) -> "Gist | None":
        """What its readings and findings say, where there are any."""
        if not self.readings and not self.seen:
            return None
        # Loaded only here: weighing takes longer to load than the rest of a book.
        from setstone.record.evidence.gist import gist

        return gist(self.claimed_as, self.readings, self.seen)

    def row(self, stone_id: int) -> dict[str, Any]:
        by, at = self.signature or (None, None)
        said = self.gist
        return {
            "stone_id": stone_id,
            "stage": str(self.stage),
            "photographs": self.photographs,
            "to_examine": self.to_examine,
            "left": self.left,
            "findings": self.findings,
            "contradictions": said.contradictions if said else 0,
            "changed": self.changed,
            "signed_by": by,
            "signed_at": at,
            "species": key("\n".join([self.claimed_as, *(said.species if said else ())])),
            "words": key("\n".join(dict.fromkeys(self.words))),
        }


def refresh(connection: Connection, stone_ids: Iterable[int]) -> None:
    """Work out anew how some stones stand, in the transaction of the change.

    Parameters
    ----------
    connection : Connection
    stone_ids : iterable of int
    """
    ids = list(stone_ids)
    for begin in range(0, len(ids), _AT_ONCE):
        some = ids[begin : begin + _AT_ONCE]
        rows = [gathered.row(stone_id) for stone_id, gathered in _gather(connection, some).items()]
        connection.execute(delete(schema.standings).where(schema.standings.c.stone_id.in_(some)))
        if rows:
            connection.execute(insert(schema.standings), rows)


def refresh_object(connection: Connection, object_id: int) -> None:
    """Work out anew how the stones of an object stand."""
    ids = connection.execute(select(_s.id).where(_s.object_id == object_id)).scalars()
    refresh(connection, ids.all())


def refresh_all(connection: Connection) -> None:
    """Work out anew how every stone stands."""
    refresh(connection, connection.execute(select(_s.id).order_by(_s.id)).scalars().all())


def stale(connection: Connection) -> list[int]:
    """Find stones whose standing kept is not what follows from the other tables."""
    ids = connection.execute(select(_s.id).order_by(_s.id)).scalars().all()
    kept = {row["stone_id"]: dict(row) for row in connection.execute(select(schema.standings)).mappings()}
    found = [stone_id for stone_id in kept if stone_id not in set(ids)]
    for begin in range(0, len(ids), _AT_ONCE):
        gathered = _gather(connection, ids[begin : begin + _AT_ONCE])
        found += [
            stone_id for stone_id, stone in gathered.items() if stone.row(stone_id) != kept.get(stone_id)
        ]
    return found


def _gather(connection: Connection, ids: Sequence[int]) -> dict[int, _Gathered]:
    stones = (
        select(_s.id, _s.object_id, _s.position, _s.claimed_as, _s.added, _o.name, _o.description)
        .join(schema.objects)
        .where(_s.id.in_(ids))
    )
    found = {}
    for row in connection.execute(stones):
        found[row.id] = _Gathered(
            row.object_id,
            row.claimed_as,
            row.added,
            words=[row.name, row.position, row.claimed_as, row.description],
        )
    _photographs(connection, ids, found)
    _judged(connection, ids, found)
    _noted(connection, ids, found)
    _signed(connection, ids, found)
    return found


def _photographs(connection: Connection, ids: Sequence[int], found: dict[int, _Gathered]) -> None:
    taken = select(_p.stone_id, _p.occasion, _p.lamp, _p.sha256, _p.name, _p.scale).where(
        _p.stone_id.in_(ids), _p.removed.is_(None)
    )
    scales: dict[str, dict[str, Any] | None] = {}
    for row in connection.execute(taken.order_by(_p.id)):
        stone = found[row.stone_id]
        stone.photographs += 1
        stone.words += row.name, row.occasion
        if row.lamp in (Lamp.WHITE, Lamp.BLUE):
            stone.newest[row.occasion][row.lamp] = row.sha256
            scales[row.sha256] = row.scale
    for stone in found.values():
        for occasion, by_lamp in stone.newest.items():
            scale = scales[by_lamp.get(Lamp.WHITE) or by_lamp[Lamp.BLUE]]
            if scale is not None:
                stone.measured[occasion] = scale
    used = _e.result["scale"].as_json().label("used")
    made = select(_e.stone_id, _e.occasion, _e.white, _e.blue, used)
    for stone_id, occasion, white, blue, scale in connection.execute(
        made.where(_e.stone_id.in_(ids)).order_by(_e.id)
    ):
        found[stone_id].examined[occasion] = {white, blue}
        found[stone_id].scaled[occasion] = scale


def _judged(connection: Connection, ids: Sequence[int], found: dict[int, _Gathered]) -> None:
    """Likely candidates without a decision in force, and findings, in the newest examinations."""
    newest = select(func.max(_e.id)).where(_e.stone_id.in_(ids)).group_by(_e.stone_id, _e.occasion)
    candidates = (
        select(_c.id, _e.stone_id, _c.candidate["score"].as_float().label("score"))
        .join(schema.examinations)
        .where(_e.id.in_(newest))
    )
    last = (
        select(_d.candidate_id, func.max(_d.id).label("id"))
        .join(schema.candidates, _c.id == _d.candidate_id)
        .where(_c.examination_id.in_(newest))
        .group_by(_d.candidate_id)
        .subquery()
    )
    decided = select(_d.candidate_id, _d.verdict, _d.kind, _d.reason).join(last, _d.id == last.c.id)
    decisions = {row.candidate_id: row for row in connection.execute(decided)}
    for row in connection.execute(candidates):
        stone, decision = found[row.stone_id], decisions.get(row.id)
        undecided = decision is None or decision.verdict == Verdict.OPEN
        stone.left += undecided and row.score >= LIKELY
        if decision is not None:
            stone.words.append(decision.reason)
            if decision.verdict == Verdict.ACCEPTED:
                stone.findings += 1
                stone.words.append(decision.kind)
                stone.seen.append(decision.kind)


def _noted(connection: Connection, ids: Sequence[int], found: dict[int, _Gathered]) -> None:
    """Texts of readings that hold, remarks, work, and what is said of stone and object."""
    r, w, m = schema.readings.c, schema.reading_withdrawals.c, schema.remarks.c
    holds = r.id.not_in(select(w.reading_id))
    k, f = schema.work.c, schema.facts.c
    read = select(
        r.stone_id,
        r.test,
        r.value,
        r.unit,
        r.uncertainty,
        r.stone_is_set,
        r.details,
        r.instrument,
        r.remark,
        r.at,
        r.taken,
    )
    for row in connection.execute(read.where(r.stone_id.in_(ids), holds).order_by(r.id)):
        stone = found[row.stone_id]
        stone.readings.append(
            Typed(
                row.test,
                row.value,
                row.unit,
                row.uncertainty,
                row.stone_is_set,
                row.details or {},
                day_of(row.taken or row.at),
            )
        )
        stone.words += row.test, row.value, row.unit, row.instrument, row.remark
    texts: list[Select[Any]] = [
        select(m.stone_id, m.text).where(
            m.stone_id.in_(ids), m.takes_back.is_(None), m.id.not_in(_of(ids, m.stone_id, m.takes_back))
        ),
        select(k.stone_id, k.kind, k.done_by, k.adhesive, k.solvent, k.remark).where(
            k.stone_id.in_(ids), k.takes_back.is_(None), k.id.not_in(_of(ids, k.stone_id, k.takes_back))
        ),
    ]
    for query in texts:
        for stone_id, *words in connection.execute(query):
            found[stone_id].words += words
    of_object = defaultdict(list)
    for stone_id, stone in found.items():
        of_object[stone.object_id].append(stone_id)
    said = select(f.object_id, f.stone_id, f.name, f.value).where(
        or_(f.stone_id.in_(ids), f.stone_id.is_(None) & f.object_id.in_(of_object))
    )
    holding = {
        (row.object_id, row.stone_id, row.name): row.value for row in connection.execute(said.order_by(f.id))
    }
    for (object_id, stone_id, _), value in holding.items():
        for one in of_object[object_id] if stone_id is None else [stone_id]:
            found[one].words.append(value)


def _of(ids: Sequence[int], stone: ColumnElement[int], taken_back: ColumnElement[int | None]) -> Select[Any]:
    return select(taken_back).where(stone.in_(ids), taken_back.is_not(None))


def _signed(connection: Connection, ids: Sequence[int], found: dict[int, _Gathered]) -> None:
    """Signature in force, and whether something was changed since; the journal's order tells, not the clock."""
    j, g = schema.journal.c, schema.signatures.c
    signing = j.action.in_(SIGNING)
    lines = (
        select(
            j.stone_id,
            func.max(j.at).label("at"),
            func.max(case((signing, 0), else_=j.id)).label("changed"),
            func.max(case((signing, j.id), else_=0)).label("signing"),
        )
        .where(j.stone_id.in_(ids))
        .group_by(j.stone_id)
    )
    for row in connection.execute(lines):
        stone = found[row.stone_id]
        stone.changed, stone.changed_line, stone.signing_line = row.at, row.changed, row.signing
    objects = {stone.object_id for stone in found.values()}
    lines = (
        select(j.object_id, func.max(j.at).label("at"), func.max(j.id).label("changed"))
        .where(j.object_id.in_(objects))
        .group_by(j.object_id)
    )
    of_object = {row.object_id: row for row in connection.execute(lines)}
    for stone in found.values():
        line = of_object.get(stone.object_id)
        if line is not None:
            stone.changed = max(stone.changed, line.at)
            stone.changed_line = max(stone.changed_line, line.changed)
    newest = select(func.max(g.id)).where(g.stone_id.in_(ids)).group_by(g.stone_id)
    for row in connection.execute(select(g.stone_id, g.in_force, g.by, g.at).where(g.id.in_(newest))):
        found[row.stone_id].signed = (row.by, row.at) if row.in_force else None

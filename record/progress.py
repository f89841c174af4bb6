"""How far the work on each stone has come, and finding stones among thousands."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from operator import itemgetter
from typing import NamedTuple

from sqlalchemy import ColumnElement, Select, case, func, null, select, type_coerce

from setstone.record import schema
from setstone.record.clock import in_utc
from setstone.record.entries import ObjectEntry, Signature, StoneEntry
from setstone.record.standing import Stage as Stage  # also for whoever reads progress
from setstone.record.store import Store
from setstone.record.text import key

_o, _s, _t = schema.objects.c, schema.stones.c, schema.standings.c
_query = (
    select(
        _s.id,
        _s.object_id,
        _o.name,
        _s.position,
        _s.claimed_as,
        _t.stage,
        _t.photographs,
        # Empty in any other state; not read, because to read JSON takes time.
        case((_t.stage == Stage.TO_EXAMINE, _t.to_examine), else_=null()),
        _t.left,
        _t.findings,
        _t.contradictions,
        type_coerce(_t.changed, schema.AsGiven),
        _t.signed_by,
        type_coerce(_t.signed_at, schema.AsGiven),
    )
    .select_from(schema.standings)
    .join(schema.stones)
    .join(schema.objects)
    .where(_s.removed.is_(None))
)


_OBJECT = itemgetter(1)
_STAGES = {str(stage): stage for stage in Stage}


class Progress(NamedTuple):
    """The work on one stone, a row of a list of thousands: what takes time to make is made when it is asked for.

    Parameters
    ----------
    stone_id, object_id : int
    object_name, position, claimed_as : str
        Of `stone`.
    state : str
        Of `stage`.
    photographs : int
        How many there are.
    open_occasions : list of str or None
        Of `to_examine`.
    left : int
        Likely candidates nobody has judged yet, over all occasions.
    findings : int
        Accepted or drawn, over all occasions.
    contradictions : int
        Things in the record that do not go together.
    changed_at : datetime or str
        Of `changed`, as the database gives it.
    signed_by : str or None
    signed_at : datetime, str or None
        Of `signature`, as the database gives it.
    """

    stone_id: int
    object_id: int
    object_name: str
    position: str
    claimed_as: str
    state: str
    photographs: int
    open_occasions: list[str] | None
    left: int
    findings: int
    contradictions: int
    changed_at: datetime | str
    signed_by: str | None
    signed_at: datetime | str | None

    @property
    def stone(self) -> StoneEntry:
        """The stone."""
        return StoneEntry(self.stone_id, self.object_id, self.object_name, self.position, self.claimed_as)

    @property
    def stage(self) -> Stage:
        """How far the work has come."""
        return _STAGES[self.state]

    @property
    def to_examine(self) -> tuple[str, ...]:
        """Occasions photographed since they were last examined, or never examined."""
        return tuple(self.open_occasions or ())

    @property
    def changed(self) -> datetime:
        """When something was last entered."""
        return schema.moment(self.changed_at)

    @property
    def signature(self) -> Signature | None:
        """Who signed and when, in force, and nothing was changed since."""
        if self.signed_by is None or self.signed_at is None:
            return None
        return Signature(self.signed_by, schema.moment(self.signed_at))


@dataclass(frozen=True)
class Found:
    """A page of the stones looked for.

    Parameters
    ----------
    stones : tuple of Progress
    total : int
        How many there are on all pages.
    """

    stones: tuple[Progress, ...]
    total: int


def progress(book: Store, only: Collection[int] | None = None) -> tuple[Progress, ...]:
    """Read how far the work on each stone has come.

    Parameters
    ----------
    only : collection of int, optional
        Numbers of the stones wanted, as `stones_changed_since` gives them; all when not given.

    Returns
    -------
    tuple of Progress
        In the order the stones were added, object by object.
    """
    query = _query if only is None else _query.where(_s.id.in_(only))
    with book.snapshot() as connection:
        rows = map(Progress._make, connection.execute(query.order_by(_s.id)))
        # By object here: stones lie in the database in the order they were added, and mostly object by object.
        return tuple(sorted(rows, key=_OBJECT))


def search(
    book: Store,
    text: str = "",
    *,
    species: str = "",
    stages: Iterable[Stage] = (),
    contradicted: bool = False,
    since: datetime | None = None,
    until: datetime | None = None,
    owner: ObjectEntry | None = None,
    first: int = 0,
    most: int | None = 200,
) -> Found:
    """Find stones; whatever is not given does not matter.

    Parameters
    ----------
    text : str, optional
        Words that all occur somewhere in what the book says of the stone or its object, without regard to
        case: names, claim, readings, remarks, reasons of decisions, findings, work, marks, names of photographs.
    species : str, optional
        What it is claimed to be, or what its readings are most consistent with; part of the name suffices.
    stages : iterable of Stage, optional
    contradicted : bool
        Only stones whose record holds contradictions.
    since, until : datetime, optional
        When something was last entered on it; `until` itself no more.
    owner : ObjectEntry, optional
        Only its stones.
    first, most : int
        The page: how many to pass over, and how many to give at most; None for all.

    Returns
    -------
    Found
        In the order the stones were added, object by object.
    """
    conditions = _conditions(text, species, contradicted, since, until)
    chosen = [str(stage) for stage in stages]
    if chosen:
        conditions.append(_t.stage.in_(chosen))
    if owner is not None:
        conditions.append(_s.object_id == owner.id)
    query = _query.where(*conditions)
    page = query.order_by(_s.object_id, _s.id).offset(first).limit(most)
    with book.snapshot() as connection:
        total = connection.execute(_counted(query)).scalar_one()
        return Found(tuple(map(Progress._make, connection.execute(page))), total)


def matching(
    book: Store,
    text: str = "",
    *,
    species: str = "",
    contradicted: bool = False,
    since: datetime | None = None,
    until: datetime | None = None,
) -> frozenset[int]:
    """Tell which stones `search` finds, on all pages, for a list that is there already.

    Parameters
    ----------
    text, species, contradicted, since, until
        As of `search`.

    Returns
    -------
    frozenset of int
        Numbers of the stones.
    """
    query = _query.with_only_columns(_s.id).where(*_conditions(text, species, contradicted, since, until))
    with book.snapshot() as connection:
        return frozenset(connection.execute(query).scalars())


def _conditions(
    text: str, species: str, contradicted: bool, since: datetime | None, until: datetime | None
) -> list[ColumnElement[bool]]:
    # Compared as `key` makes texts, because how SQLite and a server fold case differs.
    conditions = [_t.words.contains(word, autoescape=True) for word in key(text).split()]
    if species:
        conditions.append(_t.species.contains(key(species), autoescape=True))
    if contradicted:
        conditions.append(_t.contradictions > 0)
    if since is not None:
        conditions.append(_t.changed >= in_utc(since))
    if until is not None:
        conditions.append(_t.changed < in_utc(until))
    return conditions


def _counted(query: Select[*tuple[object, ...]]) -> Select[int]:
    return query.with_only_columns(func.count())

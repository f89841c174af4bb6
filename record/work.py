"""The work at the bench: a stone taken out of its setting, cleaned, set again; with what, by whom, when."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import insert, select

from setstone.record import schema
from setstone.record.clock import in_utc, now
from setstone.record.entries import StoneEntry, WorkEntry
from setstone.record.errors import BookError
from setstone.record.evidence.harms import FILLED, claimed_filled, not_to_do
from setstone.record.evidence.materials import Material, claimed
from setstone.record.journal import note
from setstone.record.store import Store, new_id
from setstone.record.text import clean, operator
from setstone.record.vocabulary import WorkKind

_w = schema.work.c

#: Said wherever work with a solvent is entered (common practice, no source).
_SOLVENT_CAUTION = (
    "Solvents: follow the product's safety sheet and your local rules; extract the vapour, keep flames and hot plates away, "
    "and test on a hidden spot first."
)
#: So many entries are looked through for products named before.
_LAST = 500
#: Materials a claim may mean beyond which a list helps nobody.
_TOO_MANY = 6


def add_work(
    book: Store,
    stone: StoneEntry,
    kind: WorkKind,
    *,
    adhesive: str = "",
    solvent: str = "",
    remark: str = "",
    done: datetime | None = None,
    done_by: str = "",
    by: str,
) -> WorkEntry:
    """Enter what was done to a stone.

    Parameters
    ----------
    stone : StoneEntry
    kind : WorkKind
    adhesive, solvent : str, optional
        Product and, where known, its batch, as its label says.
    remark : str, optional
        Temperature, time, what was seen.
    done : datetime, optional
        When, aware; just now when not given.
    done_by : str, optional
        Who did it; the one who enters it when not given.
    by : str
        Who enters it.

    Returns
    -------
    WorkEntry

    Raises
    ------
    BookError
        When nobody is named, a text cannot be kept, or the time has no zone or is to come.
    """
    by = operator(by, required=True)
    at = now()
    if done is not None and done.tzinfo is None:
        raise BookError("The time of the work needs its zone; write it as '2026-03-02T14:30+01:00'.")
    if done is not None and done > at:
        raise BookError("Work cannot have been done in the future; check its time.")
    values = {
        "kind": str(kind),
        "done": at if done is None else in_utc(done),
        "done_by": operator(done_by, required=False) or by,
        "adhesive": clean(adhesive, "The adhesive", longest=200, required=False),
        "solvent": clean(solvent, "The solvent", longest=200, required=False),
        "remark": clean(remark, "The remark", longest=4000, required=kind is WorkKind.OTHER, lines=True),
    }
    with book.atomic() as connection:
        made = connection.execute(insert(schema.work).values(stone_id=stone.id, by=by, at=at, **values))
        entry = WorkEntry(id=new_id(made), stone_id=stone.id, by=by, at=at, **{**values, "kind": kind})  # type: ignore[arg-type]
        note(connection, at, by, "add work", stone.full_name, stone_id=stone.id, after=_told(entry))
    return entry


def take_work_back(book: Store, stone: StoneEntry, work_id: int, *, reason: str, by: str) -> None:
    """Say that work entered was not done; it stays in the book, and the journal says why.

    Parameters
    ----------
    stone : StoneEntry
    work_id : int
        Its number.
    reason : str
    by : str
        Who says so.

    Raises
    ------
    BookError
        When there is no such work on the stone, or no reason is given.
    """
    by, reason = operator(by, required=True), clean(reason, "The reason", longest=1000, lines=True)
    at = now()
    with book.atomic() as connection:
        former = next((w for w in work(book, stone) if w.id == work_id), None)
        if former is None:
            raise BookError(
                f"{stone.full_name} has no work number {work_id}; list it to see the numbers there are."
            )
        connection.execute(
            insert(schema.work).values(
                stone_id=stone.id,
                kind=str(former.kind),
                done=former.done,
                done_by=former.done_by,
                adhesive="",
                solvent="",
                remark=reason,
                takes_back=former.id,
                by=by,
                at=at,
            )
        )
        note(
            connection,
            at,
            by,
            "take work back",
            stone.full_name,
            stone_id=stone.id,
            before=_told(former),
            after={"reason": reason},
        )


def work(book: Store, stone: StoneEntry) -> tuple[WorkEntry, ...]:
    """Read what was done to a stone, in the order in which it was done.

    Parameters
    ----------
    stone : StoneEntry

    Returns
    -------
    tuple of WorkEntry
        Without what was taken back.
    """
    with book.snapshot() as connection:
        rows = connection.execute(select(schema.work).where(_w.stone_id == stone.id)).mappings().all()
    gone = {row["takes_back"] for row in rows}
    holding = [
        WorkEntry(
            **{k: v for k, v in row.items() if k not in ("takes_back", "kind")}, kind=WorkKind(row["kind"])
        )
        for row in rows
        if row["takes_back"] is None and row["id"] not in gone
    ]
    return tuple(sorted(holding, key=lambda w: (w.done, w.id)))


def products(book: Store) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Read the adhesives and the solvents named so far in the book, to be offered again.

    Returns
    -------
    tuple of two tuples of str
        Adhesives and solvents, those used last first.
    """
    with book.snapshot() as connection:
        rows = connection.execute(select(_w.adhesive, _w.solvent).order_by(_w.id.desc()).limit(_LAST)).all()
    return tuple(dict.fromkeys(a for a, _ in rows if a)), tuple(dict.fromkeys(s for _, s in rows if s))


@dataclass(frozen=True)
class Known:
    """What the record of a stone holds that work on it must heed, beside the claim (`setstone.record.consistency.known_for_work`).

    Parameters
    ----------
    filled : bool
        Whether there are signs of filled fissures.
    may_be : tuple of Material
        What its readings leave open; empty where nothing was read, or too much is open.
    much_open : bool
        Whether its readings leave too much open to name it.
    """

    filled: bool = False
    may_be: tuple[Material, ...] = ()
    much_open: bool = False


def work_cautions(
    claimed_as: str, kind: WorkKind, known: Known | None = None, *, solvent: str = ""
) -> tuple[str, ...]:
    """Say what may harm stone or worker.

    Parameters
    ----------
    claimed_as : str
        What the stone is claimed to be.
    kind : WorkKind
    known : Known, optional
    solvent : str, optional
        Which is used.

    Returns
    -------
    tuple of str
        Sentences; from the table of materials, whose rows name their sources.
    """
    known = known or Known()
    materials = claimed(claimed_as)
    said = [FILLED] if known.filled or claimed_filled(claimed_as) else []
    few = materials if len(materials) <= _TOO_MANY else ()
    read = [m for m in known.may_be if m not in few]
    said += not_to_do([*few, *read])
    said += [f"If it is {m.name}, as claimed: {m.cautions}." for m in few if m.cautions]
    said += [f"If it is {m.name}, which its readings leave open: {m.cautions}." for m in read if m.cautions]
    said.append(_for_all(() if known.much_open else materials, kind))
    if solvent:
        said.append(_SOLVENT_CAUTION)
    return tuple(dict.fromkeys(said))


def _for_all(materials: tuple[Material, ...], kind: WorkKind) -> str:
    if not materials or len(materials) > _TOO_MANY:
        return (
            "What it is stays open: no heat, steam, ultrasonics, acid or solvent soak; it may be filled, porous, foiled or put "
            "together of several pieces."
        )
    if kind is WorkKind.SET:
        return (
            "A claim is not a finding: warm it no more than the most delicate stone it could be would stand."
        )
    return "A claim is not a finding: it may be filled, foiled or put together of several pieces; begin with the mildest means."


def _told(entry: WorkEntry) -> dict[str, str]:
    told = {
        "kind": str(entry.kind),
        "done": entry.done.isoformat(),
        "done by": entry.done_by,
        "adhesive": entry.adhesive,
        "solvent": entry.solvent,
        "remark": entry.remark,
    }
    return {name: text for name, text in told.items() if text}

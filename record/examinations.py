"""Examinations of a stone as kept in the book."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, RowMapping, func, insert, select

from setstone import __version__
from setstone.measure.candidates import Candidate
from setstone.measure.examination import Examination, Flag
from setstone.measure.outline import Outline, diameters
from setstone.record import schema
from setstone.record.carrying import Carried, carried_over, outline_carried_over
from setstone.record.clock import now
from setstone.record.convert import from_json, to_json
from setstone.record.deciding import insert_decision, latest_decisions
from setstone.record.entries import CandidateEntry, Decision, ExaminationEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.journal import note
from setstone.record.motion import motion_between
from setstone.record.occasions import spelt
from setstone.record.redrawing import insert_redrawing, latest_redrawings
from setstone.record.removing import require_present
from setstone.record.store import Store, new_id
from setstone.record.text import operator
from setstone.record.vocabulary import Verdict

_e, _c, _d, _p = schema.examinations.c, schema.candidates.c, schema.decisions.c, schema.photographs.c

_PLACES_UNSURE = Flag(
    "carried-over-unsure",
    "What was decided earlier comes from other photographs, which could not be laid on these; check where it lies.",
)


def save_examination(
    book: Store,
    stone: StoneEntry,
    result: Examination,
    *,
    occasion: str,
    white: str | None,
    blue: str | None,
    by: str,
) -> ExaminationEntry:
    """Keep an examination; what a person decided on the one before is carried over.

    Parameters
    ----------
    stone : StoneEntry
    result : Examination
    occasion : str
    white, blue : str or None
        SHA-256 of the photographs examined.
    by : str
        Who examined.

    Returns
    -------
    ExaminationEntry
        With candidates numbered from 1, in the order of `result`, and then what was carried over though
        not found again.

    Raises
    ------
    BookError
        When nobody is named, or a photograph was taken out of the book meanwhile.
    """
    by = operator(by, required=True)
    occasion = spelt(book, stone, occasion)
    at = now()
    with book.atomic() as connection:
        require_present(connection, white, blue)
        earlier = _latest(connection, stone, occasion)
        carried: tuple[Carried, ...] = ()
        outline: Outline | None = None
        if earlier is not None:
            motion, sure = motion_between(book, earlier, result, white, blue)
            carried = carried_over(earlier, result, motion)
            outline = outline_carried_over(earlier, motion) if sure else None
            if carried and not sure:
                result = replace(result, flags=(*result.flags, _PLACES_UNSURE))
        made = connection.execute(
            insert(schema.examinations).values(
                stone_id=stone.id,
                occasion=occasion,
                white=white,
                blue=blue,
                made=at,
                by=by,
                version=__version__,
                result=to_json(replace(result, candidates=())),
            )
        )
        examination_id = new_id(made)
        old_ids = {} if earlier is None else _candidate_ids(connection, earlier.id)
        rows = _candidate_rows(examination_id, result, carried, old_ids)
        if rows:
            connection.execute(insert(schema.candidates), rows)
        _carry_decisions(connection, examination_id, carried, old_ids)
        _carry_drawings(connection, examination_id, carried, outline, by=by, at=at)
        after = {
            "occasion": occasion,
            "candidates": len(result.candidates),
            "carried over": [{"from": c.earlier.number, "to": c.number} for c in carried],
        }
        note(connection, at, by, "examine", stone.full_name, stone_id=stone.id, after=after)
        return read_examination(connection, examination_id)


def examinations(book: Store, stone: StoneEntry) -> tuple[ExaminationEntry, ...]:
    """Read all examinations of a stone, oldest first.

    Parameters
    ----------
    stone : StoneEntry

    Returns
    -------
    tuple of ExaminationEntry
    """
    with book.snapshot() as connection:
        ids = connection.execute(select(_e.id).where(_e.stone_id == stone.id).order_by(_e.id)).scalars()
        return tuple(read_examination(connection, i) for i in ids.all())


def latest_examination(
    book: Store, stone: StoneEntry, occasion: str | None = None
) -> ExaminationEntry | None:
    """Read the newest examination of a stone, of one occasion or of any; None when there is none.

    Parameters
    ----------
    stone : StoneEntry
    occasion : str, optional

    Returns
    -------
    ExaminationEntry or None
    """
    with book.snapshot() as connection:
        occasion = None if occasion is None else spelt(book, stone, occasion)
        return _latest(connection, stone, occasion)


def latest_examinations(book: Store, stone: StoneEntry) -> tuple[ExaminationEntry, ...]:
    """Read the newest examination of each occasion, in the order in which their photographs were taken.

    In whatever order occasions are examined, before is before: else what broke would be told as gone. A photograph
    counts for the time at which it was taken, or was added where nobody knows that time.

    Parameters
    ----------
    stone : StoneEntry

    Returns
    -------
    tuple of ExaminationEntry
    """
    newest = select(func.max(_e.id)).where(_e.stone_id == stone.id).group_by(_e.occasion)
    begun = (
        select(func.min(func.coalesce(_p.taken, _p.added)))
        .where(_p.sha256.in_([_e.white, _e.blue]))
        .scalar_subquery()
    )
    query = select(_e.id).where(_e.id.in_(newest)).order_by(func.coalesce(begun, _e.made), _e.id)
    with book.snapshot() as connection:
        return tuple(read_examination(connection, i) for i in connection.execute(query).scalars().all())


def examination(book: Store, stone: StoneEntry, occasion: str | None = None) -> ExaminationEntry:
    """Read the newest examination of a stone, which must exist.

    Parameters
    ----------
    stone : StoneEntry
    occasion : str, optional

    Returns
    -------
    ExaminationEntry

    Raises
    ------
    BookError
        When the stone has not been examined on that occasion, or at all.
    """
    found = latest_examination(book, stone, occasion)
    if found is None:
        when = "" if occasion is None else f" on the occasion '{occasion}'"
        raise BookError(f"{stone.full_name} has not been examined{when}; examine it first.")
    return found


def _candidate_rows(
    examination_id: int, result: Examination, carried: Iterable[Carried], old_ids: dict[int, int]
) -> list[dict[str, Any]]:
    """Rows of what was found, then of what a person had decided on and was not found again."""
    found = [
        {"number": number, "origin": "program", "candidate": to_json(candidate), "carried_from": None}
        for number, candidate in enumerate(result.candidates, start=1)
    ]
    not_found = [
        {
            "number": c.number,
            "origin": c.earlier.origin,
            "candidate": to_json(c.candidate),
            "carried_from": old_ids[c.earlier.number],
        }
        for c in carried
        if not c.found_again
    ]
    return [{"examination_id": examination_id, **row} for row in found + not_found]


def _carry_decisions(
    connection: Connection, examination_id: int, carried: Iterable[Carried], old_ids: dict[int, int]
) -> None:
    new_ids = _candidate_ids(connection, examination_id)
    for c in carried:
        if c.earlier.decision is None:
            continue
        old = connection.execute(
            select(_d.id).where(_d.candidate_id == old_ids[c.earlier.number]).order_by(_d.id.desc()).limit(1)
        ).scalar()
        insert_decision(connection, new_ids[c.number], c.earlier.decision, carried_from=old)


def _carry_drawings(
    connection: Connection,
    examination_id: int,
    carried: Iterable[Carried],
    outline: Outline | None,
    *,
    by: str,
    at: datetime,
) -> None:
    """Keep what a person drew again in place of what was found again."""
    ids = _candidate_ids(connection, examination_id)
    if outline is not None:
        insert_redrawing(connection, examination_id, None, to_json(outline), by=by, at=at)
    for c in carried:
        if c.found_again and c.earlier.first_drawn is not None:
            insert_redrawing(connection, examination_id, ids[c.number], to_json(c.candidate), by=by, at=at)


def _candidate_ids(connection: Connection, examination_id: int) -> dict[int, int]:
    rows = connection.execute(select(_c.number, _c.id).where(_c.examination_id == examination_id))
    return {row.number: row.id for row in rows}


def _latest(connection: Connection, stone: StoneEntry, occasion: str | None) -> ExaminationEntry | None:
    query = select(_e.id).where(_e.stone_id == stone.id).order_by(_e.id.desc()).limit(1)
    if occasion is not None:
        query = query.where(_e.occasion == occasion)
    found = connection.execute(query).scalar()
    return None if found is None else read_examination(connection, found)


def read_examination(connection: Connection, examination_id: int) -> ExaminationEntry:
    """Read one examination by its row, for modules of this room."""
    row = connection.execute(select(schema.examinations).where(_e.id == examination_id)).mappings().one()
    query = select(schema.candidates).where(_c.examination_id == examination_id).order_by(_c.number)
    rows = connection.execute(query).mappings().all()
    decided = latest_decisions(connection, [r["id"] for r in rows])
    outline, redrawn = latest_redrawings(connection, examination_id)
    entries = tuple(_candidate(r, decided.get(r["id"]), redrawn.get(r["id"])) for r in rows)
    # What this examination itself proposed, without what was carried over from the one before.
    proposed = tuple(
        entry.first_drawn or entry.candidate
        for entry, r in zip(entries, rows, strict=True)
        if entry.origin == "program" and r["carried_from"] is None
    )
    result = replace(from_json(row["result"], Examination), candidates=proposed)
    if not result.aligned:  # setstone of before wrote down how it would lie if nothing had moved
        result = replace(result, blue_to_white=None)
    if outline is not None:
        widths = None if result.scale is None else diameters(outline, result.scale)
        result = replace(result, outline=outline, diameters=widths)
    return ExaminationEntry(
        id=row["id"],
        stone_id=row["stone_id"],
        occasion=row["occasion"],
        white=row["white"],
        blue=row["blue"],
        made=row["made"],
        by=row["by"],
        version=row["version"],
        result=result,
        candidates=entries,
        outline_redrawn=outline is not None,
    )


def _candidate(row: RowMapping, decision: Decision | None, redrawn: Candidate | None) -> CandidateEntry:
    in_force = None if decision is None or decision.verdict is Verdict.OPEN else decision
    first = from_json(row["candidate"], Candidate)
    if redrawn is None:
        return CandidateEntry(row["number"], first, row["origin"], in_force)
    return CandidateEntry(row["number"], redrawn, row["origin"], in_force, first_drawn=first)

"""What people draw again: the outline of a stone, or a candidate the program drew badly."""

from typing import Any

from sqlalchemy import Connection, insert, select

from setstone.measure.candidates import Candidate
from setstone.measure.outline import Outline
from setstone.record import schema
from setstone.record.clock import now
from setstone.record.convert import from_json, to_json
from setstone.record.deciding import candidate_id, forget_fingerprint, require_newest
from setstone.record.entries import ExaminationEntry
from setstone.record.inventory import stone_of_id
from setstone.record.journal import note
from setstone.record.store import Store
from setstone.record.text import operator

_r = schema.redrawings.c


def redraw_outline(book: Store, entry: ExaminationEntry, outline: Outline | None, *, by: str) -> None:
    """Put an outline drawn by a person in place of the one measured.

    Parameters
    ----------
    entry : ExaminationEntry
    outline : Outline or None
        In pixels of the reference photograph; None for the one the program measured.
    by : str
        Who draws.

    Raises
    ------
    BookError
        When nobody is named, or the stone was examined again since.
    """
    _redraw(book, entry, None, None if outline is None else to_json(outline), by)


def redraw_candidate(
    book: Store, entry: ExaminationEntry, number: int, drawn: Candidate | None, *, by: str
) -> None:
    """Put a line or spot drawn by a person in place of the one proposed; its number stays.

    Parameters
    ----------
    entry : ExaminationEntry
    number : int
        Of the candidate.
    drawn : Candidate or None
        In pixels of the reference photograph; None for the one first drawn.
    by : str
        Who draws.

    Raises
    ------
    BookError
        When nobody is named, there is no such candidate, or the stone was examined again since.
    """
    _redraw(book, entry, number, None if drawn is None else to_json(drawn), by)


def _redraw(
    book: Store, entry: ExaminationEntry, number: int | None, shape: dict[str, Any] | None, by: str
) -> None:
    by, at = operator(by, required=True), now()
    with book.atomic() as connection:
        require_newest(connection, entry)
        of = None if number is None else candidate_id(connection, entry, number)
        before = _shape_in_force(connection, entry.id, of)
        insert_redrawing(connection, entry.id, of, shape, by=by, at=at)
        stone = stone_of_id(connection, entry.stone_id)
        what = "outline" if number is None else f"number {number}"
        note(
            connection,
            at,
            by,
            "draw again" if shape is not None else "take drawing back",
            f"{stone.full_name}, {entry.occasion}, {what}",
            stone_id=stone.id,
            before=before,
            after=shape,
        )


def insert_redrawing(
    connection: Connection, examination_id: int, of: int | None, shape: dict[str, Any] | None, **by_at: Any
) -> None:
    """Write a drawing, for modules of this room."""
    values = {"examination_id": examination_id, "candidate_id": of, "shape": shape, **by_at}
    connection.execute(insert(schema.redrawings).values(values))
    forget_fingerprint(connection, examination_id)


def _shape_in_force(connection: Connection, examination_id: int, of: int | None) -> dict[str, Any] | None:
    """As a person drew it last; None for what the program drew."""
    query = select(_r.shape).where(
        _r.examination_id == examination_id, _r.candidate_id.is_not_distinct_from(of)
    )
    return connection.execute(query.order_by(_r.id.desc()).limit(1)).scalar()


def latest_redrawings(
    connection: Connection, examination_id: int
) -> tuple[Outline | None, dict[int, Candidate]]:
    """Read the drawings in force, for modules of this room: outline, candidates by their row."""
    query = select(_r.candidate_id, _r.shape).where(_r.examination_id == examination_id).order_by(_r.id)
    latest = {row.candidate_id: row.shape for row in connection.execute(query)}
    outline = latest.pop(None, None)
    return (
        None if outline is None else from_json(outline, Outline),
        {of: from_json(shape, Candidate) for of, shape in latest.items() if shape is not None},
    )

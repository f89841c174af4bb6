"""Examinations of a stone as kept in the book, and the decisions taken on what they proposed."""

from collections.abc import Iterable
from dataclasses import replace

from sqlalchemy import Connection, RowMapping, insert, select

from setstone import __version__
from setstone.measure.candidates import Candidate
from setstone.measure.examination import Examination
from setstone.record import schema
from setstone.record.carrying import Carried, carried_over
from setstone.record.clock import now
from setstone.record.convert import from_json, to_json
from setstone.record.entries import CandidateEntry, Decision, ExaminationEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.inventory import stone_of_id
from setstone.record.journal import note
from setstone.record.store import Store, new_id
from setstone.record.text import clean, operator
from setstone.record.vocabulary import FindingKind, Verdict


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
        With candidates numbered from 1, in the order of `result`.
    """
    by = operator(by, required=True)
    at = now()
    with book.atomic() as connection:
        earlier = _latest(connection, stone, occasion)
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
        carried = [] if earlier is None else carried_over(earlier, result)
        rows = _candidate_rows(examination_id, result, carried)
        if rows:
            connection.execute(insert(schema.candidates), rows)
        _carry_decisions(connection, earlier, examination_id, carried)
        after = {"occasion": occasion, "candidates": len(result.candidates), "carried over": len(carried)}
        note(connection, at, by, "examine", stone.full_name, stone_id=stone.id, after=after)
        return _read(connection, examination_id)


def examinations(book: Store, stone: StoneEntry) -> tuple[ExaminationEntry, ...]:
    """Read all examinations of a stone, oldest first.

    Returns
    -------
    tuple of ExaminationEntry
    """
    c = schema.examinations.c
    with book.snapshot() as connection:
        ids = connection.execute(select(c.id).where(c.stone_id == stone.id).order_by(c.id)).scalars()
        return tuple(_read(connection, i) for i in ids.all())


def latest_examination(
    book: Store, stone: StoneEntry, occasion: str | None = None
) -> ExaminationEntry | None:
    """Read the newest examination of a stone, of one occasion or of any; None when there is none.

    Returns
    -------
    ExaminationEntry or None
    """
    with book.snapshot() as connection:
        return _latest(connection, stone, occasion)


def latest_examinations(book: Store, stone: StoneEntry) -> tuple[ExaminationEntry, ...]:
    """Read the newest examination of each occasion, in the order the occasions were first examined.

    Returns
    -------
    tuple of ExaminationEntry
    """
    c = schema.examinations.c
    with book.snapshot() as connection:
        rows = connection.execute(select(c.occasion, c.id).where(c.stone_id == stone.id).order_by(c.id)).all()
        newest = {row.occasion: row.id for row in rows}
        return tuple(_read(connection, i) for i in newest.values())


def examination(book: Store, stone: StoneEntry, occasion: str | None = None) -> ExaminationEntry:
    """Read the newest examination of a stone, which must exist.

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


def decide(
    book: Store,
    entry: ExaminationEntry,
    number: int,
    verdict: Verdict,
    *,
    kind: FindingKind | None = None,
    reason: str = "",
    by: str,
) -> Decision:
    """Accept or reject a candidate, change its kind, or take a decision back.

    Parameters
    ----------
    entry : ExaminationEntry
    number : int
        Of the candidate.
    verdict : Verdict
        ``OPEN`` takes the decision in force back.
    kind : FindingKind, optional
        What it is; needed to accept.
    reason : str, optional
        Needed to reject.
    by : str
        Who decides.

    Returns
    -------
    Decision
        Now in force; all earlier ones are kept.

    Raises
    ------
    BookError
        When there is no such candidate, nobody is named, or kind or reason is missing.
    """
    by = operator(by, required=True)
    if verdict is Verdict.ACCEPTED and kind is None:
        raise BookError("To accept a candidate, say what kind of finding it is.")
    reason = clean(reason, "The reason", longest=1000, required=verdict is Verdict.REJECTED, lines=True)
    made = Decision(verdict, kind if verdict is Verdict.ACCEPTED else None, reason, by, now())
    with book.atomic() as connection:
        c = schema.candidates.c
        candidate_id = connection.execute(
            select(c.id).where(c.examination_id == entry.id, c.number == number)
        ).scalar()
        if candidate_id is None:
            raise BookError(f"There is no candidate {number}; list them to see the numbers there are.")
        before = _decisions(connection, [candidate_id]).get(candidate_id)
        _insert_decision(connection, candidate_id, made)
        _note_decision(connection, entry, number, before, made)
    return made


def add_finding(
    book: Store, entry: ExaminationEntry, drawn: Candidate, *, kind: FindingKind, by: str
) -> CandidateEntry:
    """Add what a person saw and the program did not propose.

    Parameters
    ----------
    entry : ExaminationEntry
    drawn : Candidate
        As `setstone.record.marking.drawn_by_hand` makes it.
    kind : FindingKind
    by : str
        Who saw it.

    Returns
    -------
    CandidateEntry
        Accepted, with the next free number.
    """
    by = operator(by, required=True)
    made = Decision(Verdict.ACCEPTED, kind, "", by, now())
    with book.atomic() as connection:
        c = schema.candidates.c
        taken = connection.execute(select(c.number).where(c.examination_id == entry.id)).scalars().all()
        number = max(taken, default=0) + 1
        row = connection.execute(
            insert(schema.candidates).values(
                examination_id=entry.id, number=number, origin="hand", candidate=to_json(drawn)
            )
        )
        _insert_decision(connection, new_id(row), made)
        _note_decision(connection, entry, number, None, made)
    return CandidateEntry(number, drawn, "hand", made)


def _candidate_rows(
    examination_id: int, result: Examination, carried: Iterable[Carried]
) -> list[dict[str, object]]:
    """Rows of what was found, then of what a person had decided on and was not found again."""
    rows: list[dict[str, object]] = []
    for number, found in enumerate(result.candidates, start=1):
        rows.append(
            {"number": number, "origin": "program", "candidate": to_json(found), "carried_from": None}
        )
    for c in carried:
        if c.match is None:
            c.number = len(rows) + 1
            rows.append(
                {
                    "number": c.number,
                    "origin": c.entry.origin,
                    "candidate": to_json(c.entry.candidate),
                    "carried_from": None,
                }
            )
        else:
            c.number = c.match + 1
    for row in rows:
        row["examination_id"] = examination_id
    return rows


def _carry_decisions(
    connection: Connection, earlier: ExaminationEntry | None, examination_id: int, carried: Iterable[Carried]
) -> None:
    if earlier is None:
        return
    new_ids = _candidate_ids(connection, examination_id)
    old_ids = _candidate_ids(connection, earlier.id)
    d = schema.decisions.c
    for c in carried:
        if c.entry.decision is None:
            continue
        old = connection.execute(
            select(d.id).where(d.candidate_id == old_ids[c.entry.number]).order_by(d.id.desc())
        ).scalar()
        _insert_decision(connection, new_ids[c.number], c.entry.decision, carried_from=old)


def _candidate_ids(connection: Connection, examination_id: int) -> dict[int, int]:
    c = schema.candidates.c
    rows = connection.execute(select(c.number, c.id).where(c.examination_id == examination_id)).all()
    return {row.number: row.id for row in rows}


def _insert_decision(
    connection: Connection, candidate_id: int, made: Decision, *, carried_from: int | None = None
) -> None:
    connection.execute(
        insert(schema.decisions).values(
            candidate_id=candidate_id,
            verdict=str(made.verdict),
            kind=None if made.kind is None else str(made.kind),
            reason=made.reason,
            by=made.by,
            at=made.at,
            carried_from=carried_from,
        )
    )


def _note_decision(
    connection: Connection, entry: ExaminationEntry, number: int, before: Decision | None, made: Decision
) -> None:
    stone = stone_of_id(connection, entry.stone_id)
    note(
        connection,
        made.at,
        made.by,
        {Verdict.ACCEPTED: "accept", Verdict.REJECTED: "reject", Verdict.OPEN: "reopen"}[made.verdict],
        f"{stone.full_name}, {entry.occasion}, number {number}",
        stone_id=stone.id,
        before=_told(before),
        after=_told(made),
    )


def _told(decision: Decision | None) -> dict[str, str | None] | None:
    if decision is None:
        return None
    kind = None if decision.kind is None else str(decision.kind)
    return {"verdict": str(decision.verdict), "kind": kind, "reason": decision.reason}


def _latest(connection: Connection, stone: StoneEntry, occasion: str | None) -> ExaminationEntry | None:
    c = schema.examinations.c
    query = select(c.id).where(c.stone_id == stone.id).order_by(c.id.desc()).limit(1)
    if occasion is not None:
        query = query.where(c.occasion == occasion)
    found = connection.execute(query).scalar()
    return None if found is None else _read(connection, found)


def _read(connection: Connection, examination_id: int) -> ExaminationEntry:
    e, c = schema.examinations.c, schema.candidates.c
    row = connection.execute(select(schema.examinations).where(e.id == examination_id)).mappings().one()
    rows = (
        connection.execute(
            select(schema.candidates).where(c.examination_id == examination_id).order_by(c.number)
        )
        .mappings()
        .all()
    )
    decisions = _decisions(connection, [r["id"] for r in rows])
    entries = tuple(_candidate(r, decisions.get(r["id"])) for r in rows)
    measured = from_json(row["result"], Examination)
    proposed = tuple(x.candidate for x in entries if x.origin == "program")
    return ExaminationEntry(
        id=row["id"],
        stone_id=row["stone_id"],
        occasion=row["occasion"],
        white=row["white"],
        blue=row["blue"],
        made=row["made"],
        by=row["by"],
        version=row["version"],
        result=replace(measured, candidates=proposed),
        candidates=entries,
    )


def _candidate(row: RowMapping, decision: Decision | None) -> CandidateEntry:
    in_force = None if decision is None or decision.verdict is Verdict.OPEN else decision
    return CandidateEntry(row["number"], from_json(row["candidate"], Candidate), row["origin"], in_force)


def _decisions(connection: Connection, candidate_ids: list[int]) -> dict[int, Decision]:
    """Read the latest decision on each of some candidates."""
    d = schema.decisions.c
    latest: dict[int, Decision] = {}
    query = select(schema.decisions).where(d.candidate_id.in_(candidate_ids)).order_by(d.id)
    for row in connection.execute(query).mappings():
        kind = None if row["kind"] is None else FindingKind(row["kind"])
        latest[row["candidate_id"]] = Decision(
            Verdict(row["verdict"]), kind, row["reason"], row["by"], row["at"]
        )
    return latest

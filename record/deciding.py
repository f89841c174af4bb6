"""What people decide on candidates, and what they draw themselves. Every decision is kept."""

from collections.abc import Iterable

from sqlalchemy import Connection, RowMapping, ScalarSelect, delete, insert, select

from setstone.measure.candidates import Candidate
from setstone.record import schema
from setstone.record.clock import now
from setstone.record.convert import to_json
from setstone.record.entries import CandidateEntry, Decision, ExaminationEntry
from setstone.record.errors import BookError
from setstone.record.inventory import stone_of_id
from setstone.record.journal import note
from setstone.record.store import Store, new_id
from setstone.record.text import clean, operator
from setstone.record.vocabulary import FindingKind, Verdict

_c, _d = schema.candidates.c, schema.decisions.c


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
        When there is no such candidate, nobody is named, kind or reason is missing, or the stone was
        examined again since.
    """
    by = operator(by, required=True)
    if verdict is Verdict.ACCEPTED and kind is None:
        raise BookError("To accept a candidate, say what kind of finding it is.")
    reason = clean(reason, "The reason", longest=1000, required=verdict is Verdict.REJECTED, lines=True)
    made = Decision(verdict, kind if verdict is Verdict.ACCEPTED else None, reason, by, now())
    with book.atomic() as connection:
        require_newest(connection, entry)
        of = candidate_id(connection, entry, number)
        before = latest_decisions(connection, [of]).get(of)
        insert_decision(connection, of, made)
        _note(connection, entry, number, before, made)
    return made


def decisions(book: Store, entry: ExaminationEntry, number: int) -> tuple[Decision, ...]:
    """Read all decisions ever taken on a candidate of an examination, oldest first.

    Parameters
    ----------
    entry : ExaminationEntry
    number : int
        Of the candidate.

    Returns
    -------
    tuple of Decision
        The last is in force.

    Raises
    ------
    BookError
        When there is no such candidate.
    """
    with book.snapshot() as connection:
        query = select(schema.decisions).where(_d.candidate_id == candidate_id(connection, entry, number))
        return tuple(_decision(row) for row in connection.execute(query.order_by(_d.id)).mappings())


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

    Raises
    ------
    BookError
        When nobody is named, or the stone was examined again since.
    """
    by = operator(by, required=True)
    made = Decision(Verdict.ACCEPTED, kind, "", by, now())
    with book.atomic() as connection:
        require_newest(connection, entry)
        taken = connection.execute(select(_c.number).where(_c.examination_id == entry.id)).scalars().all()
        number = max(taken, default=0) + 1
        row = connection.execute(
            insert(schema.candidates).values(
                examination_id=entry.id, number=number, origin="hand", candidate=to_json(drawn)
            )
        )
        insert_decision(connection, new_id(row), made)
        _note(connection, entry, number, None, made)
    return CandidateEntry(number, drawn, "hand", made)


def insert_decision(
    connection: Connection, candidate_id: int, made: Decision, *, carried_from: int | None = None
) -> None:
    """Write a decision, for modules of this room.

    Parameters
    ----------
    connection : Connection
    candidate_id : int
    made : Decision
    carried_from : int, optional
        The same decision as taken on the examination before.
    """
    of = select(_c.examination_id).where(_c.id == candidate_id).scalar_subquery()
    forget_fingerprint(connection, of)
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


def forget_fingerprint(connection: Connection, examination_id: int | ScalarSelect[int]) -> None:
    """Let a search of the book draw it anew: it is drawn from the outline and from what people decided, for modules of this room."""
    drawn = schema.fingerprints
    connection.execute(delete(drawn).where(drawn.c.examination_id == examination_id))


def latest_decisions(connection: Connection, candidate_ids: Iterable[int]) -> dict[int, Decision]:
    """Read the decision in force on each of some candidates, for modules of this room."""
    query = select(schema.decisions).where(_d.candidate_id.in_(candidate_ids)).order_by(_d.id)
    return {row["candidate_id"]: _decision(row) for row in connection.execute(query).mappings()}


def _decision(row: RowMapping) -> Decision:
    kind = None if row["kind"] is None else FindingKind(row["kind"])
    return Decision(Verdict(row["verdict"]), kind, row["reason"], row["by"], row["at"])


def candidate_id(connection: Connection, entry: ExaminationEntry, number: int) -> int:
    """Find the row of a candidate, for modules of this room."""
    query = select(_c.id).where(_c.examination_id == entry.id, _c.number == number)
    found = connection.execute(query).scalar()
    if found is None:
        raise BookError(f"There is no candidate {number}; list them to see the numbers there are.")
    return int(found)


def require_newest(connection: Connection, entry: ExaminationEntry) -> None:
    """Refuse what would be done on an examination that nobody looks at any more, for modules of this room."""
    e = schema.examinations.c
    query = select(e.id).where(e.stone_id == entry.stone_id, e.occasion == entry.occasion, e.id > entry.id)
    if connection.execute(query.limit(1)).scalar() is not None:
        stone = stone_of_id(connection, entry.stone_id)
        raise BookError(
            f"{stone.full_name} ({entry.occasion}) was examined again since; look at the newest examination and decide there."
        )


def _note(
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

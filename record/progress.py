"""How far the work on each stone has come, as counted in the book."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from sqlalchemy import func, select

from setstone.capture.photograph import Lamp
from setstone.record import schema
from setstone.record.entries import Signature, StoneEntry
from setstone.record.inventory import stones
from setstone.record.signing import signature
from setstone.record.store import Store
from setstone.record.vocabulary import Verdict


class Stage(StrEnum):
    """How far the work on a stone has come."""

    NO_PHOTOGRAPH = "no photograph"
    TO_EXAMINE = "to examine"
    TO_REVIEW = "to review"
    REVIEWED = "reviewed"
    SIGNED = "signed"


@dataclass(frozen=True)
class Progress:
    """The work on one stone.

    Parameters
    ----------
    stone : StoneEntry
    stage : Stage
    photographs : int
        How many there are.
    to_examine : tuple of str
        Occasions photographed since they were last examined, or never examined.
    left : int
        Likely candidates nobody has judged yet, over all occasions.
    findings : int
        Accepted or drawn, over all occasions.
    signature : Signature or None
        In force, and nothing was changed since.
    """

    stone: StoneEntry
    stage: Stage
    photographs: int
    to_examine: tuple[str, ...]
    left: int
    findings: int
    signature: Signature | None


def progress(book: Store, *, least_score: float) -> tuple[Progress, ...]:
    """Count how far the work on each stone has come.

    Parameters
    ----------
    book : Book
    least_score : float
        From which score on a candidate must be judged.

    Returns
    -------
    tuple of Progress
        In the order the stones were added.
    """
    with book.snapshot():
        photographs, to_examine = _photographed(book)
        left, findings = _judged(book, least_score)
        changed = _changed(book)
        result = []
        for stone in stones(book):
            signed = signature(book, stone)
            if signed is not None and stone.id in changed and changed[stone.id] > signed.at:
                signed = None
            stage = Stage.REVIEWED
            if not photographs[stone.id]:
                stage = Stage.NO_PHOTOGRAPH
            elif to_examine[stone.id]:
                stage = Stage.TO_EXAMINE
            elif left[stone.id]:
                stage = Stage.TO_REVIEW
            elif signed is not None:
                stage = Stage.SIGNED
            result.append(
                Progress(
                    stone,
                    stage,
                    photographs[stone.id],
                    tuple(to_examine[stone.id]),
                    left[stone.id],
                    findings[stone.id],
                    signed,
                )
            )
        return tuple(result)


def _photographed(book: Store) -> tuple[dict[int, int], dict[int, list[str]]]:
    """Photographs of each stone, and its occasions whose latest white or blue one was not examined."""
    p, e = schema.photographs.c, schema.examinations.c
    count: dict[int, int] = defaultdict(int)
    newest: dict[tuple[int, str], dict[str, str]] = defaultdict(dict)
    examined: dict[tuple[int, str], set[str | None]] = {}
    with book.snapshot() as connection:
        for row in connection.execute(select(p.stone_id, p.occasion, p.lamp, p.sha256).order_by(p.id)):
            count[row.stone_id] += 1
            if row.lamp != Lamp.OTHER:
                newest[row.stone_id, row.occasion][row.lamp] = row.sha256
        for row in connection.execute(select(e.stone_id, e.occasion, e.white, e.blue).order_by(e.id)):
            examined[row.stone_id, row.occasion] = {row.white, row.blue}
    open_ones: dict[int, list[str]] = defaultdict(list)
    for (stone_id, occasion), by_lamp in newest.items():
        if not set(by_lamp.values()) <= examined.get((stone_id, occasion), set()):
            open_ones[stone_id].append(occasion)
    return count, open_ones


def _judged(book: Store, least_score: float) -> tuple[dict[int, int], dict[int, int]]:
    """Likely candidates without a decision in force, and findings, in the newest examinations."""
    e, c, d = schema.examinations.c, schema.candidates.c, schema.decisions.c
    newest = select(func.max(e.id)).group_by(e.stone_id, e.occasion)
    last = select(d.candidate_id, func.max(d.id).label("id")).group_by(d.candidate_id).subquery()
    query = (
        select(e.stone_id, c.origin, c.candidate["score"].as_float().label("score"), d.verdict)
        .select_from(schema.candidates)
        .join(schema.examinations)
        .outerjoin(last, last.c.candidate_id == c.id)
        .outerjoin(schema.decisions, d.id == last.c.id)
        .where(e.id.in_(newest))
    )
    left: dict[int, int] = defaultdict(int)
    findings: dict[int, int] = defaultdict(int)
    with book.snapshot() as connection:
        for row in connection.execute(query):
            undecided = row.verdict is None or row.verdict == Verdict.OPEN
            left[row.stone_id] += undecided and row.score >= least_score
            findings[row.stone_id] += row.verdict == Verdict.ACCEPTED
    return left, findings


def _changed(book: Store) -> dict[int, datetime]:
    """When something was last changed on each stone, but for signatures."""
    j = schema.journal.c
    query = (
        select(j.stone_id, func.max(j.at).label("at"))
        .where(j.stone_id.is_not(None), j.action.not_in(("sign", "take signature back")))
        .group_by(j.stone_id)
    )
    with book.snapshot() as connection:
        return {row.stone_id: row.at for row in connection.execute(query)}

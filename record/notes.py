"""Readings of instruments and remarks on a stone."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, insert, or_, select

from setstone.record import schema
from setstone.record.clock import day_of, in_utc, now
from setstone.record.entries import ReadingEntry, RemarkEntry, StoneEntry, Withdrawal
from setstone.record.errors import BookError
from setstone.record.evidence.checks import as_typed, typed_check
from setstone.record.evidence.line import read_line
from setstone.record.evidence.readings import ReadingKind, Typed, reading_kind
from setstone.record.evidence.understand import understand
from setstone.record.examinations import examination
from setstone.record.journal import note
from setstone.record.store import Store, new_id
from setstone.record.text import clean, operator
from setstone.record.vocabulary import WorkKind
from setstone.record.work import work

_r, _w = schema.readings.c, schema.reading_withdrawals.c
#: What may stand in the details of a reading.
_DETAILS = ("part", "liquid", "directions", "water_c", "check")
#: Work after which a stone is set, or is not.
_ABOUT_SETTING = (WorkKind.SET, WorkKind.UNSET)
#: What a person enters of a reading, and may correct.
_ENTERED = (
    "test",
    "value",
    "unit",
    "uncertainty",
    "instrument",
    "stone_is_set",
    "remark",
    "details",
    "taken",
)


def add_reading(
    book: Store,
    stone: StoneEntry,
    *,
    test: str,
    value: str,
    unit: str = "",
    uncertainty: str = "",
    instrument: str = "",
    stone_is_set: bool = True,
    remark: str = "",
    details: Mapping[str, Any] | None = None,
    taken: datetime | None = None,
    findings: Iterable[tuple[str | None, int]] = (),
    by: str,
) -> ReadingEntry:
    """Enter what an instrument or an eye read.

    Parameters
    ----------
    stone : StoneEntry
    test : str
        Which test, for example ``"refractometer"``.
    value : str
        As read and written, for example ``"1.762-1.770"``.
    unit, uncertainty, instrument, remark : str, optional
    stone_is_set : bool, optional
        Whether the stone was in its setting.
    details : mapping, optional
        Circumstances: ``part``, ``liquid``, ``directions``, ``water_c``, ``check``, as `Typed` describes them.
    taken : datetime, optional
        When it was read, where that was not just now; aware.
    findings : iterable of (occasion or None, number), optional
        Findings in the pictures that show what was seen; None for the only occasion or the newest.
    by : str
        Who read it.

    Returns
    -------
    ReadingEntry

    Raises
    ------
    BookError
        When nobody is named, a text cannot be kept, the test is known and the value cannot be one of it, or
        a finding does not exist. A test that is not known is kept as it was written.
    """
    values = _values(
        test=test,
        value=value,
        unit=unit,
        uncertainty=uncertainty,
        instrument=instrument,
        stone_is_set=stone_is_set,
        remark=remark,
        details=details,
        taken=taken,
    )
    by = operator(by, required=True)
    with book.atomic() as connection:
        linked = _linked(book, connection, stone, findings)
        return _add_reading(connection, stone, "add reading", values, linked, by=by)


def add_line(book: Store, stone: StoneEntry, text: str, *, by: str, **besides: Any) -> ReadingEntry:
    """Enter a reading typed as one line; `setstone.record.evidence.line` says how.

    Parameters
    ----------
    stone : StoneEntry
    text : str
        For example ``"1.762-1.770 unset"``. Where it does not say whether the stone is set, it is as `is_set` tells.
    by : str
        Who read it.
    **besides
        What stands beside the line, as the parameters of `add_reading`, for example ``instrument``; it counts more
        than the line.

    Returns
    -------
    ReadingEntry

    Raises
    ------
    BookError
        When the line is not understood, with how to write it, or as `add_reading`.
    """
    given = besides.get("stone_is_set")
    line = read_line(text, is_set=is_set(book, stone) if given is None else bool(given))
    kind = line.understood.kind
    whole = kind is None or kind is ReadingKind.OBSERVATION  # loupe or microscope
    typed: dict[str, Any] = {
        "test": line.typed.test if whole else str(kind),
        "value": line.typed.value,
        "uncertainty": line.typed.uncertainty,
        "stone_is_set": line.typed.is_set,
        "remark": line.remark,
        "findings": line.findings,
    }
    details = {**line.typed.details, **(besides.pop("details", None) or {})}
    return add_reading(book, stone, **{**typed, **besides}, details=details, by=by)


def correct_reading(
    book: Store, stone: StoneEntry, reading_id: int, *, reason: str = "", by: str, **changes: Any
) -> ReadingEntry:
    """Put a corrected reading in the place of one; the former stays in the book, withdrawn.

    Parameters
    ----------
    stone : StoneEntry
    reading_id : int
        Number of the reading.
    reason : str, optional
        Why.
    by : str
        Who corrects.
    **changes
        What shall be otherwise, as the parameters of `add_reading`; what is not given stays.

    Returns
    -------
    ReadingEntry
        The one that holds now.

    Raises
    ------
    BookError
        As `add_reading`, and when there is no such reading or it does not hold any more.
    """
    by, reason = operator(by, required=True), _reason(reason)
    with book.atomic() as connection:
        former = _holding(connection, stone, reading_id)
        kept = {name: getattr(former, name) for name in _ENTERED}
        values = _values(**{**kept, **{k: v for k, v in changes.items() if k != "findings"}})
        if "findings" not in changes and {**values, "details": values["details"] or {}} == kept:
            raise BookError(f"Nothing of reading {reading_id} would change; give what was wrong.")
        if "findings" in changes:
            linked = _linked(book, connection, stone, changes["findings"])
        else:
            linked = _links(connection, [reading_id]).get(reading_id, [])
        return _add_reading(
            connection, stone, "correct reading", values, linked, by=by, former=former, reason=reason
        )


def withdraw_reading(
    book: Store, stone: StoneEntry, reading_id: int, *, reason: str, by: str
) -> ReadingEntry:
    """Say that a reading does not hold; it stays in the book and is weighed no more.

    Parameters
    ----------
    stone : StoneEntry
    reading_id : int
        Number of the reading.
    reason : str
        Why.
    by : str
        Who says so.

    Returns
    -------
    ReadingEntry
        As it stands now.

    Raises
    ------
    BookError
        When there is no such reading, it does not hold any more, or no reason is given.
    """
    by, reason = operator(by, required=True), clean(reason, "The reason", longest=1000, lines=True)
    with book.atomic() as connection:
        former = _holding(connection, stone, reading_id)
        at = now()
        _withdraw(connection, former, None, reason, by, at)
        note(
            connection,
            at,
            by,
            "withdraw reading",
            stone.full_name,
            stone_id=stone.id,
            before=_told(former),
            after={"reason": reason},
        )
        return _readings(connection, stone, _r.id == reading_id)[0]


def add_remark(book: Store, stone: StoneEntry, text: str, *, by: str) -> RemarkEntry:
    """Enter a remark on a stone.

    Parameters
    ----------
    stone : StoneEntry
    text : str
    by : str
        Who says it.

    Returns
    -------
    RemarkEntry

    Raises
    ------
    BookError
        When nobody is named, or the text cannot be kept.
    """
    values = {"text": clean(text, "The remark", longest=4000, lines=True)}
    by, at = operator(by, required=True), now()
    with book.atomic() as connection:
        row = {**values, "stone_id": stone.id, "by": by, "at": at}
        made = connection.execute(insert(schema.remarks).values(row))
        note(connection, at, by, "add remark", stone.full_name, stone_id=stone.id, after=values)
    return RemarkEntry(new_id(made), stone.id, values["text"], by, at)


def take_remark_back(book: Store, stone: StoneEntry, remark_id: int, *, reason: str, by: str) -> None:
    """Say that a remark does not hold; it stays in the book, and the journal says why.

    Parameters
    ----------
    stone : StoneEntry
    remark_id : int
        Its number.
    reason : str
    by : str
        Who says so.

    Raises
    ------
    BookError
        When there is no such remark on the stone, or no reason is given.
    """
    by, reason = operator(by, required=True), clean(reason, "The reason", longest=1000, lines=True)
    at = now()
    with book.atomic() as connection:
        former = next((r for r in remarks(book, stone) if r.id == remark_id), None)
        if former is None:
            raise BookError(
                f"{stone.full_name} has no remark number {remark_id} that holds; look at its remarks again."
            )
        row = {"stone_id": stone.id, "text": reason, "takes_back": former.id, "by": by, "at": at}
        connection.execute(insert(schema.remarks).values(row))
        note(
            connection,
            at,
            by,
            "take remark back",
            stone.full_name,
            stone_id=stone.id,
            before={"text": former.text},
            after={"reason": reason},
        )


def readings(book: Store, stone: StoneEntry, *, withdrawn: bool = False) -> tuple[ReadingEntry, ...]:
    """Read the readings of a stone that hold, in the order they were entered.

    Parameters
    ----------
    stone : StoneEntry
    withdrawn : bool, optional
        Whether to give those too that hold no more.

    Returns
    -------
    tuple of ReadingEntry
    """
    with book.snapshot() as connection:
        return _readings(connection, stone, None if withdrawn else _w.id.is_(None))


def is_set(book: Store, stone: StoneEntry) -> bool:
    """Tell whether a stone is in its setting, as the newest reading or the newest work on it says, else that it is.

    Returns
    -------
    bool
    """
    with book.snapshot():
        told = [(e.taken or e.at, e.stone_is_set) for e in readings(book, stone)]
        told += [(w.done, w.kind is WorkKind.SET) for w in work(book, stone) if w.kind in _ABOUT_SETTING]
    return max(told, key=lambda t: t[0])[1] if told else True


def remarks(book: Store, stone: StoneEntry) -> tuple[RemarkEntry, ...]:
    """Read the remarks on a stone, in the order they were entered.

    Returns
    -------
    tuple of RemarkEntry
        Without what was taken back.
    """
    r = schema.remarks.c
    query = select(schema.remarks).where(r.stone_id == stone.id).order_by(r.id)
    with book.snapshot() as connection:
        rows = connection.execute(query).all()
    gone = {row.takes_back for row in rows}
    return tuple(
        RemarkEntry(row.id, row.stone_id, row.text, row.by, row.at)
        for row in rows
        if row.takes_back is None and row.id not in gone
    )


def _values(
    *,
    test: str,
    value: str,
    unit: str,
    uncertainty: str,
    instrument: str,
    stone_is_set: bool,
    remark: str,
    details: Mapping[str, Any] | None,
    taken: datetime | None,
) -> dict[str, Any]:
    """Clean what was typed, and see that it can be understood."""
    if taken is not None and taken.tzinfo is None:
        raise BookError("The time of a reading needs its zone; write it as '2026-03-02T14:30+01:00'.")
    if taken is not None and taken > now():
        raise BookError("A reading cannot have been made in the future; check its time.")
    day = day_of(taken or now())
    circumstances = _circumstances(details or {}, reading_kind(test), day)
    values: dict[str, Any] = {
        "test": clean(test, "The name of the test"),
        "value": clean(value, "The value", longest=200),
        "unit": clean(unit, "The unit", longest=40, required=False),
        "uncertainty": clean(uncertainty, "The uncertainty", required=False),
        "instrument": clean(instrument, "The instrument", longest=200, required=False),
        "stone_is_set": stone_is_set,
        "remark": clean(remark, "The remark", longest=4000, required=False, lines=True),
        "details": circumstances or None,
        "taken": None if taken is None else in_utc(taken),
    }
    understand(
        Typed(
            values["test"],
            values["value"],
            values["unit"],
            values["uncertainty"],
            stone_is_set,
            circumstances,
            day,
        )
    )
    return values


def _circumstances(details: Mapping[str, Any], kind: ReadingKind | None, day: date) -> dict[str, Any]:
    """Bring circumstances into the form they are kept in; what is empty is left out."""
    kept: dict[str, Any] = {}
    for name, value in details.items():
        if value in (None, "", {}):
            continue
        if name not in _DETAILS:
            raise BookError(f"'{name}' is no circumstance of a reading; it may have {', '.join(_DETAILS)}.")
        try:
            if name == "check":
                kept[name] = _check(value, kind, day)
            elif name == "part":
                kept[name] = str(value)
            else:
                number = float(str(value).replace(",", "."))
                if not 0 < number < 100:
                    raise ValueError
                kept[name] = int(number) if name == "directions" else number
        except (AttributeError, ValueError) as error:
            raise BookError(f"'{value}' is no value for '{name}' of a reading; check it.") from error
    return kept


def _check(given: str | Mapping[str, Any], kind: ReadingKind | None, day: date) -> dict[str, Any]:
    """Bring a check into the form it is kept in; one of refractometer or balance has its date."""
    check = typed_check(kind, given if isinstance(given, str) else as_typed(given))
    if "known" in check and date.fromisoformat(check.setdefault("on", day.isoformat())) > day:
        raise BookError(f"A check is made before the reading, and not on {check['on']}; check its date.")
    return check


def _add_reading(
    connection: Connection,
    stone: StoneEntry,
    action: str,
    values: dict[str, Any],
    linked: Iterable[int],
    *,
    by: str,
    former: ReadingEntry | None = None,
    reason: str = "",
) -> ReadingEntry:
    at = now()
    row = {**values, "stone_id": stone.id, "by": by, "at": at}
    reading_id = new_id(connection.execute(insert(schema.readings).values(row)))
    links = [{"reading_id": reading_id, "candidate_id": c} for c in linked]
    if links:
        connection.execute(insert(schema.reading_findings), links)
    if former is not None:
        _withdraw(connection, former, reading_id, reason, by, at)
    entry = _readings(connection, stone, _r.id == reading_id)[0]
    before = None if former is None else _told(former)
    after = {**_told(entry), **({"reason": reason} if reason else {})}
    note(connection, at, by, action, stone.full_name, stone_id=stone.id, before=before, after=after)
    return entry


def _withdraw(
    connection: Connection, former: ReadingEntry, replaced_by: int | None, reason: str, by: str, at: datetime
) -> None:
    row = {"reading_id": former.id, "replaced_by": replaced_by, "reason": reason, "by": by, "at": at}
    connection.execute(insert(schema.reading_withdrawals).values(row))


def _reason(text: str) -> str:
    return clean(text, "The reason", longest=1000, required=False, lines=True)


def _told(entry: ReadingEntry) -> dict[str, Any]:
    """What the journal keeps of a reading: what was entered, nothing that follows from the rest."""
    told: dict[str, Any] = {
        "test": entry.test,
        "value": entry.value,
        "unit": entry.unit,
        "uncertainty": entry.uncertainty,
        "instrument": entry.instrument,
        "stone_is_set": entry.stone_is_set,
        "remark": entry.remark,
    }
    if entry.details:
        told["details"] = dict(entry.details)
    if entry.taken is not None:
        told["taken"] = entry.taken.isoformat()
    if entry.findings:
        told["findings"] = [{"occasion": o, "number": n} for o, n in entry.findings]
    return told


def _holding(connection: Connection, stone: StoneEntry, reading_id: int) -> ReadingEntry:
    found = _readings(connection, stone, _r.id == reading_id)
    if not found:
        raise BookError(
            f"{stone.full_name} has no reading {reading_id}; 'setstone reading list' shows their numbers."
        )
    if found[0].withdrawn is not None:
        raise BookError(f"Reading {reading_id} of {stone.full_name} was withdrawn already; enter a new one.")
    return found[0]


def _readings(connection: Connection, stone: StoneEntry, condition: Any) -> tuple[ReadingEntry, ...]:
    query = (
        select(schema.readings, *(_w[name].label(f"w_{name}") for name in ("id", *_WITHDRAWAL)))
        .outerjoin(schema.reading_withdrawals, _w.reading_id == _r.id)
        .where(_r.stone_id == stone.id)
        .order_by(_r.id)
    )
    rows = connection.execute(query if condition is None else query.where(condition)).mappings().all()
    links = _links(connection, [row["id"] for row in rows])
    return tuple(_entry(connection, dict(row), links.get(row["id"], [])) for row in rows)


_WITHDRAWAL = ("replaced_by", "reason", "by", "at")


def _entry(connection: Connection, row: dict[str, Any], linked: list[int]) -> ReadingEntry:
    withdrawal = {name: row.pop(f"w_{name}") for name in ("id", *_WITHDRAWAL)}
    return ReadingEntry(
        **{**row, "details": row["details"] or {}},
        findings=_findings(connection, linked),
        withdrawn=None if withdrawal.pop("id") is None else Withdrawal(**withdrawal),
    )


def _links(connection: Connection, reading_ids: list[int]) -> dict[int, list[int]]:
    table = schema.reading_findings
    query = select(table).where(table.c.reading_id.in_(reading_ids)).order_by(table.c.candidate_id)
    links: dict[int, list[int]] = {}
    for row in connection.execute(query):
        links.setdefault(row.reading_id, []).append(row.candidate_id)
    return links


def _linked(
    book: Store, connection: Connection, stone: StoneEntry, findings: Iterable[tuple[str | None, int]]
) -> list[int]:
    """Look up the candidates of findings, which must be findings."""
    linked = []
    for occasion, number in findings:
        entry = examination(book, stone, occasion)
        if not any(c.number == number and c.is_finding for c in entry.candidates):
            raise BookError(
                f"Number {number} of {stone.full_name}, {entry.occasion}, is no finding; accept the candidate first, "
                "or mark what you saw."
            )
        c = schema.candidates.c
        query = select(c.id).where(c.examination_id == entry.id, c.number == number)
        linked.append(connection.execute(query).scalar_one())
    return list(dict.fromkeys(linked))


def _findings(connection: Connection, linked: Iterable[int]) -> tuple[tuple[str, int], ...]:
    """Follow findings to the newest examination of their occasion, where their numbers may be others."""
    c, d, e = schema.candidates.c, schema.decisions.c, schema.examinations.c
    earlier = schema.decisions.alias()
    found = []
    for start in linked:
        newest = start
        while True:
            carried = select(c.id).where(c.carried_from == newest)
            decided = (
                select(d.candidate_id)
                .join(earlier, d.carried_from == earlier.c.id)
                .where(earlier.c.candidate_id == newest)
            )
            following = connection.execute(
                select(c.id).where(or_(c.id.in_(carried), c.id.in_(decided))).order_by(c.id.desc()).limit(1)
            ).scalar()
            if following is None or following == newest:
                break
            newest = following
        query = (
            select(e.occasion, c.number)
            .join(schema.candidates, c.examination_id == e.id)
            .where(c.id == newest)
        )
        found.append(tuple(connection.execute(query).one()))
    return tuple(found)

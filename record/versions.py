"""Versions of a stone's record: as it stood when it was signed, and what was changed from one to the next.

A version is what a person stands for. It is kept whole in the signature, in plain values, so that it stays what
it was whatever a later setstone makes of the same entries.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, select

from setstone.measure.examination import Examination
from setstone.record import schema
from setstone.record.comparisons import comparisons, state_of_comparison
from setstone.record.convert import to_json
from setstone.record.entries import (
    CandidateEntry,
    ExaminationEntry,
    FactEntry,
    ObjectEntry,
    ReadingEntry,
    Signature,
    StoneEntry,
)
from setstone.record.errors import BookError
from setstone.record.examinations import latest_examinations
from setstone.record.facts import facts
from setstone.record.inventory import stone_of_id
from setstone.record.notes import readings, remarks
from setstone.record.photographs import photographs
from setstone.record.setups import find_setup
from setstone.record.store import Store
from setstone.record.work import work

_g, _o = schema.signatures.c, schema.objects.c

State = dict[str, Any]


@dataclass(frozen=True)
class Version:
    """A stone's record as it was signed.

    Parameters
    ----------
    number : int
        From 1; signing again what was not changed since makes no new version.
    signatures : tuple of Signature
        Who signed it and when.
    taken_back : tuple of Signature
        Who took a signature back and when.
    state : dict
        The record as it stood, in plain values.
    """

    number: int
    signatures: tuple[Signature, ...]
    taken_back: tuple[Signature, ...]
    state: State


@dataclass(frozen=True)
class Change:
    """One difference between two versions.

    Parameters
    ----------
    of : str
        What differs, for example ``"finding 3, before"``.
    field : str
        Which value of it; empty when it is there in one version only.
    before, after : object
        In plain values; None where it is not there.
    """

    of: str
    field: str
    before: Any
    after: Any


def versions(book: Store, stone: StoneEntry) -> tuple[Version, ...]:
    """Read the versions of a stone's record, oldest first.

    Parameters
    ----------
    stone : StoneEntry

    Returns
    -------
    tuple of Version
    """
    query = select(schema.signatures).where(_g.stone_id == stone.id, _g.version.is_not(None))
    found: dict[int, Version] = {}
    with book.snapshot() as connection:
        for row in connection.execute(query.order_by(_g.id)):
            known = found.get(row.version)
            signed, back = (known.signatures, known.taken_back) if known is not None else ((), ())
            made = Signature(row.by, row.at)
            signed, back = ((*signed, made), back) if row.in_force else (signed, (*back, made))
            state = row.state if known is None else known.state
            found[row.version] = Version(row.version, signed, back, state)
    return tuple(found.values())


def difference(
    book: Store, stone: StoneEntry, older: int | None = None, newer: int | None = None
) -> tuple[Change, ...]:
    """Tell what was changed from one version of a stone's record to another.

    Parameters
    ----------
    stone : StoneEntry
    older : int, optional
        Number of the version; the one signed last before `newer` when not given.
    newer : int, optional
        The record as it stands now when not given.

    Returns
    -------
    tuple of Change
        In the order of the record; empty when nothing was changed.

    Raises
    ------
    BookError
        When there is no such version.
    """
    with book.snapshot():
        known = {v.number: v for v in versions(book, stone)}
        if not known:
            raise BookError(
                f"{stone.full_name} has not been signed yet, so it has no version; sign it first."
            )
        if older is None:
            older = max((n for n in known if newer is None or n < newer), default=None)
            if older is None:
                raise BookError(f"{stone.full_name} has no version before {newer}; name two that there are.")
        for number in (older, newer):
            if number not in known and number is not None:
                there = ", ".join(map(str, known))
                raise BookError(f"{stone.full_name} has no version {number}; there are: {there}.")
        after = state_of(book, stone) if newer is None else known[newer].state
        return compare(known[older].state, after)


def compare(before: State, after: State) -> tuple[Change, ...]:
    """Compare two states of a record, part by part.

    Parameters
    ----------
    before, after : dict
        As `state_of` gives them.

    Returns
    -------
    tuple of Change
    """
    return tuple(_changes(before, after))


def plain(value: object) -> str:
    """Say a value of a record, or a whole part of it, in plain words.

    >>> plain({"kind": "fissure", "reason": "", "findings": ["3, before"]}), plain(None)
    ('kind: fissure; findings: 3, before', '–')

    Times are those of this machine, to the minute.
    """
    if value is None:
        return "–"
    if isinstance(value, dict):
        return "; ".join(f"{k}: {plain(v)}" for k, v in value.items() if v not in (None, "", [], {}))
    if isinstance(value, list):
        return ", ".join(map(plain, value)) or "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    moment = _moment(value)
    return f"{moment.astimezone():%Y-%m-%d %H:%M}" if moment is not None else str(value) or "–"


def _moment(value: object) -> datetime | None:
    """A time as records hold it; None for anything else."""
    try:
        moment = datetime.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        return None
    return moment if moment is not None and moment.tzinfo is not None else None


def state_of(book: Store, stone: StoneEntry) -> State:
    """Gather all that a stone's record says now, in plain values with their units.

    Parameters
    ----------
    stone : StoneEntry

    Returns
    -------
    dict
        Names of parts (``"stone"``, ``"finding 3, before"``, ``"reading 12"``) with their values by name, all of
        which JSON can hold.
    """
    with book.snapshot() as connection:
        stone = stone_of_id(connection, stone.id)
        owner = _owner(connection, stone.object_id)
        state: State = {
            "object": {
                "name": owner.name,
                "description": owner.description,
                **_facts(facts(book, owner)),
            },
            "stone": {
                "position": stone.position,
                "claimed as": stone.claimed_as,
                **_facts(facts(book, stone)),
            },
        }
        for p in photographs(book, stone):
            state[f"photograph {p.sha256[:12]}"] = {
                "sha256": p.sha256,
                "name": p.name,
                "light": str(p.lamp),
                "light stated": p.lamp_stated,
                "occasion": p.occasion,
                "taken": None if p.taken is None else p.taken.isoformat(),
                "by": p.operator,
                "magnification": p.magnification,
                "setup": None if p.setup_id is None else find_setup(book, p.setup_id).name,
                "scale": None if p.scale is None else to_json(p.scale),
            }
        for examination in latest_examinations(book, stone):
            state[f"examination, {examination.occasion}"] = _examination(examination)
            for candidate in examination.candidates:
                if candidate.decision is not None:
                    state[f"finding {candidate.number}, {examination.occasion}"] = _judged(candidate)
        for comparison in comparisons(book, stone):
            state[f"comparison {comparison.id}"] = state_of_comparison(comparison)
        for r in readings(book, stone, withdrawn=True):
            state[f"reading {r.id}"] = _reading(r)
        for remark in remarks(book, stone):
            state[f"remark {remark.id}"] = {
                "text": remark.text,
                "by": remark.by,
                "at": remark.at.isoformat(),
            }
        for w in work(book, stone):
            state[f"work {w.id}"] = {
                "kind": str(w.kind),
                "done": w.done.isoformat(),
                "done by": w.done_by,
                "adhesive": w.adhesive,
                "solvent": w.solvent,
                "remark": w.remark,
            }
    return state


def _owner(connection: Connection, object_id: int) -> ObjectEntry:
    row = connection.execute(select(_o.id, _o.name, _o.description).where(_o.id == object_id)).one()
    return ObjectEntry(row.id, row.name, row.description)


def _facts(entries: tuple[FactEntry, ...]) -> dict[str, str]:
    return {f"{f.fact}, {f.fact.known_how}": f.value for f in entries}


def _examination(entry: ExaminationEntry) -> dict[str, Any]:
    result: Examination = entry.result
    widths, scale = result.diameters, result.scale
    return {
        "made": entry.made.isoformat(),
        "by": entry.by,
        "setstone": entry.version,
        "white": entry.white,
        "blue": entry.blue,
        "scale": None
        if scale is None
        else f"{scale.um_per_px:.6g} µm/px, u = {scale.u_um_per_px:.2g} µm/px, {scale.source}",
        "diameter, mean": None if widths is None else str(widths.mean),
        "diameter, least": None if widths is None else str(widths.least),
        "diameter, greatest": None if widths is None else str(widths.greatest),
        "outline drawn by a person": entry.outline_redrawn,
        "flags": [flag.text for flag in result.flags],
    }


def _judged(entry: CandidateEntry) -> dict[str, Any]:
    decision = entry.decision
    if decision is None:
        raise RuntimeError("nobody decided on it")
    return {
        "what": entry.candidate.kind,
        "verdict": str(decision.verdict),
        "kind": None if decision.kind is None else str(decision.kind),
        "reason": decision.reason,
        "by": decision.by,
        "at": decision.at.isoformat(),
        "drawn by a person": entry.origin == "hand" or entry.first_drawn is not None,
        **{name.replace("_", " "): str(size) for name, size in entry.candidate.sizes.items()},
    }


def _reading(entry: ReadingEntry) -> dict[str, Any]:
    return {
        "test": entry.test,
        "value": f"{entry.value} {entry.unit}".strip(),
        "uncertainty": entry.uncertainty,
        "instrument": entry.instrument,
        "stone": "set" if entry.stone_is_set else "unset",
        "remark": entry.remark,
        "circumstances": dict(entry.details),
        "findings": [f"{number}, {occasion}" for occasion, number in entry.findings],
        "by": entry.by,
        "at": (entry.taken or entry.at).isoformat(),
        "withdrawn": None if entry.withdrawn is None else entry.withdrawn.reason or "corrected",
    }


def _changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[Change]:
    for part in {**before, **after}:
        old, new = before.get(part), after.get(part)
        if old is None or new is None:
            yield Change(part, "", old, new)
            continue
        for name in {**old, **new}:
            if old.get(name) != new.get(name):
                yield Change(part, name, old.get(name), new.get(name))

"""What leaves the house: by default a hand-out names no person who worked on a stone."""

from collections.abc import Iterable
from dataclasses import replace

from setstone.annotate.sheet import OccasionSheet, StoneSheet
from setstone.annotate.two_days import Mark
from setstone.record.entries import CandidateEntry


def without_names(sheet: StoneSheet) -> StoneSheet:
    """Take the names of operators out of a sheet; dates, instruments and all findings stay.

    Names that somebody typed into a remark or another free text are part of that text and stay in it.

    Parameters
    ----------
    sheet : StoneSheet

    Returns
    -------
    StoneSheet
    """
    return replace(
        sheet,
        occasions=tuple(_occasion(occasion) for occasion in sheet.occasions),
        comparison=sheet.comparison
        and replace(sheet.comparison, marks=tuple(_mark(mark) for mark in sheet.comparison.marks)),
        readings=tuple(replace(r, entry=replace(r.entry, by="")) for r in sheet.readings),
        remarks=tuple(replace(remark, by="") for remark in sheet.remarks),
        object_facts=tuple(replace(fact, by="") for fact in sheet.object_facts),
        facts=tuple(replace(fact, by="") for fact in sheet.facts),
        work=tuple(replace(work, by="", done_by="") for work in sheet.work),
        version=sheet.version
        and replace(
            sheet.version, signatures=tuple(replace(signed, by="") for signed in sheet.version.signatures)
        ),
    )


def _occasion(occasion: OccasionSheet) -> OccasionSheet:
    entry = occasion.examination
    candidates = tuple(_candidate(candidate) for candidate in entry.candidates)
    return replace(occasion, examination=replace(entry, by="", candidates=candidates))


def _mark(mark: Mark) -> Mark:
    return replace(mark, changed=replace(mark.changed, entry=_candidate(mark.changed.entry)))


def _candidate(candidate: CandidateEntry) -> CandidateEntry:
    decision = candidate.decision
    return candidate if decision is None else replace(candidate, decision=replace(decision, by=""))


def names_in(sheets: Iterable[StoneSheet]) -> set[str]:
    """Collect the names of all who examined, read, worked, decided or signed."""
    named: set[str] = set()
    for sheet in sheets:
        entries = [e.examination for e in sheet.occasions]
        named |= {entry.by for entry in entries}
        named |= {c.decision.by for entry in entries for c in entry.candidates if c.decision is not None}
        named |= {reading.entry.by for reading in sheet.readings}
        named |= {remark.by for remark in sheet.remarks}
        named |= {fact.by for fact in (*sheet.object_facts, *sheet.facts)}
        named |= {name for work in sheet.work for name in (work.by, work.done_by)}
        named |= {signed.by for signed in (sheet.version.signatures if sheet.version else ())}
    return named - {""}

"""What leaves the house: by default a hand-out names no person who worked on a stone."""

from dataclasses import replace

from setstone.annotate.sheet import OccasionSheet, StoneSheet
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


def _candidate(candidate: CandidateEntry) -> CandidateEntry:
    decision = candidate.decision
    return candidate if decision is None else replace(candidate, decision=replace(decision, by=""))

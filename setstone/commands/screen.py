"""Entries of the book as tables for people; loaded only when there is something to print."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from setstone.commands.common import say, table
from setstone.measure.candidates import LIKELY
from setstone.record.consistency import Consistency, Line, ReadAs
from setstone.record.entries import (
    CandidateEntry,
    ExaminationEntry,
    FactEntry,
    PhotographEntry,
    RemarkEntry,
    StoneEntry,
    WorkEntry,
)
from setstone.record.evidence.gist import LEADING

if TYPE_CHECKING:
    from setstone.record.identity import Match


def print_photographs(entries: Sequence[PhotographEntry]) -> None:
    """Print photographs as a table."""
    table(
        ("photograph", "light", "occasion", "taken", "by", "size", "kept as"),
        [
            (
                e.name,
                str(e.lamp) + ("" if e.lamp_stated else " (recognised)"),
                e.occasion,
                "–" if e.taken is None else f"{e.taken.astimezone():%Y-%m-%d %H:%M}",
                e.operator,
                f"{e.width * e.height / 1e6:.1f} megapixels, {e.bit_depth} bit",
                e.sha256[:12],
            )
            for e in entries
        ],
        "No photographs yet; add them with 'setstone photo add STONE FILE'.",
    )
    for e in entries:
        for flag in e.flags:
            say(f"  ! {e.name}: {flag.text}")


def print_results(done: Sequence[tuple[StoneEntry, ExaminationEntry]]) -> None:
    """Print one line a stone, then what a person must know."""
    table(
        ("stone", "occasion", "diameter (k = 2)", "fissures", "inclusions", "flags"),
        [
            (
                stone.position,
                entry.occasion,
                "–" if entry.result.diameters is None else str(entry.result.diameters.mean),
                str(sum(c.candidate.kind == "line" and is_shown(c) for c in entry.candidates)),
                str(sum(c.candidate.kind == "spot" and is_shown(c) for c in entry.candidates)),
                ", ".join(f.code for f in entry.result.flags) or "–",
            )
            for stone, entry in done
        ],
        "Nothing was examined.",
    )
    if done:
        say("Fissures and inclusions are candidates, proposed by the program and not yet judged.")
    for stone, entry in done:
        for flag in entry.result.flags:
            say(f"  ! {stone.position}, {entry.occasion}: {flag.text}")


def print_examination(stone: StoneEntry, entry: ExaminationEntry) -> None:
    """Print one examination: measurements, then candidates and findings."""
    say(f"Examined {entry.made.astimezone():%Y-%m-%d %H:%M} by {entry.by} ({entry.occasion})")
    print_results([(stone, entry)])
    print_candidates([c for c in entry.candidates if is_shown(c)], len(entry.candidates))


def print_candidates(entries: Sequence[CandidateEntry], total: int) -> None:
    """Print candidates and findings as a table."""
    table(
        ("number", "what", "score", "size (k = 2)", "rests most on"),
        [
            (
                str(e.number),
                _what(e),
                "–" if e.origin == "hand" else f"{e.candidate.score:.2f}",
                _size(e),
                "; ".join(r.text for r in e.candidate.reasons[:2]) or "–",
            )
            for e in entries
        ],
        "No candidates.",
    )
    if len(entries) < total:
        say(f"{total - len(entries)} weaker candidates are kept; '--all' lists them.")


def _size(entry: CandidateEntry) -> str:
    """The one size people ask for first: the rest stands in the JSON and on the hand-out."""
    size = entry.candidate.sizes.get("length" if entry.candidate.kind == "line" else "diameter")
    return "–" if size is None else str(size)


def _what(entry: CandidateEntry) -> str:
    """A candidate is to be judged; of what was judged, how."""
    proposed = "candidate fissure" if entry.candidate.kind == "line" else "candidate inclusion"
    if entry.decision is None:
        return proposed
    return f"{entry.decision.kind if entry.is_finding else proposed}, {entry.decision.verdict}"


def is_shown(entry: CandidateEntry) -> bool:
    """Return True for what is listed without being asked for: likely candidates and decided ones."""
    return entry.candidate.score >= LIKELY or entry.decision is not None


def print_readings(entries: Sequence[ReadAs], remarks: Sequence[RemarkEntry]) -> None:
    """Print readings with what was understood of them as a table, then remarks."""
    table(
        ("number", "test", "understood as", "stone", "when", "by", "remark"),
        [
            (
                str(r.entry.id),
                r.entry.test + (f" ({r.entry.instrument})" if r.entry.instrument else ""),
                _understood(r),
                "set" if r.entry.stone_is_set else "unset",
                f"{(r.entry.taken or r.entry.at).astimezone():%Y-%m-%d %H:%M}",
                r.entry.by,
                r.entry.remark or "–",
            )
            for r in entries
        ],
        "No readings yet; enter one with 'setstone reading add STONE TEST VALUE'.",
    )
    for remark in remarks:
        say(f"{remark.at.astimezone():%Y-%m-%d %H:%M} {remark.by}: {remark.text}")


def _understood(reading: ReadAs) -> str:
    entry = reading.entry
    said = reading.says
    if said == entry.value:  # kept as written
        said = f"{entry.value} {entry.unit}".strip()
        said += f" ± {entry.uncertainty}" if entry.uncertainty else ""
    if entry.findings:
        said += f" ({', '.join(f'finding {n}, {o}' for o, n in entry.findings)})"
    if entry.withdrawn is not None:
        return f"withdrawn: {entry.withdrawn.reason or 'corrected'}. {said}"
    said += f" [not weighed: {reading.mark}]" if reading.mark else ""
    return said + (f" [marked: {reading.unchecked}]" if reading.unchecked else "")


def print_facts(entries: Sequence[FactEntry]) -> None:
    """Print what is said of an object or of a setting as a table."""
    table(
        ("what", "said", "known how", "by", "when"),
        [
            (str(f.fact), f.value, f.fact.known_how, f.by, f"{f.at.astimezone():%Y-%m-%d %H:%M}")
            for f in entries
        ],
        "Nothing is said of it yet; enter it with 'setstone fact add WHAT VALUE'.",
    )


def print_work(entries: Sequence[WorkEntry]) -> None:
    """Print what was done to a stone as a table."""
    table(
        ("number", "done", "by", "what", "adhesive", "solvent", "remark"),
        [
            (
                str(w.id),
                f"{w.done.astimezone():%Y-%m-%d %H:%M}",
                w.done_by,
                str(w.kind),
                w.adhesive or "–",
                w.solvent or "–",
                w.remark or "–",
            )
            for w in entries
        ],
        "No work on it yet; enter it with 'setstone work add STONE WHAT'.",
    )


#: Without being asked, no more materials are listed than this, and only those that lead.
_LISTED = 12


def print_consistency(found: Consistency, *, everything: bool) -> None:
    """Print what the readings are consistent with, and all that goes with it."""
    say(found.summary)
    listed = found.lines if everything else [r for r in found.lines if r.relative >= LEADING][:_LISTED]
    for c in found.contradictions:
        say(f"  ! {c.text} {c.do}")
    for sign in found.composite:
        say(f"  ! {sign}")
    table(
        ("rank", "consistent with", "relative", "speaks most for it", "speaks most against it"),
        [
            (str(r.rank), _named(r), _relative(r.relative), r.speaks_for or "–", r.speaks_against or "–")
            for r in listed
        ],
        "",
    )
    if len(listed) < len(found.lines):
        say(f"{len(found.lines) - len(listed)} more are consistent but less probable; '--all' lists them.")
    if everything:
        table(
            ("not consistent with", "because of"),
            [(_named(r), r.speaks_against) for r in found.excluded],
            "",
        )
    elif found.excluded:
        say(f"Not consistent with {len(found.excluded)} other materials; '--all' lists them.")
    for r in found.read:
        if r.mark:
            say(f"Not weighed: {r.entry.test} {r.entry.value}: {r.mark}.")
        if r.unchecked:
            say(f"Marked: {r.entry.test} {r.entry.value}: {r.unchecked}.")
    say("Treatment is a question of its own:")
    for treatment in found.treatments:
        say(f"  {treatment.verdict}")
    say("The readings cannot tell:")
    for text in found.cannot_tell:
        say(f"  {text}")
    for text in found.cautions:
        say(f"Caution: {text}")


def print_next_tests(found: Consistency) -> None:
    """Print the tests that would tell most, with their cautions."""
    state = "set" if found.is_set else "unset"
    if found.contradictions and not found.lines:
        say("Nothing is left to tell apart: settle the contradictions first, which 'setstone agrees' names.")
    elif not found.next_tests:
        say("No test of this bench is expected to tell the materials that are left apart; a laboratory may.")
    for test in found.next_tests:
        when = "" if test.possible else " (only when unset)"
        say(f"{test.test}{when}: {test.why} (expected gain {test.gain_bits:.2f} bits, stone {state})")
        for text in test.cautions:
            say(f"  caution: {text}")
    say("The readings cannot tell:")
    for text in found.cannot_tell:
        say(f"  {text}")
    for text in found.cautions:
        say(f"Caution: {text}")


def _named(line: Line) -> str:
    return line.name + (f" ({line.note})" if line.note else "")


def _relative(value: float) -> str:
    return f"{value:.2f}" if value >= 0.01 else "below 0.01"


def print_matches(matches: "Sequence[Match]", *, explain: bool) -> None:
    """Print stones of the book beside photographs, and what the figures mean."""
    from setstone.measure.same_stone import meaning

    table(
        ("stone", "occasion", "photographs", "likelihood ratio"),
        [
            (
                m.stone.full_name,
                m.occasion,
                str(m.result.strength),
                f"{m.result.likelihood_ratio:,.2g}"
                if m.result.likelihood_ratio < 1
                else f"{m.result.likelihood_ratio:,.0f}",
            )
            for m in matches
        ],
        "",
    )
    for m in matches if explain else matches[:1]:
        say(f"{m.occasion}: {m.result.why} {meaning(m.result)}")

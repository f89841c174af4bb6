"""Entries of the book as tables for people; loaded only when there is something to print."""

from collections.abc import Sequence

from setstone.commands.common import say, table
from setstone.measure.candidates import LIKELY
from setstone.record.entries import (
    CandidateEntry,
    ExaminationEntry,
    FactEntry,
    PhotographEntry,
    ReadingEntry,
    RemarkEntry,
    StoneEntry,
    WorkEntry,
)


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


def print_readings(entries: Sequence[ReadingEntry], remarks: Sequence[RemarkEntry]) -> None:
    """Print readings as a table, then remarks."""
    table(
        ("test", "value", "uncertainty", "instrument", "stone", "when", "by", "remark"),
        [
            (
                e.test,
                f"{e.value} {e.unit}".strip(),
                e.uncertainty or "–",
                e.instrument or "–",
                "set" if e.stone_is_set else "unset",
                f"{e.at.astimezone():%Y-%m-%d %H:%M}",
                e.by,
                e.remark or "–",
            )
            for e in entries
        ],
        "No readings yet; enter one with 'setstone reading add STONE TEST VALUE'.",
    )
    for r in remarks:
        say(f"{r.at.astimezone():%Y-%m-%d %H:%M} {r.by}: {r.text}")


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

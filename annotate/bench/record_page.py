"""The test record of a stone as a page for a text widget: what the readings say, then readings and remarks."""

from collections.abc import Iterable, Iterator, Sequence
from html import escape

from setstone.record.consistency import Consistency, Line, alike, read_as
from setstone.record.entries import ReadingEntry, RemarkEntry
from setstone.record.evidence.gist import LEADING
from setstone.record.evidence.next_test import NextTest

#: At most so many materials and tests are listed.
_MOST_MATERIALS, _MOST_TESTS = 8, 3


def says_html(found: Consistency) -> str:
    """Lay out what the readings are consistent with, what contradicts what, what to test next, what to beware of."""
    listed = [r for r in found.lines if r.relative >= LEADING][:_MOST_MATERIALS]
    less = len(found.lines) - len(listed)
    counted = f"{less} more fit less well; " if less else ""
    counted += f"{len(found.excluded)} of the table are not consistent with the readings."
    alarms = [f"{c.text} {c.do}" for c in found.contradictions] + list(found.composite)
    treated = [t.verdict for t in found.treatments if t.signs]
    parts = [
        _heading("Consistent with"),
        f"<p>{escape(found.summary)}</p>",
        "".join(f"<p><b>! {escape(text)}</b></p>" for text in alarms),
        _list(_materials(listed)),
        f"<p><small>{counted}</small></p>" if found.lines or found.excluded else "",
        _heading("What to test next") if found.next_tests else "",
        _list(map(_test, found.next_tests[:_MOST_TESTS])),
        _heading("Treatment") + _list(map(escape, treated)) if treated else "",
        _heading("These readings cannot tell") + _list(map(escape, found.cannot_tell))
        if found.cannot_tell
        else "",
        _heading("Handle with care") + _list(map(escape, found.cautions)) if found.cautions else "",
    ]
    return "".join(parts)


def notes_html(readings: Sequence[ReadingEntry], remarks: Sequence[RemarkEntry]) -> str:
    """Lay out readings and remarks, the latest first.

    Links ``correct:ID`` and ``withdraw:ID`` stand at readings, ``remark:ID`` at remarks, to take them back.
    """
    if not readings and not remarks:
        return "<p>No readings or remarks yet. A reading is not a verdict: several materials may be consistent with it.</p>"
    told = [(e.at, _reading(e)) for e in readings] + [(e.at, _remark(e)) for e in remarks]
    return _heading("Readings and remarks") + "".join(html for _, html in sorted(told, reverse=True))


def _materials(lines: Sequence[Line]) -> Iterator[str]:
    """One item for all materials of which the readings say the same."""
    for rows in alike(lines):
        first = rows[0]
        names = "; ".join(f"<b>{escape(r.name)}</b>" for r in rows)
        least = min(r.relative for r in rows)
        times = "" if first.rank == 1 else f", {1 / least:.2g} times less probable"
        beside = f" – {escape(first.note)}" if first.note else ""
        for_it = f"<br><small>for it: {escape(first.speaks_for)}</small>" if first.speaks_for else ""
        against_it = (
            f"<br><small>against it: {escape(first.speaks_against)}</small>" if first.speaks_against else ""
        )
        yield f"{names}{times}{beside}{for_it}{against_it}"


def _test(test: NextTest) -> str:
    when = "" if test.possible else " (only when unset)"
    cautions = "".join(f"<br><small>! {escape(text)}</small>" for text in test.cautions)
    return f"<b>{escape(test.test)}</b>{when}: {escape(test.why)}{cautions}"


def _reading(entry: ReadingEntry) -> str:
    value = f"{entry.value} {entry.unit}".strip()
    if entry.uncertainty:
        value += f" ± {entry.uncertainty.removeprefix('±').strip()}"
    state = "set" if entry.stone_is_set else "unset"
    details = ", ".join(x for x in (entry.instrument, f"stone {state}", entry.remark) if x)
    read = read_as(entry)
    mark = f"<br><b>not weighed:</b> {escape(read.mark)}" if read.mark else ""
    mark += f"<br><small>marked: {escape(read.unchecked)}</small>" if read.unchecked else ""
    return (
        f"<p><b>{escape(entry.test)}: {escape(value)}</b><br>{escape(read.says)}{mark}<br>"
        f"<small>{escape(details)}; {_signed(entry)} – <a href='correct:{entry.id}'>correct</a> "
        f"<a href='withdraw:{entry.id}'>withdraw</a></small></p>"
    )


def _remark(entry: RemarkEntry) -> str:
    text = escape(entry.text).replace("\n", "<br>")
    return f"<p>{text}<br><small>{_signed(entry)} – <a href='remark:{entry.id}'>take back</a></small></p>"


def _signed(entry: ReadingEntry | RemarkEntry) -> str:
    return f"{escape(entry.by)}, {entry.at.astimezone():%Y-%m-%d %H:%M}"


def _heading(text: str) -> str:
    return f"<h4>{text}</h4>"


def _list(items: Iterable[str]) -> str:
    return "".join(f"<p>• {item}</p>" for item in items)

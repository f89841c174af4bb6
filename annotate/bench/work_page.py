"""The work on a stone as a page for a text widget."""

from collections.abc import Sequence
from html import escape

from setstone.record.entries import WorkEntry


def work_html(entries: Sequence[WorkEntry]) -> str:
    """Lay out what was done to a stone, the latest first; a link ``back:ID`` stands at each."""
    if not entries:
        return "<p>No work is entered yet: who unset, cleaned or set the stone, with what, and when.</p>"
    return "<h4>Work so far</h4>" + "".join(map(_entry, reversed(entries)))


def _entry(entry: WorkEntry) -> str:
    lines = [
        f"<b>{escape(str(entry.kind))}</b>, {entry.done.astimezone():%Y-%m-%d %H:%M}, {escape(entry.done_by)}"
    ]
    for what, text in (("adhesive", entry.adhesive), ("solvent", entry.solvent)):
        if text:
            lines.append(f"{what}: {escape(text)}")
    if entry.remark:
        lines.append(escape(entry.remark).replace("\n", "<br>"))
    entered = f"entered by {escape(entry.by)}, " if entry.by != entry.done_by else ""
    lines.append(f"<small>{entered}<a href='back:{entry.id}'>take back</a></small>")
    return f"<p>{'<br>'.join(lines)}</p>"

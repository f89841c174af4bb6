"""The versions of a stone's record, and what was changed from one to another, as a page for a text widget."""

from collections.abc import Iterator, Mapping, Sequence
from html import escape
from itertools import groupby
from typing import Any

from setstone.record.entries import PhotographEntry, Signature
from setstone.record.versions import Change, Version, plain

#: Stands for the record as it is now where a version is chosen.
NOW = "as it stands now"
#: Not of interest to who reads what a part holds: it is told by its name already, or follows from the rest.
_LEFT_OUT = ("sha256", "light stated", "setstone", "white", "blue")


def version_words(version: Version) -> str:
    """Name a version with the day on which it was signed."""
    return f"version {version.number} ({version.signatures[-1].at.astimezone():%Y-%m-%d})"


def signed(signature: Signature) -> str:
    """Who and when, in local time.

    >>> from datetime import UTC, datetime
    >>> signed(Signature("Ada", datetime(2026, 3, 2, 12, tzinfo=UTC))).startswith("Ada, 2026-03-0")
    True
    """
    return f"{signature.by}, {signature.at.astimezone():%Y-%m-%d %H:%M}"


def versions_html(versions: Sequence[Version]) -> str:
    """Lay out who signed which version, and who took a signature back, the newest first."""
    return "<h4>Signed so far</h4>" + "".join(map(_version, reversed(versions)))


def difference_html(
    changes: Sequence[Change], older: int, newer: int | None, photographs: Sequence[PhotographEntry] = ()
) -> str:
    """Lay out what was changed, part by part.

    Parameters
    ----------
    changes : sequence of Change
        In the order of the record.
    older, newer : int or None
        Numbers of the versions compared; None for the record as it stands now.
    photographs : sequence of PhotographEntry
        Of the stone: they are shown by their names.
    """
    names = {p.sha256[:12]: p.name for p in photographs}
    to = f"since version {older}" if newer is None else f"from version {older} to version {newer}"
    heading = f"<h4>Changed {to}</h4>"
    if not changes:
        return heading + "<p>Nothing was changed.</p>"
    return heading + "".join(
        _part(part, list(of_part), names) for part, of_part in groupby(changes, lambda c: c.of)
    )


def _version(version: Version) -> str:
    lines = [f"<b>Version {version.number}</b>"]
    lines += [f"signed by {escape(signed(s))}" for s in version.signatures]
    lines += [f"signature taken back by {escape(signed(s))}" for s in version.taken_back]
    return f"<p>{'<br>'.join(lines)}</p>"


def _part(part: str, changes: Sequence[Change], names: Mapping[str, str]) -> str:
    first = changes[0]
    title = _title(part, first, names)
    if not first.field:
        came = first.before is None
        lines = _held(first.after if came else first.before)
        return f"<p><b>{'+' if came else '−'} {title}</b> ({'new' if came else 'gone'})<br>{'<br>'.join(lines)}</p>"
    lines = (
        f"{escape(c.field)}: {_shown(c.before, names)} → <b>{_shown(c.after, names)}</b>" for c in changes
    )
    return f"<p><b>{title}</b><br>{'<br>'.join(lines)}</p>"


def _title(part: str, change: Change, names: Mapping[str, str]) -> str:
    kind, _, number = part.partition(" ")
    if kind == "photograph":
        held = change.after or change.before
        name = held.get("name") if isinstance(held, dict) else None
        part = f"photograph {name or names.get(number, number)}"
    return escape(part[:1].upper() + part[1:])


def _held(values: Mapping[str, Any]) -> Iterator[str]:
    for name, value in values.items():
        if name not in _LEFT_OUT and value not in (None, "", [], {}, False):
            yield f"{escape(name)}: {_shown(value, {})}"


def _shown(value: object, names: Mapping[str, str]) -> str:
    if isinstance(value, str) and value[:12] in names:
        return escape(names[value[:12]])
    if isinstance(value, dict) and "um_per_px" in value:
        return escape(
            f"{value['um_per_px']:.4g} µm per pixel, {value['source']} {value['detail'] or ''}".strip()
        )
    return escape(plain(value)).replace("\n", "<br>")

"""What comparing two days of a stone has shown, as a page for a text widget."""

from collections.abc import Iterator, Sequence
from html import escape

from setstone.annotate.bench.comparing import Compared
from setstone.annotate.texts import english
from setstone.annotate.two_days import TwoDays
from setstone.annotate.wording import kind_words
from setstone.measure.changes import LIMITS, Where
from setstone.measure.same_stone import meaning
from setstone.measure.units import shorter_turn
from setstone.record.glue_words import glue_notes, glue_rows
from setstone.record.gluing import WorkShown
from setstone.record.identity import Found

_CAUTION = (
    "A candidate is no finding: look at each in both photographs, and judge it in the panel Review. What glare or the "
    "setting hides is not comparable, never gone; what is seen only before may still be there and catch the light otherwise."
)

_HEADINGS = {
    Where.AFTER: "Seen only after",
    Where.LONGER: "Longer after",
    Where.BEFORE: "Seen only before",
    Where.UNKNOWN: "Not comparable",
    Where.BOTH: "Seen in both",
}


def compare_html(compared: Compared) -> str:
    """Lay out a comparison; a link ``fly:PLACE`` stands at each mark, counted from 0."""
    if compared.shown is None:
        parts = [f"<h4>Not laid on one another</h4><p>{escape(compared.found.refused)}</p>"]
    else:
        parts = [*_lists(compared, compared.shown)]
    if compared.found.same is None:
        parts.append(f"<h4>Same stone?</h4><p>{escape(compared.found.no_same)}</p>")
    else:
        same = compared.found.same
        parts.append(
            f"<h4>Same stone? – {escape(str(same.strength))}</h4><p>{escape(same.why)} {escape(meaning(same))}</p>"
        )
    if compared.found.glue is not None:
        parts.append(_glue(compared.found.glue))
    elif compared.found.no_glue:
        parts.append(f"<h4>Glue</h4><p>{escape(compared.found.no_glue)}</p>")
    return "".join(parts)


def _lists(compared: Compared, shown: TwoDays) -> Iterator[str]:
    """Headings, and under each what is seen so."""
    damage = [m.changed.change.possible_damage for m in shown.marks]
    yield from (f"<p><b>{escape(note)}</b></p>" for note in shown.comparison.both.notes)
    if not any(damage):
        yield "<h4>No possible damage was raised</h4>"
    else:
        yield _list(
            "Possible damage",
            "New bright lines after the work, or new ends of old ones. Look at these first; lines that may be reflections of them follow.",
            shown,
            [at for at, possible in enumerate(damage) if possible],
        )
    yield f"<p>{escape(_compared(shown))}</p>"
    for where in Where:
        places = [
            at for at, mark in enumerate(shown.marks) if mark.changed.change.where is where and not damage[at]
        ]
        if places:
            yield _list(_HEADINGS[where], "", shown, places)
    if not shown.marks:
        yield "<h4>No candidate or finding is listed on either day</h4>"
    registration = shown.comparison.both.registration
    angle, way = shorter_turn(registration.turned_deg)
    fit = (
        "without a scale"
        if shown.comparison.residual_um is None
        else f"to {shown.comparison.residual_um:.0f} µm (root mean square)"
    )
    yield (
        f"<p>{_CAUTION} {LIMITS}</p><h4>How they lie on one another</h4><p>{escape(compared.found.after)} was turned by "
        f"{angle:.1f}° {way} to lie on {escape(compared.found.before)}: {escape(registration.reason)}, {fit}.{_kept(compared)}</p>"
    )


def _compared(shown: TwoDays) -> str:
    """How much of the stone could be compared, under each light."""
    shares = shown.comparison.comparable
    told = ", ".join(f"{share:.0%} under {lamp} light" for lamp, share in shares.items())
    return f"Of the stone both days show so that they can be compared: {told}."


def _kept(compared: Compared) -> str:
    kept = compared.kept
    if kept is None:
        return ""
    return f" Kept in the book by {escape(kept.by)}, {kept.at.astimezone():%Y-%m-%d %H:%M}."


def found_html(found: Found) -> str:
    """Lay out which stones of a book photographs may show; a link ``stone:ID`` stands at each."""
    matches = found.matches
    if not matches:
        return f"<h4>No stone can be named</h4><p>{escape(found.says)}</p>"
    rows = (
        f"<p><a href='stone:{m.stone.id}'>{escape(m.stone.full_name)}</a> ({escape(m.occasion)}): "
        f"<b>{escape(str(m.result.strength))}</b><br><small>{escape(m.result.why)}</small></p>"
        for m in matches
    )
    return f"<h4>The photographs are most like</h4>{''.join(rows)}<p>{escape(found.says)} {escape(meaning(matches[0].result))}</p>"


def _list(heading: str, remark: str, shown: TwoDays, places: Sequence[int]) -> str:
    rows = [f"<h4>{escape(heading)}</h4>"]
    if remark:
        rows.append(f"<p>{escape(remark)}</p>")
    if shown.marks[places[0]].changed.change.where is Where.BOTH:  # many, and nothing to be done about them
        links = (
            f"<a href='fly:{at}'>{escape(shown.marks[at].label)}</a> ({escape(shown.marks[at].changed.occasion)})"
            for at in places
        )
        return f"{rows[0]}<p>{', '.join(links)}</p>"
    for at in places:
        mark = shown.marks[at]
        entry = mark.changed.entry
        rows.append(
            f"<p><a href='fly:{at}'>{escape(mark.label)} {escape(kind_words(entry, english()))}</a> "
            f"({escape(mark.changed.occasion)}{', accepted' if entry.is_finding else ''})<br><small>{escape(mark.changed.says)}</small></p>"
        )
    return "".join(rows)


def _glue(shown: WorkShown) -> str:
    rows = "".join(
        f"<tr><td>{escape(what)}</td><td>{escape(before)}</td><td>{escape(after)}</td></tr>"
        for what, before, after in glue_rows(shown)
    )
    notes = "".join(f"<p><small>{escape(note)}</small></p>" for note in glue_notes(shown))
    return (
        f"<h4>Glue on the rim, and haze</h4><table cellspacing='6'><tr><th></th><th>{escape(shown.before)}</th>"
        f"<th>{escape(shown.after)}</th></tr>{rows}</table>{notes}"
    )

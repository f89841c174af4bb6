"""What the panel of the test record says: what was understood of a reading, what to be careful about."""

from collections.abc import Sequence
from html import escape

from setstone.record.entries import ReadingEntry, RemarkEntry
from setstone.record.errors import BookError
from setstone.record.evidence.readings import ReadingKind, Typed, reading_kind
from setstone.record.evidence.understand import understand

#: How each reading may be typed.
_EXAMPLES = {
    ReadingKind.REFRACTOMETER: "1.762-1.770, or >1.81",
    ReadingKind.DISTANT_VISION: "1.54",
    ReadingKind.THERMAL: "high, moderate or low",
    ReadingKind.POLARISCOPE: "single, double, aggregate",
    ReadingKind.DOUBLING: "none, slight or strong",
    ReadingKind.OPTIC_CHARACTER: "uniaxial negative",
    ReadingKind.DENSITY: "4.00, or 0.5302 g / 0.3975 g",
    ReadingKind.UV_LONG: "strong red, or inert",
    ReadingKind.UV_SHORT: "weak red, or inert",
    ReadingKind.PLEOCHROISM: "distinct: blue / green",
    ReadingKind.COLOUR: "red",
    ReadingKind.OBSERVATION: "curved striae",
    ReadingKind.SPECTRUM: "694 nm line",
}
# Common practice, no source, but for the lamps: IEC 62471:2006, actinic and near-ultraviolet hazards.
_ULTRAVIOLET = (
    "Ultraviolet light harms eyes and skin: look from behind the lamp's shield or through glasses made for it, and "
    "follow the lamp's risk group (IEC 62471) and your local rules."
)
_LIQUID = (
    "Contact liquid is harmful to breathe, swallow or touch: use one drop, keep it off porous and doublet stones and "
    "out of the setting, follow its safety sheet and your local rules."
)
_THERMAL_LEGEND = (
    "A thermal tester tells diamond from neither moissanite nor laboratory-grown diamond, and a touch on metal reads "
    "like diamond. Check it on its reference stones first."
)
_WATER = "Weigh only unset stones that bear water: no porous, filled, glued or crazed ones."
_CAUTIONS = {
    ReadingKind.REFRACTOMETER: _LIQUID,
    ReadingKind.DISTANT_VISION: _LIQUID,
    ReadingKind.THERMAL: _THERMAL_LEGEND,
    ReadingKind.DENSITY: _WATER,
    ReadingKind.UV_LONG: _ULTRAVIOLET,
    ReadingKind.UV_SHORT: _ULTRAVIOLET,
}


def example_of(test: str) -> str:
    """How a reading of this test may be typed; empty for a test that is not known."""
    kind = reading_kind(test)
    return "" if kind is None else _EXAMPLES[kind]


def caution_about(test: str) -> str:
    """What to be careful about in this test; may be empty."""
    kind = reading_kind(test)
    return "" if kind is None else _CAUTIONS.get(kind, "")


def understood_words(test: str, value: str, *, unit: str, uncertainty: str, stone_is_set: bool) -> str:
    """Say what is understood of a reading as typed so far; empty as long as nothing is.

    >>> understood_words("refractometer", ">1.81", unit="", uncertainty="", stone_is_set=True)
    'Understood: over the limit: no edge below 1.81.'
    """
    if not value.strip():
        return ""
    try:
        understood = understand(Typed(test, value, unit, uncertainty, stone_is_set))
    except BookError as error:
        return str(error)
    unused = f" It is kept, but not weighed: {understood.unused}." if understood.unused else ""
    return f"Understood: {understood.says}.{unused}"


def notes_html(readings: Sequence[ReadingEntry], remarks: Sequence[RemarkEntry]) -> str:
    """Lay out readings and remarks, the latest first."""
    if not readings and not remarks:
        return "<p>No readings or remarks yet. A reading is not a verdict: several materials may be consistent with it.</p>"
    told = [(e.at, _reading(e)) for e in readings] + [(e.at, _remark(e)) for e in remarks]
    return "".join(html for _, html in sorted(told, reverse=True))


def _reading(entry: ReadingEntry) -> str:
    value = f"{entry.value} {entry.unit}".strip()
    if entry.uncertainty:
        value += f" ± {entry.uncertainty.removeprefix('±').strip()}"
    state = "set" if entry.stone_is_set else "unset"
    details = ", ".join(x for x in (entry.instrument, f"stone {state}", entry.remark) if x)
    says = understood_words(
        entry.test,
        entry.value,
        unit=entry.unit,
        uncertainty=entry.uncertainty,
        stone_is_set=entry.stone_is_set,
    )
    return (
        f"<p><b>{escape(entry.test)}: {escape(value)}</b><br>{escape(says)}<br>"
        f"<small>{escape(details)}; {_signed(entry)}</small></p>"
    )


def _remark(entry: RemarkEntry) -> str:
    text = escape(entry.text).replace("\n", "<br>")
    return f"<p>{text}<br><small>{_signed(entry)}</small></p>"


def _signed(entry: ReadingEntry | RemarkEntry) -> str:
    return f"{escape(entry.by)}, {entry.at.astimezone():%Y-%m-%d %H:%M}"

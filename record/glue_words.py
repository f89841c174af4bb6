"""What comparing the glue of two occasions has shown, in words."""

from setstone.measure.quantity import Quantity
from setstone.record.gluing import WorkShown

#: How both photographs were brought to one light.
_BROUGHT = {
    "grey card": "white was set by a grey card, the exposure by the metal around the stone: where that was cleaned, the difference holds it too.",
    "metal": "both photographs were brought to one light by the metal around the stone: where that was cleaned, the figures of colour mean "
    "nothing; photograph a grey card each time.",
}


def glue_rows(shown: WorkShown) -> tuple[tuple[str, str, str], ...]:
    """What was measured, before and after."""
    before, after = shown.glue.before, shown.glue.after
    return (
        ("yellowness index (ASTM E313)", _figure(before.yellowness), _figure(after.yellowness)),
        ("share of the rim with residue", str(before.residue), str(after.residue)),
        ("crazing", _figure(before.crazing), _figure(after.crazing)),
        ("haze of the stone", _plain(shown.haze_before), _plain(shown.haze_after)),
    )


def _figure(quantity: Quantity | None) -> str:
    return "–" if quantity is None else str(quantity)


def _plain(number: float | None) -> str:
    return "–" if number is None else f"{number:.2f}"


def glue_notes(shown: WorkShown) -> tuple[str, ...]:
    """What has to be known beside the figures, in sentences."""
    change, notes = shown.glue, []
    if change.difference is not None:
        notes.append(
            f"Corresponding places differ by CIEDE2000 {change.difference}, nine tenths by less than "
            f"{change.greatest_difference:.1f}; {_BROUGHT[change.reference or 'metal']}"
        )
    if change.declined:
        notes.append(f"Colours are not compared: {change.declined}")
    elif not change.near_neutral:
        notes.append(
            "The stone's own colour outweighs the glue's: the difference says more than the yellowness index."
        )
    if shown.less_sharp:
        notes.append(
            f"The photographs '{shown.less_sharp}' are less sharp than the others: residue and crazing show less in them. "
            "Do not read that as work done; take them again in focus."
        )
    notes.append(
        "k = 2. A rim without glue reads up to 0.6 of residue, from edges of facets and a frosted setting: read before against after. "
        "Haze falls as a stone grows more brilliant, and is compared for photographs taken alike."
    )
    return tuple(notes)

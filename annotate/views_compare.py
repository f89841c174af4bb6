"""Before and after, worded and drawn for the template of the hand-out."""

import base64
from typing import Any

import numpy as np
from markupsafe import Markup

from setstone.annotate import style
from setstone.annotate.casing import around
from setstone.annotate.legend import length_label, round_length
from setstone.annotate.lettering import plain
from setstone.annotate.overlay import stroke, tagged
from setstone.annotate.shapes import Group, Overlay
from setstone.annotate.sheet import ENLARGED
from setstone.annotate.sheet_compare import ComparisonSheet
from setstone.annotate.svg import svg_inline
from setstone.annotate.texts import Texts
from setstone.annotate.two_days import Mark
from setstone.annotate.wording import figure, kind_words
from setstone.measure.candidates import percent
from setstone.measure.changes import Where
from setstone.measure.quantity import Quantity
from setstone.measure.same_stone import LEAST, MOST, SameStone, Strength
from setstone.measure.units import shorter_turn
from setstone.record.entries import StoneEntry

View = dict[str, Any]

#: On paper a picture is 34 mm wide: lines and labels are drawn so many times as large.
_ON_PAPER = 2.4

_LINES = {
    Where.AFTER: style.ONLY_AFTER,
    Where.LONGER: style.ONLY_AFTER,
    Where.BEFORE: style.ONLY_BEFORE,
    Where.UNKNOWN: style.NOT_COMPARABLE,
}


def compare_view(sheet: ComparisonSheet, stone: StoneEntry, texts: Texts) -> View:
    """Word and draw a comparison.

    Parameters
    ----------
    sheet : ComparisonSheet
    stone : StoneEntry
    texts : Texts

    Returns
    -------
    dict
        With ``"refused"``, ``"same"`` and ``"same_why"`` alone where the photographs do not lie on one another.
    """
    same = texts("compare.same_open") if sheet.same is None else _same(sheet.same, texts)
    open_because = sheet.no_same
    if sheet.same is not None and sheet.same.strength is Strength.OPEN:
        open_because = sheet.same.why
    identity = {"same": same, "same_why": texts.said(open_because)}
    if sheet.refused:
        return {"refused": texts.said(sheet.refused), **identity}
    differing = [mark for mark in sheet.marks if mark.changed.change.where in _LINES]
    on_screen = overlay_of_changes(sheet, texts, ENLARGED)
    name = f"s{stone.id}-days"
    angle, way = shorter_turn(sheet.turned_deg)
    fit = "" if sheet.residual_um is None else texts("compare.fit", residual=f"{sheet.residual_um:.0f}")
    return {
        "refused": None,
        **identity,
        "notes": [texts.said(note) for note in sheet.notes],
        "id": name,
        "before": texts.occasion(sheet.before),
        "after": texts.occasion(sheet.after),
        "intro": texts(
            "compare.intro",
            before=plain(texts.occasion(sheet.before)),
            after=plain(texts.occasion(sheet.after)),
            turn=texts(f"compare.{way}", angle=texts.number(f"{angle:.1f}")),
            fit=fit,
        ),
        "overlay": overlay_of_changes(sheet, texts, _ON_PAPER),
        "svg": Markup(svg_inline(on_screen, lambda _number: None, "")),  # noqa: S704 escaped by xml.etree
        "pictures": [_picture(sheet, str(lamp), stone, texts) for lamp in sheet.pictures],
        "bar": _bar(sheet, texts),
        "rows": [
            {"n": place, "shown": f"{name}-{_lamp(mark, sheet)}", **_row(mark, sheet, texts)}
            for place, mark in enumerate(differing, 1)
        ],
        "unraised": not any(mark.changed.change.possible_damage for mark in differing),
        "compared": [
            texts(f"compare.compared_{lamp}", share=f"{100 * share:.0f}")
            for lamp, share in sheet.comparable.items()
        ],
        "both": texts("compare.both", count=len(sheet.marks) - len(differing)),
        "glue": _glue(sheet, texts),
        "glue_notes": _glue_notes(sheet, texts),
        "no_glue": texts.said(sheet.no_glue) if sheet.no_glue else None,
        "declined": texts.said(sheet.glue.glue.declined if sheet.glue else ""),
    }


def overlay_of_changes(sheet: ComparisonSheet, texts: Texts, enlarged: float) -> Overlay:
    """Draw what differs, each with its number and sign, numbered by its row; lines and labels so many times as large."""
    width, height = sheet.size
    unit = enlarged * max(width, height) / 1000
    marks = [mark for mark in sheet.marks if mark.changed.change.where in _LINES]
    lines = [_LINES[mark.changed.change.where] for mark in marks]
    paths = [
        around(mark.path, style.CLEARANCE * unit, closed=True) if mark.closed else mark.path for mark in marks
    ]
    tags = tagged(
        [mark.label for mark in marks],
        paths,
        lines,
        positions=np.array([path.mean(axis=0) for path in paths]).reshape(-1, 2),
        outline=sheet.girdle,
        size=sheet.size,
        unit=unit,
    )
    groups = tuple(
        Group(
            "candidate",
            f"{mark.label} {kind_words(mark.changed.entry, texts)}",
            (*leader, *stroke(path, line, unit, closed=mark.closed)),
            tag=label,
            number=place,
        )
        for place, (mark, line, path, (leader, label)) in enumerate(
            zip(marks, lines, paths, tags, strict=True), 1
        )
    )
    return Overlay(width, height, 0, texts("compare.marks_name"), texts("compare.marks"), groups)


def _picture(sheet: ComparisonSheet, lamp: str, stone: StoneEntry, texts: Texts) -> View:
    copies = next(c for at, c in sheet.pictures.items() if str(at) == lamp)
    light = texts(f"light.{lamp}")
    position = plain(stone.position)
    occasions = {"before": plain(texts.occasion(sheet.before)), "after": plain(texts.occasion(sheet.after))}
    return {
        "lamp": lamp,
        "light": texts(f"compare.light_{lamp}"),
        "light_short": texts(f"picture.light_{lamp}"),
        "width": copies.width,
        "height": copies.height,
        "difference": base64.b64encode(copies.difference).decode(),
        "alt_difference": texts("compare.alt_difference", position=position, light=light),
        "days": [
            {
                "name": name,
                "occasion": occasions[name],
                "data": base64.b64encode(getattr(copies, name)).decode(),
                "alt": texts(f"compare.alt_{name}", position=position, occasion=occasions[name], light=light),
            }
            for name in ("before", "after")
        ],
    }


def _lamp(mark: Mark, sheet: ComparisonSheet) -> str:
    """Light of the picture that shows a mark: that it was seen under, where both days have it."""
    own = mark.changed.entry.candidate.lamp
    lamps = [str(lamp) for lamp in sheet.pictures]
    return own if own in lamps else lamps[0]


def _bar(sheet: ComparisonSheet, texts: Texts) -> View | None:
    if sheet.um_per_px is None:
        return None
    whole = sheet.size[0] * sheet.um_per_px
    length = round_length(whole / 3)
    return {
        "share": f"{1000 * length / whole:.2f}",
        "whole_um": f"{whole:.2f}",
        "label": texts.number(length_label(length)),
    }


def _row(mark: Mark, sheet: ComparisonSheet, texts: Texts) -> View:
    change, entry = mark.changed.change, mark.changed.entry
    where = {
        Where.AFTER: "after",
        Where.LONGER: "longer",
        Where.BEFORE: "before",
        Where.UNKNOWN: "unknown",
    }[change.where]
    if entry.candidate.kind == "line":
        why = [texts("compare.line_share", share=round(100 * change.share))]
    else:
        why = [texts("compare.spot_there" if change.share else "compare.spot_gone")]
    if (could := round(100 * change.comparable)) < 100:
        why.append(texts("compare.could", could=could))
    if 0 < change.chance < 1:
        key = "compare.chance" if change.grown is None else "compare.chance_end"
        why.append(texts(key, chance=percent(change.chance)))
    return {
        "label": mark.label,
        "role": "finding" if entry.is_finding else "candidate",
        "kind": kind_words(entry, texts),
        "seen": texts(
            f"compare.{where}",
            occasion=plain(texts.occasion(sheet.after if change.of_after else sheet.before)),
        )
        if where != "unknown"
        else texts("compare.unknown"),
        "damage": change.possible_damage,
        "again": change.perhaps_reflection,
        "why": "; ".join(why),
    }


def _same(same: SameStone, texts: Texts) -> str:
    """How strongly the photographs speak for one stone, in two or three sentences."""
    ratio = same.likelihood_ratio
    said = [texts(f"compare.same_{same.strength.name.lower()}")]
    if same.strength is not Strength.OPEN:
        times = ratio if ratio >= 1 else 1 / ratio
        often = texts(
            "compare.at_least" if ratio in (MOST, LEAST) else "compare.about",
            ratio=f"{times:,.0f}".replace(",", "\u202f"),
        )
        said.append(texts("compare.same_ratio" if ratio >= 1 else "compare.same_counter", ratio=often))
    return " ".join([*said, texts("compare.same_note")])


def _glue(sheet: ComparisonSheet, texts: Texts) -> list[tuple[str, str, str]]:
    """What was measured at the rim, before and after; nothing where nothing was."""
    if sheet.glue is None:
        return []
    before, after = sheet.glue.glue.before, sheet.glue.glue.after

    def told(quantity: Quantity | None) -> str:
        return texts("compare.not_measured") if quantity is None else figure(quantity, texts)

    def plainly(number: float | None) -> str:
        return texts("compare.not_measured") if number is None else texts.number(f"{number:.2f}")

    return [
        (texts("compare.yellowness"), told(before.yellowness), told(after.yellowness)),
        (texts("compare.residue"), told(before.residue), told(after.residue)),
        (texts("compare.crazing"), told(before.crazing), told(after.crazing)),
        (texts("compare.haze"), plainly(sheet.glue.haze_before), plainly(sheet.glue.haze_after)),
    ]


def _glue_notes(sheet: ComparisonSheet, texts: Texts) -> list[str]:
    if sheet.glue is None:
        return []
    change = sheet.glue.glue
    notes = []
    if change.difference is not None:
        notes.append(texts("compare.colour_difference", difference=figure(change.difference, texts)))
        by_card = change.reference == "grey card"
        notes.append(texts("compare.light_by_card" if by_card else "compare.light_by_metal"))
        if not change.near_neutral:
            notes.append(texts("compare.own_colour"))
    if sheet.glue.less_sharp:
        notes.append(texts("compare.less_sharp", occasion=plain(texts.occasion(sheet.glue.less_sharp))))
    return [*notes, texts("compare.glue_note")]

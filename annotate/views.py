"""What the template of the hand-out prints, all of it worded: no arithmetic is left to the template."""

import base64
from collections.abc import Sequence
from datetime import datetime
from typing import Any

import numpy as np
from markupsafe import Markup

from setstone import __version__
from setstone.annotate import style
from setstone.annotate.legend import length_label, round_length
from setstone.annotate.lettering import plain, text_width
from setstone.annotate.overlay import shown, stroke
from setstone.annotate.phrases import Said
from setstone.annotate.shapes import Group, Overlay, Path, Text, pill
from setstone.annotate.sheet import ObjectPicture, OccasionSheet, PictureSheet, StoneSheet
from setstone.annotate.svg import svg_inline
from setstone.annotate.texts import Texts
from setstone.annotate.views_compare import compare_view
from setstone.annotate.wording import (
    contrast_words,
    figure,
    kind_words,
    reason_words,
    score_words,
    size_words,
)
from setstone.measure.candidates import LIKELY, percent
from setstone.measure.colour import StoneColour
from setstone.measure.scale import Scale
from setstone.record.consistency import TOO_MANY, Consistency, Line, ReadAs, alike
from setstone.record.entries import CandidateEntry, ExaminationEntry, FactEntry, StoneEntry, WorkEntry
from setstone.record.evidence.gist import LEADING
from setstone.record.evidence.readings import ESTIMATED_WEIGHT

View = dict[str, Any]
#: Width of the largest stone at a glance, in CSS pixels: two stand beside each other on a phone.
GLANCE_PX = 132
#: What a reason of a candidate does.
_SIDES = {True: "for", False: "against", None: "open"}


def page_view(sheets: Sequence[StoneSheet], texts: Texts, *, made: datetime, workshop: str) -> View:
    """Word the whole hand-out; parameters as `setstone.annotate.handout.render`."""
    objects = tuple(dict.fromkeys(sheet.stone.object_name for sheet in sheets))
    return {
        "generator": f"setstone {__version__}",
        "version": __version__,
        "title": texts("page.title", object=", ".join(objects)),
        "workshop": workshop,
        "made": texts.date(made),
        "object_names": objects,
        "several_objects": len(objects) > 1,
        "objects": object_views(sheets, texts),
        "wholes": whole_views(sheets, texts),
        "stones": [stone_view(sheet, texts) for sheet in sheets],
        "files": file_views(sheets, texts),
        "keys": key_views(texts),
        "glance": overview_views(sheets),
        "shown_from": percent(LIKELY),
        #: Whether anybody is named among readings and work.
        "names": any(r.entry.by for s in sheets for r in s.readings)
        or any(w.done_by for s in sheets for w in s.work),
    }


def stone_view(sheet: StoneSheet, texts: Texts) -> View:
    """Word everything about one stone."""
    stone = sheet.stone
    return {
        "id": f"s{stone.id}",
        "object_name": stone.object_name,
        "position": stone.position,
        "claim": stone.claimed_as,
        "weight": _weight(sheet.readings, texts),
        "exams": [_exam(sheet, occasion, texts) for occasion in sheet.occasions],
        "compare": compare_view(sheet.comparison, stone, texts) if sheet.comparison else None,
        "readings": [_reading(r, texts) for r in sheet.readings if not _is_weight(r)],
        "consistency": _consistency(sheet.consistency, texts) if _worth_telling(sheet.consistency) else None,
        "remarks": [
            {
                "text": plain(remark.text, lines=True),
                "by": _by("remarks.by", remark.by, texts, date=texts.date(remark.at)),
            }
            for remark in sheet.remarks
        ],
        "facts": [_fact(fact, texts) for fact in sheet.facts],
        "work": [_work(work, texts) for work in sheet.work],
        "signed": _signed(sheet, texts),
    }


def object_views(sheets: Sequence[StoneSheet], texts: Texts) -> list[View]:
    """Word what is said of the objects, each once."""
    first = {sheet.stone.object_name: sheet for sheet in reversed(sheets)}
    return [
        {"name": name, "facts": [_fact(fact, texts) for fact in sheet.object_facts]}
        for name, sheet in reversed(first.items())
        if sheet.object_facts
    ]


def whole_views(sheets: Sequence[StoneSheet], texts: Texts) -> list[View]:
    """Lay out the photographs of the objects as a whole, with a tag at each stone that leads to its page."""
    views = []
    for name in dict.fromkeys(sheet.stone.object_name for sheet in sheets):
        stones = [sheet.stone for sheet in sheets if sheet.stone.object_name == name]
        picture = next(s.object_picture for s in sheets if s.stone.object_name == name)
        if picture is None:
            continue
        drawn = places_overlay(picture, stones, texts)
        views.append(
            {
                "name": name,
                "data": base64.b64encode(picture.jpeg).decode(),
                "width": picture.width,
                "height": picture.height,
                "alt": texts("whole.alt", object=plain(name)),
                "overlay": drawn,
                "svg": Markup(svg_inline(drawn, lambda stone: f"#s{stone}", "")),  # noqa: S704 escaped by xml.etree
            }
        )
    return views


def places_overlay(picture: ObjectPicture, stones: Sequence[StoneEntry], texts: Texts) -> Overlay:
    """Draw a tag with its position at each stone in the photograph of an object."""
    unit = max(picture.width, picture.height) / 1000
    size = style.TAG_TEXT * unit
    groups = []
    for stone in stones:
        place = picture.photograph.places.get(stone.id)
        if place is None:
            continue
        x, y = place[0] * picture.width, place[1] * picture.height
        label = plain(stone.position)
        width = text_width(label, size, bold=True) + 16 * unit
        groups.append(
            Group(
                "legend",
                texts("stone.jump", position=label),
                (),
                tag=(
                    Path(
                        pill(x, y, width + 3 * unit, style.TAG_HEIGHT * unit + 3 * unit),
                        closed=True,
                        fill=style.WHITE,
                    ),
                    Path(pill(x, y, width, style.TAG_HEIGHT * unit), closed=True, fill=style.BLUE),
                    Text(label, x, y + 0.36 * size, size, style.WHITE, bold=True, anchor="middle"),
                ),
                number=stone.id,
            )
        )
    return Overlay(picture.width, picture.height, 0, texts("whole.places"), "", tuple(groups))


def overview_views(sheets: Sequence[StoneSheet]) -> list[View]:
    """Lay out the stones at a glance: all at one scale; one without a scale as large as the largest."""
    shown = [
        (s, s.occasions[-1].pictures[0].cut_out) for s in sheets if s.occasions and s.occasions[-1].pictures
    ]
    widest = max((cut.width_mm for _, cut in shown if cut.width_mm), default=1.0)
    views = []
    for sheet, cut in shown:
        width = round(GLANCE_PX * (cut.width_mm or widest) / widest)
        views.append(
            {
                "stone": f"s{sheet.stone.id}",
                "position": sheet.stone.position,
                "claim": sheet.stone.claimed_as,
                "data": base64.b64encode(cut.jpeg).decode(),
                "width": width,
                "height": round(width * cut.height / cut.width),
                "scaled": cut.width_mm is not None,
            }
        )
    return views


def file_views(sheets: Sequence[StoneSheet], texts: Texts) -> list[View]:
    """List the photographs a hand-out rests on."""
    return [
        {
            "stone": sheet.stone.position,
            "name": texts(
                "files.name",
                occasion=texts.occasion(occasion.examination.occasion),
                light=texts(f"light.{picture.lamp}"),
            ),
            "sha256": picture.photograph.sha256,
        }
        for sheet in sheets
        for occasion in sheet.occasions
        for picture in occasion.pictures
    ]


def key_views(texts: Texts) -> list[View]:
    """Draw a sample of each line with its meaning."""
    line = np.array([[5.0, 8.0], [46.0, 8.0]])
    kinds = {
        "finding": style.FINDING,
        "candidate": style.CANDIDATE,
        "girdle": style.OUTLINE,
        "extrapolated": style.EXTRAPOLATED,
    }
    return [
        {
            "svg": _markup(
                Overlay(51, 16, 0, "", "", (Group("legend", "", stroke(line, kind, 1.4, closed=False)),))
            ),
            "text": texts(f"key.{name}"),
        }
        for name, kind in kinds.items()
    ]


def _exam(sheet: StoneSheet, occasion: OccasionSheet, texts: Texts) -> View:
    entry = occasion.examination
    exam_id = f"s{sheet.stone.id}e{entry.id}"
    listed = shown(entry)
    open_ones = [c for c in entry.candidates if c.decision is None]
    result = entry.result
    widths = result.diameters
    pictures = [_picture(sheet, entry, picture, exam_id, texts) for picture in occasion.pictures]
    targets = {
        group.number: f"{exam_id}-{picture.lamp}-{group.number}"
        for picture in occasion.pictures
        for group in picture.overlay.groups
    }
    rows = [_row(c, targets.get(c.number), texts) for c in listed]
    return {
        "id": exam_id,
        "occasion": texts.occasion(entry.occasion),
        "pictures": pictures,
        "mean": figure(widths.mean, texts) if widths else "",
        "diameters": texts(
            "exam.diameters",
            mean=figure(widths.mean, texts),
            least=figure(widths.least, texts),
            greatest=figure(widths.greatest, texts),
        )
        if widths
        else "",
        "outline": texts(
            "exam.outline_seen",
            shape=texts(f"shape.{result.outline.shape}"),
            percent=round(100 * float(result.outline.seen.mean())),
        )
        if result.outline
        else "",
        "scale": _scale(result.scale, texts) if result.scale else "",
        "colour": _colour(result.colour, texts) if result.colour else (),
        "examined": _by("exam.examined", entry.by, texts, date=texts.date(entry.made), version=entry.version),
        "flags": [texts.said(flag.text) for flag in result.flags],
        "findings": [row for row in rows if row["finding"]],
        "candidates": [row for row in rows if not row["finding"]],
        "weak": sum(c.candidate.score < LIKELY for c in open_ones),
        "rejected": sum(not c.is_finding and c.decision is not None for c in entry.candidates),
    }


def _picture(
    sheet: StoneSheet, entry: ExaminationEntry, picture: PictureSheet, exam_id: str, texts: Texts
) -> View:
    words = {
        "position": plain(sheet.stone.position),
        "occasion": plain(texts.occasion(entry.occasion)),
        "light": texts(f"light.{picture.lamp}"),
    }
    name = f"{exam_id}-{picture.lamp}"
    taken = picture.photograph.taken
    return {
        "id": name,
        "light": texts(f"picture.light_{picture.lamp}"),
        "label": texts("picture.label", **words),
        "alt": texts("picture.alt", **words),
        "small": base64.b64encode(picture.copies.small).decode(),
        "width": picture.copies.width,
        "height": picture.copies.height,
        "full": base64.b64encode(picture.copies.full).decode(),
        "svg": _markup(picture.overlay, exam_id, name),
        "bar": _bar(picture, texts),
        "date": texts("picture.caption", date=texts.date(taken)) if taken else texts("picture.undated"),
    }


def _bar(picture: PictureSheet, texts: Texts) -> View | None:
    """Scale bar of at most a third of the picture: its share of the width in thousandths, its label, the width in µm."""
    if picture.um_per_px is None:
        return None
    whole = picture.overlay.width * picture.um_per_px
    length = round_length(whole / 3)
    return {
        "share": f"{1000 * length / whole:.2f}",
        "label": texts.number(length_label(length)),
        "whole_um": f"{whole:.3f}",
    }


def _row(entry: CandidateEntry, target: str | None, texts: Texts) -> View:
    candidate, decision = entry.candidate, entry.decision
    decided = ""
    if decision is not None:
        decided = _by("table.accepted", plain(decision.by), texts, date=texts.date(decision.at))
    by_hand = entry.origin == "hand"
    return {
        "number": entry.number,
        "target": target,
        "finding": entry.is_finding,
        "kind": kind_words(entry, texts),
        "origin": texts("table.by_hand")
        if by_hand
        else texts("table.seen_in", light=texts(f"light.{candidate.lamp}")),
        "decided": decided,
        "reason": decision.reason if decision else "",
        "reasons": [
            {"side": _SIDES[r.speaks_for], "said": reason_words(r, candidate.kind, texts)}
            for r in candidate.reasons
        ],
        "sizes": size_words(candidate, texts),
        "contrast": contrast_words(candidate, texts),
        "score": texts("table.hand_score") if by_hand else score_words(candidate, texts),
    }


def _reading(reading: ReadAs, texts: Texts) -> View:
    entry = reading.entry
    value = f"{entry.value} {entry.unit}".strip()
    if entry.uncertainty:
        value += f" ± {entry.uncertainty.removeprefix('±').strip()}"
    if reading.mark:
        understood = texts.saying("readings.not_weighed", why=reading.mark)
    else:
        understood = texts.said("" if reading.says == entry.value else reading.says)
    return {
        "date": texts.date(entry.taken or entry.at),
        "test": texts.said(entry.test).text,
        "value": value,
        "understood": understood,
        "unchecked": bool(reading.unchecked),
        "findings": [
            texts("readings.finding", number=n, occasion=texts.occasion(o)) for o, n in entry.findings
        ],
        "instrument": entry.instrument,
        "state": texts("readings.set" if entry.stone_is_set else "readings.unset"),
        "remark": entry.remark,
        "by": entry.by,
    }


def _is_weight(reading: ReadAs) -> bool:
    return reading.entry.test == ESTIMATED_WEIGHT


def _weight(readings: Sequence[ReadAs], texts: Texts) -> View | None:
    """Word the estimate of the weight kept last: its figure with the uncertainty, and what it rests on."""
    kept = [reading.entry for reading in readings if _is_weight(reading)]
    if not kept:
        return None
    return {
        "value": texts.said(f"{kept[-1].value} ± {kept[-1].uncertainty}"),
        "rests_on": texts.said(kept[-1].remark),
    }


def _worth_telling(found: Consistency) -> bool:
    return bool(found.lines or found.excluded or any(t.signs for t in found.treatments))


def _consistency(found: Consistency, texts: Texts) -> View:
    listed = [line for line in found.lines if line.relative >= LEADING]
    undecided = len(listed) > TOO_MANY
    return {
        "lines": [] if undecided else [_materials(same, texts) for same in alike(listed)],
        "none": texts("consistency.undecided", count=len(listed))
        if undecided
        else texts("consistency.none")
        if not found.lines
        else "",
        "others": " ".join(
            texts(f"consistency.{kind}", count=count)
            for kind, count in (
                ("less_probable", len(found.lines) - len(listed)),
                ("excluded", len(found.excluded)),
            )
            if count
        ),
        "warnings": [texts.said(w) for w in (*(c.text for c in found.contradictions), *found.composite)],
        "treatments": [texts.said(t.verdict) for t in found.treatments],
        "cannot_tell": [texts.said(text) for text in found.cannot_tell],
        "open": [
            texts.saying("consistency.open_test", test=t.test, why=t.why)
            for t in found.next_tests
            if t.possible or not any(u.possible for u in found.next_tests)
        ][:2],
        "cautions": [texts.said(text) for text in found.cautions],
    }


def _materials(lines: Sequence[Line], texts: Texts) -> View:
    """Word materials of which the readings say the same; how well they fit as of the one that fits least."""
    first, least = lines[0], min(line.relative for line in lines)
    if first.rank == 1:
        fit = texts("consistency.first")
    else:
        times = f"{1 / least:.0f}" if least < 0.1 else f"{1 / least:.1f}"
        fit = texts("consistency.less", times=texts.number(times))
    nothing = Said(texts("consistency.nothing"))
    return {
        "names": [texts.said(line.name) for line in lines],
        "note": texts.said(first.note),
        "fit": fit,
        "for": texts.said(first.speaks_for) if first.speaks_for else nothing,
        "against": texts.said(first.speaks_against) if first.speaks_against else nothing,
    }


def _fact(fact: FactEntry, texts: Texts) -> View:
    return {
        "name": texts(f"facts.{fact.fact}"),
        "value": fact.value,
        "by": _by("facts.by", fact.by, texts, date=texts.date(fact.at)),
    }


def _work(work: WorkEntry, texts: Texts) -> View:
    return {
        "date": texts.date(work.done),
        "what": texts(f"work.{work.kind.name.lower()}"),
        "adhesive": work.adhesive,
        "solvent": work.solvent,
        "remark": work.remark,
        "by": work.done_by,
    }


def _signed(sheet: StoneSheet, texts: Texts) -> str:
    version = sheet.version
    if version is None:
        return ""
    signature = version.signatures[-1]
    name = "signed.changed" if sheet.changed_since else "signed.unchanged"
    return _by(name, signature.by, texts, number=version.number, date=texts.date(signature.at))


def _by(name: str, by: str, texts: Texts, **values: object) -> str:
    """Fill in a text that names a person, or its plain form where nobody is named."""
    return texts(name, by=by, **values) if by else texts(f"{name}_plain", **values)


def _scale(scale: Scale, texts: Texts) -> str:
    source = texts(f"scale.{scale.source}", detail=scale.detail).replace(" ()", "")
    return texts("exam.scale_u", source=source, percent=texts.number(f"{200 * scale.relative_u:.2g}"))


def _colour(colour: StoneColour, texts: Texts) -> tuple[str, ...]:
    lightness, a, b = (f"{round(v)}" for v in colour.lab)
    return (
        *([texts("exam.colour_name", hue=texts.colour(colour.hue).text)] if colour.hue else []),
        texts("exam.colour_lab", lightness=lightness, a=a, b=b),
        *(
            []
            if colour.unevenness is None
            else [texts("exam.colour_even", difference=texts.number(f"{colour.unevenness:.2g}"))]
        ),
        texts("exam.colour_haze", haze=texts.number(f"{colour.haze:.2g}")),
    )


def _markup(overlay: Overlay, exam_id: str = "", name: str = "") -> Markup:
    drawn = svg_inline(overlay, lambda number: f"#{exam_id}-{number}" if exam_id else None, name)
    return Markup(drawn)  # noqa: S704 built and escaped by xml.etree

"""Entries as JSON for scripts: stable keys, the unit in each key's name, times in ISO 8601 UTC."""

import math
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from setstone.measure.candidates import Candidate
from setstone.measure.examination import Examination, Flag
from setstone.measure.quantity import Quantity
from setstone.record.consistency import Consistency, Line, ReadAs
from setstone.record.entries import (
    CandidateEntry,
    ComparisonEntry,
    ExaminationEntry,
    FactEntry,
    JournalEntry,
    ObjectEntry,
    ObjectPhotograph,
    PhotographEntry,
    ReadingEntry,
    RemarkEntry,
    Signature,
    StoneEntry,
    WorkEntry,
)
from setstone.record.estimating import Estimate
from setstone.record.evidence.materials import Material, Range
from setstone.record.evidence.next_test import NextTest
from setstone.record.progress import Progress
from setstone.record.versions import Change, Version

if TYPE_CHECKING:
    from setstone.capture.judging import Fitness
    from setstone.measure.glue import Rim
    from setstone.record.changing import Comparison
    from setstone.record.gluing import WorkShown
    from setstone.record.identity import Found, Match

#: How a unit is spelt in a key.
UNIT_KEYS = {"mm": "_mm", "µm": "_um", "µm/px": "_um_per_px", "mm/mm²": "_mm_per_mm2", "": ""}


def quantity(name: str, value: Quantity | None) -> dict[str, float | None]:
    """Give `name` with its unit, and its standard uncertainty."""
    if value is None:
        return {}
    key = name + UNIT_KEYS[value.unit]
    return {key: value.value, f"{key}_standard_uncertainty": value.u}


def time(moment: datetime | None) -> str | None:
    """Write a moment in ISO 8601 with offset."""
    return None if moment is None else moment.isoformat()


def flags(entries: Sequence[Flag]) -> list[dict[str, str]]:
    """Give flags as code and sentence."""
    return [{"code": f.code, "text": f.text} for f in entries]


def object_photograph(shown: ObjectPhotograph | None) -> dict[str, Any] | None:
    """Give the photograph of an object as a whole."""
    if shown is None:
        return None
    return {
        "sha256": shown.sha256,
        "name": shown.name,
        "width": shown.width,
        "height": shown.height,
    }


def an_object(entry: ObjectEntry) -> dict[str, Any]:
    """Give an object of the book."""
    return {"object": entry.name, "description": entry.description}


def stone(entry: StoneEntry) -> dict[str, Any]:
    """Give a stone of the book."""
    return {"object": entry.object_name, "stone": entry.position, "claimed_as": entry.claimed_as}


def photograph(entry: PhotographEntry) -> dict[str, Any]:
    """Give a photograph as stored."""
    return {
        "sha256": entry.sha256,
        "name": entry.name,
        "path": str(entry.path),
        "light": str(entry.lamp),
        "light_stated": entry.lamp_stated,
        "occasion": entry.occasion,
        "taken": time(entry.taken),
        "by": entry.operator,
        "magnification": entry.magnification,
        "setup_id": entry.setup_id,
        "scale_in_file_um_per_px": entry.um_per_px,
        "width_px": entry.width,
        "height_px": entry.height,
        "bit_depth": entry.bit_depth,
        "format": entry.format,
        "size_bytes": entry.size_bytes,
        "added": time(entry.added),
        "flags": flags(entry.flags),
    }


def fitness(found: "Fitness") -> dict[str, Any]:
    """Give the verdict on a photograph; figures that are not known are null."""

    def known(value: float) -> float | None:
        return value if math.isfinite(value) else None

    limits = found.sampling
    return {
        "verdict": found.verdict,
        "flags": [{"code": f.code, "text": f.text} for f in found.flags],
        "blur_px": known(found.focus.best_px),
        "sharpest_at": found.focus.sharpest,
        "shake_px": found.focus.shake_px,
        "overexposed_share": found.clipped,
        "black_share": found.black,
        "uneven_ratio": found.uneven,
        "red_over_green": known(found.cast[0]),
        "blue_over_green": known(found.cast[1]),
        "abbe_um": None if limits is None else limits.abbe_um,
        "rayleigh_um": None if limits is None else limits.rayleigh_um,
        "smallest_seen_um": None if limits is None else limits.smallest_seen_um,
    }


def candidate(entry: CandidateEntry) -> dict[str, Any]:
    """Give a candidate or finding with the decision in force."""
    proposed: Candidate = entry.candidate
    decision = entry.decision
    sizes: dict[str, float | None] = {}
    for name, value in proposed.sizes.items():
        sizes |= quantity(name, value)
    return {
        "number": entry.number,
        "kind": proposed.kind,
        "origin": entry.origin,
        "light": proposed.lamp,
        "score": round(proposed.score, 4),
        "contrast_grey_levels": None if math.isnan(proposed.contrast) else proposed.contrast,
        **sizes,
        "rests_on": [{"code": r.code, "text": r.text, "speaks_for": r.speaks_for} for r in proposed.reasons],
        "path_px": proposed.path.round(3).tolist(),
        "decision": None
        if decision is None
        else {
            "verdict": str(decision.verdict),
            "finding": None if decision.kind is None else str(decision.kind),
            "reason": decision.reason,
            "by": decision.by,
            "at": time(decision.at),
        },
    }


def measured(result: Examination) -> dict[str, Any]:
    """Give what was measured, without the candidates."""
    scale, found, colour = result.scale, result.diameters, result.colour
    return {
        "scale": None
        if scale is None
        else {
            "um_per_px": scale.um_per_px,
            "um_per_px_standard_uncertainty": scale.u_um_per_px,
            "source": scale.source,
            "detail": scale.detail,
        },
        "diameter": None
        if found is None
        else {
            **quantity("mean", found.mean),
            **quantity("least", found.least),
            **quantity("greatest", found.greatest),
        },
        "outline": None
        if result.outline is None
        else {"shape": result.outline.shape, "points_px": result.outline.points.round(3).tolist()},
        "colour": None
        if colour is None
        else {
            "cielab_d65": list(colour.lab),
            "hue": colour.hue,
            "unevenness_ciede2000": colour.unevenness,
            "haze": colour.haze,
        },
        "reference_photograph": result.reference,
    }


def examination(entry: ExaminationEntry, of: StoneEntry) -> dict[str, Any]:
    """Give one examination with its candidates."""
    return {
        **stone(of),
        "occasion": entry.occasion,
        "made": time(entry.made),
        "by": entry.by,
        "setstone": entry.version,
        "white_sha256": entry.white,
        "blue_sha256": entry.blue,
        **measured(entry.result),
        "candidates": [candidate(c) for c in entry.candidates],
        "flags": flags(entry.result.flags),
    }


def reading(entry: ReadingEntry) -> dict[str, Any]:
    """Give a reading."""
    withdrawn = entry.withdrawn
    return {
        "number": entry.id,
        "test": entry.test,
        "value": entry.value,
        "unit": entry.unit,
        "uncertainty": entry.uncertainty,
        "instrument": entry.instrument,
        "stone_is_set": entry.stone_is_set,
        "remark": entry.remark,
        "details": dict(entry.details),
        "findings": [{"occasion": o, "number": n} for o, n in entry.findings],
        "taken": time(entry.taken),
        "by": entry.by,
        "at": time(entry.at),
        "withdrawn": None
        if withdrawn is None
        else {
            "replaced_by": withdrawn.replaced_by,
            "reason": withdrawn.reason,
            "by": withdrawn.by,
            "at": time(withdrawn.at),
        },
    }


def read_as(entry: ReadAs) -> dict[str, Any]:
    """Give a reading with what was understood of it."""
    return {
        **reading(entry.entry),
        "understood": entry.says,
        "not_weighed_because": entry.mark or None,
        "marked_because": entry.unchecked or None,
    }


def line(entry: Line) -> dict[str, Any]:
    """Give a material with what the readings say of it."""
    return {
        "material": entry.material_id,
        "name": entry.name,
        "kind": entry.kind,
        "note": entry.note,
        "rank": entry.rank or None,
        "relative_probability": entry.relative,
        "speaks_for": entry.speaks_for,
        "speaks_against": entry.speaks_against,
    }


def next_test(entry: NextTest) -> dict[str, Any]:
    """Give a test that was not made yet."""
    return {
        "test": entry.test,
        "expected_gain_bits": entry.gain_bits,
        "why": entry.why,
        "cautions": list(entry.cautions),
        "possible_now": entry.possible,
    }


def consistency(entry: Consistency) -> dict[str, Any]:
    """Give all that the readings of a stone say."""
    return {
        **stone(entry.stone),
        "summary": entry.summary,
        "readings": [read_as(r) for r in entry.read],
        "consistent_with": [line(r) for r in entry.lines],
        "not_consistent_with": [line(r) for r in entry.excluded],
        "contradictions": [
            {"text": c.text, "do": c.do, "readings": list(c.reading_ids)} for c in entry.contradictions
        ],
        "composite": list(entry.composite),
        "treatments": [
            {
                "question": t.question,
                "verdict": t.verdict,
                "signs": list(t.signs),
                "look_for": list(t.missing),
            }
            for t in entry.treatments
        ],
        "cautions": list(entry.cautions),
        "cannot_tell": list(entry.cannot_tell),
    }


def material(entry: Material) -> dict[str, Any]:
    """Give a row of the table of materials."""

    def limits(range_: Range | None) -> list[float] | None:
        return None if range_ is None else [range_.low, range_.high]

    return {
        "material": entry.id,
        "name": entry.name,
        "kind": str(entry.kind),
        "group": entry.group,
        "refraction": str(entry.refraction),
        "index": limits(entry.index),
        "birefringence": limits(entry.birefringence),
        "index_of_pavilion": limits(entry.pavilion),
        "density_g_per_cm3": limits(entry.density),
        "hardness_mohs": limits(entry.hardness),
        "thermal": sorted(entry.thermal),
        "signs": sorted(entry.signs),
        "cautions": entry.cautions,
        "source": entry.source,
        "from_memory": entry.from_memory,
    }


def estimate(entry: Estimate) -> dict[str, Any]:
    """Give an estimated weight."""
    least, greatest = entry.weight.range_ct
    return {
        "estimated_weight_ct": entry.weight.weight.value,
        "estimated_weight_ct_standard_uncertainty": entry.weight.weight.u,
        "least_ct": least,
        "greatest_ct": greatest,
        "formula": entry.weight.formula,
        **quantity("length", entry.length),
        **quantity("width", entry.width),
        "rests_on": entry.rests_on,
    }


def remark(entry: RemarkEntry) -> dict[str, Any]:
    """Give a remark."""
    return {"text": entry.text, "by": entry.by, "at": time(entry.at)}


def journal(entry: JournalEntry) -> dict[str, Any]:
    """Give one line of the journal."""
    return {
        "at": time(entry.at),
        "by": entry.by,
        "action": entry.action,
        "subject": entry.subject,
        "before": entry.before,
        "after": entry.after,
    }


def fact(entry: FactEntry) -> dict[str, Any]:
    """Give what is said of an object or of a setting, and how it is known."""
    return {
        "what": str(entry.fact),
        "said": entry.value,
        "known_how": entry.fact.known_how,
        "by": entry.by,
        "at": time(entry.at),
    }


def work(entry: WorkEntry) -> dict[str, Any]:
    """Give what was done to a stone."""
    return {
        "number": entry.id,
        "what": str(entry.kind),
        "done": time(entry.done),
        "done_by": entry.done_by,
        "adhesive": entry.adhesive,
        "solvent": entry.solvent,
        "remark": entry.remark,
        "by": entry.by,
        "at": time(entry.at),
    }


def signature(entry: Signature | None) -> dict[str, Any] | None:
    """Give who signed and when."""
    return None if entry is None else {"by": entry.by, "at": time(entry.at)}


def version(entry: Version) -> dict[str, Any]:
    """Give a version without the record itself."""
    return {
        "version": entry.number,
        "signed": [signature(s) for s in entry.signatures],
        "taken_back": [signature(s) for s in entry.taken_back],
    }


def change(entry: Change) -> dict[str, Any]:
    """Give one difference between versions."""
    return {"of": entry.of, "what": entry.field, "before": entry.before, "after": entry.after}


def progress(entry: Progress) -> dict[str, Any]:
    """Give how a stone stands."""
    return {
        **stone(entry.stone),
        "state": str(entry.stage),
        "photographs": entry.photographs,
        "to_examine": list(entry.to_examine),
        "findings": entry.findings,
        "to_judge": entry.left,
        "contradictions": entry.contradictions,
        "signed": signature(entry.signature),
        "last_entry": time(entry.changed),
    }


def match(found: "Match") -> dict[str, Any]:
    """Say how strongly photographs speak for a stone of the book."""
    from setstone.measure.same_stone import meaning

    return {
        **stone(found.stone),
        "occasion": found.occasion,
        "strength": str(found.result.strength),
        "likelihood_ratio": found.result.likelihood_ratio,
        "why": found.result.why,
        "meaning": meaning(found.result),
        "turn_deg": found.result.turn_deg,
    }


def found(search: "Found") -> dict[str, Any]:
    """Say which stones of the book photographs may show, and what that means."""
    return {
        "stones_searched": search.stones,
        "examinations_not_searched": search.lacking,
        "findings": search.findings,
        "says": search.says,
        "matches": [match(one) for one in search.matches],
    }


def work_shown(shown: "WorkShown") -> dict[str, Any]:
    """What two occasions show of the glue."""
    change = shown.glue

    def rim(of: "Rim") -> dict[str, Any]:
        return {
            **quantity("yellowness_astm_e313", of.yellowness),
            **quantity("residue_share", of.residue),
            **quantity("crazing", of.crazing),
        }

    return {
        "before": {"occasion": shown.before, **rim(change.before), "haze": shown.haze_before},
        "after": {"occasion": shown.after, **rim(change.after), "haze": shown.haze_after},
        **quantity("ciede2000", change.difference),
        "ciede2000_ninth_decile": change.greatest_difference,
        "reference": change.reference,
        "declined": change.declined,
        "near_neutral": change.near_neutral,
        "less_sharp": shown.less_sharp or None,
    }


def comparison(entry: "Comparison", kept: "ComparisonEntry | None" = None) -> dict[str, Any]:
    """Two occasions compared, and what else was kept of them."""
    both = entry.both
    return {
        "before": both.before.occasion,
        "after": both.after.occasion,
        "turned_deg": both.registration.turned_deg,
        "after_to_before": both.registration.matrix.tolist(),
        "residual_um": entry.residual_um,
        "notes": list(both.notes),
        "comparable": dict(entry.comparable),
        "places_agreeing": both.registration.agreeing,
        "places_heard": both.registration.heard,
        "changes": [
            {
                "occasion": one.occasion,
                "number": one.entry.number,
                "kind": one.entry.candidate.kind,
                "finding": one.entry.is_finding,
                "seen": str(one.change.where),
                "possible_damage": one.change.possible_damage,
                "perhaps_reflection": one.change.perhaps_reflection,
                "chance_new": one.change.chance,
                "grown_px": None if one.change.grown is None else one.change.grown.tolist(),
                "evidence": one.says,
            }
            for one in entry.changed
        ],
        "kept": None if kept is None else {"same": kept.result.same, "glue": list(kept.result.glue)},
    }

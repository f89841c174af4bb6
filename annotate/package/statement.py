"""What the workshop states of an object, as JSON: figures with unit and uncertainty, readings, work; see the schema."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from setstone.annotate.package.regions import kind_of
from setstone.annotate.sheet import OccasionSheet, PictureSheet, StoneSheet
from setstone.annotate.sheet_compare import ComparisonSheet
from setstone.measure.changes import Where
from setstone.measure.glue import Rim
from setstone.measure.quantity import Quantity
from setstone.record.consistency import ReadAs
from setstone.record.entries import CandidateEntry, ExaminationEntry, FactEntry, WorkEntry

FORMAT = "setstone evidence"
VERSION = 1


@dataclass(frozen=True)
class Copy:
    """A photograph as it lies in the package.

    Parameters
    ----------
    file : str
    sha256 : str
    unaltered : bool
        Whether it is the original, byte for byte.
    """

    file: str
    sha256: str
    unaltered: bool


def statement(
    sheets: Sequence[StoneSheet],
    copies: Mapping[str, Copy],
    *,
    whole: Copy | None = None,
    workshop: str,
    made: datetime,
) -> dict[str, Any]:
    """Gather what is stated; it fits ``templates/readings.schema.json``.

    Parameters
    ----------
    sheets : sequence of StoneSheet
        Stones of one object, as they leave the house.
    copies : mapping of str to Copy
        By SHA-256 of the original.
    whole : Copy, optional
        Of the photograph of the object.
    workshop : str
    made : datetime
        Aware.

    Returns
    -------
    dict
        Names and remarks stand in it as typed.
    """
    return {
        "format": FORMAT,
        "version": VERSION,
        "made": made.isoformat(),
        "workshop": workshop,
        "object": sheets[0].stone.object_name,
        "photograph": _whole(sheets, whole),
        "facts": [_fact(fact) for fact in sheets[0].object_facts],
        "stones": [_stone(sheet, copies) for sheet in sheets],
    }


def latest_entry(sheets: Sequence[StoneSheet]) -> datetime | None:
    """When the last of all that is stated was entered; None where nothing is."""
    return max((moment for sheet in sheets for moment in _moments(sheet)), default=None)


def _moments(sheet: StoneSheet) -> Iterator[datetime]:
    yield from (remark.at for remark in sheet.remarks)
    yield from (fact.at for fact in (*sheet.object_facts, *sheet.facts))
    yield from (work.at for work in sheet.work)
    for reading in sheet.readings:
        yield reading.entry.at
    for occasion in sheet.occasions:
        yield occasion.examination.made
        for candidate in occasion.examination.candidates:
            if candidate.decision is not None:
                yield candidate.decision.at
    if sheet.version is not None:
        for signed in sheet.version.signatures:
            yield signed.at


def _whole(sheets: Sequence[StoneSheet], copy: Copy | None) -> dict[str, Any] | None:
    picture = sheets[0].object_picture
    if picture is None or copy is None:
        return None
    places = ((sheet.stone.position, picture.photograph.places.get(sheet.stone.id)) for sheet in sheets)
    return {
        **_file(picture.photograph.sha256, copy),
        "places": [{"stone": stone, "x": at[0], "y": at[1]} for stone, at in places if at is not None],
    }


def _file(original_sha256: str, copy: Copy) -> dict[str, Any]:
    return {
        "original_sha256": original_sha256,
        "file": copy.file,
        "file_sha256": copy.sha256,
        "unaltered": copy.unaltered,
    }


def _stone(sheet: StoneSheet, copies: Mapping[str, Copy]) -> dict[str, Any]:
    found = sheet.consistency
    return {
        "stone": sheet.stone.position,
        "claimed_as": sheet.stone.claimed_as,
        "facts": [_fact(fact) for fact in sheet.facts],
        "examinations": [_examination(occasion, copies) for occasion in sheet.occasions],
        "comparison": None if sheet.comparison is None else comparison_statement(sheet.comparison),
        "readings": [_reading(reading) for reading in sheet.readings],
        "summary": found.summary,
        "consistent_with": [
            {
                "material": line.name,
                "kind": line.kind,
                "note": line.note,
                "relative_probability": line.relative,
            }
            for line in found.lines
        ],
        "cannot_tell": list(found.cannot_tell),
        "treatment": [
            {"question": t.question, "verdict": t.verdict, "signs": list(t.signs)} for t in found.treatments
        ],
        "work": [_work(work) for work in sheet.work],
        "remarks": [{"text": r.text, "at": r.at.isoformat(), **_by(r.by)} for r in sheet.remarks],
    }


def _examination(occasion: OccasionSheet, copies: Mapping[str, Copy]) -> dict[str, Any]:
    entry = occasion.examination
    return {
        "occasion": entry.occasion,
        "made": entry.made.isoformat(),
        "program": f"setstone {entry.version}",
        **_by(entry.by),
        "photographs": [_photograph(p, copies[p.photograph.sha256]) for p in occasion.pictures],
        **_measured(entry),
        "findings": [_finding(c) for c in entry.candidates if c.is_finding],
        "flags": [flag.text for flag in entry.result.flags],
    }


def _photograph(picture: PictureSheet, copy: Copy) -> dict[str, Any]:
    taken = picture.photograph.taken
    return {
        "light": picture.lamp,
        "taken": None if taken is None else taken.isoformat(),
        **_file(picture.photograph.sha256, copy),
    }


def _measured(entry: ExaminationEntry) -> dict[str, Any]:
    scale, sizes = entry.result.scale, entry.result.diameters
    return {
        "scale": None
        if scale is None
        else {**_quantity(Quantity(scale.um_per_px, scale.u_um_per_px, "µm/px")), "source": scale.source},
        "girdle": None
        if sizes is None
        else {
            "mean": _quantity(sizes.mean),
            "least": _quantity(sizes.least),
            "greatest": _quantity(sizes.greatest),
        },
    }


def comparison_statement(sheet: ComparisonSheet) -> dict[str, Any]:
    """State what is seen on one of two days only."""
    changes = [mark.changed for mark in sheet.marks]
    glue = sheet.glue
    return {
        "before": sheet.before,
        "after": sheet.after,
        "not_compared_because": sheet.refused or None,
        "fit": None if sheet.residual_um is None else {"value": sheet.residual_um, "unit": "µm"},
        "seen_on_both": sum(one.change.where is Where.BOTH for one in changes),
        "differing": [
            {
                "occasion": one.occasion,
                "number": one.entry.number,
                "kind": kind_of(one.entry)
                if one.entry.is_finding
                else f"candidate {one.entry.candidate.kind}",
                "is_finding": one.entry.is_finding,
                "seen": str(one.change.where),
                "possible_damage": one.change.possible_damage,
                "evidence": one.says,
            }
            for one in changes
            if one.change.where is not Where.BOTH
        ],
        "rim": None
        if glue is None
        else {
            "before": {**_rim(glue.glue.before), "haze_index": glue.haze_before},
            "after": {**_rim(glue.glue.after), "haze_index": glue.haze_after},
            "difference_ciede2000": _known(glue.glue.difference),
            "colours_not_compared_because": glue.glue.declined or None,
            "less_sharp": glue.less_sharp or None,
        },
    }


def _rim(rim: Rim) -> dict[str, Any]:
    return {
        "yellowness_astm_e313": _known(rim.yellowness),
        "residue_share": _known(rim.residue),
        "crazing": _known(rim.crazing),
    }


def _finding(entry: CandidateEntry) -> dict[str, Any]:
    decision = entry.decision
    return {
        "number": entry.number,
        "kind": kind_of(entry),
        "light": entry.candidate.lamp,
        "origin": entry.origin,
        "sizes": {name: _quantity(value) for name, value in entry.candidate.sizes.items()},
        "decided": None if decision is None else {"at": decision.at.isoformat(), **_by(decision.by)},
    }


def _reading(read: ReadAs) -> dict[str, Any]:
    entry = read.entry
    return {
        "test": entry.test,
        "value": entry.value,
        "unit": entry.unit,
        "uncertainty": entry.uncertainty,
        "instrument": entry.instrument,
        "stone_is_set": entry.stone_is_set,
        "remark": entry.remark,
        "understood": read.says,
        "not_weighed_because": read.mark or None,
        "read": (entry.taken or entry.at).isoformat(),
        "entered": entry.at.isoformat(),
        **_by(entry.by),
    }


def _fact(entry: FactEntry) -> dict[str, Any]:
    return {
        "what": str(entry.fact),
        "said": entry.value,
        "known_how": entry.fact.known_how,
        "at": entry.at.isoformat(),
        **_by(entry.by),
    }


def _work(entry: WorkEntry) -> dict[str, Any]:
    return {
        "what": str(entry.kind),
        "done": entry.done.isoformat(),
        "adhesive": entry.adhesive,
        "solvent": entry.solvent,
        "remark": entry.remark,
        **_by(entry.done_by),
    }


def _quantity(quantity: Quantity) -> dict[str, Any]:
    return {"value": quantity.value, "standard_uncertainty": quantity.u, "unit": quantity.unit}


def _known(quantity: Quantity | None) -> dict[str, Any] | None:
    """A quantity, where it could be measured."""
    return None if quantity is None else _quantity(quantity)


def _by(name: str) -> dict[str, str]:
    """Who, where that leaves the house."""
    return {"by": name} if name else {}

"""Series through the focus: what a stack of the book was made from, and how deep candidates lie by it."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from setstone.record.entries import PhotographEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.evidence.materials import claimed
from setstone.record.photographs import photographs, stored_pixels
from setstone.record.store import Store

if TYPE_CHECKING:
    from setstone.capture.ome_writing import Derivation
    from setstone.measure.candidates import LampName
    from setstone.measure.depth import Index
    from setstone.measure.examination import Examination

#: What `series_parameters` writes.
_STEP = re.compile(r"\bstep (-?\d+(?:\.\d+)?) µm")
_TABLE = re.compile(r"\btable in frame (\d+(?:\.\d+)?)")


@dataclass(frozen=True)
class Series:
    """The frames of a focus stack and their distance.

    Parameters
    ----------
    frames : tuple of PhotographEntry
        In the order of the focus; the stack lies in the place of the first.
    step_um : float
        How far the focus went down from frame to frame, µm; negative where it went up.
    table : float or None
        Number of the frame, from 0, in which the table is sharp.
    """

    frames: tuple[PhotographEntry, ...]
    step_um: float
    table: float | None


def series_parameters(frames: int, step_um: float | None, table_frame: float | None) -> dict[str, str]:
    """Write down the step of a series, and the frame in which the table is sharp, for the file of its stack.

    Raises
    ------
    BookError
        When the step is no length, the frame is not of the series, or the frames are too few.
    """
    from setstone.measure.depth import FEWEST

    if step_um is None:
        if table_frame is not None:
            raise BookError(
                "The frame of the table tells depths only with the step between frames; give both."
            )
        return {}
    if not 0.01 <= abs(step_um) <= 10_000:
        raise BookError(
            f"{step_um:g} µm is no step between two frames; give it in µm, negative if the focus went up."
        )
    if frames < FEWEST:
        raise BookError(f"Depths need at least {FEWEST} frames; take more, or leave the step out.")
    told = {"step": f"{step_um:.6g} µm"}
    if table_frame is not None:
        if not 1 <= table_frame <= frames:
            raise BookError(f"The series has frames 1 to {frames}, no frame {table_frame:g}; count from 1.")
        told["table in frame"] = f"{table_frame:.6g}"
    return told


def derivation_of(entry: PhotographEntry) -> "Derivation | None":
    """Say how a photograph was made, and from which; None of a single exposure."""
    from setstone.capture.ome_writing import read_derivation

    return next((found for f in entry.flags if (found := read_derivation(f.text))), None)


def series_of(book: Store, stone: StoneEntry, entry: PhotographEntry) -> Series | None:
    """Find the series a photograph is the focus stack of; None when it is none, or its step was not given."""
    made = derivation_of(entry)
    step = None if made is None else _STEP.search(made.told)
    if made is None or step is None:
        return None
    known = {p.sha256[:12]: p for p in photographs(book, stone)}
    if not made.sources or any(k not in known for k in made.sources):
        return None
    table = _TABLE.search(made.told)
    return Series(
        tuple(known[k] for k in made.sources), float(step[1]), None if table is None else float(table[1]) - 1
    )


def claimed_index(stone: StoneEntry) -> "Index | None":
    """Refractive index of what the stone is claimed to be; None where the claim names no one material."""
    from setstone.measure.depth import Index

    meant = claimed(stone.claimed_as)
    if len({m.group for m in meant}) != 1:
        return None
    return Index(
        min(m.index.low for m in meant), max(m.index.high for m in meant), f"claimed: {stone.claimed_as}"
    )


def measured_depths(
    result: "Examination", series: "Mapping[LampName, Series]", index: "Index | None"
) -> "Examination":
    """Add depths to the candidates of an examination whose photographs are focus stacks.

    Parameters
    ----------
    result : Examination
    series : mapping of {"white", "blue"} to Series
        Each candidate is looked at under the light it was found in, else under the other.
    index : Index or None
        For true depths.

    Returns
    -------
    Examination
        With a flag where a frame can no longer be read.
    """
    from setstone.capture.stacking import align_series
    from setstone.measure.depth import with_depths
    from setstone.measure.examination import Flag

    found = list(result.candidates)
    flags = result.flags
    for lamp, one in series.items():
        mine = [k for k, c in enumerate(result.candidates) if c.lamp == lamp or c.lamp not in series]
        paths = [result.seen_in(lamp, found[k].path) for k in mine]
        seen = [replace(found[k], path=path) for k, path in zip(mine, paths, strict=True) if path is not None]
        if len(seen) < len(mine):  # the series lies on the photograph that could not be aligned
            continue
        try:
            motions = align_series(stored_pixels(f) for f in one.frames)
            frames = (stored_pixels(f) for f in one.frames)
            measured = with_depths(
                seen, frames, step_um=one.step_um, motions=motions, table=one.table, index=index
            )
        except BookError as error:
            flags += (Flag("no-depths", f"The depths of candidates are not told: {error}"),)
            continue
        for k, candidate in zip(mine, measured, strict=True):
            found[k] = replace(candidate, path=result.candidates[k].path)
    return replace(result, candidates=tuple(found), flags=flags)

"""Photographs made from others of the book: each names its sources and parameters, and the sources stay."""

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from sqlalchemy import insert

from setstone.capture.photograph import Pixels
from setstone.record import schema
from setstone.record.entries import PhotographEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.filing import file_away, suffix
from setstone.record.photographs import correct_photograph, stored_pixels
from setstone.record.series import series_parameters
from setstone.record.setups import find_setup
from setstone.record.store import Store
from setstone.record.taking import circumstances, keep_pixels, size_of
from setstone.record.text import operator

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from setstone.capture.ome_writing import Source
    from setstone.capture.photograph import Photograph

Way = Literal["average", "pyramid", "sharpest", "bracket"]


def combine(
    book: Store,
    stone: StoneEntry,
    entries: Sequence[PhotographEntry],
    way: Way,
    *,
    seconds: Sequence[float] | None = None,
    step_um: float | None = None,
    table_frame: float | None = None,
    by: str,
    progress: Callable[[str], None] | None = None,
) -> "tuple[PhotographEntry, NDArray[np.uint8] | None]":
    """Make one photograph from several of a stone and keep it beside them.

    Parameters
    ----------
    stone : StoneEntry
    entries : sequence of PhotographEntry
        Of one lamp, occasion and setup; for a stack in the order of the focus.
    way : {"average", "pyramid", "sharpest", "bracket"}
        The mean; a stack through the focus, two ways (`setstone.capture.stacking`); a bracket of exposures.
    seconds : sequence of float, optional
        Exposure times for a bracket, s.
    step_um : float, optional
        How far the focus went down from frame to frame of a stack, µm; negative where it went up. An examination
        of the stack then tells how deep candidates lie (`setstone.record.series`).
    table_frame : float, optional
        Number of the frame, from 1, in which the table is sharp.
    by : str
        Who makes it.
    progress : callable, optional
        Told the name of each photograph; whatever it raises ends the work, and nothing is kept.

    Returns
    -------
    entry : PhotographEntry
    depth : (H / 2, W / 2) uint8 array or None
        Of a stack: number of the frame each place is sharpest in.

    Raises
    ------
    BookError
        When they are not of one lamp, occasion and setup, one is named twice, or step or frame cannot be.
    PhotographError
        When they cannot be combined.
    """
    by = operator(by, required=True)
    if len(entries) < 2:
        raise BookError("One photograph alone cannot be combined; name at least two.")
    if len({e.sha256 for e in entries}) < len(entries):
        raise BookError("A photograph was named twice, and it is no repeat of itself; name each once.")
    if len({(e.lamp, e.occasion, e.setup_id) for e in entries}) > 1:
        raise BookError("The photographs differ in light, occasion or setup; combine only those taken alike.")
    if way not in ("pyramid", "sharpest") and (step_um is not None or table_frame is not None):
        raise BookError("Only a focus stack has a step and a frame of the table; leave them out.")
    parameters = series_parameters(len(entries), step_um, table_frame)
    frames = _frames(entries, progress)
    depth = None
    pixels: Pixels
    if way == "average":
        from setstone.capture.averaging import average
        from setstone.record.taking import average_facts

        mean = average(frames)
        pixels, (made_by, parameters) = mean.pixels, average_facts(mean)
    elif way == "bracket":
        from setstone.capture.bracketing import merge_exposures

        merged = merge_exposures(list(frames), seconds)
        pixels, made_by = merged.pixels, f"bracket of {len(entries)} exposures"
        parameters["relative exposures"] = " ".join(f"{e:.3g}" for e in merged.exposures)
    else:
        from setstone.capture.stacking import stack

        merged_stack = stack(frames, method=way)
        pixels, depth = merged_stack.pixels, merged_stack.depth
        made_by = f"focus stack of {len(entries)} frames"
        parameters["way"] = way
        if merged_stack.unaligned:
            parameters["not aligned"] = " ".join(entries[i].name for i in merged_stack.unaligned)
    return _keep(book, stone, entries, pixels, made_by, parameters, by), depth


def _frames(entries: Sequence[PhotographEntry], progress: Callable[[str], None] | None) -> Iterator[Pixels]:
    for entry in entries:
        if progress is not None:
            progress(entry.name)
        yield stored_pixels(entry)


def correct_light(
    book: Store,
    stone: StoneEntry,
    entry: PhotographEntry,
    *,
    blank: Path | None = None,
    card: Path | None = None,
    card_at: tuple[float, float, float, float] = (0.4, 0.4, 0.6, 0.6),
    by: str,
) -> PhotographEntry:
    """Divide out the shading by a blank field, balance the white by a grey card, and keep the result.

    Both are kept in the folder of photographs under their SHA-256, which the result names; they are of no stone.

    Parameters
    ----------
    stone : StoneEntry
    entry : PhotographEntry
    blank : Path, optional
        Photograph of an empty, even field with the same setup.
    card : Path, optional
        Photograph of a grey card under the same light.
    card_at : (float, float, float, float), optional
        Where the card is: left, top, right and bottom as shares of width and height.
    by : str
        Who corrects.

    Raises
    ------
    PhotographError
        When blank field or card are not fit.
    BookError
        When neither is given.
    """
    from setstone.capture.correcting import shading, white_balance
    from setstone.capture.ome_writing import Source
    from setstone.capture.open import open_photograph

    by = operator(by, required=True)
    pixels = stored_pixels(entry)
    used: list[dict[str, str]] = []
    made, parameters = [], {}
    if blank is not None:
        field = open_photograph(blank)
        pixels = shading(field.pixels).applied(pixels)
        used.append(_kept_reference(book, blank, field))
        made.append("shading divided out")
    if card is not None:
        photograph = open_photograph(card)
        height, width = photograph.pixels.shape[:2]
        x0, y0, x1, y1 = (round(s * n) for s, n in zip(card_at, (width, height, width, height), strict=True))
        balance = white_balance(photograph.pixels, (x0, y0, x1, y1), lamp=entry.lamp)
        pixels = balance.applied(pixels)
        used.append(_kept_reference(book, card, photograph))
        made.append("white balanced on a grey card")
        parameters["factors of linear red, green and blue"] = (
            f"{balance.red:.3f} {balance.green:.3f} {balance.blue:.3f}"
        )
    if not made:
        raise BookError("There is nothing to correct the light by; give a blank field or a grey card.")
    more = [Source(row["name"], row["sha256"]) for row in used]
    with book.atomic() as connection:
        kept = _keep(book, stone, [entry], pixels, ", ".join(made), parameters, by, more)
        rows = [{**row, "photograph_sha256": kept.sha256} for row in used]
        connection.execute(insert(schema.light_references), rows)
    return kept


def _kept_reference(book: Store, file: Path, photograph: "Photograph") -> dict[str, str]:
    """Keep the file of a blank field or grey card, and return its row but for the photograph it is for."""
    name = photograph.sha256 + suffix(photograph.format, photograph.name)
    file_away(file, book.photographs_folder / name, photograph.sha256)
    return {"sha256": photograph.sha256, "name": photograph.name, "file": name}


def _keep(
    book: Store,
    stone: StoneEntry,
    entries: Sequence[PhotographEntry],
    pixels: Pixels,
    made_by: str,
    parameters: dict[str, str],
    by: str,
    more: "Sequence[Source]" = (),
) -> PhotographEntry:
    from dataclasses import replace

    from setstone.capture.ome_writing import Source

    first = entries[0]
    setup = None if first.setup_id is None else find_setup(book, first.setup_id)
    facts = circumstances(
        book,
        size_of(pixels),
        lamp=first.lamp,
        setup=setup,
        made_by=made_by,
        parameters=parameters,
        sources=[*(Source(e.name, e.sha256) for e in entries), *more],
    )
    facts = replace(facts, taken=first.taken or facts.taken, um_per_px=facts.um_per_px or first.um_per_px)
    kept = keep_pixels(
        book,
        stone,
        pixels,
        facts,
        occasion=first.occasion,
        setup=setup,
        by=by,
        magnification=first.magnification,
    )
    if first.scale is not None:
        kept = correct_photograph(book, kept, scale=first.scale, by=by)
    return kept

"""Examine a stone of the book: its photographs in, an examination kept."""

from collections.abc import Callable
from dataclasses import replace

from setstone.capture.photograph import Lamp
from setstone.measure.errors import MeasurementError
from setstone.measure.examine import examine
from setstone.measure.label import parse_length
from setstone.measure.scale import Scale
from setstone.record.entries import ExaminationEntry, PhotographEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.examinations import save_examination
from setstone.record.occasions import occasions, spelt
from setstone.record.photographs import photographs, stored_pixels
from setstone.record.setups import calibrated_scale
from setstone.record.store import Store
from setstone.record.text import operator
from setstone.record.vocabulary import OCCASIONS

#: Relative standard uncertainty taken for a scale that came without one (common practice, no source).
_U_WITHOUT = 0.005


def given_length(text: str) -> float:
    """Read a length a person typed, such as ``"1 mm"`` or ``"500 µm"``, in micrometres.

    Raises
    ------
    BookError
        When it has no unit or is no length.
    """
    length = parse_length(text)
    if length is None:
        raise BookError(f"'{text}' is no length with a unit; write it as '1 mm' or '500 µm'.")
    return length


def given_scale(um_per_px: float) -> Scale:
    """Scale as stated by a person, in micrometres per pixel, with a relative uncertainty of 0.5 %."""
    return Scale(um_per_px, _U_WITHOUT * um_per_px, "given")


def examine_stone(
    book: Store,
    stone: StoneEntry,
    *,
    occasion: str | None = None,
    scale: Scale | None = None,
    bar_length_um: float | None = None,
    by: str,
    progress: Callable[[str], None] | None = None,
) -> ExaminationEntry:
    """Examine the latest white and blue photograph of a stone and keep the result.

    Parameters
    ----------
    book : Book
    stone : StoneEntry
    occasion : str, optional
        Which photographs; those of the occasion photographed last when not given.
    scale : Scale, optional
        Used before any other. Else one that a person measured on the photograph is used before the
        calibration of its setup, that before the scale bar, and that before the file's own.
    bar_length_um : float, optional
        Length printed at the scale bar, in micrometres, when it cannot be read.
    by : str
        Who examines.
    progress : callable, optional
        Told the name of each step; whatever it raises ends the examination and nothing is kept.

    Returns
    -------
    ExaminationEntry

    Raises
    ------
    BookError
        When there is no photograph of that occasion, or one was altered since it was added.
    MeasurementError
        When the photographs show no stone.
    """
    by = operator(by, required=True)
    with book.snapshot():
        known = occasions(book, stone)
        last = known[-1] if occasion is None and known else spelt(book, stone, occasion or OCCASIONS[0])
        # The one added last of each lamp: a better one is added after the one it replaces.
        latest = {p.lamp: p for p in photographs(book, stone, last)}
    if not latest:
        when = "" if occasion is None else f" of the occasion '{last}'"
        raise BookError(f"{stone.full_name} has no photographs{when}; add them first.")
    white, blue = latest.get(Lamp.WHITE), latest.get(Lamp.BLUE)
    first = white or blue
    if first is None:
        raise BookError(
            f"{stone.full_name} has no photograph under white or blue light ({last}); "
            "state the light of those it has, or add one."
        )
    calibrated, doubts = calibrated_scale(book, first)
    try:
        result = examine(
            None if white is None else stored_pixels(white),
            None if blue is None else stored_pixels(blue),
            scale=scale or first.scale or calibrated,
            bar_length_um=bar_length_um,
            file_scale=_file_scale(first),
            progress=progress,
        )
    except MeasurementError as error:
        names = " and ".join(f"'{p.name}'" for p in (white, blue) if p is not None)
        raise MeasurementError(f"{names}: {error}") from error
    flags = tuple(dict.fromkeys(f for p in (white, blue) if p is not None for f in p.flags))
    if scale is None and first.scale is None:
        flags += doubts
    return save_examination(
        book,
        stone,
        replace(result, flags=result.flags + flags),
        occasion=last,
        white=None if white is None else white.sha256,
        blue=None if blue is None else blue.sha256,
        by=by,
    )


def _file_scale(entry: PhotographEntry) -> Scale | None:
    if entry.um_per_px is None:
        return None
    return Scale(entry.um_per_px, _U_WITHOUT * entry.um_per_px, "file", entry.name)

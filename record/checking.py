"""Whether a photograph of the book is fit to be measured, with all that the book knows of it."""

from typing import TYPE_CHECKING

import numpy as np

from setstone.record.entries import ExaminationEntry, PhotographEntry
from setstone.record.examinations import latest_examinations
from setstone.record.inventory import stone_of_id
from setstone.record.photographs import stored_pixels
from setstone.record.setups import calibrated_scale, find_setup
from setstone.record.store import Store

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from setstone.capture.judging import Fitness

#: Smallest thing looked for where a person does not say: fine needles and pinpoints (common practice, no source).
SMALLEST_UM = 20.0


def check_photograph(book: Store, entry: PhotographEntry, *, smallest_um: float = SMALLEST_UM) -> "Fitness":
    """Judge a photograph: inside the stone, where it was examined, and with the scale and aperture known.

    Parameters
    ----------
    entry : PhotographEntry
    smallest_um : float, optional
        Smallest thing looked for, µm.

    Returns
    -------
    Fitness

    Raises
    ------
    BookError
        When the file was altered or lost since it was added.
    """
    from setstone.capture.judging import judge

    pixels = stored_pixels(entry)
    with book.snapshot() as connection:
        stone = stone_of_id(connection, entry.stone_id)
    examined = next((e for e in latest_examinations(book, stone) if entry.sha256 in (e.white, e.blue)), None)
    scale = entry.scale or calibrated_scale(book, entry)[0]
    if scale is None and examined is not None and _is_reference(examined, entry):
        scale = examined.result.scale
    return judge(
        pixels,
        inside=None if examined is None else _inside(examined, entry),
        lamp=entry.lamp,
        um_per_px=None if scale is None else scale.um_per_px,
        numerical_aperture=None
        if entry.setup_id is None
        else find_setup(book, entry.setup_id).numerical_aperture,
        smallest_um=smallest_um,
    )


def _is_reference(examined: ExaminationEntry, entry: PhotographEntry) -> bool:
    of = examined.white if examined.result.reference == "white" else examined.blue
    return of == entry.sha256


def _inside(examined: ExaminationEntry, entry: PhotographEntry) -> "NDArray[np.bool_] | None":
    import cv2

    if examined.result.outline is None:
        return None
    lamp = "white" if examined.white == entry.sha256 else "blue"
    points = examined.result.seen_in("white" if lamp == "white" else "blue", examined.result.outline.points)
    if points is None:
        return None
    mask = np.zeros((entry.height, entry.width), np.uint8)
    cv2.fillPoly(mask, [np.round(points).astype(np.int32)], 1)
    return mask > 0

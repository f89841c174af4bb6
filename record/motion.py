"""From the pixels of one examination's reference photograph to those of the next one's."""

import numpy as np
from numpy.typing import NDArray

from setstone.measure.examination import Examination
from setstone.measure.outline import Outline
from setstone.record.entries import ExaminationEntry
from setstone.record.photographs import find_photograph, stored_pixels
from setstone.record.store import Store

Matrix = NDArray[np.float64]


def motion_between(
    book: Store, earlier: ExaminationEntry, result: Examination, white: str | None, blue: str | None
) -> tuple[Matrix, bool]:
    """Find where the earlier reference photograph lies on the new one.

    Parameters
    ----------
    earlier : ExaminationEntry
    result : Examination
    white, blue : str or None
        SHA-256 of the photographs of `result`.

    Returns
    -------
    matrix : (3, 3) float64 array
        Maps pixels (x, y, 1) of the earlier reference photograph to those of the new one.
    sure : bool
        False where the photographs could not be laid on each other and only the outlines were.
    """
    before = earlier.white if earlier.result.reference == "white" else earlier.blue
    after = white if result.reference == "white" else blue
    if before is None or after is None or before == after:
        return np.eye(3), True
    if before == blue and result.blue_to_white is not None:
        return result.blue_to_white, True

    from setstone.measure.align import align

    found = align(stored_pixels(find_photograph(book, before)), stored_pixels(find_photograph(book, after)))
    if found.reliable:
        return found.matrix, True
    if earlier.result.outline is None or result.outline is None:
        return np.eye(3), False
    return _outline_on_outline(earlier.result.outline, result.outline), False


def _outline_on_outline(before: Outline, after: Outline) -> Matrix:
    """Shift and zoom that bring centre and extent of one outline onto the other's."""
    zoom = float(np.ptp(after.points, axis=0).mean() / np.ptp(before.points, axis=0).mean())
    matrix = np.diag([zoom, zoom, 1.0])
    matrix[:2, 2] = np.array(after.centre) - zoom * np.array(before.centre)
    return matrix

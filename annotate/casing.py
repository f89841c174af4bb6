"""A line drawn *around* a flaw at a clear distance, so that the flaw itself stays in sight."""

import cv2
import numpy as np
from skimage.measure import approximate_polygon, find_contours

from setstone.annotate.shapes import Points

#: Cells of the distance map per clear distance: the drawn line is off by less than a tenth of it.
_CELLS = 12.0


def around(path: Points, distance: float, *, closed: bool) -> Points:
    """All points `distance` away from a path (an offset curve, by way of a distance map).

    Parameters
    ----------
    path : (N, 2) float64 array
        A line, or the outline of an area when `closed`, in pixels.
    distance : float
        Clear distance, in pixels.
    closed : bool
        Keep away from the enclosed area too.

    Returns
    -------
    (M, 2) float64 array
        A closed curve; the first point is not repeated.
    """
    cell = distance / _CELLS
    low = path.min(axis=0) - 1.5 * distance
    columns, rows = (np.ceil((path.max(axis=0) + 1.5 * distance - low) / cell).astype(int) + 1).tolist()
    background = np.full((rows, columns), 255, np.uint8)
    cells = np.rint((path - low) / cell).astype(np.int32)
    if closed:
        cv2.fillPoly(background, [cells], 0)
    cv2.polylines(background, [cells], closed, 0)
    away = cv2.distanceTransform(background, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    ring = max(find_contours(away, _CELLS), key=len)
    smooth = approximate_polygon(ring, 0.25)[:-1, ::-1]
    return np.asarray(smooth * cell + low, np.float64)

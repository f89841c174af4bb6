"""See roughly where a set stone lies in a photograph, as a person does at first sight.

Edges alone do not tell a girdle from a step of the stone or a groove of its setting. A small network
(`setstone.measure.network`), trained on computed stones in settings of all kinds, says of every pixel of a much reduced copy
whether it is stone; looked at twice, the second time with the stone filling the picture.
"""

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from setstone.measure.body_weights import WEIGHTS
from setstone.measure.network import Network, applied, read_network
from setstone.measure.rings import RAYS, Curve, resampled
from setstone.measure.view import Pyramid, View

#: Longest side of the copies looked at, in pixels; room left around the stone in the second, as a share of its extent.
SIDE, ROOM = 160, 0.25
#: Least share of a picture that a stone fills.
LEAST = 0.01
#: Grey level in the middle and spread of the levels the network was trained on.
MIDDLE, SPREAD = 0.4, 1 / 3


def body_of(pyramid: Pyramid) -> Curve | None:
    """Rough outline of the stone in a photograph.

    Parameters
    ----------
    pyramid : Pyramid
        Of the photograph.

    Returns
    -------
    (RAYS, 2) float64 array or None
        Points x, y in pixels of the photograph, at equal steps; None where nothing looks like a stone.
    """
    first = _outline(pyramid.small(SIDE))
    return None if first is None else _outline(pyramid.around(first, SIDE / (1 + 2 * ROOM), ROOM))


def _outline(view: View) -> Curve | None:
    """Outline of the largest body seen in a view, in pixels of the photograph."""
    planes = (view.image.transpose(2, 0, 1) / np.float32(255) - np.float32(MIDDLE)) / np.float32(SPREAD)
    odds = applied(network(), np.ascontiguousarray(planes, np.float32))
    many, labels, stats, _ = cv2.connectedComponentsWithStats((odds > 0).astype(np.uint8), connectivity=4)
    if many < 2:
        return None
    largest = 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())
    if stats[largest, cv2.CC_STAT_AREA] < LEAST * odds.size:
        return None
    return view.back(_level_curve(np.where(labels == largest, odds, np.minimum(odds, 0))))


def _level_curve(odds: NDArray[np.float32]) -> Curve:
    """Closed curve along which the odds are even, to a fraction of a pixel, without its corners."""
    finer = 4
    height, width = odds.shape
    # Beyond the picture is no stone.
    padded = np.pad(odds, 1, constant_values=-1)
    large = cv2.resize(padded, ((width + 2) * finer, (height + 2) * finer), interpolation=cv2.INTER_LINEAR)
    curves, _ = cv2.findContours((large > 0).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    longest = max(curves, key=cv2.contourArea)[:, 0].astype(np.float64)
    curve = resampled((longest + 0.5) / finer - 0.5 - 1, RAYS)
    return resampled(gaussian_filter1d(curve, 2.0, axis=0, mode="wrap"), RAYS)


@cache
def network() -> Network:
    """Network that sees the body."""
    return read_network(WEIGHTS)

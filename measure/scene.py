"""What the finders and judges look at: both photographs of one stone, cropped to it and aligned."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from setstone.measure.light import Pixels
from setstone.measure.outline import Outline


@dataclass(frozen=True, eq=False)
class Scene:
    """One stone under one or both lamps, all in the pixel frame of the crop.

    Parameters
    ----------
    white, blue : (H, W, 3) uint8 or uint16 array or None
        sRGB-encoded RGB crops; blue is already aligned on white. At least one is given.
    outline : Outline
        The girdle in crop pixels.
    stone : (H, W) bool array
        What can be seen of the stone: inside the girdle and not under claws or bezel.
    um_per_px : float or None
        None where the scale is not known.
    """

    white: Pixels | None
    blue: Pixels | None
    outline: Outline
    stone: NDArray[np.bool_]
    um_per_px: float | None

    @property
    def diameter_px(self) -> float:
        """Diameter of the disc of the outline's area, in pixels."""
        x, y = self.outline.points.T
        area = abs(float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())) / 2
        return 2 * float(np.sqrt(area / np.pi))

"""What the finders and judges look at: both photographs of one stone, cropped to it and aligned."""

from dataclasses import dataclass, replace

import cv2
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

    def resized(self, factor: float) -> tuple["Scene", NDArray[np.float64]]:
        """Make the photographs larger or smaller, with the outline in them.

        Parameters
        ----------
        factor : float
            How many times as large.

        Returns
        -------
        scene : Scene
        ratio : (2,) float64 array
            How many times as wide and as high it came out in whole pixels; (x, y) lies at (x + 0.5, y + 0.5) * ratio - 0.5.
        """
        height, width = self.stone.shape
        size = round(factor * width), round(factor * height)
        ratio = np.array([size[0] / width, size[1] / height])
        how = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC

        def resampled(pixels: Pixels | None) -> Pixels | None:
            return None if pixels is None else cv2.resize(pixels, size, interpolation=how)

        scene = Scene(
            white=resampled(self.white),
            blue=resampled(self.blue),
            outline=replace(
                self.outline,
                points=(self.outline.points + 0.5) * ratio - 0.5,
                u_px=self.outline.u_px * float(ratio.mean()),
            ),
            stone=cv2.resize(self.stone.view(np.uint8), size, interpolation=cv2.INTER_NEAREST_EXACT) > 0,
            um_per_px=None if self.um_per_px is None else self.um_per_px / float(ratio.mean()),
        )
        return scene, ratio

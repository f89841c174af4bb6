"""The crop in which a stone is judged: cut out of large photographs, made smaller, and the way back.

What a microscope shows of a stone does not grow with the pixels of the camera. Finders and judges work at one
size, that of the stones their scores were trained on; results are given back in the photograph's own pixels.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.align import warp
from setstone.measure.candidates import Candidate
from setstone.measure.light import Pixels
from setstone.measure.outline import Outline

#: Room kept around the girdle in the crop, as a share of its size: dust and fibres run on outside.
MARGIN = 0.04

#: Width in pixels to which a larger stone is reduced: the scores were trained on stones 580 to 1130 px wide.
WORKING = 1130.0

Points = NDArray[np.float64]


@dataclass(frozen=True)
class Frame:
    """Where the crop lies in the reference photograph, and how large it is.

    Parameters
    ----------
    x0, y0, x1, y1 : int
        Its columns and rows in the photograph; the ends are one beyond the last.
    width, height : int
        Its own size in pixels, smaller where the stone is wide.
    """

    x0: int
    y0: int
    x1: int
    y1: int
    width: int
    height: int

    @classmethod
    def around(cls, outline: Outline, shape: tuple[int, ...]) -> "Frame":
        """Frame a stone, with a margin, in a photograph of the given shape (height, width, …)."""
        low, high = outline.points.min(axis=0), outline.points.max(axis=0)
        margin = MARGIN * float((high - low).max())
        x0, y0 = np.maximum(np.floor(low - margin), 0).astype(int)
        x1, y1 = np.minimum(np.ceil(high + margin) + 1, [shape[1], shape[0]]).astype(int)
        smaller = min(1.0, WORKING / float((high - low).mean()))
        width, height = round((x1 - x0) * smaller), round((y1 - y0) * smaller)
        return cls(int(x0), int(y0), int(x1), int(y1), width, height)

    @property
    def px(self) -> float:
        """Size of a pixel of the crop in pixels of the photograph, 1 or more."""
        return float(np.sqrt((self.x1 - self.x0) * (self.y1 - self.y0) / (self.width * self.height)))

    def cut(self, pixels: Pixels) -> Pixels:
        """Cut the crop out of the reference photograph: (height, width, 3), averaged where it is reduced."""
        part = pixels[self.y0 : self.y1, self.x0 : self.x1]
        if self.px == 1:
            return part.copy()
        return cv2.resize(part, (self.width, self.height), interpolation=cv2.INTER_AREA)

    def cut_moved(self, pixels: Pixels, matrix: NDArray[np.float64]) -> Pixels:
        """Cut it out of another photograph that a (3, 3) matrix lays onto the reference."""
        return warp(pixels, self._from_photograph() @ matrix, (self.height, self.width))

    def into(self, outline: Outline) -> Outline:
        """Outline in the photograph to one in the crop."""
        points = outline.points @ self._from_photograph()[:2, :2].T + self._from_photograph()[:2, 2]
        return replace(outline, points=points, u_px=outline.u_px / self.px)

    def back(self, candidate: Candidate) -> Candidate:
        """Candidate in the crop to one in the photograph."""
        x, y = self._per_pixel()
        return replace(
            candidate, path=(candidate.path + 0.5) * np.array([x, y]) + np.array([self.x0, self.y0]) - 0.5
        )

    def _per_pixel(self) -> tuple[float, float]:
        return (self.x1 - self.x0) / self.width, (self.y1 - self.y0) / self.height

    def _from_photograph(self) -> NDArray[np.float64]:
        """Map (x, y, 1) of the photograph to the crop."""
        x, y = self._per_pixel()
        return np.array(
            [[1 / x, 0, (0.5 - self.x0) / x - 0.5], [0, 1 / y, (0.5 - self.y0) / y - 0.5], [0, 0, 1]]
        )

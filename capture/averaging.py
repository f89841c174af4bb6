"""Frames of one unmoved scene averaged, in linear light: noise falls with the square root of their number."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np

from setstone.capture.errors import PhotographError
from setstone.capture.light import Light, encoded, linear_light
from setstone.capture.photograph import Pixels

#: Frames differ from first to last by less than this share of the light, or something changed.
_DRIFT = 0.02


@dataclass(frozen=True, eq=False)
class Average:
    """The mean of several frames.

    Parameters
    ----------
    pixels : (H, W, 3) uint16 array
        RGB, sRGB-encoded.
    frames : int
    noise_before, noise_after : float
        Standard deviation of the noise of one frame and of the mean, measured, in grey levels of 255; NaN
        where there are too few frames.
    drift : float
        Relative change of the light from the first frame to the last.
    """

    pixels: Pixels
    frames: int
    noise_before: float
    noise_after: float
    drift: float

    @property
    def drifted(self) -> bool:
        """Whether light, exposure or scene changed while the frames were taken."""
        return abs(self.drift) > _DRIFT


def average(frames: Iterable[Pixels]) -> Average:
    """Average frames as they come; one is held at a time.

    Parameters
    ----------
    frames : iterable of (H, W, 3) uint8 or uint16 array
        RGB, sRGB-encoded, of one size; with locked exposure and white balance.

    Returns
    -------
    Average

    Raises
    ------
    PhotographError
        When there is none, or they differ in size.
    """
    # The two halves apart: their difference shows how noisy the mean is, without knowing the scene.
    halves: list[Light] = []
    first_light = last_light = float("nan")
    before: list[float] = []
    previous: Pixels | None = None
    count = 0
    for frame in frames:
        if previous is not None and frame.shape != previous.shape:
            raise PhotographError("The frames differ in size, so they cannot be averaged; take them again.")
        light = linear_light(frame)
        last_light = float(light.mean())
        if count == 0:
            first_light = last_light
        if count < 2:
            halves.append(light.copy())
        else:
            cv2.accumulate(light, halves[count % 2])
        if previous is not None and len(before) < 4:
            before.append(_noise(frame, previous) / math.sqrt(2))
        previous = frame
        count += 1
    if previous is None:
        raise PhotographError("There is no frame to average; check the camera.")
    if count == 1:
        return Average(encoded(halves[0], np.uint16), 1, math.nan, math.nan, 0.0)
    sizes = ((count + 1) // 2, count // 2)
    mean = encoded((halves[0] + halves[1]) / np.float32(count), np.uint16)
    one, other = (encoded(h / np.float32(n), np.uint16) for h, n in zip(halves, sizes, strict=True))
    # The mean has weights n1/n and n2/n on halves of variance s²/n1 and s²/n2; their difference has s²(1/n1 + 1/n2).
    after = _noise(one, other) * math.sqrt(1 / count) / math.sqrt(1 / sizes[0] + 1 / sizes[1])
    drift = last_light / first_light - 1 if first_light > 0 else 0.0
    return Average(mean, count, float(np.mean(before)), after, drift)


def _noise(one: Pixels, other: Pixels) -> float:
    """Robust standard deviation of a difference in grey levels of 255, on pixels spread evenly."""
    step = max(1, round((one.shape[0] * one.shape[1] / 300_000) ** 0.5))
    a, b = (
        p[::step, ::step].astype(np.float32) * np.float32(255 / np.iinfo(p.dtype).max) for p in (one, other)
    )
    usable = (np.minimum(a, b) > 4) & (np.maximum(a, b) < 251)
    difference = (a - b)[usable] if usable.any() else (a - b).ravel()
    # Steps of whole grey levels make the median coarse; the mean square without outliers is not.
    difference = difference - np.median(difference)  # where the light changed, all of it is off
    spread = 1.4826 * float(np.median(np.abs(difference))) + 1.0
    kept = difference[np.abs(difference) < 5 * spread]
    return float(kept.std())

"""One picture from several exposures of a glittering stone: each place from where it is well exposed.

The light of each place is the mean of what the exposures say of it, weighted by how well they see it (Debevec &
Malik 1997, SIGGRAPH, 369-378); the response of the camera is taken as that of sRGB.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from setstone.capture.errors import PhotographError
from setstone.capture.light import Light, encoded, linear_light
from setstone.capture.photograph import Pixels

#: Levels of 255 between which a channel is trusted.
_LEAST, _MOST = 8, 245
#: This share of the picture may stay overexposed: glints of the lamp itself.
_WHITE_SHARE = 0.001


@dataclass(frozen=True, eq=False)
class Bracket:
    """Merged exposures.

    Parameters
    ----------
    pixels : (H, W, 3) uint16 array
        RGB, sRGB-encoded; bright light is compressed to fit, in the same way everywhere.
    light : (H, W, 3) float32 array
        Linear light relative to white in the longest exposure; above 1 where that one is clipped.
    exposures : tuple of float
        Relative exposures, the longest 1.
    """

    pixels: Pixels
    light: Light
    exposures: tuple[float, ...]


def merge_exposures(frames: Sequence[Pixels], seconds: Sequence[float] | None = None) -> Bracket:
    """Merge several exposures of one unmoved scene.

    Parameters
    ----------
    frames : sequence of (H, W, 3) uint8 or uint16 array
        RGB, sRGB-encoded, of one size; two or more.
    seconds : sequence of float, optional
        Exposure times; measured from the pictures when not given.

    Returns
    -------
    Bracket

    Raises
    ------
    PhotographError
        When there are too few, they differ in size, or their exposures cannot be told.
    """
    if len(frames) < 2:
        raise PhotographError("A bracket needs at least two exposures; take a longer and a shorter one.")
    if len({f.shape for f in frames}) > 1:
        raise PhotographError("The exposures differ in size; take them with one setting.")
    if seconds is not None and (len(seconds) != len(frames) or not all(0 < s < np.inf for s in seconds)):
        raise PhotographError("Give one exposure time above zero for each picture.")
    relative = _relative(frames) if seconds is None else np.asarray(seconds, np.float64)
    relative = relative / relative.max()
    order = np.argsort(relative)
    total = np.zeros(frames[0].shape, np.float32)
    weights = np.zeros(frames[0].shape, np.float32)
    for i in order:
        frame, exposure = frames[i], float(relative[i])
        level = frame.astype(np.float32) * np.float32(255 / np.iinfo(frame.dtype).max)
        # Noise of linear light falls with exposure, so a longer one counts for more.
        weight = np.clip(np.minimum(level - _LEAST, (_MOST - level) * 4) / 16, 0, 1) * np.float32(exposure)
        if i == order[0]:  # what is clipped in all is taken from the shortest
            weight = np.maximum(weight, np.float32(1e-6))
        total += weight * linear_light(frame) / np.float32(exposure)
        weights += weight
    light = total / weights
    return Bracket(encoded(_compressed(light), np.uint16), light, tuple(float(r) for r in relative))


def _relative(frames: Sequence[Pixels]) -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
    """Exposures from the pictures: ratios of light where two neighbours in brightness are both well exposed."""
    step = max(1, round((frames[0].shape[0] * frames[0].shape[1] / 200_000) ** 0.5))
    samples = [f[::step, ::step].reshape(-1, 3) for f in frames]
    order = np.argsort([float(s.mean()) for s in samples])
    relative = np.ones(len(frames))
    for darker, brighter in pairwise(order):
        top = np.iinfo(frames[0].dtype).max / 255
        a, b = samples[darker], samples[brighter]
        good = (a > _LEAST * 2 * top) & (a < _MOST * top) & (b > _LEAST * 2 * top) & (b < _MOST * top)
        if good.sum() < 200:
            raise PhotographError(
                "Two of the exposures have nothing in common that is well exposed in both; give their times, or take one between."
            )
        ratio = float(np.median(linear_light(b[good]) / linear_light(a[good])))
        relative[brighter] = relative[darker] * ratio
    return relative


def _compressed(light: Light) -> Light:
    """Bring light above 1 below it, and leave the dark alone (Reinhard et al. 2002, ACM TOG 21, 267, equation 4)."""
    brightest = light.max(axis=2)
    white = max(1.0, float(np.quantile(brightest, 1 - _WHITE_SHARE)))
    if white <= 1.0:
        return light
    # On the brightest channel, so that colours keep their ratios.
    factor = (1 + brightest / np.float32(white**2)) / (1 + brightest)
    return light * factor[..., None]

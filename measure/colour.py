"""Colour, evenness and haze of the face-up stone.

CIELAB here is under D65 for the 2° observer with the tabulated white X, Y, Z = 95.047, 100, 108.883 (ISO/CIE
11664-4, IEC 61966-2-1). A camera is no spectrophotometer: the figures hold for one lamp, one exposure and one white
balance, and compare stones photographed alike.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.colour_names import colour_name
from setstone.measure.errors import MeasurementError
from setstone.measure.light import Pixels, Plane, linear

# scikit-image is loaded only where a colour is computed: whoever reads a book needs just the dataclass.

Lab = tuple[float, float, float]

#: Percentiles of the stone that are compared: the darkest twentieth, dark in a clear stone of any cut and more than an
#: inclusion, with its lower third, which one stop more of exposure hardly ever clips.
_DARK, _THIRD = 5, 33


@dataclass(frozen=True)
class StoneColour:
    """Colour of a stone as seen from above.

    Parameters
    ----------
    lab : (float, float, float)
        CIELAB L*, a*, b* under D65, 2° observer: median away from glints and deep shadows.
    hue : str
        Name of the colour in the ISCC-NBS system, for example "deep red".
    haze : float
        How bright the darkest twentieth is against the lower third, 0 (clear, contrasting) to 1 (uniform, like
        milk). A relative index: it grows with haze and compares photographs of one stone, or of stones of one
        cut, taken alike. It does not tell a milky stone from the flat contrast of a step cut or of
        diffuse light (benchmarks/haze.py): a person judges by eye.
    unevenness : float or None
        Difference in hue and chroma that nine tenths of the stone keep within, CIEDE2000 units; about 1 is
        just visible, high values speak for zones of colour. None where not measured.
    """

    lab: Lab
    hue: str
    haze: float
    unevenness: float | None = None


def stone_colour(pixels: Pixels, stone: NDArray[np.bool_], *, blue: Pixels | None = None) -> StoneColour:
    """Measure the colour of a stone.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        sRGB-encoded photograph under white light.
    stone : (H, W) bool array
        What can be seen of the stone.
    blue : (H, W, 3) uint8 or uint16 array, optional
        The same under blue light, aligned; it makes the haze more certain.

    Returns
    -------
    StoneColour

    Raises
    ------
    MeasurementError
        When nothing of the stone is seen.
    """
    if not stone.any():
        raise MeasurementError("Nothing of the stone is seen in the white photograph; check its outline.")
    light = linear(pixels)
    inside = light[stone]
    lab = lab_of_light(inside[:: max(1, len(inside) // 50_000)])
    low, high = np.percentile(lab[:, 0], (10, 90))
    median = np.median(lab[(lab[:, 0] >= low) & (lab[:, 0] <= high)], axis=0)
    colour = (float(median[0]), float(median[1]), float(median[2]))
    haze = stone_haze(pixels, stone, blue=blue)
    return StoneColour(colour, colour_name(colour), haze, unevenness=_unevenness(light, stone, colour))


def delta_e_2000(first: Lab, second: Lab) -> float:
    """Colour difference CIEDE2000, kL = kC = kH = 1 (ISO/CIE 11664-6; Sharma, Wu & Dalal 2005).

    >>> round(delta_e_2000((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485)), 4)
    2.0425
    """
    from skimage.color import deltaE_ciede2000

    return float(deltaE_ciede2000(np.array(first), np.array(second)))


def stone_haze(white: Pixels, stone: NDArray[np.bool_], *, blue: Pixels | None = None) -> float:
    """Haze index of a stone: how far scattered light lifts its darkest parts towards the less dark.

    Scattering inside the stone lays a veil over it, I' = I t + A (1 - t) with transmission t and veil A (the
    model of Koschmieder 1924, as used by He, Sun & Tang 2011). It raises every ratio of a darker to a brighter
    part, whatever A. The index is the ratio of the fifth percentile to the 33rd in linear light; with both
    lamps, whose dark parts lie in different places, the geometric mean of the two. Ratios do not depend on
    the exposure as long as neither is clipped, and the lower third of a stone hardly ever is. No published scale of
    milkiness from photographs exists.

    Parameters
    ----------
    white : (H, W, 3) uint8 or uint16 array
        sRGB-encoded photograph under white light.
    stone : (H, W) bool array
        What can be seen of the stone.
    blue : (H, W, 3) uint8 or uint16 array, optional
        The same under blue light, aligned.

    Returns
    -------
    float
        0 to 1, a plain number.
    """
    body = _away_from_rim(stone)
    veil = _dark_to_third(white, body)
    if blue is None:
        return veil
    return float(np.sqrt(veil * _dark_to_third(blue, body)))


def _dark_to_third(pixels: Pixels, body: NDArray[np.bool_]) -> float:
    mean = np.full((1, 3), 1 / 3, np.float32)
    grey = cv2.transform(linear(pixels), mean).reshape(body.shape)
    # Single pixels are noise, dust and pinpoints: look at facets.
    smooth = cv2.GaussianBlur(grey, (0, 0), np.sqrt(body.sum()) / 350)
    dark, third = np.percentile(smooth[body], (_DARK, _THIRD))
    return float(dark / max(third, 1e-6))


def _away_from_rim(stone: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Stone without the zone where glue and the setting show through the crown."""
    padded = np.pad(stone, 1).astype(np.uint8)
    depth = cv2.distanceTransform(padded, cv2.DIST_L2, 5)[1:-1, 1:-1]
    body = depth > 0.08 * 2 * np.sqrt(stone.sum() / np.pi)
    return body if body.any() else stone


def _unevenness(light: Plane, stone: NDArray[np.bool_], colour: Lab) -> float | None:
    """Ninth decile of the differences of tenths of the stone to its colour, at one lightness."""
    body = _away_from_rim(stone) & (light.max(axis=2) < 0.98)  # not the glints, which are white
    size = max(1, round(np.sqrt(stone.sum()) / 10))
    small = -(-stone.shape[1] // size), -(-stone.shape[0] // size)
    share = cv2.resize(body.astype(np.float32), small, interpolation=cv2.INTER_AREA)
    mean = cv2.resize(light * body[..., None], small, interpolation=cv2.INTER_AREA)
    covered = share > 0.5
    if np.count_nonzero(covered) < 10:
        return None
    parts = lab_of_light(mean[covered] / share[covered][:, None])
    parts[:, 0] = colour[0]
    from skimage.color import deltaE_ciede2000

    return float(np.percentile(deltaE_ciede2000(parts, np.full_like(parts, colour)), 90))


def xyz_of_light(light: NDArray[np.floating]) -> NDArray[np.float64]:
    """CIE XYZ of linear sRGB light (N, 3), Y of white 1 (D65, 2° observer; IEC 61966-2-1)."""
    from skimage.color.colorconv import xyz_from_rgb

    xyz: NDArray[np.float64] = light.astype(np.float64) @ xyz_from_rgb.T
    return xyz


def lab_of_light(light: NDArray[np.floating]) -> NDArray[np.float64]:
    """CIELAB of linear sRGB light, shape (N, 3)."""
    from skimage.color import xyz2lab

    lab: NDArray[np.float64] = xyz2lab(xyz_of_light(light))
    return lab

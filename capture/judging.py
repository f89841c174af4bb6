"""One verdict on a photograph: focus, exposure, lamp, shake, even light, sampling, and what to change."""

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.capture.fitness import Flag, fitness
from setstone.capture.focus import Focus, focus
from setstone.capture.lamp import contradiction
from setstone.capture.light import linear_light
from setstone.capture.photograph import Lamp, Pixels
from setstone.capture.sampling import Sampling, sampling, sampling_doubts

Verdict = Literal["fit", "with care", "not fit"]

#: Flags with which nothing measured can be trusted.
_UNFIT = {"black", "white", "clipped", "flat", "small", "lamp-contradiction", "out-of-focus", "shaken"}
#: Blur from which a picture is out of focus: this many times what objective and pixels allow at best.
_BLURRED = 2.5
#: Gaussian that fits the core of Airy's disk: 0.21 λ / NA (Zhang, Zerubia & Olivo-Marin 2007, Applied
#: Optics 46, 1819); and the blur of a camera with colour filters, px (common practice, no source).
_AIRY, _CAMERA_PX = 0.21, 1.0
#: Share of the fields that ought to be sharp; ratio of light from side to side; share that may be black or
#: clipped before it is told; ratio of colours (common practice, no source).
_SHARP_SHARE, _UNEVEN, _BLACK_SHARE, _CLIPPED_SHARE, _CAST = 0.4, 2.5, 0.5, 0.02, 3.5

_DOWN, _ACROSS = ("upper", "middle", "lower"), ("left", "middle", "right")


@dataclass(frozen=True, eq=False)
class Fitness:
    """What was judged.

    Parameters
    ----------
    verdict : {"fit", "with care", "not fit"}
    flags : tuple of Flag
        What speaks against it and what to change, gravest first.
    focus : Focus
    clipped, black : float
        Shares of the stone with a channel overexposed, and without light.
    uneven : float
        Light of the brighter side over that of the darker.
    cast : (float, float)
        Red and blue over green in the least tinted bright light that is not clipped; NaN when there is none.
    sampling : Sampling or None
        None without a scale.
    """

    verdict: Verdict
    flags: tuple[Flag, ...]
    focus: Focus
    clipped: float
    black: float
    uneven: float
    cast: tuple[float, float]
    sampling: Sampling | None


def judge(
    pixels: Pixels,
    *,
    inside: NDArray[np.bool_] | None = None,
    lamp: Lamp = Lamp.OTHER,
    um_per_px: float | None = None,
    numerical_aperture: float | None = None,
    smallest_um: float | None = None,
) -> Fitness:
    """Judge whether a photograph is fit to be measured.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        RGB, sRGB-encoded.
    inside : (H, W) bool array, optional
        The stone; else the whole picture is judged.
    lamp : Lamp, optional
        The light as stated.
    um_per_px : float, optional
        Scale, µm per pixel.
    numerical_aperture : float, optional
        Of the objective.
    smallest_um : float, optional
        Smallest thing looked for, µm.

    Returns
    -------
    Fitness
    """
    if inside is not None and not inside.any():
        inside = None
    flags = list(fitness(pixels, inside))
    against = contradiction(lamp, pixels)
    if against is not None:
        flags.append(Flag("lamp-contradiction", against))
    sharp = focus(pixels, inside)
    limits = None if um_per_px is None else sampling(um_per_px, numerical_aperture, lamp)
    flags += _focus_flags(sharp, limits, um_per_px)
    clipped, black = _exposure(pixels, inside)
    flags += _exposure_flags(clipped, black, {f.code for f in flags})
    uneven, side = _uneven(pixels, inside)
    if uneven > _UNEVEN:
        flags.append(
            Flag(
                "uneven",
                f"The light is {uneven:.1f} times stronger {side}; turn or move the lamp, or use a diffuser.",
            )
        )
    cast = _cast(pixels, inside)
    if lamp is Lamp.WHITE and max(max(c, 1 / c) for c in cast) > _CAST:
        strongest = "red" if cast[0] >= max(cast[1], 1) else "blue" if cast[1] >= 1 else "green"
        flags.append(
            Flag("cast", f"The white light looks {strongest}; set the white balance on a grey card.")
        )
    if limits is not None and um_per_px is not None and smallest_um is not None:
        flags += [Flag(code, text) for code, text in sampling_doubts(limits, um_per_px, smallest_um)]
    flags.sort(key=lambda f: f.code not in _UNFIT)
    verdict: Verdict = "fit"
    if flags:
        verdict = "not fit" if flags[0].code in _UNFIT else "with care"
    return Fitness(verdict, tuple(flags), sharp, clipped, black, uneven, cast, limits)


def _focus_flags(sharp: Focus, limits: Sampling | None, um_per_px: float | None) -> list[Flag]:
    if not sharp.is_known:
        return []
    least = _CAMERA_PX
    if limits is not None and limits.abbe_um is not None and um_per_px is not None:
        least = float(np.hypot(_CAMERA_PX, _AIRY * 2 * limits.abbe_um / um_per_px))
    size = "" if um_per_px is None else f" (edges are {2.355 * sharp.best_px * um_per_px:.0f} µm wide)"
    if sharp.shake_px > 0:
        moved = "" if um_per_px is None else f" by about {3.5 * sharp.shake_px * um_per_px:.0f} µm"
        return [
            Flag(
                "shaken",
                f"The picture was shaken{moved}; use the timer or a cable, and wait until nothing moves.",
            )
        ]
    if sharp.best_px > _BLURRED * least:
        return [
            Flag("out-of-focus", f"Nothing in the picture is sharp{size}; focus on the girdle and try again.")
        ]
    known = sharp.blur_px[np.isfinite(sharp.blur_px)]
    share = float((known < _BLURRED * least).mean())
    if share < _SHARP_SHARE and sharp.sharpest is not None:
        where = _place(sharp.sharpest)
        return [
            Flag(
                "partly-sharp",
                f"Only {share:.0%} of the picture is sharp, {where}; stop down, or take a series through the focus.",
            )
        ]
    return []


def _place(at: tuple[float, float]) -> str:
    across, down = (min(2, int(3 * v)) for v in at)
    if across == down == 1:
        return "in the middle"
    words = [w for w in (_DOWN[down], _ACROSS[across]) if w != "middle"]
    return "at the " + " ".join(words)


def _exposure(pixels: Pixels, inside: NDArray[np.bool_] | None) -> tuple[float, float]:
    red, green, blue = cv2.split(pixels)
    brightest = np.asarray(cv2.max(cv2.max(red, green), blue))
    if inside is not None:
        brightest = brightest[inside]
    top = np.iinfo(pixels.dtype).max
    return float((brightest >= top * 250 / 255).mean()), float((brightest <= top * 8 / 255).mean())


def _exposure_flags(clipped: float, black: float, known: set[str]) -> list[Flag]:
    if known & {"black", "white", "clipped"}:
        return []
    if clipped > _CLIPPED_SHARE:
        return [
            Flag(
                "bright", f"{clipped:.0%} is overexposed; shorten the exposure, or combine several exposures."
            )
        ]
    if black > _BLACK_SHARE:
        return [Flag("dark", f"{black:.0%} is without light; lengthen the exposure.")]
    return []


def _uneven(pixels: Pixels, inside: NDArray[np.bool_] | None) -> tuple[float, str]:
    """Ratio of light from side to side: a plane through the logarithms of fields' light.

    Facets are bright and dark in turn; over the fields of a picture that evens out.
    """
    height, width = pixels.shape[:2]
    size = (24, max(2, round(24 * height / width)))
    fields = linear_light(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)).mean(axis=2)
    usable = (fields > 0.002) & (fields < 0.95)
    if inside is not None:
        usable &= cv2.resize(inside.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.9
    if usable.sum() < 30:
        return 1.0, ""
    y, x = np.nonzero(usable)
    x1, y1 = x / size[0] * 2 - 1, y / size[1] * 2 - 1
    light = np.log(fields[usable])
    weight = np.ones(len(light))
    plane = np.zeros(3)
    basis = np.column_stack([np.ones_like(x1), x1, y1])
    for _ in range(5):  # Tukey's weights pass over glints and the setting
        plane, *_ = np.linalg.lstsq(basis * weight[:, None], light * weight, rcond=None)
        left = light - basis @ plane
        spread = 1.4826 * float(np.median(np.abs(left))) + 1e-6
        weight = np.where(np.abs(left) < 4 * spread, 1 - (left / (4 * spread)) ** 2, 0)
    extent = np.array([np.ptp(x1), np.ptp(y1)])
    rise = plane[1:] * extent
    ratio = float(np.exp(np.abs(rise).max()))
    if abs(rise[0]) >= abs(rise[1]):
        return ratio, "on the right" if rise[0] > 0 else "on the left"
    return ratio, "below" if rise[1] > 0 else "above"


def _cast(pixels: Pixels, inside: NDArray[np.bool_] | None) -> tuple[float, float]:
    """Colour of the least tinted bright light: glints and silver have the lamp's (Lee 1986, JOSA A 3, 1694)."""
    step = max(1, round((pixels.shape[0] * pixels.shape[1] / 200_000) ** 0.5))
    sample = pixels[::step, ::step].reshape(-1, 3)
    if inside is not None:
        sample = sample[inside[::step, ::step].ravel()]
    top = np.iinfo(pixels.dtype).max
    sample = sample[(sample.max(axis=1) < 0.97 * top)]
    if len(sample) < 200:
        return float("nan"), float("nan")
    light = linear_light(sample[None])[0]
    bright = light[light.sum(axis=1) >= np.quantile(light.sum(axis=1), 0.9)] + np.float32(1e-4)
    tint = np.abs(np.log(bright[:, [0, 2]] / bright[:, 1:2])).max(axis=1)
    bright = bright[tint <= np.quantile(tint, 0.05)].mean(axis=0)
    return float(bright[0] / bright[1]), float(bright[2] / bright[1])

"""What an objective can resolve and whether the pixels are small enough for it.

Abbe's limit d = λ / (2 NA), Rayleigh's r = 0.61 λ / NA, a pixel of at most d / 2 (Nyquist): textbook optics, as
in Born & Wolf, Principles of Optics, sections 8.5 and 8.6.
"""

import math
from dataclasses import dataclass

from setstone.capture.photograph import Lamp

#: Wavelengths taken, nm: the green the eye and a camera see best, and a usual blue light-emitting diode
#: (common practice, no source).
WAVELENGTH_NM = {Lamp.WHITE: 550.0, Lamp.BLUE: 455.0, Lamp.OTHER: 550.0}
#: A thing is made out from this many pixels across (common practice, no source).
_PIXELS_ACROSS = 3.0
#: Pixels smaller than Abbe's limit by this factor show nothing more.
_EMPTY = 6.0


@dataclass(frozen=True)
class Sampling:
    """Limits of one objective and camera.

    Parameters
    ----------
    abbe_um, rayleigh_um : float or None
        Smallest period and smallest distance resolved, µm; None without an aperture.
    largest_pixel_um : float or None
        Largest pixel that loses nothing of it, µm.
    smallest_seen_um : float
        Smallest thing that can be made out, µm: by the pixels or by the objective, whichever is worse.
    """

    abbe_um: float | None
    rayleigh_um: float | None
    largest_pixel_um: float | None
    smallest_seen_um: float


def sampling(um_per_px: float, numerical_aperture: float | None, lamp: Lamp = Lamp.WHITE) -> Sampling:
    """Compute the limits.

    Parameters
    ----------
    um_per_px : float
        Size of a pixel in the plane of the stone, µm.
    numerical_aperture : float or None
        Of the objective.
    lamp : Lamp
        Gives the wavelength.

    Examples
    --------
    >>> limits = sampling(1.0, 0.1)
    >>> round(limits.abbe_um, 3), round(limits.rayleigh_um, 3), round(limits.largest_pixel_um, 3)
    (2.75, 3.355, 1.375)
    """
    by_pixels = _PIXELS_ACROSS * um_per_px
    if numerical_aperture is None:
        return Sampling(None, None, None, by_pixels)
    wavelength_um = WAVELENGTH_NM[lamp] / 1000
    abbe = wavelength_um / (2 * numerical_aperture)
    rayleigh = 0.61 * wavelength_um / numerical_aperture
    return Sampling(abbe, rayleigh, abbe / 2, max(by_pixels, rayleigh))


def sampling_doubts(limits: Sampling, um_per_px: float, smallest_um: float) -> list[tuple[str, str]]:
    """Say what of the limits matters when things of `smallest_um` are looked for: code and sentence."""
    doubts = []
    if limits.rayleigh_um is not None and smallest_um < limits.rayleigh_um:
        doubts.append(
            (
                "not-resolved",
                f"The objective resolves {limits.rayleigh_um:.1f} µm (Rayleigh) and {smallest_um:g} µm is looked for; "
                "take one with a larger aperture.",
            )
        )
    if um_per_px * _PIXELS_ACROSS > smallest_um:
        doubts.append(
            (
                "coarse",
                f"A pixel is {um_per_px:.2g} µm, too large for things of {smallest_um:g} µm; "
                f"zoom in until it is {smallest_um / _PIXELS_ACROSS:.2g} µm.",
            )
        )
    elif limits.largest_pixel_um is not None and um_per_px > limits.largest_pixel_um * (1 + 1e-9):
        doubts.append(
            (
                "undersampled",
                f"A pixel is {um_per_px:.2g} µm, the objective gives detail down to {limits.largest_pixel_um:.2g} µm a "
                "pixel; zoom in, or use all pixels of the camera.",
            )
        )
    if limits.abbe_um is not None and um_per_px < limits.abbe_um / _EMPTY:
        doubts.append(
            (
                "empty-magnification",
                f"A pixel is {um_per_px:.2g} µm, smaller than the objective's {limits.abbe_um:.1f} µm (Abbe) asks for; "
                "less zoom shows a larger field with the same detail.",
            )
        )
    return doubts if math.isfinite(um_per_px) else []

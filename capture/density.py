"""The resolution a file states, in pixels per inch, centimetre or metre: as a scale, or not to be believed.

Cameras and editors write 72, 96 or 300 dots per inch into every file: the size of a print. Only what is finer
than any printer's can be that of a stone under a microscope.
"""

from PIL import Image

#: Printers and scanners reach 2400 dots per inch, that is 10.6 µm.
FINEST_PRINT_UM = 10.0
_INCH_UM = 25_400.0


def um_per_px(across: float, down: float, unit_um: float) -> float | None:
    """Micrometres per pixel of so many pixels per unit, where they are believable and alike both ways.

    >>> um_per_px(11800, 11800, 10_000), um_per_px(96, 96, 25_400), um_per_px(72, 72, 25_400)
    (0.847457627118644, None, None)
    """
    if not (across > 0 and down > 0 and abs(across / down - 1) < 0.002):
        return None
    um = unit_um / across
    return um if um < FINEST_PRINT_UM else None


def um_per_px_of(image: Image.Image) -> float | None:
    """Micrometres per pixel from what Pillow read as dots per inch: JFIF or EXIF of a JPEG, pHYs of a PNG."""
    dpi = image.info.get("dpi")
    if not (isinstance(dpi, tuple) and len(dpi) == 2):
        return None
    try:
        return um_per_px(float(dpi[0]), float(dpi[1]), _INCH_UM)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None  # EXIF holds fractions with a zero below

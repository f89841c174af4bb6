"""JPEG files (ITU-T T.81), decoded by Pillow, which notices when one is cut short."""

import io

import numpy as np
from PIL import JpegImagePlugin

from setstone.capture.errors import RefusalError
from setstone.capture.exif import exif_of
from setstone.capture.raster import Raster, check_size, profile_notes, to_rgb, upright

SIGNATURE = b"\xff\xd8\xff"


def decode_jpeg(data: bytes) -> Raster:
    """Decode a JPEG of 8 bits, grey or colour.

    The file class is opened directly: ``Image.open`` would warn of or refuse large pictures by limits
    of its own.

    Raises
    ------
    RefusalError
        When it is too large, or made for print (four inks).
    OSError
        When it is cut short or damaged.
    """
    image = JpegImagePlugin.JpegImageFile(io.BytesIO(data))
    check_size(*image.size)
    if image.mode not in ("L", "RGB"):
        raise RefusalError("is made for print, in four inks (CMYK); save it again as an RGB picture")
    orientation, taken, notes = exif_of(image)
    pixels, colour, _ = to_rgb(np.asarray(image))
    return Raster(
        upright(pixels, orientation),
        colour,
        "JPEG",
        taken=taken,
        notes=notes + profile_notes(image.info.get("icc_profile")),
    )

"""PNG files (ISO/IEC 15948), decoded by imagecodecs; Pillow would cut 16-bit colour down to 8 bits."""

import io

import imagecodecs
from PIL import PngImagePlugin

from setstone.capture.exif import exif_of
from setstone.capture.raster import Raster, check_size, profile_notes, to_rgb, upright

SIGNATURE = b"\x89PNG\r\n\x1a\n"


def decode_png(data: bytes) -> Raster:
    """Decode a PNG: grey, colour or palette, with or without alpha, up to 16 bits.

    Raises
    ------
    RefusalError
        When it is too large.
    imagecodecs.PngError, SyntaxError
        When it is cut short or damaged.
    """
    image = PngImagePlugin.PngImageFile(io.BytesIO(data))
    check_size(*image.size)
    orientation, taken, damage = exif_of(image)
    pixels, colour, transparency = to_rgb(imagecodecs.png_decode(data))
    return Raster(
        upright(pixels, orientation),
        colour,
        "PNG",
        taken=taken,
        notes=damage + transparency + profile_notes(image.info.get("icc_profile")),
    )

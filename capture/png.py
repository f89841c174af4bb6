"""PNG files (ISO/IEC 15948), decoded by imagecodecs; Pillow would cut 16-bit colour down to 8 bits."""

import io
import zlib
from collections.abc import Iterator

import imagecodecs
from PIL import PngImagePlugin

from setstone.capture.density import um_per_px_of
from setstone.capture.errors import RefusalError
from setstone.capture.exif import exif_of
from setstone.capture.raster import Raster, check_size, profile_notes, to_rgb, upright

SIGNATURE = b"\x89PNG\r\n\x1a\n"


def decode_png(data: bytes) -> Raster:
    """Decode a PNG: grey, colour or palette, with or without alpha, up to 16 bits.

    Raises
    ------
    RefusalError
        When it is too large, cut short or damaged.
    imagecodecs.PngError, SyntaxError
        When it is damaged in other ways.
    """
    image = PngImagePlugin.PngImageFile(io.BytesIO(data))
    check_size(*image.size)
    orientation, taken, damage = exif_of(image)
    # Only what makes up the pixels reaches libpng, which comments on all else on the console.
    pixels, colour, transparency = to_rgb(
        imagecodecs.png_decode(SIGNATURE + b"".join(_critical_chunks(data)))
    )
    return Raster(
        upright(pixels, orientation),
        colour,
        "PNG",
        um_per_px=um_per_px_of(image),
        taken=taken,
        notes=damage + transparency + profile_notes(image.info.get("icc_profile")),
    )


def _critical_chunks(data: bytes) -> Iterator[memoryview]:
    """Yield header, palette, pixels and end, after checking each against its checksum (section 5.3)."""
    view = memoryview(data)
    start = len(SIGNATURE)
    while True:
        length = int.from_bytes(view[start : start + 4])
        stop = start + length + 12
        if stop > len(data):
            raise RefusalError("is cut short; copy it again from the camera")
        name = bytes(view[start + 4 : start + 8])
        if name[:1].isupper():
            if zlib.crc32(view[start + 4 : stop - 4]) != int.from_bytes(view[stop - 4 : stop]):
                raise RefusalError("is damaged, its checksum is wrong; copy it again from the camera")
            yield view[start:stop]
        if name == b"IEND":
            return
        start = stop

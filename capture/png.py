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

#: The largest picture opened has 150,000 where they are as small as usual.
MAX_CHUNKS = 1_000_000

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
    chunks = list(_chunks(data))
    image = PngImagePlugin.PngImageFile(io.BytesIO(data))
    check_size(*image.size)
    for name, chunk in chunks:
        if name == b"eXIf":  # may stand behind the pixels, where Pillow has not been
            image.info.setdefault("exif", bytes(chunk[8:-4]))
    orientation, taken, damage = exif_of(image)
    # Only what makes up the pixels reaches libpng, which comments on all else on the console.
    critical = b"".join(chunk for name, chunk in chunks if name[:1].isupper())
    pixels, colour, transparency = to_rgb(imagecodecs.png_decode(SIGNATURE + critical))
    return Raster(
        upright(pixels, orientation),
        colour,
        "PNG",
        um_per_px=um_per_px_of(image),
        taken=taken,
        notes=damage + transparency + profile_notes(image.info.get("icc_profile")),
    )


def _chunks(data: bytes) -> Iterator[tuple[bytes, memoryview]]:
    """Yield name and whole of each chunk; what makes up the pixels is checked against its checksum (section 5.3)."""
    view = memoryview(data)
    start = len(SIGNATURE)
    for _ in range(MAX_CHUNKS):
        length = int.from_bytes(view[start : start + 4])
        stop = start + length + 12
        if stop > len(data):
            raise RefusalError("is cut short; copy it again from the camera")
        name = bytes(view[start + 4 : start + 8])
        checksum = int.from_bytes(view[stop - 4 : stop])
        if name[:1].isupper() and zlib.crc32(view[start + 4 : stop - 4]) != checksum:
            raise RefusalError("is damaged, its checksum is wrong; copy it again from the camera")
        yield name, view[start:stop]
        if name == b"IEND":
            return
        start = stop
    raise RefusalError("is in more parts than a picture of a camera has; save it again")

"""HEIC files (ISO/IEC 23008-12), decoded by pillow-heif where it is installed: ``pip install 'setstone[heic]'``."""

import io

import numpy as np

from setstone.capture.errors import RefusalError
from setstone.capture.exif import exif_of
from setstone.capture.photograph import Pixels
from setstone.capture.raster import Raster, check_size, profile_notes, to_rgb

#: Brands in the first box that mean still pictures coded as HEVC.
_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"mif1", b"msf1")


def is_heic(data: bytes) -> bool:
    r"""Whether a file begins as HEIC does.

    >>> is_heic(b"\0\0\0\x18ftypheic" + bytes(12)), is_heic(b"\0\0\0\x18ftypisom" + bytes(12))
    (True, False)
    """
    return data[4:8] == b"ftyp" and data[8:12] in _BRANDS


def decode_heic(data: bytes) -> Raster:
    """Decode the main picture of a HEIC file; 10 and 12 bits become 16.

    Raises
    ------
    RefusalError
        When pillow-heif is not installed, or the picture too large.
    Exception
        Whatever the decoder raises on a damaged file.
    """
    try:
        import pillow_heif
    except ImportError as error:
        raise RefusalError(
            "is a HEIC picture, and what reads it is not installed; install it with pip install 'setstone[heic]', "
            "or save the photograph as JPEG"
        ) from error
    file = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False)
    check_size(*file.size)
    # The decoder turns the picture upright itself.
    channels = np.asarray(file)
    if channels.dtype != np.uint8:
        channels = channels.astype(np.uint16)
    pixels: Pixels
    pixels, colour, transparency = to_rgb(channels)
    _, taken, notes = exif_of(file.to_pillow())
    return Raster(
        pixels,
        colour,
        "HEIC",
        taken=taken,
        notes=notes + transparency + profile_notes(file.info.get("icc_profile")),
    )

"""JPEG files (ITU-T T.81): what they say is read by Pillow, pixels are decoded by libjpeg-turbo straight into RGB."""

import io
import re

import imagecodecs
import numpy as np
from PIL import JpegImagePlugin

from setstone.capture.density import um_per_px_of
from setstone.capture.errors import RefusalError
from setstone.capture.exif import exif_of
from setstone.capture.raster import Raster, check_size, profile_notes, to_rgb, upright

SIGNATURE = b"\xff\xd8\xff"
#: A marker other than the fill bytes, stuffed bytes and restarts inside a scan (T.81, B.1.1.2 and F.1.2.3).
_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")
_END_OF_IMAGE, _SCAN = 0xD9, 0xDA
#: A progressive picture has about ten scans; each costs a pass over all of it, however few its bytes.
_MAX_SCANS = 100
#: Segments hold up to 64 KB each, and Pillow joins those of EXIF one by one; no camera writes as many.
_MAX_SEGMENTS = 500


def decode_jpeg(data: bytes) -> Raster:
    """Decode a JPEG of 8 bits, grey or colour.

    The file class is opened directly: ``Image.open`` would warn of or refuse large pictures by limits
    of its own.

    Raises
    ------
    RefusalError
        When it is too large, made for print (four inks), or in more parts than a picture has.
    OSError
        When it is cut short or damaged.
    """
    whole = _is_whole(data)
    image = JpegImagePlugin.JpegImageFile(io.BytesIO(data))
    check_size(*image.size)
    if image.mode not in ("L", "RGB"):
        raise RefusalError("is made for print, in four inks (CMYK); save it again as an RGB picture")
    if not whole:
        raise OSError("the end of the image is missing")
    orientation, taken, notes = exif_of(image)
    pixels, colour, _ = to_rgb(np.asarray(imagecodecs.jpeg8_decode(data), np.uint8))
    return Raster(
        upright(pixels, orientation),
        colour,
        "JPEG",
        um_per_px=um_per_px_of(image),
        taken=taken,
        notes=notes + profile_notes(image.info.get("icc_profile")),
    )


def _is_whole(data: bytes) -> bool:
    """Whether segment follows on segment up to the end of the image: the decoder fills what is missing with grey."""
    at = 2
    segments = scans = 0
    while (marker := _MARKER.search(data, at)) is not None:
        at = marker.end()
        if data[at - 1] == _END_OF_IMAGE:
            return True
        segments += 1
        scans += data[at - 1] == _SCAN
        if segments > _MAX_SEGMENTS or scans > _MAX_SCANS:
            raise RefusalError("is in more parts than a picture of a camera has; save it again")
        # A segment tells its length; of a scan it is that of its header, and coded data follow.
        at += int.from_bytes(data[at : at + 2], "big")
    return False

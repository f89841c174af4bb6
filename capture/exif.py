"""When a photograph was taken and which side of it is up, from EXIF (CIPA DC-008-2019)."""

from datetime import datetime
from typing import Any

from PIL import Image

_ORIENTATION = 274
_EXIF_FOLDER = 0x8769
_TAKEN = 36867
_OFFSET = 36881


def exif_of(image: Image.Image) -> tuple[object, datetime | None, tuple[str, ...]]:
    """Orientation, time of taking, and a note when the EXIF data is damaged.

    Parameters
    ----------
    image : PIL.Image.Image
        With its header read; nothing is decoded.
    """
    try:
        # Not the method of a PNG, which would decode all pixels to look behind them.
        exif = Image.Image.getexif(image)
        folder: dict[int, Any] = exif.get_ifd(_EXIF_FOLDER)
        return exif.get(_ORIENTATION), exif_time(folder.get(_TAKEN), folder.get(_OFFSET)), ()
    except Exception:  # Pillow reads EXIF with whatever error the damage leads to; the picture is still good
        note = "The EXIF data is damaged, so the time of taking and the upright side are not known."
        return None, None, (note,)


def exif_time(value: object, offset: object = None) -> datetime | None:
    """Read a date and time as EXIF and TIFF write it; None for anything else.

    >>> exif_time("2024:03:01 14:05:09", "+01:00").isoformat()
    '2024-03-01T14:05:09+01:00'
    >>> exif_time("0000:00:00 00:00:00") is None
    True
    """
    if not isinstance(value, str):
        return None
    text = value.strip().rstrip("\0")
    if isinstance(offset, str):
        try:
            return datetime.strptime(text + offset.strip().rstrip("\0"), "%Y:%m:%d %H:%M:%S%z")
        except ValueError:
            pass  # a camera that does not know its zone fills in blanks
    try:
        return datetime.strptime(text, "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None

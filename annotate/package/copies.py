"""Copies of photographs that leave the house: every pixel as it was, and nothing of what a camera notes beside them.

Only what is needed to decode and show the picture stays: coded data, colour profile, which side is up. Time and place,
camera and serial numbers, previews, names and comments do not.
"""

import struct
import zlib

from PIL import Image

from setstone.annotate.errors import AnnotateError

#: Formats whose metadata is taken out without decoding a pixel.
STRIPPED: frozenset[str] = frozenset({"JPEG", "PNG"})
_ORIENTATION = 274
#: PNG chunks without which pixels would look otherwise (W3C PNG, third edition, 11).
_PNG_KEPT = {
    b"IHDR",
    b"PLTE",
    b"IDAT",
    b"IEND",
    b"tRNS",
    b"cHRM",
    b"gAMA",
    b"iCCP",
    b"sBIT",
    b"sRGB",
    b"cICP",
}
_PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
#: JPEG markers (ITU-T T.81, table B.1).
_SOI, _EOI, _SOS, _APP0, _APP15, _COM = 0xD8, 0xD9, 0xDA, 0xE0, 0xEF, 0xFE


def kind_of_file(data: bytes) -> str:
    """Tell a JPEG and a PNG by their first bytes; empty for any other file."""
    return "JPEG" if data.startswith(b"\xff\xd8") else "PNG" if data.startswith(_PNG_SIGNATURE) else ""


def stripped(data: bytes, kind: str) -> bytes:
    """Take the metadata out of a file; the pixels it decodes to are the same.

    Parameters
    ----------
    data : bytes
        A whole file, one that was opened as a photograph before.
    kind : {"JPEG", "PNG"}

    Returns
    -------
    bytes

    Raises
    ------
    AnnotateError
        When the file is damaged.
    """
    try:
        return _jpeg(data) if kind == "JPEG" else _png(data)
    except (struct.error, IndexError, ValueError) as error:
        raise AnnotateError(
            "A photograph is damaged, so what its camera noted cannot be taken out of it; add the original again."
        ) from error


def _jpeg(data: bytes) -> bytes:
    kept = [b"\xff\xd8"]
    side_up = b""
    at = 2
    while True:
        while data[at + 1] == 0xFF:  # fill bytes
            at += 1
        marker = data[at + 1]
        if marker == _EOI:  # whatever follows, for example a second picture, is left out
            return b"".join([*kept[:1], side_up, *kept[1:], b"\xff\xd9"])
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        segment = data[at:end]
        if segment[4:10] == b"Exif\0\0" and marker == 0xE1:
            side_up = _exif_segment(segment[4:])
        if (not _APP0 <= marker <= _APP15 and marker != _COM) or _needed(marker, segment[4:]):
            kept.append(segment)
        at = end
        if marker == _SOS:
            at = _end_of_scan(data, at)
            kept.append(data[end:at])


def _needed(marker: int, content: bytes) -> bool:
    """Whether a segment of an application is one that decoders need: JFIF without preview, profile, Adobe's colours."""
    return (
        (marker == _APP0 and content.startswith(b"JFIF\0") and len(content) == 14)
        or (marker == 0xE2 and content.startswith(b"ICC_PROFILE\0"))
        or (marker == 0xEE and content.startswith(b"Adobe"))
    )


def _end_of_scan(data: bytes, at: int) -> int:
    """Find the marker behind coded data: neither a stuffed byte nor a restart (T.81, F.1.2.3)."""
    while True:
        at = data.index(b"\xff", at)
        if data[at + 1] not in (0x00, 0xFF) and not 0xD0 <= data[at + 1] <= 0xD7:
            return at
        at += 1 if data[at + 1] == 0xFF else 2


def _exif_segment(exif: bytes) -> bytes:
    content = _side_up(exif)
    return b"\xff\xe1" + struct.pack(">H", len(content) + 2) + content if content else b""


def _side_up(exif: bytes) -> bytes:
    """Return EXIF that tells only which side is up; empty where that is the usual one."""
    said = Image.Exif()
    try:
        said.load(exif)
        orientation = said.get(_ORIENTATION, 1)
    except Exception:  # Pillow reads EXIF with whatever error the damage leads to; it is left out
        return b""
    if orientation not in range(2, 9):
        return b""
    only = Image.Exif()
    only[_ORIENTATION] = orientation
    return only.tobytes()


def _png(data: bytes) -> bytes:
    kept = [_PNG_SIGNATURE]
    at = len(_PNG_SIGNATURE)
    while True:
        (length,) = struct.unpack(">I", data[at : at + 4])
        kind, content = data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        if kind in _PNG_KEPT:
            kept.append(data[at : at + 12 + length])
        elif kind == b"eXIf" and (side_up := _side_up(content)):
            kept.append(_chunk(kind, side_up.removeprefix(b"Exif\0\0")))
        if kind == b"IEND":
            return b"".join(kept)
        at += 12 + length


def _chunk(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))

"""TIFF and OME-TIFF files (TIFF 6.0, Adobe 1992), decoded by tifffile.

Everything is checked in the header before a pixel is decoded: the sizes of picture and tiles, and that
the pixels the header promises lie within the file.
"""

import io
import logging
import math
from dataclasses import replace
from datetime import datetime
from itertools import islice

import numpy as np
import tifffile
from tifffile import COMPRESSION, PHOTOMETRIC, TiffPage

from setstone.capture.density import um_per_px
from setstone.capture.errors import RefusalError
from setstone.capture.exif import exif_time
from setstone.capture.lamp import lamp_from_name
from setstone.capture.ome import OmeFacts, read_ome
from setstone.capture.photograph import Pixels
from setstone.capture.raster import Raster, check_size, profile_notes, to_rgb, upright

SIGNATURES = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")

#: What tifffile finds odd in a file is told in our own words; without a handler it would reach the console.
logging.getLogger("tifffile").addHandler(logging.NullHandler())

#: Those whose decoders are told how much to hand out, so that a small file cannot fill the memory.
_COMPRESSIONS = (
    COMPRESSION.NONE,
    COMPRESSION.LZW,
    COMPRESSION.ADOBE_DEFLATE,
    COMPRESSION.DEFLATE,
    COMPRESSION.PACKBITS,
    COMPRESSION.ZSTD,
)
_PHOTOMETRICS = (PHOTOMETRIC.MINISWHITE, PHOTOMETRIC.MINISBLACK, PHOTOMETRIC.RGB, PHOTOMETRIC.PALETTE)
_MICROMETRES = {2: 25_400.0, 3: 10_000.0}  # by ResolutionUnit: inch, centimetre
#: More pages than this in a file of one photograph are not looked at.
_MAX_PAGES = 64


def decode_tiff(data: bytes) -> Raster:
    """Decode the one full-size picture of a TIFF.

    Small previews beside it (marked as reduced, or of less than a quarter of its pixels) are passed
    over. Several full-size pictures are a stack or separate channels: which of them is the photograph
    is not guessed.

    Raises
    ------
    RefusalError
        When it is too large, incomplete, holds several pictures, or pixels of another kind than 8- or
        16-bit grey, RGB or palette without lossy compression.
    Exception
        Whatever tifffile raises on a damaged file.
    """
    with tifffile.TiffFile(io.BytesIO(data)) as tiff:
        page, notes = _picture(tiff)
        _check_header(page, len(data))
        pixels, colour, transparency = to_rgb(_channels(page))
        tags = page.tags
        raster = Raster(
            upright(pixels, tags.valueof(274)),
            colour,
            "TIFF",
            um_per_px=_um_per_px(page),
            taken=_taken(page),
            notes=notes + transparency + profile_notes(tags.valueof(34675)),
        )
        first = tiff.pages.first
        return _with_ome(raster, first.description) if first.is_ome else raster


def _picture(tiff: tifffile.TiffFile) -> tuple[TiffPage, tuple[str, ...]]:
    """Choose the page to be opened, and a note when others were passed over."""
    pages = [page for page in islice(tiff.pages, _MAX_PAGES) if isinstance(page, TiffPage)]
    if not all(_has_sizes(page) for page in pages):
        raise RefusalError("is damaged, its header gives no sizes; copy it again from the camera")
    full = [page for page in pages if not page.is_reduced and not page.is_mask]
    if not full:
        raise RefusalError("holds no full-size picture, as camera raw files do; save it as a plain TIFF")
    page = max(full, key=_area)
    others = sum(4 * _area(other) >= _area(page) for other in full) - 1
    if others:
        raise RefusalError(
            f"holds {others + 1} pictures (a stack, or colours kept apart); save the one to be measured as a "
            "file of its own"
        )
    return page, ("Previews beside the picture were passed over.",) if len(pages) > 1 else ()


def _has_sizes(page: TiffPage) -> bool:
    """Whether each size is one number; a damaged header gives several, or text."""
    sizes = (page.imagewidth, page.imagelength, page.imagedepth, page.tilewidth, page.tilelength,
             page.rowsperstrip, page.samplesperpixel, page.bitspersample)  # fmt: skip
    return all(isinstance(size, int) for size in sizes)


def _area(page: TiffPage) -> int:
    return page.imagewidth * page.imagelength


def _check_header(page: TiffPage, size_bytes: int) -> None:
    check_size(page.imagewidth, page.imagelength)
    if page.imagedepth != 1:
        raise RefusalError("holds a volume, not a picture; save one plane of it")
    if page.is_tiled:
        check_size(page.tilewidth, page.tilelength)
    if page.compression not in _COMPRESSIONS:
        raise RefusalError("is compressed in a way not read here; save it again without compression")
    if page.photometric == PHOTOMETRIC.SEPARATED:
        raise RefusalError("is made for print, in four inks (CMYK); save it again as an RGB picture")
    if page.photometric not in _PHOTOMETRICS:
        raise RefusalError("keeps its colours in a way not read here; save it again as an RGB picture")
    if page.sampleformat == 3:
        raise RefusalError("holds floating-point numbers; save it again as an 8-bit or 16-bit picture")
    if page.sampleformat != 1 or page.bitspersample not in (8, 16):
        raise RefusalError(
            f"holds {page.bitspersample} bits per channel, not 8 or 16; save it as an 8-bit picture"
        )
    colour = page.photometric == PHOTOMETRIC.RGB
    if not (3 if colour else 1) <= page.samplesperpixel <= (4 if colour else 2):
        raise RefusalError(f"holds {page.samplesperpixel} channels per pixel; save it as an RGB picture")
    if page.photometric == PHOTOMETRIC.PALETTE and _colours_in_table(page) != 2**page.bitspersample:
        raise RefusalError("has lost the table of its colours; save it again as an RGB picture")
    # TIFF allows empty strips, and decoders fill them with black; in a photograph they are a loss.
    parts = list(zip(page.dataoffsets, page.databytecounts, strict=True))
    missing = len(parts) < _part_count(page)
    if missing or any(count == 0 or start + count > size_bytes for start, count in parts):
        raise RefusalError("is cut short, parts of the picture are missing; copy it again from the camera")


def _part_count(page: TiffPage) -> int:
    """Count the strips or tiles the picture needs (TIFF 6.0, sections 3 and 15)."""
    planes = page.samplesperpixel if page.planarconfig == 2 else 1
    if page.is_tiled:
        across = math.ceil(page.imagewidth / page.tilewidth)
        return planes * across * math.ceil(page.imagelength / page.tilelength)
    return planes * math.ceil(page.imagelength / max(1, page.rowsperstrip))


def _colours_in_table(page: TiffPage) -> int:
    return 0 if page.colormap is None else page.colormap.size // 3


def _channels(page: TiffPage) -> Pixels:
    """Decode to (H, W, channels), black as zero, with the palette applied."""
    stored = page.asarray(maxworkers=1, squeeze=False)[:, 0]  # planes, H, W, channels
    channels = np.concatenate(list(stored), axis=-1)
    if page.photometric == PHOTOMETRIC.PALETTE:
        # TIFF 6.0, section 5: three runs of 16-bit values, red, green, blue
        palette = (np.asarray(page.colormap) >> 8).astype(np.uint8)
        return palette[:, channels[..., 0]].transpose(1, 2, 0)
    # Native byte order, whatever the file's.
    pixels: Pixels = (
        channels.astype(np.uint8, copy=False)
        if page.bitspersample == 8
        else channels.astype(np.uint16, copy=False)
    )
    return ~pixels if page.photometric == PHOTOMETRIC.MINISWHITE else pixels


def _um_per_px(page: TiffPage) -> float | None:
    unit = _MICROMETRES.get(page.tags.valueof(296, 2))
    across, down = (_ratio(page.tags.valueof(code)) for code in (282, 283))
    return um_per_px(across, down, unit) if unit and across and down else None


def _ratio(value: object) -> float | None:
    match value:
        case (int(numerator), int(denominator)) if numerator > 0 and denominator > 0:
            return numerator / denominator
    return None


def _taken(page: TiffPage) -> datetime | None:
    exif = page.tags.valueof(34665)
    if isinstance(exif, dict):
        taken = exif_time(exif.get("DateTimeOriginal"), exif.get("OffsetTimeOriginal"))
        if taken:
            return taken
    return exif_time(page.tags.valueof(306))


def _with_ome(raster: Raster, description: str) -> Raster:
    try:
        facts = read_ome(description)
    except ValueError as error:
        return replace(raster, notes=(*raster.notes, f"The OME description was not used: {error}."))
    return replace(
        raster,
        format="OME-TIFF",
        um_per_px=facts.um_per_px or raster.um_per_px,
        taken=facts.taken or raster.taken,
        magnification=facts.magnification,
        lamp_hint=lamp_from_name(facts.channel),
        notes=raster.notes + _bits_note(facts, raster) + ((facts.derived,) if facts.derived else ()),
    )


def _bits_note(facts: OmeFacts, raster: Raster) -> tuple[str, ...]:
    depth = 8 * raster.pixels.dtype.itemsize
    if facts.significant_bits is None or facts.significant_bits >= depth:
        return ()
    return (f"Only {facts.significant_bits} of {depth} bits are used, so the picture looks dark.",)

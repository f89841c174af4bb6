"""Open a photograph safely: it comes back whole and upright, or one sentence says why not."""

import hashlib
import stat
import warnings
from collections.abc import Callable
from pathlib import Path

from setstone.capture import heic, jpeg, png, raw, tiff
from setstone.capture.errors import PhotographError, RefusalError
from setstone.capture.lamp import lamp_from_name
from setstone.capture.photograph import Photograph
from setstone.capture.raster import Raster

#: Larger than any uncompressed 16-bit picture of the largest size opened.
MAX_BYTES = 2_000_000_000

#: Endings of names by format.
SUFFIXES = {
    "JPEG": (".jpg", ".jpeg", ".jpe", ".jfif"),
    "PNG": (".png",),
    "TIFF": (".tif", ".tiff"),
    "OME-TIFF": (".tif", ".tiff", ".tf2", ".tf8", ".btf"),
    "HEIC": (".heic", ".heif", ".hif"),
    "camera raw": tuple(raw.SUFFIXES),
}


def open_photograph(path: Path) -> Photograph:
    """Open a JPEG, PNG, TIFF, OME-TIFF, HEIC or camera raw of 8 or 16 bits, in grey or colour.

    The file is read once and recognised by its content. Its size in pixels is checked before any is
    decoded.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Photograph

    Raises
    ------
    PhotographError
        Whatever is wrong with the file; nothing else is raised, whatever bytes it holds.
    """
    # A folder such as "." has no name of its own.
    name = (path.name or str(path)).encode(errors="replace").decode()
    data = _read(path, name)
    decode = _decoder(data, name)
    try:
        # Pillow warns of odd EXIF data; what matters of it is in the notes.
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            raster = decode(data)
    except RefusalError as refusal:
        raise PhotographError(f"'{name}' {refusal}.") from refusal
    except MemoryError as error:
        raise PhotographError(
            f"'{name}' does not fit into this computer's memory; close other programs first."
        ) from error
    except Exception as error:  # a decoder fails on damaged bytes in as many ways as there are bytes
        raise PhotographError(
            f"'{name}' is damaged or cut short and cannot be opened; copy it again from the camera."
        ) from error
    return Photograph(
        pixels=raster.pixels,
        bit_depth=8 * raster.pixels.dtype.itemsize,
        colour=raster.colour,
        format=raster.format,
        sha256=hashlib.sha256(data).hexdigest(),
        name=name,
        size_bytes=len(data),
        um_per_px=raster.um_per_px,
        taken=raster.taken,
        magnification=raster.magnification,
        lamp_hint=raster.lamp_hint or lamp_from_name(name),
        notes=_name_notes(path, raster) + raster.notes,
    )


def _read(path: Path, name: str) -> bytes:
    try:
        found = path.stat()
        if stat.S_ISDIR(found.st_mode):
            raise PhotographError(f"'{name}' is a folder, not a photograph; choose a file in it.")
        if not stat.S_ISREG(found.st_mode):
            raise PhotographError(f"'{name}' is a device, not a photograph; choose a file.")
        if found.st_size > MAX_BYTES:
            raise PhotographError(f"'{name}' is larger than 2 GB; save a smaller picture.")
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise PhotographError(
            f"'{name}' was not found; check its name and the folder '{path.parent}'."
        ) from error
    except PermissionError as error:
        raise PhotographError(f"'{name}' may not be read; ask for permission to read the file.") from error
    except PhotographError:
        raise
    except (OSError, ValueError) as error:  # ValueError: a name no file system accepts
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise PhotographError(f"'{name}' cannot be read ({reason}); check the disk or card.") from error
    if not data:
        raise PhotographError(f"'{name}' is empty; copy it again from the camera.")
    return data


def _decoder(data: bytes, name: str) -> Callable[[bytes], Raster]:
    if raw.is_raw(name):
        return raw.decode_raw
    if heic.is_heic(data):
        return heic.decode_heic
    if data.startswith(jpeg.SIGNATURE):
        return jpeg.decode_jpeg
    if data.startswith(png.SIGNATURE):
        return png.decode_png
    if data.startswith(tiff.SIGNATURES):
        return tiff.decode_tiff
    raise PhotographError(
        f"'{name}' is not a JPEG, PNG or TIFF picture; save the photograph as one of these."
    )


def _name_notes(path: Path, raster: Raster) -> tuple[str, ...]:
    if path.suffix.lower() in SUFFIXES[raster.format]:
        return ()
    return (f"By its content the file is a {raster.format}, whatever its name says.",)

"""Files put away durably and unaltered, each known by its SHA-256 (FIPS 180-4)."""

import contextlib
import hashlib
import os
import shutil
import tempfile
from importlib.resources.abc import Traversable
from pathlib import Path

from setstone.record.errors import BookError

_SUFFIXES = {"JPEG": ".jpg", "PNG": ".png", "TIFF": ".tif", "OME-TIFF": ".ome.tif", "HEIC": ".heic"}


def suffix(format: str, name: str) -> str:  # noqa: A002
    """Return how a file of a format is to end; raw files go by the ending they have, which tells their kind.

    >>> suffix("JPEG", "lid-3.jpeg"), suffix("camera raw", "lid-3.NEF")
    ('.jpg', '.nef')
    """
    return _SUFFIXES.get(format) or Path(name).suffix.lower()


def file_away(source: Traversable, target: Path, sha256: str) -> None:
    """Keep a copy of a file, so that it is wholly there or not at all, whenever the power fails.

    Parameters
    ----------
    source : Path or file in a zip
        Only read.
    target : Path
        Nothing happens when the very file is there already; another one is replaced.
    sha256 : str
        Of the source when it was read, in hexadecimal.

    Raises
    ------
    BookError
        When the source changed meanwhile, or the copy cannot be written.
    """
    try:
        if target.exists() and sha256_of(target) == sha256:
            # As new: a file no row names yet is not taken for one left over (`verifying.strays`).
            with contextlib.suppress(PermissionError):
                os.utime(target)
            return
        # Beside the target, because a file can be renamed at one stroke only within one disk.
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=".adding-")
        temporary = Path(name)
        try:
            with os.fdopen(handle, "wb") as copy, source.open("rb") as original:
                shutil.copyfileobj(original, copy, 1 << 20)
                copy.flush()
                os.fsync(copy.fileno())
            if sha256_of(temporary) != sha256:
                raise BookError(
                    f"The file '{source}' changed while it was read; add it again when it is complete."
                )
            temporary.chmod(0o444)
            temporary.replace(target)
        finally:
            temporary.unlink(missing_ok=True)
        sync_folder(target.parent)
    except OSError as error:
        raise BookError(
            f"The photograph '{source}' cannot be kept in '{target.parent}' ({error.strerror}); "
            "check the disk and the rights of the folder."
        ) from error


def sync_file(path: Path) -> None:
    """Make what was written to a file durable, for modules of this room."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Make new names in a folder durable, where the system can (Windows cannot open a folder); for modules of this room."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sha256_of(path: Traversable) -> str:
    """SHA-256 of a file, in hexadecimal, for modules of this room."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()  # type: ignore[arg-type]

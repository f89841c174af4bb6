"""Names for files made from any text, and writing them so that no half-written file is ever seen."""

import contextlib
import hashlib
import os
import re
import tempfile
import unicodedata
from pathlib import Path

from setstone.annotate.errors import AnnotateError

#: Every file of ours names its maker within this many bytes, so that it can be told from others.
_HEAD = 2048
_MAKER = b"setstone"
#: A PDF names its maker in the properties at its end.
_PDF, _PDF_MAKER = b"%PDF-", b"/Keywords(setstone "
_LONGEST = 80
#: Names that Windows keeps for devices ("Naming Files, Paths, and Namespaces", Microsoft).
_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)


def safe_stem(*parts: str) -> str:
    """Join texts to a file name without ending that every system can hold.

    Letters and digits of ASCII, dots, hyphens and underscores stay; blanks become hyphens. Where
    more is lost than that, a few digits of a hash keep different texts apart.

    >>> safe_stem("lid-3", "as received", "blue")
    'lid-3-as-received-blue'
    >>> safe_stem("../lid/3").startswith("lid-3-")
    True
    """
    text = "-".join("-".join(part.split()) for part in parts)
    ascii_text = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    stem = re.sub(r"[^A-Za-z0-9._]+", "-", ascii_text).strip("-._")[:_LONGEST]
    if stem == text and not _RESERVED.fullmatch(stem):
        return stem
    digest = hashlib.sha256("\0".join(parts).encode(errors="surrogatepass")).hexdigest()[:8]
    return f"{stem}-{digest}" if stem and not _RESERVED.fullmatch(stem) else f"stone-{digest}"


def free_path(path: Path) -> Path:
    """Return a path where nothing is yet: the same, or with a number at the end of its name."""
    free, number = path, 2
    while free.exists():
        free, number = path.with_stem(f"{path.stem}-{number}"), number + 1
    return free


def replace_file(path: Path, content: bytes) -> Path:
    """Write a file in one step, in place of an earlier one of ours.

    Parameters
    ----------
    path : Path
        Its folder is made where it does not exist.
    content : bytes
        Names its maker in its first bytes, or in the properties of a PDF.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    AnnotateError
        If another program's file stands there, or the file cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists() and not _is_ours(path):
            raise AnnotateError(
                f"'{path}' was not made by setstone and is left alone; move it away or choose another folder."
            )
        handle, name = tempfile.mkstemp(prefix=".setstone-", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            # mkstemp keeps the file to its owner; a hand-out may be read like any other new file
            Path(name).chmod(0o644)
            Path(name).replace(path)
        except BaseException:
            with contextlib.suppress(OSError):
                Path(name).unlink()
            raise
    except OSError as error:
        reason = error.strerror or str(error)
        raise AnnotateError(
            f"'{path}' cannot be written ({reason}); check the folder and the free space, or choose another."
        ) from error
    return path


def _is_ours(path: Path) -> bool:
    if not path.is_file():
        return False
    with path.open("rb") as file:
        head = file.read(_HEAD)
        return _MAKER in head or (head.startswith(_PDF) and _PDF_MAKER in file.read())

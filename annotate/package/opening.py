"""A package as it comes from outside: a folder or a zip, read in place and never unpacked.

Nothing in it is trusted. Names are compared and shown, never opened as paths, and sizes are limited.
"""

import lzma
import stat
import struct
import unicodedata
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from setstone.annotate.errors import AnnotateError

MOST_FILES = 20_000
MOST_BYTES = 20_000_000_000
#: A list of checksums, the information, a key: read whole.
MOST_TEXT = 16_000_000
#: A zip larger than this unpacked that unpacks to more than so many times its size holds no photographs.
LARGE, MOST_PACKED = 100_000_000, 100
_CHUNK = 1 << 20
#: What systems lay into folders by themselves; no package of ours holds such names.
LITTER = (".DS_Store", "Thumbs.db", "desktop.ini")
#: Bit of an entry of a zip that is encrypted (PKWARE APPNOTE 6.3, section 4.4.4, bit 0).
_ENCRYPTED = 0x1


class Package(Protocol):
    """Files by name; names as in BagIt, from the folder of the bag, parted by ``/``."""

    @property
    def sizes(self) -> dict[str, int]:
        """Bytes of every file."""

    def pieces(self, name: str) -> Iterable[bytes]:
        """Content of a file; a BadZipFile where it is damaged within a zip."""


def whole(package: Package, name: str) -> bytes:
    """Read a short file; one that is not there, or not short, is empty."""
    if package.sizes.get(name, MOST_TEXT) >= MOST_TEXT:
        return b""
    return b"".join(package.pieces(name))


def copied_out(path: Path, name: str, to: Path) -> Path:
    """Copy one file of a package into a folder of ours; raises what `opened` does."""
    copy = to / Path(name).name
    with opened(path) as package, copy.open("wb") as file:
        file.writelines(package.pieces(name))
    return copy


@contextmanager
def opened(path: Path) -> Iterator[Package]:
    """Open a package.

    Parameters
    ----------
    path : Path
        Its folder, or a zip of it.

    Raises
    ------
    AnnotateError
        When there is nothing, it is no zip, it is damaged, or what stands in it leads out of it.
    """
    try:
        if path.is_dir():
            yield _Folder.read(path)
        elif path.is_file():
            with zipfile.ZipFile(path) as archive:
                yield _Zip.read(archive, path)
        else:
            raise AnnotateError(f"There is no '{path}'; give the folder of a package or its .zip.")
    except (zipfile.BadZipFile, NotImplementedError, UnicodeDecodeError, struct.error) as error:
        raise AnnotateError(
            f"'{path}' cannot be read as a package: it is no zip, or damaged on its way; have it sent again."
        ) from error
    except OSError as error:
        raise AnnotateError(
            f"'{path}' cannot be read ({error.strerror or error}); check the disk and your rights on it."
        ) from error


@dataclass(frozen=True)
class _Folder:
    folder: Path
    sizes: dict[str, int]

    @classmethod
    def read(cls, folder: Path) -> "_Folder":
        sizes = {}
        for path in folder.rglob("*"):
            kind = path.lstat()
            name = path.relative_to(folder).as_posix()
            if stat.S_ISDIR(kind.st_mode):
                continue
            if not stat.S_ISREG(kind.st_mode):
                raise AnnotateError(
                    f"{shown(name)} in '{folder}' leads elsewhere and is no file; do not use it."
                )
            if not is_litter(name):
                sizes[name] = kind.st_size
        _require_bounds(sizes, folder)
        return cls(folder, sizes)

    def pieces(self, name: str) -> Iterable[bytes]:
        with (self.folder / name).open("rb") as file:
            while chunk := file.read(_CHUNK):
                yield chunk


@dataclass(frozen=True)
class _Zip:
    archive: zipfile.ZipFile
    entries: dict[str, zipfile.ZipInfo]

    @classmethod
    def read(cls, archive: zipfile.ZipFile, path: Path) -> "_Zip":
        entries: dict[str, zipfile.ZipInfo] = {}
        alike: set[str] = set()
        for entry in archive.infolist():
            name = entry.orig_filename
            if name.endswith("/"):
                continue
            if entry.flag_bits & _ENCRYPTED:
                raise AnnotateError(f"'{path}' is under a password; have it sent without one.")
            if leads_out(name) or stat.S_ISLNK(entry.external_attr >> 16):
                raise AnnotateError(f"{shown(name)} in '{path}' leads out of its folder; do not unpack it.")
            folded = unicodedata.normalize("NFC", name).casefold()
            if folded in alike:
                raise AnnotateError(
                    f"{shown(name)} stands twice in '{path}', so what you see may not be what was signed; do not use it."
                )
            alike.add(folded)
            entries[name] = entry
        _require_bounds({n: e.file_size for n, e in entries.items()}, path)
        if sum(e.file_size for e in entries.values()) > max(LARGE, MOST_PACKED * path.stat().st_size):
            raise AnnotateError(
                f"'{path}' would unpack to more than {MOST_PACKED} times its size, as no photographs do; do not use it."
            )
        entries = {name: entry for name, entry in entries.items() if not is_litter(name)}
        top = {name.split("/", 1)[0] for name in entries}
        if len(top) == 1 and all("/" in name for name in entries):
            entries = {name.split("/", 1)[1]: entry for name, entry in entries.items()}
        return cls(archive, entries)

    @property
    def sizes(self) -> dict[str, int]:
        return {name: entry.file_size for name, entry in self.entries.items()}

    def pieces(self, name: str) -> Iterable[bytes]:
        try:
            with self.archive.open(self.entries[name]) as file:
                while chunk := file.read(_CHUNK):
                    yield chunk
        except (zlib.error, lzma.LZMAError, EOFError, NotImplementedError, UnicodeDecodeError) as error:
            raise zipfile.BadZipFile(f"{name} is damaged") from error


def is_litter(name: str) -> bool:
    """Whether a system laid a file there by itself when somebody looked at the folder or packed it again.

    >>> is_litter("data/.DS_Store"), is_litter("__MACOSX/p/data/._a.png"), is_litter("data/a.png")
    (True, True, False)
    """
    last = name.rsplit("/", 1)[-1]
    return last in LITTER or last.startswith("._") or name.startswith("__MACOSX/")


def leads_out(name: str) -> bool:
    r"""Whether a name could lead out of its folder on any system.

    >>> leads_out("data/../../x"), leads_out("C:x"), leads_out("a\\..\\x"), leads_out("data/x..y")
    (True, True, True, False)
    """
    return (
        not name
        or name.startswith(("/", "~"))
        or any(c in name for c in "\\:\0")
        or any(part in ("", ".", "..") for part in name.split("/"))
    )


def shown(name: str) -> str:
    r"""Quote a name from outside so that it can neither turn the reading direction nor pass for more text.

    >>> shown("gnp.\u202eexe\n")
    "'gnp.?exe?'"
    """
    plain = "".join("?" if unicodedata.category(c)[0] in "CZ" and c != " " else c for c in name)
    return f"'{plain[:120]}{'…' if len(plain) > 120 else ''}'"


def _require_bounds(sizes: dict[str, int], where: Path) -> None:
    if len(sizes) > MOST_FILES or sum(sizes.values()) > MOST_BYTES:
        raise AnnotateError(
            f"'{where}' holds more than {MOST_FILES} files or {MOST_BYTES // 10**9} GB and no package of a workshop does; "
            "do not use it."
        )

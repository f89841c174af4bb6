"""The folder of a package as a bag of BagIt 1.0 (RFC 8493): lists of checksums, and what they are of."""

import hashlib
import re
from collections.abc import Iterable, Mapping
from pathlib import Path

from setstone.annotate.lettering import plain

#: Checksums every file has; any BagIt tool knows both (RFC 8493, 2.4).
ALGORITHMS = ("sha256", "sha512")
DECLARATION = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
#: Signed; it lists the other lists, and so stands for every file of the package.
SIGNED_LIST = "tagmanifest-sha256.txt"
_CHUNK = 1 << 20
_LINE = re.compile(r"([0-9A-Fa-f]+)[ \t]+\*?(.+)")


def close_bag(folder: Path, information: Mapping[str, str]) -> bytes:
    """Write the lists of a bag whose payload and tag files are in place.

    Parameters
    ----------
    folder : Path
        With the payload in ``data``.
    information : mapping
        Lines of ``bag-info.txt``; the size of the payload is added.

    Returns
    -------
    bytes
        The content of `SIGNED_LIST`.
    """
    payload = _files(folder / "data")
    octets = sum(path.stat().st_size for path in payload)
    lines = {**information, "Payload-Oxum": f"{octets}.{len(payload)}"}
    _write(folder / "bagit.txt", DECLARATION)
    _write(folder / "bag-info.txt", "".join(f"{name}: {plain(value)}\n" for name, value in lines.items()))
    _list(folder, "manifest", payload)
    _list(folder, "tagmanifest", [p for p in _files(folder) if p not in payload])
    return (folder / SIGNED_LIST).read_bytes()


def digest_of(chunks: Iterable[bytes], algorithm: str = "sha256") -> str:
    """Hash a file given in pieces; hexadecimal."""
    made = hashlib.new(algorithm)
    for chunk in chunks:
        made.update(chunk)
    return made.hexdigest()


def pieces(path: Path) -> Iterable[bytes]:
    """Read a file in pieces, so that none is too large for memory."""
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            yield chunk


def manifest_line(digest: str, name: str) -> str:
    """Write one line of a list, without line end."""
    encoded = name.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")
    return f"{digest}  {encoded}"


def read_manifest(text: str) -> dict[str, str]:
    """Read a list of checksums: digest by name of file.

    Raises
    ------
    ValueError
        When a line is none of such a list, or a file stands in it twice.

    >>> read_manifest("0A  data/a.txt")
    {'data/a.txt': '0a'}
    """
    listed: dict[str, str] = {}
    for line in re.split(r"\r\n|\r|\n", text):
        if not line:
            continue
        found = _LINE.fullmatch(line)
        if found is None:
            raise ValueError("a line of a list of checksums cannot be read")
        name = re.sub("%0[Dd]", "\r", found[2])
        name = re.sub("%0[Aa]", "\n", name).replace("%25", "%")
        if name in listed:
            raise ValueError("a file stands twice in a list of checksums")
        listed[name] = found[1].lower()
    return listed


def read_information(text: str) -> dict[str, str]:
    """Read ``bag-info.txt``; of a name given twice the first line counts."""
    values: dict[str, str] = {}
    for line in re.sub(r"(\r\n|\r|\n)[ \t]+", " ", text).splitlines():
        name, colon, value = line.partition(":")
        if colon:
            values.setdefault(name.strip(), value.strip())
    return values


def _list(folder: Path, kind: str, paths: Iterable[Path]) -> None:
    digests: dict[str, list[str]] = {algorithm: [] for algorithm in ALGORITHMS}
    for path in paths:
        name = path.relative_to(folder).as_posix()
        for algorithm in ALGORITHMS:
            digests[algorithm].append(manifest_line(digest_of(pieces(path), algorithm), name))
    for algorithm in ALGORITHMS:
        _write(folder / f"{kind}-{algorithm}.txt", "".join(f"{line}\n" for line in digests[algorithm]))


def _files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())


def _write(path: Path, text: str) -> None:
    path.write_bytes(text.encode())

"""Bags that RFC 8493 forbids, signed by somebody who has a key: the check and bagit-python tell, whoever signed.

The cases are made after RFC 8493 (sections 2.1.1 to 2.4 and 5). The bags that the Library of Congress publishes for this are in no
package registry and are not here.
"""

import hashlib
import shutil
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import bagit
import pytest

from setstone.annotate.package.bag import SIGNED_LIST
from setstone.annotate.package.checking import check_package
from setstone.annotate.package.key import WorkshopKey, workshop_key
from setstone.annotate.package.layout import SIGNATURE
from setstone.annotate.package.writing import write_package
from setstone.annotate.texts import english
from setstone.record.book import Book


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> WorkshopKey:
    return workshop_key(tmp_path_factory.mktemp("key") / "key.pem")


@pytest.fixture(scope="module")
def written(make: SimpleNamespace, key: WorkshopKey, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bags")
    with Book.create(folder / "book", workshop="Workshop on the Quay") as book:
        return write_package(book, [make.fill(book, folder)], folder / "snuff-box", key)


@pytest.fixture
def bag(written: Path, tmp_path: Path) -> Path:
    """A copy to be altered."""
    return shutil.copytree(written, tmp_path / "snuff-box")


def sign_what_stands(bag: Path, key: WorkshopKey) -> None:
    """List the tag files as they stand and sign that list."""
    for algorithm in ("sha512", "sha256"):
        lists = bag / f"tagmanifest-{algorithm}.txt"
        names = [line.split("  ", 1)[1] for line in lists.read_text().splitlines()]
        lists.write_text(
            "".join(
                f"{hashlib.new(algorithm, (bag / name).read_bytes()).hexdigest()}  {name}\n"
                for name in names
                if (bag / name).is_file()
            )
        )
    (bag / SIGNATURE).write_bytes(key.sign((bag / SIGNED_LIST).read_bytes()))


def whole_for_bagit(bag: Path) -> bool:
    try:
        return bool(bagit.Bag(str(bag)).is_valid())
    except bagit.BagError:
        return False


def edit(name: str, old: str, new: str) -> Callable[[Path], None]:
    """Replace bytes of a file, as they stand."""

    def do(bag: Path) -> None:
        before = (bag / name).read_bytes()
        after = before.replace(old.encode(), new.encode())
        assert after != before
        (bag / name).write_bytes(after)

    return do


def add(name: str, text: str) -> Callable[[Path], None]:
    def do(bag: Path) -> None:
        (bag / name).parent.mkdir(exist_ok=True)
        with (bag / name).open("ab") as file:
            file.write(text.encode())

    return do


def without(*names: str) -> Callable[[Path], None]:
    def do(bag: Path) -> None:
        for name in names:
            (bag / name).unlink()

    return do


def first_twice(bag: Path) -> None:
    lists = bag / "manifest-sha256.txt"
    line = lists.read_text().splitlines()[0]
    lists.write_text(lists.read_text() + "0" * 64 + "  " + line.split("  ", 1)[1] + "\n")


def upper(bag: Path) -> None:
    lists = bag / "manifest-sha256.txt"
    lines = (line.split("  ", 1) for line in lists.read_text().splitlines())
    lists.write_text("".join(f"{digest.upper()}  {name}\n" for digest, name in lines))


FORBIDDEN: dict[str, Callable[[Path], None]] = {
    "whitespace in the declaration": edit("bagit.txt", "BagIt-Version: ", "BagIt-Version : "),
    "byte order mark in the declaration": edit("bagit.txt", "BagIt-Version", "\ufeffBagIt-Version"),
    "declaration of one line": edit("bagit.txt", "Tag-File-Character-Encoding: UTF-8\n", ""),
    "a version that is none": edit("bagit.txt", "1.0", "one"),
    "no declaration": without("bagit.txt"),
    "no payload manifest": without("manifest-sha256.txt", "manifest-sha512.txt"),
    "a file on one list only": edit("manifest-sha512.txt", "data/readings.json\n", "data/other.json\n"),
    "a file named twice": first_twice,
    "a name that leads out": add("manifest-sha256.txt", "0" * 64 + "  data/../../key.pem\n"),
    "an absolute name": add("manifest-sha256.txt", "0" * 64 + "  /etc/hostname\n"),
    "a home": add("manifest-sha256.txt", "0" * 64 + "  ~/key.pem\n"),
    "a listed file that is missing": add("manifest-sha256.txt", "0" * 64 + "  data/missing\n"),
    "a file no list names": add("data/more.txt", "x"),
    "a wrong count of octets": edit("bag-info.txt", "Payload-Oxum: ", "Payload-Oxum: 9"),
    "a file to be fetched": add("fetch.txt", "https://example.org/a 1 data/a\n"),
    "no payload": lambda bag: shutil.rmtree(bag / "data"),
}

#: bagit-python strips blanks, and takes what is still to be fetched; a package of ours must be whole.
NOT_TOLD_BY_BAGIT = {"whitespace in the declaration", "a file to be fetched"}

ALLOWED: dict[str, Callable[[Path], None]] = {
    "nothing done": without(),
    "ends of lines as elsewhere": edit("manifest-sha256.txt", "\n", "\r\n"),
    "capital digits": upper,
    "an entry given twice": add("bag-info.txt", "External-Description: a\nExternal-Description: b\n"),
    "a line that goes on": add("bag-info.txt", "External-Description: a\n  b\n"),
}


@pytest.mark.parametrize("what", FORBIDDEN)
def test_what_the_rfc_forbids_is_told(what: str, bag: Path, key: WorkshopKey) -> None:
    FORBIDDEN[what](bag)
    sign_what_stands(bag, key)
    assert check_package(bag, english()).problems
    assert whole_for_bagit(bag) == (what in NOT_TOLD_BY_BAGIT)


@pytest.mark.parametrize("what", ALLOWED)
def test_what_the_rfc_allows_is_taken(what: str, bag: Path, key: WorkshopKey) -> None:
    ALLOWED[what](bag)
    sign_what_stands(bag, key)
    assert whole_for_bagit(bag)
    assert not check_package(bag, english()).problems

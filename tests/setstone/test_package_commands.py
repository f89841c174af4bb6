"""The evidence package by commands: whatever is wrong gets one sentence and a status of its own, and nothing is lost.

Outside checks: names and limits of zips by the PKWARE APPNOTE 6.3 as `zipfile` of Python writes and damages them,
bags by RFC 8493.
"""

import json
import os
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import typer

from setstone.__main__ import main
from setstone.annotate.package import key as keys
from setstone.annotate.package.bag import close_bag
from setstone.annotate.package.layout import SIGNATURE
from setstone.annotate.texts import english
from setstone.record.book import Book
from setstone.record.examining import examine_stone
from setstone.sample_images import sample_stones

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command as a user would: exit status, stdout, stderr."""

    def command(*words: str | Path) -> tuple[int, str, str]:
        monkeypatch.setattr("sys.argv", ["setstone", *map(str, words)])
        capsys.readouterr()
        try:
            main()
            status = 0
        except SystemExit as stop:
            status = int(stop.code or 0)
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return status, out, err

    return command


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with a stone of a name that is not ASCII, its package, and the key that signed it."""
    folder = tmp_path_factory.mktemp("Werkstatt für Steine")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_DATA_HOME", str(folder / "keys"))
        patch.setenv("SETSTONE_BOOK", str(folder / "book"))
        with Book.create(folder / "book", workshop="Werkstatt „Am Kai“") as book:
            box = book.add_object("Schnupftabakdose für Œuvre №\u202f1")
            stone = book.add_stone(box, "Deckel-ß", claimed_as="ruby")
            book.add_photograph(stone, sample_stones()[0].folder / "before_white.jpg")
            examine_stone(book, stone, by="Ada")
        # As the program of its own that people start.
        done = subprocess.run(
            [sys.executable, "-m", "setstone", "package", "write", folder / "Päckchen ü.zip"],
            capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture
def at_home(house: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The same with a copy of the key, so that it can be spoilt."""
    shutil.copytree(house / "keys", tmp_path / "keys")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "keys"))
    monkeypatch.setattr(keys, "key_file", lambda: tmp_path / "keys/setstone/workshop-key.pem")
    monkeypatch.setenv("SETSTONE_BOOK", str(house / "book"))
    monkeypatch.delenv("SETSTONE_PASSPHRASE", raising=False)
    return house


@pytest.fixture
def package(house: Path, tmp_path: Path) -> Path:
    """The package as a folder, to be altered."""
    with zipfile.ZipFile(house / "Päckchen ü.zip") as archive:
        archive.extractall(tmp_path)
        (top,) = {name.split("/")[0] for name in archive.namelist()}
    return tmp_path / top


def sentence(answer: tuple[int, str, str]) -> str:
    """Return the one sentence a command ended with."""
    status, out, err = answer
    assert status != 0
    assert not out
    lines = err.strip().splitlines()
    assert len(lines) == 1, err
    return lines[0]


def told(answer: tuple[int, str, str]) -> list[str]:
    """Return what a check found wrong, a sentence each."""
    status, out, err = answer
    assert (status, err) == (1, "")
    first, *lines = out.splitlines()
    assert first == english()("check.bad")
    return [line[2:] for line in lines if line.startswith("- ")]


def test_it_is_written_checked_and_tied_to_the_key(at_home: Path, run: Run, tmp_path: Path) -> None:
    to = tmp_path / "neu ö" / "Päckchen"
    status, out, err = run("package", "write", to, "--json")
    assert status == 0
    fingerprint = json.loads(out)["fingerprint"]
    assert err.split() == ["Deckel-ß", "Deckel-ß"]  # twice: gathered, and written
    assert json.loads(run("package", "key", "--json")[1])["fingerprint"] == fingerprint
    for package in (to, at_home / "Päckchen ü.zip"):
        found = json.loads(run("package", "check", package, "--json")[1])
        status, out, _ = run(
            "package", "check", package, "--key", fingerprint.upper(), "--digest", found["evidence_sha256"]
        )
        assert status == 0
        assert out.startswith(english()("check.good"))
        assert english()("check.same_key") in out
        assert english()("check.same_digest") in out
        assert "Werkstatt „Am Kai“" in out
    said = json.loads((to / "data/readings.json").read_text(encoding="utf-8"))
    assert said["stones"][0]["stone"] == "Deckel-ß"


# What writing refuses


def test_nothing_is_written_over(at_home: Path, run: Run) -> None:
    there = at_home / "Päckchen ü.zip"
    before = there.read_bytes()
    assert "already; choose another name" in sentence(run("package", "write", there))
    assert "already" in sentence(run("package", "write", at_home))
    assert there.read_bytes() == before


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("lid-99",), "lid-99"),
        (("--language", "tlh"), "choose one of en, de, fr"),
        (("--pdf", "--paper", "napkin"), "choose one of a4, letter"),
    ],
)
def test_what_is_not_there_is_said(
    at_home: Path, run: Run, tmp_path: Path, words: tuple[str, ...], says: str
) -> None:
    assert says in sentence(run("package", "write", tmp_path / "p.zip", *words))
    assert not (tmp_path / "p.zip").exists()


def test_a_folder_that_cannot_be_written_to(at_home: Path, run: Run, tmp_path: Path) -> None:
    (tmp_path / "letter").write_text("Dear customer")
    status, _, err = run("package", "write", tmp_path / "letter" / "p.zip")
    assert status == 1
    assert "cannot be written" in err.splitlines()[-1]
    assert (tmp_path / "letter").read_text() == "Dear customer"


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_for_reading_only(at_home: Path, run: Run, tmp_path: Path) -> None:
    (tmp_path / "locked").mkdir(mode=0o500)
    status, _, err = run("package", "write", tmp_path / "locked" / "p.zip")
    assert status == 1
    assert "cannot be written" in err.splitlines()[-1]


def test_a_disk_that_is_full(
    at_home: Path, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(zipfile.ZipFile, "write", full)
    status, _, err = run("package", "write", tmp_path / "p.zip")
    assert status == 1
    assert "No space left on device" in err.splitlines()[-1]
    assert [p.name for p in tmp_path.iterdir()] == ["keys"]


# The key


def test_a_passphrase_missing_or_wrong(
    at_home: Path, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(typer, "prompt", lambda *_, **__: "eight stones")
    assert run("package", "key", "--passphrase")[0] == 0
    for given in ("", "nine stones"):
        monkeypatch.setenv("SETSTONE_PASSPHRASE", given)
        assert "missing or wrong" in sentence(run("package", "write", tmp_path / "p.zip"))
        assert "missing or wrong" in sentence(run("package", "key"))
    assert not (tmp_path / "p.zip").exists()
    monkeypatch.setenv("SETSTONE_PASSPHRASE", "eight stones")
    assert run("package", "write", tmp_path / "p.zip")[0] == 0
    assert run("package", "check", tmp_path / "p.zip")[0] == 0


@pytest.mark.skipif(os.name != "posix", reason="rights as POSIX has them")
def test_a_key_that_others_can_read(at_home: Path, run: Run, tmp_path: Path) -> None:
    file = keys.key_file()
    file.chmod(0o640)
    assert "Others can read" in sentence(run("package", "write", tmp_path / "p.zip"))
    assert not (tmp_path / "p.zip").exists()
    assert file.exists()


@pytest.mark.parametrize("content", [b"", b"no key", bytes(200)])
def test_a_key_that_is_none(at_home: Path, run: Run, tmp_path: Path, content: bytes) -> None:
    keys.key_file().write_bytes(content)
    assert "holds no key" in sentence(run("package", "write", tmp_path / "p.zip"))
    assert keys.key_file().read_bytes() == content  # nothing is put in its place


# What a check says of an altered package


def alter_pixel(package: Path) -> None:
    (path,) = (package / "data/photographs").iterdir()
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)


def alter_number(package: Path) -> None:
    path = package / "data/readings.json"
    path.write_text(path.read_text(encoding="utf-8").replace('"mm"', '"µm"', 1), encoding="utf-8")


def add_file(package: Path) -> None:
    (package / "data/Gutachten ü.pdf").write_bytes(b"%PDF-")


def remove_file(package: Path) -> None:
    next((package / "data/overlays").iterdir()).unlink()


def break_signature(package: Path) -> None:
    path = package / SIGNATURE
    path.write_bytes(path.read_bytes()[:-1])


def sign_with_another(package: Path) -> None:
    alter_number(package)
    sign(package, keys.workshop_key(package.parent / "other.pem"))


def exchange_key_alone(package: Path) -> None:
    (package / "public-key.pem").write_bytes(keys.workshop_key(package.parent / "other.pem").public_pem)


def sign(package: Path, key: keys.WorkshopKey, **information: str) -> None:
    said = dict(
        line.split(": ", 1) for line in (package / "bag-info.txt").read_text(encoding="utf-8").splitlines()
    )
    for name in package.glob("*manifest-*"):
        name.unlink()
    (package / "public-key.pem").write_bytes(key.public_pem)
    said |= {"Key-Fingerprint": key.fingerprint, **information}
    (package / SIGNATURE).write_bytes(key.sign(close_bag(package, said)))


@pytest.mark.parametrize(
    ("do", "says"),
    [
        (alter_pixel, ["The photograph 'data/photographs/", " was altered after"]),
        (alter_number, ["The record with its numbers 'data/readings.json' was altered after"]),
        (add_file, ["The file 'data/Gutachten ü.pdf' was added after"]),
        (remove_file, ["The drawing 'data/overlays/", " was removed after"]),
        (break_signature, ["The signature does not fit"]),
        (sign_with_another, ["Another key signed it than the one its own hand-out"]),
    ],
)
def test_each_alteration_gets_one_sentence(
    run: Run, package: Path, do: Callable[[Path], None], says: list[str]
) -> None:
    do(package)
    packed = Path(shutil.make_archive(str(package), "zip", package.parent, package.name))
    for path in (package, packed):
        (problem,) = told(run("package", "check", path))
        assert all(words in problem for words in says)
        found = json.loads(run("package", "check", path, "--json")[1])
        assert not found["holds"]
        assert [p["text"] for p in found["problems"]] == [problem]


def test_another_public_key_laid_in(run: Run, package: Path) -> None:
    exchange_key_alone(package)
    problems = told(run("package", "check", package))
    assert [p.split(":")[0][:40] for p in problems] == [
        "The signature does not fit",
        "Another key signed it than the one its o",
        "The file 'public-key.pem' was altered af",
    ]


def test_another_key_than_the_one_told_by_telephone(run: Run, package: Path) -> None:
    (problem,) = told(run("package", "check", package, "--key", "0" * 64))
    assert problem == english()("check.other_key")
    (problem,) = told(run("package", "check", package, "--digest", "0" * 64))
    assert problem == english()("check.other_sheet")
    assert sentence(run("package", "check", package, "--key", "06c5")) == english()("check.not_whole")


def test_clocks_that_run_wrong(at_home: Path, run: Run, package: Path) -> None:
    key = keys.workshop_key(keys.key_file())
    for signed, says in (
        ("2999-01-01T00:00:00+00:00", "has not come"),
        ("2001-01-01T00:00:00+00:00", "before its latest"),
    ):
        sign(package, key, Signed=signed)
        (problem,) = told(run("package", "check", package))
        assert says in problem


def test_no_package_is_signed_by_a_clock_that_is_behind(
    at_home: Path, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from setstone.annotate.package import writing

    class Behind(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> Any:
            return datetime(2020, 1, 1, tzinfo=tz or UTC)

    monkeypatch.setattr(writing, "datetime", Behind)
    status, _, err = run("package", "write", tmp_path / "p.zip")
    assert status == 1
    assert "set the clock" in err.splitlines()[-1]
    assert not (tmp_path / "p.zip").exists()


# What is no package, or a trap


def entry(folder: Path, name: str, link: str = "") -> Path:
    """A zip with an entry of any name."""
    path = folder / "trap.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("p/bagit.txt", "")
        info = zipfile.ZipInfo("p/x")
        info.external_attr = 0o120777 << 16 if link else 0o644 << 16
        archive.writestr(info, link)
        archive.infolist()[1].filename = archive.infolist()[1].orig_filename = name
    return path


def half(folder: Path, house: Path) -> Path:
    content = (house / "Päckchen ü.zip").read_bytes()
    (folder / "half.zip").write_bytes(content[: len(content) // 2])
    return folder / "half.zip"


def bomb(folder: Path) -> Path:
    """200 MB of zeros in 200 kB."""
    with zipfile.ZipFile(folder / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("p/bagit.txt", "")
        archive.writestr("p/data/hand-out.html", bytes(200_000_000))
    return folder / "bomb.zip"


def liar(folder: Path, house: Path) -> Path:
    """An entry that unpacks to more than it says."""
    path = folder / "liar.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("p/bagit.txt", "")
        archive.writestr("p/manifest-sha256.txt", f"{'0' * 64}  data/x\n")
        archive.writestr("p/data/x", bytes(90_000_000))
        archive.infolist()[2].file_size = 10
    return path


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda _, folder: folder / "none.zip", "There is no"),
        (lambda _, folder: folder, "is no evidence package: it has no 'bagit.txt'"),
        (lambda _, folder: ((folder / "a.zip").write_bytes(b"") and None) or folder / "a.zip", "damaged on its way"),
        (lambda house, folder: half(folder, house), "damaged on its way"),
        (lambda _, folder: entry(folder, "../../etc/cron.d/x"), "leads out of its folder"),
        (lambda _, folder: entry(folder, "p/x", link="/etc/passwd"), "leads out of its folder"),
        (lambda _, folder: bomb(folder), "would unpack to more than 100 times its size"),
    ],
)  # fmt: skip
def test_what_is_no_package_gets_one_sentence(
    house: Path, run: Run, tmp_path: Path, make: Callable[[Path, Path], Path], says: str
) -> None:
    path = make(house, tmp_path)
    before = sorted(tmp_path.rglob("*"))
    assert says in sentence(run("package", "check", path))
    assert sorted(tmp_path.rglob("*")) == before


def test_an_entry_that_says_less_than_it_holds_is_read_no_further(
    house: Path, run: Run, tmp_path: Path
) -> None:
    problems = told(run("package", "check", liar(tmp_path, house)))
    assert "The file 'data/x' was altered after the workshop signed." in problems


@pytest.mark.skipif(os.name != "posix", reason="links and pipes as POSIX has them")
def test_links_and_pipes_inside_are_not_followed(run: Run, package: Path) -> None:
    (package / "data/link").symlink_to("/etc/passwd")
    assert "leads elsewhere" in sentence(run("package", "check", package))
    (package / "data/link").unlink()
    os.mkfifo(package / "data/pipe")
    assert "leads elsewhere" in sentence(run("package", "check", package))
    assert "There is no" in sentence(run("package", "check", package / "data/pipe"))


def test_a_bag_of_others_is_not_signed(run: Run, tmp_path: Path) -> None:
    (tmp_path / "bag/data").mkdir(parents=True)
    (tmp_path / "bag/data/x").write_text("x")
    close_bag(tmp_path / "bag", {"Bagging-Date": "2026-01-01"})
    problems = told(run("package", "check", tmp_path / "bag"))
    assert problems == [english()("check.unsigned"), english()("check.no_time")]


# The page


def test_the_page_is_written_and_replaces_no_file_of_others(run: Run, tmp_path: Path) -> None:
    page = tmp_path / "prüfen.html"
    for language in ("en", "de"):
        assert run("package", "page", page, "--language", language)[0] == 0
        assert f'<html lang="{language}">' in page.read_text(encoding="utf-8")
    page.write_text("Dear customer")
    assert "left alone" in sentence(run("package", "page", page))
    assert page.read_text() == "Dear customer"
    assert "choose one of" in sentence(run("package", "page", tmp_path / "b.html", "--language", "xx"))

"""The whole job by ordinary commands, and what bad input gets."""

import json
import os
import re
import shutil
import signal
import sqlite3
import struct
import subprocess
import sys
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from setstone.__main__ import main
from setstone.sample_images import OBJECT_PHOTOGRAPH, sample_stones

Run = Callable[..., tuple[int, str, str]]

SAMPLE = sample_stones()[0].folder


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command as a user would: exit status, stdout, stderr."""

    def command(*words: str | Path) -> tuple[int, str, str]:
        monkeypatch.setattr("sys.argv", ["setstone", *map(str, words)])
        monkeypatch.setenv("SETSTONE_OPERATOR", "Ada")
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


@pytest.fixture
def book(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A book with one stone and no photographs."""
    folder = tmp_path / "Bücher und mehr" / "book"
    monkeypatch.setenv("SETSTONE_BOOK", str(folder))
    assert run("new", folder, "--workshop", "Workshop on the Quay")[0] == 0
    assert run("object", "add", "Presentation snuff box")[0] == 0
    assert run("stone", "add", "lid-3", "--claimed", "ruby")[0] == 0
    return folder


def state(folder: Path) -> list[Any]:
    """Everything the database holds, and the names of the photographs."""
    with sqlite3.connect(folder / "book.db") as connection:
        tables = [n for (n,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        rows = [connection.execute(f"SELECT * FROM {table}").fetchall() for table in sorted(tables)]
    connection.close()
    return [rows, sorted(p.name for p in (folder / "photographs").iterdir())]


def test_the_whole_job_by_commands(run: Run, book: Path, tmp_path: Path) -> None:
    white, blue = SAMPLE / "before_white.jpg", SAMPLE / "before_blue.jpg"
    status, out, _ = run("photo", "add", "lid-3", white, blue, "--magnification", "60", "--json")
    assert status == 0
    added = json.loads(out)
    assert [(p["light"], p["new"]) for p in added] == [("white", True), ("blue", True)]
    assert json.loads(run("photo", "add", "lid-3", white, "--json")[1])[0]["new"] is False

    status, out, _ = run("examine", "lid-3", "--json")
    assert status == 0
    (examined,) = json.loads(out)["examined"]
    assert examined["scale"]["source"] == "scale bar"
    # The sample's own truth: 2.930 mm mean diameter, 3.277 µm per pixel (computed pictures).
    assert examined["scale"]["um_per_px"] == pytest.approx(3.277, rel=0.01)
    assert examined["diameter"]["mean_mm"] == pytest.approx(2.930, rel=0.015)
    assert {"line", "spot"} == {c["kind"] for c in examined["candidates"]}

    status, out, _ = run("candidates", "lid-3", "--all", "--json")
    first, second = (c["number"] for c in json.loads(out)[:2])
    assert run("accept", "lid-3", first, "--kind", "fissure")[0] == 0
    assert run("reject", "lid-3", second, "--reason", "facet edge")[0] == 0
    assert run("reopen", "lid-3", second)[0] == 0
    assert run("mark", "lid-3", "--kind", "pinpoint", "--at", "1.9,1.9", "--diameter-um", "20")[0] == 0
    assert run("reading", "add", "lid-3", "refractometer", "1.762-1.770", "--unset")[0] == 0
    assert run("remark", "lid-3", "old glue at the lower edge")[0] == 0

    status, out, _ = run("pictures", "--to", tmp_path / "pictures", "--json")
    assert status == 0
    assert {Path(p).suffix for p in json.loads(out)} == {".png", ".svg"}
    status, out, _ = run("handout", "--to", tmp_path / "sheet.html", "--json")
    assert status == 0
    page = (tmp_path / "sheet.html").read_text(encoding="utf-8")
    assert "lid-3" in page
    assert "Workshop on the Quay" in page

    actions = [j["action"] for j in json.loads(run("journal", "--json")[1])]
    assert actions[-6:] == ["accept", "reject", "reopen", "accept", "add reading", "add remark"]
    shown = json.loads(run("stone", "show", "lid-3", "--json")[1])
    assert [c["origin"] for c in shown["examinations"][0]["candidates"]][-1] == "hand"
    for words in (
        ("stone", "show", "lid-3"),
        ("stone", "list"),
        ("object", "list"),
        ("photo", "list", "lid-3"),
        ("reading", "list", "lid-3"),
        ("candidates", "lid-3"),
        ("journal",),
    ):
        status, out, _ = run(*words)
        assert status == 0
        assert out.strip()
    # The originals: what the book holds is what the samples are.
    kept = {p.read_bytes() for p in (book / "photographs").iterdir()}
    assert kept == {white.read_bytes(), blue.read_bytes()}


def png_header(width: int, height: int) -> bytes:
    """A PNG that claims to be of some size (PNG specification, ISO/IEC 15948, IHDR)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b"\0"))
        + chunk(b"IEND", b"")
    )


BAD_FILES = {
    "letter.png": b"Dear Sir, the stone is lovely.",
    "empty.jpg": b"",
    "huge.png": png_header(100_000, 100_000),
    "no width.png": png_header(0, 10),
    "truncated.jpg": (SAMPLE / "before_white.jpg").read_bytes()[:50_000],
    "noise.tif": b"II*\0" + bytes(range(256)),
}


@pytest.mark.parametrize("name", sorted(BAD_FILES))
def test_a_bad_file_gets_one_sentence_and_changes_nothing(
    run: Run, book: Path, tmp_path: Path, name: str
) -> None:
    (tmp_path / name).write_bytes(BAD_FILES[name])
    before = state(book)
    # Together with a good one: all or nothing.
    status, _, err = run("photo", "add", "lid-3", SAMPLE / "before_white.jpg", tmp_path / name)
    assert status == 1
    assert name in err
    assert len(err.strip().splitlines()) == 1
    assert state(book) == before


def test_a_photograph_of_another_stone_stops_all_before_a_copy_is_kept(run: Run, book: Path) -> None:
    assert run("stone", "add", "lid-4", "--claimed", "ruby")[0] == 0
    assert run("photo", "add", "lid-4", SAMPLE / "before_blue.jpg")[0] == 0
    before = state(book)
    status, _, err = run("photo", "add", "lid-3", SAMPLE / "before_white.jpg", SAMPLE / "before_blue.jpg")
    assert status == 1
    assert "as one of Presentation snuff box/lid-4" in err
    assert state(book) == before


def photograph(path: Path, pixels: np.ndarray[Any, Any]) -> Path:
    assert cv2.imwrite(str(path), pixels)
    return path


@pytest.mark.parametrize("level", [0, 255, 128])
def test_a_photograph_without_a_stone_gets_one_sentence(
    run: Run, book: Path, tmp_path: Path, level: int
) -> None:
    blank = photograph(tmp_path / "blank.png", np.full((300, 400, 3), level, np.uint8))
    assert run("photo", "add", "lid-3", blank, "--light", "white")[0] == 0
    before = state(book)
    status, _, err = run("examine", "lid-3")
    assert status == 1
    assert "blank.png" in err
    assert state(book) == before


def test_without_a_scale_bar_and_without_blue_the_rest_goes_on(run: Run, book: Path, tmp_path: Path) -> None:
    whole = cv2.imread(str(SAMPLE / "before_white.jpg"))
    assert whole is not None
    no_bar = photograph(tmp_path / "no bar.png", whole[:1100])
    run("photo", "add", "lid-3", no_bar)
    status, out, _ = run("examine", "lid-3", "--json")
    assert status == 0
    (examined,) = json.loads(out)["examined"]
    assert {"no-scale", "no-blue"} <= {f["code"] for f in examined["flags"]}
    assert examined["diameter"] is None
    assert examined["outline"] is not None
    status, out, _ = run("examine", "lid-3", "--um-per-px", "3.277", "--json")
    assert json.loads(out)["examined"][0]["diameter"]["mean_mm"] == pytest.approx(2.930, rel=0.015)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("examine", "lid-9"), "no stone 'lid-9'"),
        (("examine", "lid-3"), "no photographs"),
        (("candidates", "lid-3"), "not been examined"),
        (("examine", "lid-3", "--bar-length", "one inch or so"), "no length with a unit"),
        (("stone", "add", "lid-3"), "already"),
        (("remark", "lid-3", "  "), "empty"),
        (("sign", "lid-3", "--take-back"), "not signed"),
        (("search", "--since", "0001-01-01"), "check the year"),
        (("search", "--most", "9" * 20), "as large as the one given"),
        (("work", "add", "lid-3", "unset", "--done", "0001-01-01"), "check the year"),
        (("photo", "add", "lid-3", "nowhere.jpg"), "nowhere.jpg"),
    ],
)
def test_each_refusal_says_what_and_leaves_the_book(
    run: Run, book: Path, words: tuple[str, ...], says: str
) -> None:
    before = state(book)
    status, _, err = run(*words)
    assert status == 1
    assert says in err
    assert state(book) == before


def test_wrong_usage_has_a_status_of_its_own(run: Run) -> None:
    assert run("examine", "--no-such-option")[0] == 2


def test_a_folder_that_cannot_be_written_is_said(run: Run, book: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    status, _, err = run("handout", "--to", tmp_path / "file" / "sheet.html")
    assert status == 1
    assert "sheet.html" in err or "file" in err
    assert run("new", tmp_path / "file" / "book")[0] == 1


def test_the_book_can_be_moved(run: Run, book: Path, tmp_path: Path) -> None:
    run("photo", "add", "lid-3", SAMPLE / "before_white.jpg")
    moved = tmp_path / "moved"
    shutil.move(book, moved)
    (found,) = json.loads(run("photo", "list", "lid-3", "--book", moved, "--json")[1])
    assert Path(found["path"]).is_file()


def test_the_light_of_a_photograph_can_be_corrected(run: Run, book: Path, tmp_path: Path) -> None:
    colour = cv2.imread(str(SAMPLE / "before_white.jpg"))
    assert colour is not None
    grey = photograph(tmp_path / "grey.png", cv2.cvtColor(colour, cv2.COLOR_BGR2GRAY))
    (added,) = json.loads(run("photo", "add", "lid-3", grey, "--json")[1])
    assert added["light"] == "other"
    assert "lamp-uncertain" in {f["code"] for f in added["flags"]}
    (corrected,) = [json.loads(run("photo", "correct", "lid-3", "grey.png", "--light", "white", "--json")[1])]
    assert (corrected["light"], corrected["light_stated"]) == ("white", True)
    assert "lamp-uncertain" not in {f["code"] for f in corrected["flags"]}
    assert json.loads(run("journal", "lid-3", "--json")[1])[-1]["before"]["lamp"] == "other"
    status, _, err = run("photo", "correct", "lid-3", "nowhere.png", "--light", "white")
    assert status == 1
    assert "'grey.png'" in err


def test_stopping_half_way_says_so_and_keeps_nothing_half_done(
    run: Run, book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    run("photo", "add", "lid-3", SAMPLE / "before_white.jpg")
    before = state(book)
    monkeypatch.setattr("setstone.record.examining.examine", stopped)
    status, _, err = run("examine", "lid-3")
    assert status == 130
    assert err.strip().endswith("Stopped; what was not finished is not in the book.")
    assert state(book) == before


@pytest.mark.parametrize("length", ["2.92", "2,92"])
@pytest.mark.usefixtures("book")
def test_a_decimal_comma_is_as_good_as_a_point(run: Run, length: str) -> None:
    asked = (
        "weight",
        "lid-3",
        "--cut",
        "oval",
        "--sg",
        "4,00",
        "--depth-mm",
        "1,8",
        "--json",
        "--length-mm",
        length,
    )
    status, out, _ = run(*asked)
    assert status == 0
    assert json.loads(out)["length_mm"] == 2.92
    status, _, err = run(*asked[:-1], "wide")
    assert status == 2
    assert "'wide' is no number; write it as '6.52' or '6,52'" in re.sub(r"[\s│]+", " ", err)
    status, _, err = run("weight", "lid-3", "--cut", "oval", "--depth-mm", "0")
    assert status == 2
    assert "0 is out of range; give at least 0.01." in re.sub(r"[\s│]+", " ", err)


STOPPED_HALF_WAY = """
import signal, sys, time
import setstone.record.examining as examining
from setstone.__main__ import main

def begun(*_, **__):
    print("begun", flush=True)
    time.sleep(60)

# A job that a shell runs in the background ignores it, and so would its children.
signal.signal(signal.SIGINT, signal.default_int_handler)
examining.examine = begun
sys.argv = ["setstone", "examine", "lid-3"]
main()
"""


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such signals")
@pytest.mark.parametrize(("sent", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_stopped_by_a_signal_it_says_so_and_the_same_command_goes_on(
    run: Run, book: Path, sent: signal.Signals, status: int
) -> None:
    run("photo", "add", "lid-3", SAMPLE / "before_white.jpg")
    before = state(book)
    with subprocess.Popen(
        [sys.executable, "-c", STOPPED_HALF_WAY],
        env=os.environ | {"SETSTONE_BOOK": str(book)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as work:
        assert work.stdout is not None
        assert work.stdout.readline() == "begun\n"
        work.send_signal(sent)
        _, err = work.communicate(timeout=30)
    assert work.returncode == status
    assert err.strip().endswith("Stopped; what was not finished is not in the book.")
    assert state(book) == before
    assert run("examine")[0] == 0
    assert state(book) != before


def test_a_folder_given_as_a_photograph_is_named(run: Run, book: Path) -> None:
    status, _, err = run("photo", "add", "lid-3", ".")
    assert status == 1
    assert "'.' is a folder" in err


def test_a_book_opened_for_reading_only_is_left_as_it_is(run: Run, book: Path) -> None:
    before = state(book)
    assert "lid-3" in run("--read-only", "stone", "list")[1]
    status, _, err = run("--read-only", "remark", "lid-3", "old glue")
    assert status == 1
    assert "is open for reading only" in err
    assert state(book) == before


def test_a_record_is_signed_and_the_difference_to_later_shown(run: Run, book: Path) -> None:
    assert run("fact", "add", "hallmark", "crowned G, worn")[0] == 0
    assert run("fact", "add", "back", "closed", "--stone", "lid-3")[0] == 0
    status, out, err = run("work", "add", "lid-3", "unset", "--solvent", "ethanol", "--json")
    assert status == 0
    assert (json.loads(out)["what"], json.loads(out)["solvent"]) == ("unset", "ethanol")
    assert "A claim is not a finding" in err
    assert run("work", "list", "lid-3")[2] == err
    assert json.loads(run("sign", "lid-3", "--json")[1])["version"] == 1
    run("remark", "lid-3", "old glue at the lower edge")
    assert "Changed since: 1 values" in run("versions", "lid-3")[1]
    assert "changed since, 'setstone difference lid-3' says what" in run("stone", "show", "lid-3")[1]
    (change,) = json.loads(run("difference", "lid-3", "--json")[1])
    assert (change["before"], change["after"]["text"]) == (None, "old glue at the lower edge")
    assert run("sign", "lid-3")[1] == "Signed version 2 of Presentation snuff box/lid-3.\n"
    (listed,) = json.loads(run("difference", "lid-3", "1", "2", "--json")[1])
    assert listed == change
    assert "as read" in run("fact", "list")[1]
    assert "a mark can be worn" in run("fact", "list")[1].replace("\n", " ")
    assert run("work", "take-back", "lid-3", "1", "--reason", "it was lid-4")[0] == 0
    assert json.loads(run("work", "list", "lid-3", "--json")[1]) == []


def test_stones_are_found_in_the_whole_book(run: Run, book: Path) -> None:
    run("stone", "add", "lid-4", "--claimed", "spinel")
    run("remark", "lid-4", "grey glue")
    found = json.loads(run("search", "GLUE", "--species", "spin", "--stage", "no photograph", "--json")[1])
    assert (found["total"], found["stones"][0]["stone"]) == (1, "lid-4")
    assert "No stone is like that." in run("search", "--until", "2000-01-01")[1]
    assert json.loads(run("search", "--contradicted", "--json")[1])["total"] == 0
    status, _, err = run("search", "--stage", "finished")
    assert status == 1
    assert "choose one of 'no photograph'" in err


def test_a_whole_book_is_exported_and_imported(run: Run, book: Path, tmp_path: Path) -> None:
    run("photo", "add", "lid-3", SAMPLE / "before_white.jpg")
    assert run("export", tmp_path / "book.zip")[0] == 0
    made = json.loads(run("import", tmp_path / "book.zip", tmp_path / "again", "--json")[1])
    assert made["stones"] == 1
    shown = json.loads(run("stone", "show", "lid-3", "--book", tmp_path / "again", "--json")[1])
    assert Path(shown["photographs"][0]["path"]).read_bytes() == (SAMPLE / "before_white.jpg").read_bytes()
    status, _, err = run("import", tmp_path / "book.zip", tmp_path / "again")
    assert status == 1
    assert "already" in err


def test_the_object_is_shown_as_a_whole_with_the_places_of_its_stones(run: Run, book: Path) -> None:
    box = "Presentation snuff box"
    status, _, err = run("stone", "place", "lid-3", "50", "50")
    assert status != 0
    assert "has no photograph of the whole yet" in err
    assert run("object", "photograph", box, OBJECT_PHOTOGRAPH)[0] == 0
    assert run("stone", "place", "lid-3", "18", "50")[:2] == (0, f"{box}/lid-3 has its place.\n")
    for wrong in (("lid-3", "18"), ("lid-3", "140", "50"), ("lid-3", "nan", "50"), ("lid-9", "1", "1")):
        before = state(book)
        status, _, err = run("stone", "place", *wrong)
        assert status != 0
        assert err
        assert state(book) == before
    assert run("object", "photograph", box)[0] != 0
    assert run("object", "photograph", box, "--none")[0] == 0
    assert run("object", "photograph", box, book / "book.db")[0] != 0

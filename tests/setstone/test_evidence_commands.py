"""Readings and what they say, by commands."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from setstone.__main__ import main

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Run:
    """Run a command on a book with one stone: exit status, stdout, stderr."""
    monkeypatch.setenv("SETSTONE_BOOK", str(tmp_path / "book"))
    monkeypatch.setenv("SETSTONE_OPERATOR", "Ada")

    def command(*words: str) -> tuple[int, str, str]:
        monkeypatch.setattr("sys.argv", ["setstone", *words])
        capsys.readouterr()
        try:
            main()
            status = 0
        except SystemExit as stop:
            status = int(stop.code or 0)
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return status, out, err

    assert command("new", str(tmp_path / "book"))[0] == 0
    assert command("object", "add", "Presentation snuff box")[0] == 0
    assert command("stone", "add", "lid-5", "--claimed", "diamond")[0] == 0
    return command


def data(run: Run, *words: str) -> Any:
    status, out, err = run(*words, "--json")
    assert status == 0, err
    return json.loads(out)


def test_from_readings_to_the_next_test(run: Run) -> None:
    first = data(run, "reading", "add", "lid-5", ">1.81")
    assert first["understood"] == "over the limit: no edge below 1.81"
    assert run("reading", "add", "lid-5", "thermal tester", "7.5", "--check", "2/8")[0] == 0
    unchecked = data(run, "reading", "add", "lid-5", "thermal tester", "7.4")
    assert "no calibration check" in unchecked["not_weighed_because"]
    found = data(run, "agrees", "lid-5")
    leading = {m["material"] for m in found["consistent_with"] if m["rank"] == 1}
    assert {"diamond", "diamond_lab", "moissanite"} <= leading
    assert all("note" in m for m in found["consistent_with"])
    assert len(found["not_consistent_with"]) > 50
    assert all(m["speaks_against"] for m in found["not_consistent_with"])
    advice = data(run, "next-test", "lid-5")
    assert advice["stone_is_set"]
    assert advice["tests"][0]["test"] == "doubling"
    assert data(run, "next-test", "lid-5", "--unset")["tests"][0]["test"] == "density"
    for words in (
        ("agrees", "lid-5"),
        ("agrees", "lid-5", "--all"),
        ("next-test", "lid-5"),
        ("reading", "list", "lid-5"),
    ):
        status, out, _ = run(*words)
        assert status == 0
        assert len(out.splitlines()) > 3


def test_correcting_and_withdrawing(run: Run) -> None:
    number = data(run, "reading", "add", "lid-5", "refractometer", "1.762-1.770", "--unset")["number"]
    corrected = data(
        run, "reading", "correct", "lid-5", str(number), "--value", "1.761-1.769", "--part", "table", "--reason", "misread"
    )  # fmt: skip
    assert (corrected["value"], corrected["details"]) == ("1.761-1.769", {"part": "table"})
    assert not corrected["stone_is_set"]
    gone = data(run, "reading", "withdraw", "lid-5", str(corrected["number"]), "--reason", "of another stone")
    assert gone["withdrawn"]["reason"] == "of another stone"
    assert data(run, "reading", "list", "lid-5")["readings"] == []
    assert len(data(run, "reading", "list", "lid-5", "--all")["readings"]) == 2
    assert "withdrawn" in run("reading", "list", "lid-5", "--all")[1]


def test_the_table_of_materials(run: Run) -> None:
    (diamond, *_) = data(run, "material", "moissanite")
    assert (diamond["index"], diamond["hardness_mohs"]) == ([2.648, 2.691], [9.25, 9.25])
    assert "Nassau" in run("material", "moissanite")[1]
    assert "holds no material" in run("material", "unobtainium")[1]


def test_an_estimated_weight_is_kept_with_its_formula(run: Run) -> None:
    """6.50 x 3.95 mm: 1.02 ct by d² h 0.0061 (published formula for round brilliants)."""
    found = data(
        run, "weight", "lid-5", "--cut", "round brilliant", "--length-mm", "6.5", "--depth-mm", "3.95", "--keep"
    )  # fmt: skip
    assert found["estimated_weight_ct"] == pytest.approx(1.018, abs=1e-3)
    assert found["least_ct"] < 1.018 < found["greatest_ct"]
    assert found["formula"] == "d² h × 0.0061"
    (kept,) = data(run, "reading", "list", "lid-5")["readings"]
    assert kept["value"] == "est. 1.02 ct"
    assert kept["not_weighed_because"] is None


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("reading", "add", "lid-5", "refractometer", "17.62"), "check the digits"),
        (("reading", "add", "lid-5", "density", "3.52"), "cannot be weighed without its setting"),
        (("reading", "add", "lid-5", "4,00"), "understood as density 4.00 g/cm³, but"),
        (("reading", "add", "lid-5", "hardness", "10"), "never made"),
        (("reading", "add", "lid-5", "strong"), "write both"),
        (("reading", "add", "lid-5", "thermal", "5", "--check", "2"), "simulant and diamond as read"),
        (("reading", "add", "lid-5", "ri", "1.76", "--taken", "yesterday"), "2026-03-02 14:30"),
        (("reading", "add", "lid-5", "loupe", "needle", "--finding", "x"), "3 before"),
        (("reading", "add", "lid-5", "loupe", "needle", "--finding", "²"), "3 before"),
        (("reading", "add", "lid-5", "loupe", "needle", "--finding", "9" * 30), "3 before"),
        (("reading", "add", "lid-5", "ri", "1.76", "--uncertainty", "0.002 (k = 0)"), "1 or more"),
        (("reading", "add", "lid-5", "ri", "1.762", "--liquid", "1.74"), "no edge can be read above"),
        (("reading", "add", "lid-5", "1.762 table pavilion"), "which of them"),
        (("reading", "correct", "lid-5", "9", "--value", "1.7"), "no reading 9"),
        (("weight", "lid-5", "--cut", "oval", "--width-mm", "5", "--depth-mm", "3"), "without a length"),
        (("weight", "lid-5", "--cut", "round", "--length-mm", "1000", "--sg", "4", "--depth-mm", "3"), "does not measure"),
        (("weight", "lid-5", "--cut", "round", "--length-mm", "5", "--sg", "4", "--depth-mm", "3", "--girdle", "thick"), "leave the girdle out"),
        (("weight", "lid-5", "--cut", "rose cut", "--length-mm", "5", "--depth-mm", "2"), "No published factor"),
        (("weight", "lid-5", "--cut", "round brilliant"), "examine it"),
        (("agrees", "lid-9"), "no stone 'lid-9'"),
    ],
)  # fmt: skip
def test_bad_input_gets_one_sentence_and_nothing_is_kept(
    run: Run, words: tuple[str, ...], sentence: str
) -> None:
    before = data(run, "journal")
    status, out, err = run(*words)
    assert (status, out) == (1, "")
    assert sentence in err
    assert len(err.strip().splitlines()) == 1
    assert data(run, "journal") == before


def test_a_density_is_taken_once_the_stone_is_unset(run: Run) -> None:
    """Whether typed as one line or in two, and by what was done at the bench."""
    for words in (("density", "4,00"), ("4,00",), ("0.5302 g / 0.3975 g",)):
        status, _, err = run("reading", "add", "lid-5", *words)
        assert status == 1
        assert "unset it, and enter the reading as unset" in err
    assert run("work", "add", "lid-5", "unset")[0] == 0
    for words in (("density", "4,00"), ("4,00",)):
        assert not data(run, "reading", "add", "lid-5", *words)["stone_is_set"]


def test_object_and_stone_are_corrected(run: Run) -> None:
    assert run("object", "correct", "presentation snuff box", "--name", "Snuff box")[0] == 0
    corrected = data(run, "stone", "correct", "lid-5", "--position", "lid-6", "--claimed", "paste")
    assert (corrected["object"], corrected["stone"], corrected["claimed_as"]) == (
        "Snuff box",
        "lid-6",
        "paste",
    )
    for words in (("object", "correct", "Snuff box"), ("stone", "correct", "lid-6")):
        status, _, err = run(*words)
        assert status == 1
        assert "Nothing is to be corrected; give --" in err
    assert [j["action"] for j in data(run, "journal")][-2:] == ["correct object", "correct stone"]


def test_a_stone_is_taken_out_and_brought_back(run: Run) -> None:
    assert run("reading", "add", "lid-5", ">1.81")[0] == 0
    assert "restore" in run("stone", "remove", "lid-5")[1]
    assert data(run, "stone", "list") == []
    assert run("agrees", "lid-5")[0] == 1
    assert [s["stone"] for s in data(run, "stone", "list", "--removed")] == ["lid-5"]
    assert "lid-5" in run("stone", "list", "--removed")[1]
    # Its position may be taken meanwhile.
    assert run("stone", "add", "lid-5")[0] == 0
    assert "choose another position" in run("stone", "restore", "lid-5")[2]
    assert run("stone", "correct", "lid-5", "--position", "lid-7")[0] == 0
    assert run("stone", "restore", "LID-5")[0] == 0
    assert len(data(run, "reading", "list", "lid-5")["readings"]) == 1
    assert "No stone 'lid-5' was taken out" in run("stone", "restore", "lid-5")[2]


def test_a_long_list_of_stones_is_given_in_part(run: Run) -> None:
    assert run("stone", "add", "lid-6", "lid-7")[0] == 0
    shown = run("stone", "list", "--most", "2")[1]
    assert "lid-7" not in shown
    assert "3 in all; '--most 3' lists them." in shown
    assert len(data(run, "stone", "list", "--most", "2")) == 3


def test_contradictions_are_to_be_settled_before_the_next_test(run: Run) -> None:
    for line in ("1.762-1.770 table", "distant vision 1.54 pavilion", "pol single 3 directions"):
        assert run("reading", "add", "lid-5", line)[0] == 0
    assert "settle the contradictions first" in run("next-test", "lid-5")[1]


def test_links_to_findings_are_cleared(run: Run) -> None:
    number = data(run, "reading", "add", "lid-5", "loupe", "needle")["number"]
    status, _, err = run("reading", "correct", "lid-5", str(number), "--finding", "1", "--no-findings")
    assert status == 1
    assert "exclude each other" in err
    assert data(run, "reading", "correct", "lid-5", str(number), "--no-findings")["findings"] == []


def test_readings_without_a_check_are_marked(run: Run) -> None:
    assert "no check on a glass" in data(run, "reading", "add", "lid-5", ">1.81")["marked_because"]
    checked = data(run, "reading", "add", "lid-5", "ri", ">1.81", "--check", "1.517/1.516")
    assert checked["marked_because"] is None
    assert "[marked: no check" in " ".join(run("reading", "list", "lid-5")[1].split())
    assert "It is marked: no check" in run("reading", "add", "lid-5", "1.76")[1]

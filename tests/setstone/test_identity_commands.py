"""Same stone, whose stone, and the glue before and after, by commands on the sample snuff box (computed, with known truth)."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from setstone.commands import app
from setstone.sample_images import sample_stones

Run = Callable[..., str]
BY_POSITION = {s.position: s.folder for s in sample_stones()}


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """Run a command on a book of two stones, one of them examined before and after."""
    book = tmp_path_factory.mktemp("snuff box") / "book"
    surroundings = {"SETSTONE_BOOK": str(book), "SETSTONE_OPERATOR": "Ada"}

    def command(*words: str | Path) -> str:
        result = CliRunner().invoke(app, [str(w) for w in words], env=surroundings)
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        assert result.exit_code == 0, result.output
        return result.stdout

    command("new", book)
    command("object", "add", "Presentation snuff box")
    for stone, occasions in (("lid-3", ("before",)), ("lid-5", ("before", "after"))):
        command("stone", "add", stone)
        for occasion in occasions:
            files = [BY_POSITION[stone] / f"{occasion}_{lamp}.jpg" for lamp in ("white", "blue")]
            command("photo", "add", stone, *files, "--occasion", occasion)
            command("examine", stone, "--occasion", occasion)
    return command


def data(run: Run, *words: str | Path) -> Any:
    return json.loads(run(*words, "--json"))


def test_the_book_is_searched_for_a_stone(run: Run) -> None:
    after = [BY_POSITION["lid-5"] / f"after_{lamp}.jpg" for lamp in ("white", "blue")]
    search = data(run, "whose", *after)
    (found,) = search["matches"]
    assert search["says"].startswith(f"Searched among {search['stones_searched']} stone")
    assert found["stone"].endswith("lid-5")
    assert found["strength"] == "strongly consistent with the same stone"
    assert "no proof" in found["meaning"]


def test_another_stone_is_not_taken_for_it(run: Run) -> None:
    photographs = [BY_POSITION["lid-3"] / f"after_{lamp}.jpg" for lamp in ("white", "blue")]
    found = data(run, "same", "lid-5", *photographs)
    assert {m["occasion"] for m in found} == {"before", "after"}
    assert not any("consistent" in m["strength"] for m in found)
    shown = run("same", "lid-3", *photographs, "--occasion", "before")
    assert "the same stone" in " ".join(shown.split())
    assert "times as often" in shown


def test_glue_before_and_after(run: Run) -> None:
    """Before, old yellow glue; after, clear glue (truth of the computed pair)."""
    told = data(run, "glue", "lid-5")
    assert (told["before"]["occasion"], told["after"]["occasion"]) == ("before", "after")
    fall = told["before"]["yellowness_astm_e313"] - told["after"]["yellowness_astm_e313"]
    assert fall > 2 * told["before"]["yellowness_astm_e313_standard_uncertainty"]
    assert told["before"]["crazing_mm_per_mm2"] > told["after"]["crazing_mm_per_mm2"]
    assert told["reference"] == "metal"
    assert "CIEDE2000" in run("glue", "lid-5")


def test_changes_are_kept_when_asked(run: Run) -> None:
    told = data(run, "changes", "lid-5")
    likeliest = told["changes"][0]
    assert likeliest["possible_damage"]  # the sample stone has a new fissure (sample_images/README.md)
    assert 0.5 < likeliest["chance_new"] < 1
    assert "likely to be a new fissure" in likeliest["evidence"]
    assert "compare" not in run("journal", "lid-5")
    shown = " ".join(run("changes", "lid-5", "--keep").split())
    # y runs down in photographs, so that a positive angle is clockwise; truth of the computed pair: 4.39 degrees.
    turned = re.search(r"after lies on before, turned by ([\d.]+)° clockwise", shown)
    assert turned is not None
    assert float(turned[1]) == pytest.approx(4.39, abs=0.15)
    assert "Kept in the book, with:" in shown
    assert "crazing:" in shown
    assert "compare" in run("journal", "lid-5")

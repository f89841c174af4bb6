"""Optical setups and calibrations by commands."""

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest
from PIL import Image
from ruled import ruled
from typer.testing import CliRunner

from setstone.commands import app


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SETSTONE_BOOK", str(tmp_path / "book"))
    monkeypatch.setenv("SETSTONE_OPERATOR", "Ada")
    assert CliRunner().invoke(app, ["new", str(tmp_path / "book")]).exit_code == 0
    return tmp_path / "book"


def _run(*words: str | Path) -> str:
    result = CliRunner().invoke(app, [str(w) for w in words], catch_exceptions=False)
    assert result.exit_code == 0
    return result.stdout


def test_calibrating_by_commands(book: Path, tmp_path: Path) -> None:
    for i in range(2):
        Image.fromarray(ruled(11.0 + 0.001 * i, 12.0 + 90 * i, lines=30, size=400)).save(
            tmp_path / f"m{i}.png"
        )
    _run("setup", "add", "60x", "--objective", "1x", "--na", "0.08")
    text = _run(
        "setup", "calibrate", "60x", tmp_path / "m0.png", tmp_path / "m1.png",
        "--division", "0.01 mm", "--certificate", "1 µm in 1 mm", "--taken", "2026-01-10",
    )  # fmt: skip
    assert text.startswith("60x: 0.909")
    assert "width over height of a pixel: 1.00" in text
    _run("setup", "calibrate", "60x", tmp_path / "m0.png", "--division", "0.01 mm", "--taken", "2026-06-10")
    plot = tmp_path / "60x.svg"
    history = json.loads(_run("setup", "history", "60x", "--plot", plot, "--json"))
    assert [c["made"][:7] for c in history] == ["2026-01", "2026-06"]
    assert history[0]["um_per_px"] == pytest.approx(10 / 11, rel=1e-3)
    drawn = ElementTree.fromstring(plot.read_text(encoding="utf-8"))  # noqa: S314 our own
    assert len(drawn.findall(".//{*}circle")) == 2
    assert "+0." in (table := _run("setup", "history", "60x")) or "-0." in table
    (seen,) = json.loads(_run("setup", "lines", "60x", "--to", tmp_path, "--json"))  # of the latest
    assert "lines counted, each marked" in seen["says"]
    with Image.open(seen["file"]) as picture:
        assert picture.format == "PNG"
    assert json.loads(_run("setup", "list", "--json"))[0]["numerical_aperture"] == 0.08
    assert "60x" in _run("setup", "list")

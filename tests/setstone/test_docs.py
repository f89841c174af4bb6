"""README and DEVELOPERS tell what is there: each command is named, each library call runs."""

import re
from pathlib import Path

import pytest
import typer

from setstone.commands import app
from setstone.record.evidence.readings import ReadingKind
from setstone.record.evidence.understand import USUAL
from setstone.sample_images import sample_stones

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def commands() -> list[str]:
    names = [c.name or c.callback.__name__ for c in app.registered_commands if c.callback is not None]
    for group in app.registered_groups:
        assert isinstance(group.typer_instance, typer.Typer)
        names += [f"{group.name} {c.name}" for c in group.typer_instance.registered_commands]
    return names


@pytest.mark.parametrize("command", commands())
def test_every_command_is_in_the_list_of_commands(command: str) -> None:
    reference = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    assert f"`setstone {command}" in reference


def test_the_library_example_runs(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (example,) = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
    folder = sample_stones()[0].folder
    for lamp in ("white", "blue"):
        (tmp_path / f"{lamp}.jpg").write_bytes((folder / f"before_{lamp}.jpg").read_bytes())
    monkeypatch.chdir(tmp_path)
    exec(compile(example, "README.md", "exec"), {})  # noqa: S102
    out = capsys.readouterr().out
    assert "Scale(um_per_px=3.2" in out
    assert "line" in out or "spot" in out


def documents() -> list[Path]:
    return [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]


@pytest.mark.parametrize("document", documents(), ids=lambda p: p.name)
def test_every_row_of_a_table_has_a_cell_for_each_column(document: Path) -> None:
    columns = 0
    for number, line in enumerate(document.read_text(encoding="utf-8").splitlines(), start=1):
        cells = len(re.findall(r"(?<!\\)\|", line)) - 1 if line.startswith("|") else 0
        assert not columns or not cells or cells == columns, f"{document.name}:{number}: {line}"
        columns = cells


def test_the_usual_limits_are_those_of_the_program() -> None:
    text = (ROOT / "docs" / "consistency.md").read_text(encoding="utf-8")
    for kind, limits in USUAL.items():
        name = "distant-vision method" if kind is ReadingKind.DISTANT_VISION else kind.value
        assert f"| {name} | ± {limits:g}" in text


def test_the_files_the_documents_point_at_exist() -> None:
    for document in ("README.md", "DEVELOPERS.md", "docs/methods.md"):
        text = (ROOT / document).read_text(encoding="utf-8")
        for target in re.findall(r"\]\(([^)#:]+)\)", text):
            assert (ROOT / document).parent.joinpath(target).exists(), f"{document} points at {target}"

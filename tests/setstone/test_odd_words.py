"""Every command with words nobody means: one clear answer, another exit status than 0, and nothing altered.

Words stand in the place of each word of a good command line, and behind each option that takes a number.
"""

import inspect
import json
import os
import random
import re
from collections.abc import Iterator
from typing import Any

import pytest
import typer
from fuzz import seeds, targets

from setstone.commands import app

#: Names of nothing, of a folder, of an empty file, of no picture; empty, long, of two lines, backwards, no text.
NAMES = [
    "none.png", "photographs", "empty.png", "letter.png", "", " ", "x" * 5000, "lid-3\nx", "a\x1b[2Jb.png", "\u202egnp.exe",
    "石.png", "\udcff.png", "-1", "--", "None", "'; drop table stones; --", "%s{0}$HOME`id`", "no/such/place.zip",
]  # fmt: skip
NUMBERS = ["nan", "inf", "-inf", "1e400", "-1", "0", "1e-320", "9" * 25, "1,5", "٣", "", "0x10"]
#: Share of all lines tried in each run of the tests; 1 tries every one (docs/reliability.md).
SHARE = float(os.environ.get("SETSTONE_ODD_SHARE", "0.06"))


def lines() -> Iterator[tuple[str, ...]]:
    """Yield every command line with one odd word."""
    for line in seeds.command_lines():
        path = (
            2 if line[0] in ("object", "stone", "photo", "setup", "reading", "fact", "work", "package") else 1
        )
        for at in range(path, len(line)):
            if not line[at].startswith("--"):
                for odd in NAMES + NUMBERS:
                    yield (*line[:at], odd, *line[at + 1 :])
        for option in _numbers(line[:path]):
            for odd in NUMBERS:
                yield (*line, option, odd)
        for odd in ("none", "empty.png", "photographs", ""):
            yield (*line, "--book", odd)


def _numbers(path: tuple[str, ...]) -> list[str]:
    command: Any = typer.main.get_command(app)
    for name in path:
        command = command.commands[name]
    typed = inspect.signature(command.callback, eval_str=True).parameters
    return [
        p.opts[0]
        for p in command.params
        if p.opts[0].startswith("--")
        and p.name in typed
        and re.search("int|float|datetime", str(typed[p.name].annotation))
    ]


def test_the_lines_themselves_are_good() -> None:
    """Else nothing would be tried: only what needs a second examination or a micrometer is refused."""
    refused = set()
    for line in seeds.command_lines():
        status, _, said = targets.command(list(line), targets.fresh_book())
        if status:
            refused.add((line[0], said.strip()[:60]))
            assert status == 1, said
    assert {name for name, _ in refused} <= {"stone", "photo", "setup", "changes", "glue", "same", "whose"}, (
        refused
    )


@pytest.mark.parametrize("part", range(4))
def test_odd_words_are_answered(part: int) -> None:
    every = list(lines())
    for line in random.Random(part).sample(every, int(SHARE / 4 * len(every))):  # noqa: S311
        check(line)


def check(line: tuple[str, ...]) -> None:
    folder = targets.fresh_book()
    (folder / "empty.png").touch()
    (folder / "letter.png").write_text("Dear Sir or Madam,")
    before = targets.state(folder)
    status, out, err = targets.command(list(line), folder)
    told = f"{line!r}: {status} {out!r} {err!r}"
    assert "fault of its own" not in err, told
    assert "Traceback" not in out + err, told
    assert "\x1b" not in out + err, told
    if status == 0:
        if "--json" in line and "--" not in line:
            json.loads(out, parse_constant=lambda name: pytest.fail(f"{told}: {name}"))
        return
    assert status in (1, 2), told
    assert targets.state(folder) == before, f"{told} altered the book"
    if status == 1:
        said = err.strip().splitlines()
        # A package that does not hold is told on the standard output, point by point.
        assert (said and len(said) <= 2) or line[:2] == ("package", "check"), told

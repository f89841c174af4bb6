"""What fuzzing found stays mended; and a short search of its own, by damage to whole examples.

The long search, by coverage, is ``tests/fuzz/run.py``; docs/reliability.md has its figures.
"""

from pathlib import Path

import pytest
from fuzz.targets import TARGETS
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

FOUND = sorted((Path(__file__).parent / "found").glob("*/*"))
#: Targets that write a whole book for each input.
SLOW = {"lines", "export-zip", "handout", "commands"}

edits = st.lists(
    st.tuples(st.floats(0, 0.9999), st.integers(0, 8), st.binary(max_size=8)), min_size=1, max_size=4
)


@pytest.mark.parametrize("path", FOUND, ids=lambda p: f"{p.parent.name}-{p.name}")
def test_what_was_found_is_answered(path: Path) -> None:
    TARGETS[path.parent.name].run(path.read_bytes())


@pytest.mark.parametrize("name", TARGETS)
def test_whole_examples_and_damaged_ones_are_answered(name: str) -> None:
    target = TARGETS[name]
    whole = target.seeds()
    if not whole:
        pytest.skip("what reads it is not installed")
    for data in whole:
        target.run(data)

    @settings(
        max_examples=10 if name in SLOW else 60, derandomize=True, suppress_health_check=list(HealthCheck)
    )
    @given(data=st.sampled_from(whole), edits=edits)
    def damaged(data: bytes, edits: list[tuple[float, int, bytes]]) -> None:
        for place, dropped, put in edits:
            at = int(place * len(data))
            data = data[:at] + put + data[at + dropped :]
        target.run(data)

    damaged()

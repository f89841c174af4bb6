"""The window is killed while somebody works in it: what was shown is in the book."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip(
    "napari.qt", reason="the window is not installed (pip install setstone[dev-gui])", exc_type=ImportError
)

from killed import kill_once, make_book


@pytest.fixture
def made(tmp_path: Path, make_napari_viewer: Callable[..., Any]) -> Path:  # noqa: ARG001 skips without a screen
    make_book(tmp_path / "killed")
    return tmp_path / "killed"


# Many more, at random moments: benchmarks/killed.py.
def test_a_killed_window_loses_at_most_the_step_being_done(made: Path) -> None:
    steps = [kill_once(made, seed=seed, after=after).steps for seed, after in ((1, 1.7), (2, 3.1))]
    assert sum(steps) > 0

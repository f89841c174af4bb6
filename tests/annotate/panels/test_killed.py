"""The window is killed while somebody works in it: what was shown is in the book."""

from pathlib import Path

import pytest

pytest.importorskip(
    "napari.qt", reason="the window is not installed (pip install setstone[dev-gui])", exc_type=ImportError
)

from killed import kill_once, make_book


# Many more, at random moments: benchmarks/killed.py.
@pytest.mark.usefixtures("on_screen")
def test_a_killed_window_loses_at_most_the_step_being_done(tmp_path: Path) -> None:
    make_book(tmp_path / "killed")
    assert kill_once(tmp_path / "killed", seed=2, after=3.1).steps > 0

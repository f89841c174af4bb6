"""Every folder with code is installed, and each room imports only what it may."""

import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
ROOMS = ("annotate", "capture", "measure", "record", "sample_images")


def test_every_folder_with_code_is_in_the_package_list() -> None:
    """An editable install hides an omission, a wheel does not."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]
    folders = {"setstone", "setstone.commands"}
    for room in ROOMS:
        for init in (ROOT / room).rglob("__init__.py"):
            folders.add(".".join(("setstone", *init.parent.relative_to(ROOT).parts)))
    assert set(settings["packages"]) == folders


def test_importing_the_package_loads_no_room_and_no_window() -> None:
    code = (
        "import sys, setstone; print([m for m in sys.modules if m.startswith('setstone.') or m == 'numpy'])"
    )
    assert subprocess.check_output([sys.executable, "-c", code], text=True).strip() == "[]"


def test_the_measuring_room_knows_no_qt() -> None:
    code = (
        "import sys, setstone.measure.examine; print([m for m in sys.modules if 'Qt' in m or m == 'napari'])"
    )
    assert subprocess.check_output([sys.executable, "-c", code], text=True).strip() == "[]"

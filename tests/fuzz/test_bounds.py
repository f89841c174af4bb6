"""No small file fills the memory or keeps the machine busy; each is read or answered with a sentence.

Measured in children whose address space and processor time are limited (POSIX.1-2017, setrlimit).
"""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from fuzz import seeds
from fuzz.bombs import BLOWN, bombs

HERE = Path(__file__).parent
#: Memory beside what the program and the file itself take, MB, and processor time, s.
MOST_MB, MOST_SECONDS = 300, 10

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="memory is limited as Linux does")


@pytest.fixture(scope="module")
def became(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    folder = tmp_path_factory.mktemp("bombs")
    (folder / "seed.png").write_bytes(seeds.saved("PNG"))
    (folder / "seed.zip").write_bytes(seeds.zips(seeds.package())[0])
    (folder / "seed.export.zip").write_bytes(seeds.zips(seeds.export())[0])
    sizes = {}
    for name, data in bombs():
        (folder / name).write_bytes(data)
        sizes[name] = len(data)
    ran = subprocess.run(
        [sys.executable, HERE / "confined.py", folder, *(folder / name for name in sizes)],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path)), "OMP_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        check=True,
    )
    told = {line["name"]: line for line in map(json.loads, ran.stdout.splitlines())}
    assert told.keys() == sizes.keys()
    return {name: {**line, "size_mb": sizes[name] // 10**6} for name, line in told.items()}


def test_none_takes_much_memory(became: dict[str, dict[str, Any]]) -> None:
    assert BLOWN // 10**6 > MOST_MB
    assert {n: b["mb"] for n, b in became.items() if b["mb"] > MOST_MB + 4 * b["size_mb"]} == {}


def test_none_takes_long(became: dict[str, dict[str, Any]]) -> None:
    assert {n: b["seconds"] for n, b in became.items() if b["seconds"] > MOST_SECONDS or b["signal"]} == {}


def test_each_is_read_or_answered(became: dict[str, dict[str, Any]]) -> None:
    assert {n: b["said"] for n, b in became.items() if "Traceback" in b["said"] or not b["said"]} == {}
    read = {name for name, b in became.items() if b["said"] == "read"}
    # Of these only what is not looked at is large.
    assert read == {
        "pixels.png", "xml-deep.tif", "xml-laughs.tif", "xml-attributes.tif", "xml-line-ends.tif", "xml-long.tif",
        "xml-derived.tif", "one-strip-many-times.tif",
    }  # fmt: skip

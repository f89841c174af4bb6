"""What the threat model (docs/threat_model.md) says of the code holds: looked for by ruff's rules of Bandit, none excused."""

import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
ROOMS = (
    "annotate",
    "capture",
    "measure",
    "record",
    "sample_images",
    "setstone/commands",
    "setstone/__main__.py",
)
#: exec, rights of files, passwords, fixed temporary names, requests without end, debug pages and unpacking, pickle, eval and
#: XML (S3), cryptography (S5), shells and SQL (S6).
RULES = "S102,S103,S105,S106,S107,S108,S113,S2,S3,S5,S6"


def test_no_pickle_eval_shell_or_unpacking() -> None:
    looked = [sys.executable, "-m", "ruff", "check", "--isolated", "--ignore-noqa", "--select", RULES, *ROOMS]
    ran = subprocess.run(looked, cwd=ROOT, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stdout + ran.stderr


def test_xml_is_read_in_one_place() -> None:
    """Writing needs ElementTree too; reading would be one of these."""
    reads = (
        "fromstring",
        "iterparse",
        "XMLParser",
        "ElementTree.parse",
        "ParserCreate",
        "minidom",
        "sax",
        "lxml",
    )
    places = {
        path.relative_to(ROOT).as_posix()
        for room in ROOMS[:5]
        for path in (ROOT / room).rglob("*.py")
        if any(word in path.read_text(encoding="utf-8") for word in reads)
    }
    assert places == {"capture/ome.py"}


def test_the_lock_file_knows_every_library() -> None:
    """Made anew as docs/threat_model.md says when a library is added."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [
        *project["dependencies"],
        *(d for some in project["optional-dependencies"].values() for d in some),
    ]
    names = {_name(line) for line in wanted} - {"setstone"}
    lines = (ROOT / "requirements-dev.lock").read_text(encoding="utf-8").splitlines()
    locked = {_name(line) for line in lines if "==" in line}
    assert names <= locked, names - locked


def _name(line: str) -> str:
    end = next((i for i, c in enumerate(line) if not (c.isalnum() or c in "-_.")), len(line))
    return line[:end].lower().replace("_", "-")

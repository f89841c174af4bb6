import os
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from setstone.annotate.errors import AnnotateError
from setstone.annotate.files import replace_file, safe_stem


@given(st.text(max_size=200), st.text(max_size=50))
def test_any_text_gives_a_safe_name(position: str, occasion: str) -> None:
    stem = safe_stem(position, occasion, "blue")
    # portable file names of POSIX.1-2017, 3.282; no leading dot or hyphen
    assert re.fullmatch(r"[A-Za-z0-9_][A-Za-z0-9._-]*", stem)
    assert len(stem) < 100


@pytest.mark.parametrize(
    "bad", ["../../etc/passwd", "C:\\windows", "a/b", "lid:3", "", "\u202elid", "宝石", "x" * 500, "NUL"]
)
def test_different_texts_keep_different_names(bad: str) -> None:
    assert safe_stem(bad) != safe_stem(bad + "!")
    assert "/" not in safe_stem(bad)
    assert "\\" not in safe_stem(bad)


def test_device_names_of_windows_are_avoided() -> None:
    # "Naming Files, Paths, and Namespaces", Microsoft: CON, PRN, AUX, NUL, COM1, LPT1, also with an ending
    for name in ("CON", "prn", "aux", "NUL", "COM1", "lpt9", "con.x"):
        assert not re.fullmatch(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", safe_stem(name), re.I)


def test_ours_is_replaced_and_others_are_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "new" / "a.svg"
    replace_file(path, b"<svg>setstone 1</svg>")
    replace_file(path, b"<svg>setstone 2</svg>")
    assert path.read_bytes() == b"<svg>setstone 2</svg>"
    assert list(path.parent.iterdir()) == [path]

    path.write_bytes(b"somebody's own drawing")
    with pytest.raises(AnnotateError, match="left alone"):
        replace_file(path, b"<svg>setstone 3</svg>")
    assert path.read_bytes() == b"somebody's own drawing"


def test_a_folder_in_the_way_is_told(tmp_path: Path) -> None:
    (tmp_path / "a.svg").mkdir()
    with pytest.raises(AnnotateError, match=r"a\.svg"):
        replace_file(tmp_path / "a.svg", b"setstone")
    (tmp_path / "file").write_text("x")
    with pytest.raises(AnnotateError, match="cannot be written"):
        replace_file(tmp_path / "file" / "b.svg", b"setstone")


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_closed_to_us_is_told(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(AnnotateError, match="cannot be written"):
        replace_file(tmp_path / "a.svg", b"setstone")

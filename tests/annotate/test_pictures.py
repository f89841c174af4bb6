from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

from setstone.annotate.errors import AnnotateError
from setstone.annotate.pictures import write_pictures
from setstone.capture.photograph import Lamp
from setstone.record.entries import CandidateEntry, ExaminationEntry, PhotographEntry
from setstone.record.vocabulary import FindingKind, Verdict

Job = tuple[ExaminationEntry, list[PhotographEntry]]


@pytest.fixture
def job(make: SimpleNamespace, tmp_path: Path) -> Job:
    photographs = []
    for lamp in (Lamp.WHITE, Lamp.BLUE):
        path = tmp_path / f"{lamp}.png"
        Image.fromarray(np.random.default_rng(2).integers(0, 256, (200, 300, 3), np.uint8)).save(path)
        photographs.append(make.photograph(path, lamp, (300, 200)))
    accepted = make.decided(Verdict.ACCEPTED, FindingKind.FISSURE)
    numbered = (CandidateEntry(1, make.candidate([(100, 90), (200, 120)]), "program", accepted),)
    return make.examination(
        numbered, outline=make.ellipse(150, 100, 110, 80), blue_to_white=np.eye(3)
    ), photographs


def test_a_png_and_an_svg_for_each_lamp(make: SimpleNamespace, job: Job, tmp_path: Path) -> None:
    entry, photographs = job
    before = [p.path.read_bytes() for p in photographs]
    written = write_pictures(entry, make.stone(), photographs, tmp_path / "pictures")
    assert [p.path.read_bytes() for p in photographs] == before
    assert [p.name for p in written] == [
        f"lid-3-as-received-{lamp}.{kind}" for lamp in ("white", "blue") for kind in ("png", "svg")
    ]
    for png, svg in (written[:2], written[2:]):
        picture = np.asarray(Image.open(png))
        root = ElementTree.parse(svg).getroot()  # noqa: S314 our own output
        assert (root.get("width"), root.get("height")) == (str(picture.shape[1]), str(picture.shape[0]))
        assert picture.shape[0] > 200


def test_again_gives_the_same_files(make: SimpleNamespace, job: Job, tmp_path: Path) -> None:
    entry, photographs = job
    first = [p.read_bytes() for p in write_pictures(entry, make.stone(), photographs, tmp_path / "out")]
    again = [p.read_bytes() for p in write_pictures(entry, make.stone(), photographs, tmp_path / "out")]
    assert first == again
    assert len(list((tmp_path / "out").iterdir())) == 4


def test_a_wild_position_stays_in_its_folder(make: SimpleNamespace, job: Job, tmp_path: Path) -> None:
    entry, photographs = job
    folder = tmp_path / "out"
    written = write_pictures(entry, make.stone("../../<lid>\n\u202e3"), photographs, folder)
    assert {p.parent for p in written} == {folder}
    assert sorted(written) == sorted(folder.iterdir())


def test_a_picture_of_somebody_else_is_left_alone(make: SimpleNamespace, job: Job, tmp_path: Path) -> None:
    entry, photographs = job
    theirs = tmp_path / "lid-3-as-received-white.png"
    theirs.write_bytes(b"their own")
    with pytest.raises(AnnotateError, match="left alone"):
        write_pictures(entry, make.stone(), photographs, tmp_path)
    assert theirs.read_bytes() == b"their own"


def test_only_photographs_of_the_examination_are_drawn(
    make: SimpleNamespace, job: Job, tmp_path: Path
) -> None:
    entry, photographs = job
    other = make.photograph(photographs[0].path, Lamp.OTHER, (300, 200))
    assert write_pictures(entry, make.stone(), [other], tmp_path / "out") == ()


def test_a_demo_stone(demo: Callable[..., Any], make: SimpleNamespace, tmp_path: Path) -> None:
    entry, photographs = demo("lid-3", "before", "as received")
    written = write_pictures(entry, make.stone(), photographs, tmp_path)
    for path in written:
        assert path.stat().st_size < 3_000_000, path
    original = np.asarray(Image.open(photographs[1].path))
    picture = np.asarray(Image.open(written[2]))
    same = (picture[: original.shape[0]] == original).all(axis=2)
    # the marks cover a few per cent of the photograph, the rest is as it was
    assert 0.93 < same.mean() < 0.999

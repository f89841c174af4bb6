"""The overlay, and its two renderings: SVG and PNG."""

import io
import re
from itertools import pairwise
from types import SimpleNamespace
from typing import Any
from xml.etree import ElementTree

import cv2
import numpy as np
import pytest
from PIL import Image

from setstone.annotate.overlay import overlay_of, shown, to_photograph, um_per_px
from setstone.annotate.png import drawn_on, encode_png
from setstone.annotate.shapes import Group, Overlay, Path, Text, box
from setstone.annotate.svg import svg_document, svg_inline
from setstone.annotate.texts import english
from setstone.measure.examination import Flag
from setstone.record.entries import CandidateEntry, ExaminationEntry
from setstone.record.vocabulary import FindingKind, Verdict

SIZE = (300, 200)
LINE = [(100.0, 90.0), (150.0, 100.0), (200.0, 120.0)]
SPOT = [(120.0, 60.0), (126.0, 60.0), (126.0, 66.0), (120.0, 66.0)]
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def entry(make: SimpleNamespace) -> ExaminationEntry:
    """Give a finding, an open line, an open spot, a rejected and a weak line; blue is shifted by (5, -3)."""
    numbered = (
        CandidateEntry(
            1, make.candidate(LINE), "program", make.decided(Verdict.ACCEPTED, FindingKind.FISSURE)
        ),
        CandidateEntry(2, make.candidate([(90.0, 130.0), (140.0, 150.0)]), "program", None),
        CandidateEntry(3, make.candidate(SPOT, "spot", "white"), "program", None),
        CandidateEntry(4, make.candidate(LINE), "program", make.decided(Verdict.REJECTED)),
        CandidateEntry(5, make.candidate(LINE, score=0.2), "program", None),
    )
    shift = np.array([[1.0, 0.0, 5.0], [0.0, 1.0, -3.0], [0.0, 0.0, 1.0]])
    made: ExaminationEntry = make.examination(
        numbered, size=SIZE, outline=make.ellipse(150, 100, 110, 80), blue_to_white=shift
    )
    return made


def parsed(source: str) -> ElementTree.Element:
    return ElementTree.fromstring(source)  # noqa: S314 our own output


def numbers(overlay: Overlay) -> set[int]:
    return {g.number for g in overlay.groups if g.number is not None}


def test_shown_are_findings_and_likely_candidates(entry: ExaminationEntry) -> None:
    assert [c.number for c in shown(entry)] == [1, 2, 3]
    assert [c.number for c in shown(entry, least_score=0.1)] == [1, 2, 3, 5]


def test_each_photograph_shows_findings_and_what_was_seen_in_it(entry: ExaminationEntry) -> None:
    assert numbers(overlay_of(entry, "white", SIZE, english())) == {1, 3}
    assert numbers(overlay_of(entry, "blue", SIZE, english())) == {1, 2}


def test_geometry_follows_the_photograph(entry: ExaminationEntry) -> None:
    matrix = to_photograph(entry, "blue")
    assert matrix is not None
    assert matrix @ [105.0, 97.0, 1.0] == pytest.approx([100.0, 100.0, 1.0])

    def girdle(lamp: Any) -> np.ndarray:
        group = next(g for g in overlay_of(entry, lamp, SIZE, english()).groups if g.role == "outline")
        return np.concatenate([s.points for s in group.shapes if isinstance(s, Path)])

    assert girdle("blue") == pytest.approx(girdle("white") - [5.0, -3.0])


def test_scale_follows_the_photograph(make: SimpleNamespace) -> None:
    twice = np.diag([2.0, 2.0, 1.0])  # a blue pixel covers two white ones
    entry = make.examination((), um_per_px=2.0, blue_to_white=twice)
    assert um_per_px(entry, "white") == pytest.approx(2.0)
    assert um_per_px(entry, "blue") == pytest.approx(4.0)
    assert um_per_px(make.examination((), um_per_px=None), "white") is None


def test_without_alignment_nothing_is_drawn_where_it_may_not_belong(make: SimpleNamespace) -> None:
    accepted = make.decided(Verdict.ACCEPTED, FindingKind.FISSURE)
    numbered = (CandidateEntry(1, make.candidate(LINE), "program", accepted),)
    none = make.examination(numbered, outline=make.ellipse(150, 100, 110, 80))
    assert overlay_of(none, "blue", SIZE, english()).groups == ()
    doubtful = make.examination(
        numbered,
        outline=make.ellipse(150, 100, 110, 80),
        flags=(Flag("not-aligned", "The blue photograph could not be aligned."),),
    )
    assert numbers(overlay_of(doubtful, "white", SIZE, english())) == set()
    assert overlay_of(doubtful, "blue", SIZE, english()).groups == ()


def test_a_single_photograph_shows_everything(make: SimpleNamespace) -> None:
    numbered = (
        CandidateEntry(1, make.candidate(SPOT, "spot", "white"), "program", None),
        CandidateEntry(2, make.candidate(LINE, lamp="white"), "hand", make.decided(Verdict.ACCEPTED)),
    )
    entry = make.examination(numbered, lamps="blue")
    assert numbers(overlay_of(entry, "blue", SIZE, english())) == {1, 2}


def test_solid_dashed_and_dotted(entry: ExaminationEntry) -> None:
    groups = overlay_of(entry, "blue", SIZE, english()).groups
    by_number = {g.number: g for g in groups}

    def dashed(group: Group) -> list[bool]:
        return [bool(s.dashes) for s in group.shapes if isinstance(s, Path) and s.closed]

    assert dashed(by_number[1]) == [False, False]
    assert dashed(by_number[2]) == [True, True]
    girdle = next(g for g in groups if g.role == "outline")
    hidden = [s for s in girdle.shapes if isinstance(s, Path) and s.dashes]
    seen = [s for s in girdle.shapes if isinstance(s, Path) and not s.dashes]
    # the first sixth of the ellipse was built as hidden
    assert len(hidden[0].points) == pytest.approx(120 / 6 + 2, abs=1)
    assert len(seen[0].points) == pytest.approx(120 * 5 / 6, abs=1)


# --- SVG


def test_svg_is_well_formed_and_says_what_it_shows(entry: ExaminationEntry) -> None:
    root = parsed(svg_document(overlay_of(entry, "blue", SIZE, english()), "setstone test"))
    assert root.tag == f"{SVG}svg"
    # the centre of the first pixel is (0, 0): the drawing covers the photograph from its corner
    assert root.get("viewBox") == "-0.5 -0.5 300 200"
    assert (root.get("width"), root.get("height")) == ("300", "200")
    assert "blue light" in root.findtext(f"{SVG}title", "")
    assert "Findings drawn: 1" in root.findtext(f"{SVG}desc", "")
    tags = [g for g in root.iter(f"{SVG}g") if "tag" in g.get("class", "").split()]
    assert [t.findtext(f"{SVG}text") for t in tags] == ["1", "2"]


def test_svg_coordinates_are_those_of_the_overlay(entry: ExaminationEntry) -> None:
    overlay = overlay_of(entry, "white", SIZE, english())
    root = parsed(svg_document(overlay, "setstone test"))
    written = [p.get("d", "") for p in root.iter(f"{SVG}path")]
    shapes = [s for g in overlay.groups for s in g.shapes] + [s for g in overlay.groups for s in g.tag]
    drawn = [s for s in shapes if isinstance(s, Path)]
    assert len(written) == len(drawn)
    for text, shape in zip(written, drawn, strict=True):
        pairs = np.array([float(v) for v in re.findall(r"-?\d+(?:\.\d+)?", text)]).reshape(-1, 2)
        assert pairs == pytest.approx(shape.points, abs=0.0051)
        assert text.endswith("Z") == shape.closed


@pytest.mark.parametrize(
    "hostile",
    [
        "<script>alert(1)</script>",
        '"><image href="http://x"/>',
        "]]>&amp;",
        "\x00\x0b\ud800\ufffe",
        "\u202etxt",
    ],
)
def test_hostile_text_stays_text(hostile: str) -> None:
    words = Text(hostile, 10, 10, 12, "#000000")
    overlay = Overlay(50, 50, 0, hostile, hostile, (Group("finding", hostile, (), tag=(words,), number=1),))
    for source in (svg_document(overlay, "setstone"), svg_inline(overlay, lambda n: f"#row-{n}", "mark")):
        root = parsed(source)
        assert {e.tag.rpartition("}")[2] for e in root.iter()} <= {
            "svg", "title", "desc", "metadata", "g", "a", "text", "path",
        }  # fmt: skip
        assert not re.search("[\u202a-\u202e\u2066-\u2069\x00-\x08\ufffe\uffff]", source)


def test_inline_marks_link_to_their_rows(entry: ExaminationEntry) -> None:
    source = svg_inline(overlay_of(entry, "blue", SIZE, english()), lambda n: f"#row-{n}", "mark")
    links = {a.get("id"): a.get("href") for a in parsed(source).iter("a")}
    assert links == {"mark-1": "#row-1", "mark-2": "#row-2"}


# --- PNG


def test_pixels_change_at_the_casing_and_nowhere_else(entry: ExaminationEntry) -> None:
    overlay = overlay_of(entry, "blue", SIZE, english())
    noise = np.random.default_rng(5).integers(0, 256, (200, 300, 3), np.uint8)
    before = noise.copy()
    picture = drawn_on(noise, overlay)
    assert (noise == before).all()
    changed = (picture != noise).any(axis=2)

    # where shapes are, with room for their widths
    touched = np.zeros((200, 300), np.uint8)
    for shape in (s for g in overlay.groups for s in (*g.shapes, *g.tag)):
        if isinstance(shape, Path):
            points = np.rint(shape.points * 16).astype(np.int32)
            cv2.polylines(touched, [points], shape.closed, 255, int(shape.width) + 4, shift=4)
            if shape.fill:
                cv2.fillPoly(touched, [points], 255, shift=4)
    assert not (changed & (touched == 0)).any()

    finding = next(g for g in overlay.groups if g.number == 1)
    ring = [s for s in finding.shapes if isinstance(s, Path) and s.closed][-1]
    x, y = np.rint(ring.points).astype(int).T
    assert changed[y, x].mean() > 0.95


def test_the_flaw_itself_is_not_drawn_over(entry: ExaminationEntry) -> None:
    black = np.zeros((200, 300, 3), np.uint8)
    picture = drawn_on(black, overlay_of(entry, "white", SIZE, english()))
    along = np.linspace(0, 1, 50)
    for (x0, y0), (x1, y1) in pairwise(LINE):
        x, y = np.rint(x0 + along * (x1 - x0)).astype(int), np.rint(y0 + along * (y1 - y0)).astype(int)
        assert (picture[y, x] == 0).all()


def test_a_filled_shape_lands_on_its_pixels() -> None:
    # pixel areas reach half a pixel to each side of their centres: this box is pixels 10..19 by 20..24
    area = Path(box(9.5, 19.5, 19.5, 24.5), closed=True, fill="#0072b2")
    overlay = Overlay(40, 40, 0, "", "", (Group("legend", "", (area,)),))
    picture = drawn_on(np.full((40, 40, 3), 255, np.uint8), overlay)
    inside = np.zeros((40, 40), bool)
    inside[20:25, 10:20] = True
    assert (picture[21:24, 11:19] == (0, 114, 178)).all()
    assert (np.abs(picture[inside].astype(int) - (0, 114, 178)).max(axis=1) < 110).all()
    assert (
        picture[~inside & ~cv2.dilate(inside.astype(np.uint8), np.ones((3, 3))).astype(bool)] == 255
    ).all()


def test_sixteen_bits_are_rounded_to_eight() -> None:
    pixels = np.array([[[0, 257 * 100, 65535]]], np.uint16)
    picture = drawn_on(pixels, Overlay(1, 1, 0, "", "", ()))
    assert picture.tolist() == [[[0, 100, 255]]]


def test_a_photograph_of_another_size_is_refused() -> None:
    with pytest.raises(ValueError, match="300 × 200"):
        drawn_on(np.zeros((10, 10, 3), np.uint8), Overlay(300, 200, 0, "", "", ()))


def test_png_names_its_maker_and_keeps_the_pixels() -> None:
    picture = np.random.default_rng(1).integers(0, 256, (20, 30, 3), np.uint8)
    data = encode_png(picture, "setstone test", "Findings drawn: 1.")
    assert b"setstone" in data[:2048]
    assert np.array_equal(np.asarray(Image.open(io.BytesIO(data))), picture)


def test_the_same_input_gives_the_same_output(entry: ExaminationEntry) -> None:
    def both() -> tuple[str, bytes]:
        overlay = overlay_of(entry, "blue", SIZE, english())
        return svg_document(overlay, "setstone"), drawn_on(
            np.zeros((200, 300, 3), np.uint8), overlay
        ).tobytes()

    assert both() == both()

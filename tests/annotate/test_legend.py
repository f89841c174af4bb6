from pathlib import Path as File
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from setstone.annotate.legend import round_length, with_legend
from setstone.annotate.lettering import draw_text, elided, plain, text_width
from setstone.annotate.overlay import overlay_of
from setstone.annotate.shapes import Overlay, Path, Text
from setstone.annotate.texts import english
from setstone.capture.photograph import Lamp
from setstone.record.entries import CandidateEntry
from setstone.record.vocabulary import Verdict


def legended(
    make: SimpleNamespace,
    size: tuple[int, int],
    um: float | None = 2.0,
    position: str = "lid-3",
    claim: str = "ruby",
) -> Overlay:
    line = make.candidate([(0.3 * size[0], 0.4 * size[1]), (0.6 * size[0], 0.5 * size[1])])
    numbered = (
        CandidateEntry(1, line, "program", make.decided(Verdict.ACCEPTED)),
        CandidateEntry(2, line.shifted(0, 30), "program", None),
    )
    entry = make.examination(
        numbered,
        size=size,
        um_per_px=um,
        outline=make.ellipse(size[0] / 2, size[1] / 2, size[0] / 3, size[1] / 3),
        blue_to_white=np.eye(3),
    )
    photograph = make.photograph(File("a.jpg"), Lamp.BLUE, size)
    return with_legend(
        overlay_of(entry, "blue", size, english()),
        entry,
        make.stone(position, claim),
        photograph,
        "blue",
        english(),
    )


def written(overlay: Overlay) -> list[Text]:
    return [s for g in overlay.groups if g.role == "legend" for s in g.shapes if isinstance(s, Text)]


@given(st.floats(1e-3, 1e6))
def test_round_lengths_are_1_2_5(longest: float) -> None:
    length = round_length(longest)
    assert longest / 2.5001 < length <= longest * 1.0001
    mantissa = length / 10 ** np.floor(np.log10(length) + 1e-9)
    assert min(abs(mantissa - m) for m in (1, 2, 5)) < 1e-6


@pytest.mark.parametrize("um", [0.41, 2.0, 3.277, 17.0])
def test_the_scale_bar_has_its_length(make: SimpleNamespace, um: float) -> None:
    overlay = legended(make, (1200, 1000), um)
    label = next(t.text for t in written(overlay) if t.text.endswith(("µm", "mm")))
    number, unit = label.split()
    length_px = float(number) * {"µm": 1, "mm": 1000}[unit] / um
    spans = [np.ptp(s.points[:, 0]) for g in overlay.groups if g.role == "legend" for s in g.shapes
             if isinstance(s, Path) and s.fill == "#161616"]  # fmt: skip
    assert spans == pytest.approx([length_px])


@pytest.mark.parametrize("size", [(1200, 1200), (5472, 3648), (600, 1000), (320, 200)])
def test_the_legend_stands_below_and_within(make: SimpleNamespace, size: tuple[int, int]) -> None:
    overlay = legended(make, size, position="A long name " * 20, claim="ruby " * 60)
    assert overlay.strip > 0
    for text in written(overlay):
        wide = text_width(text.text, text.size, text.bold)
        start = text.x - {"start": 0, "middle": wide / 2, "end": wide}[text.anchor]
        assert start >= 0, text
        assert start + wide <= size[0], text
        assert size[1] < text.y - 0.7 * text.size, text
        assert text.y < size[1] + overlay.strip


def test_no_two_texts_overlap(make: SimpleNamespace) -> None:
    for size in ((1200, 1200), (700, 1200)):
        boxes = []
        for t in written(legended(make, size, claim="ruby " * 60)):
            wide = text_width(t.text, t.size, t.bold)
            start = t.x - {"start": 0, "middle": wide / 2, "end": wide}[t.anchor]
            boxes.append((start, t.y - 0.75 * t.size, start + wide, t.y + 0.2 * t.size))
        for i, a in enumerate(boxes):
            for b in boxes[i + 1 :]:
                assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1], (a, b)


def test_the_legend_says_what_must_be_said(make: SimpleNamespace) -> None:
    text = " ".join(t.text for t in written(legended(make, (1200, 1200))))
    for words in (
        "lid-3 · Presentation snuff box",
        "claimed as ruby",
        "as received · blue light · 14 March 2026",
        "finding: accepted by a person",
        "candidate: proposed by the program, not yet judged",
        "girdle as seen",
        "Not a laboratory report",
    ):
        assert words in text
    assert "scale not known" in " ".join(t.text for t in written(legended(make, (1200, 1200), None)))


def test_text_is_cut_to_its_room() -> None:
    assert elided("lid-3", 20, 500) == "lid-3"
    short = elided("a very long position " * 30, 20, 300)
    assert short.endswith("…")
    assert text_width(short, 20) <= 300


@given(st.text())
def test_plain_text_has_no_control_characters(text: str) -> None:
    assert not set(plain(text)) & set(
        "\x00\x07\x1b\x7f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff\ufffe"
    )
    assert plain(plain(text)) == plain(text)


def test_the_font_has_what_is_needed() -> None:
    def drawn(character: str) -> bytes:
        mask = np.zeros((60, 60), np.uint8)
        draw_text(mask, character, 5, 45, 40, bold=False)
        return mask.tobytes()

    missing = {drawn("\U0010fffd"), drawn("?"), drawn(" ")}
    assert not [c for c in "µ±×°–—…·äöüßéłžЖ石" if drawn(c) in missing]

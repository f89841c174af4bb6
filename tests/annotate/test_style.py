"""Colours, checked against published standards."""

import itertools
import re
from importlib.resources import files

import colour
import numpy as np
import pytest

from setstone.annotate import style

USED = {style.BLUE, style.YELLOW, style.WHITE, style.INK}


def test_colours_are_those_of_okabe_and_ito() -> None:
    # Okabe & Ito 2008, "Color Universal Design": blue (0, 114, 178), yellow (240, 228, 66)
    assert "#" + bytes((0, 114, 178)).hex() == style.BLUE
    assert "#" + bytes((240, 228, 66)).hex() == style.YELLOW


@pytest.mark.parametrize("deficiency", ["Protanomaly", "Deuteranomaly", "Tritanomaly"])
@pytest.mark.parametrize("severity", [0.5, 1.0])
def test_colours_differ_for_everybody(deficiency: str, severity: float) -> None:
    # simulation of Machado, Oliveira & Fernandes 2009, as in colour-science; on linear RGB
    matrix = colour.matrix_cvd_Machado2009(deficiency, severity)

    def seen(hexadecimal: str) -> np.ndarray:
        linear = colour.cctf_decoding(colour.notation.HEX_to_RGB(hexadecimal), "sRGB")
        rgb = np.clip(matrix @ linear, 0, 1)
        return np.asarray(colour.XYZ_to_Lab(colour.RGB_to_XYZ(rgb, "sRGB")))

    for a, b in itertools.combinations(sorted(USED), 2):
        # some ten times what can just be told apart in CIEDE2000 (about 1; from memory)
        assert colour.delta_E(seen(a), seen(b), method="CIE 2000") > 10, (a, b)


def test_kinds_of_line_differ_without_colour() -> None:
    kinds = (style.FINDING, style.CANDIDATE, style.OUTLINE, style.EXTRAPOLATED)
    assert len({(k.width, k.dashes) for k in kinds}) == 4
    assert not style.FINDING.dashes
    assert style.CANDIDATE.dashes


def luminance(hexadecimal: str) -> float:
    """Relative luminance of WCAG 2.2."""
    value = hexadecimal.lstrip("#")
    value = value if len(value) == 6 else "".join(2 * c for c in value)
    rgb = [int(value[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in rgb)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(a: str, b: str) -> float:
    """Contrast ratio of WCAG 2.2."""
    darker, lighter = sorted((luminance(a), luminance(b)))
    return (lighter + 0.05) / (darker + 0.05)


def test_contrast_ratio_as_published() -> None:
    # WCAG 2.2, definition of contrast ratio: black on white has 21:1; #767676 on white just passes 4.5:1
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


def schemes() -> list[dict[str, str]]:
    """Colours of the light, the dark and the printed page."""
    sheet = files("setstone.annotate").joinpath("templates", "handout.css").read_text("utf-8")
    roots = [
        dict(re.findall(r"--(\w+): (#\w+);", block)) for block in re.findall(r":root \{(.*?)\}", sheet, re.S)
    ]
    return [roots[0], roots[0] | roots[1], roots[0] | roots[2]]


@pytest.mark.parametrize("scheme", schemes(), ids=["light", "dark", "print"])
def test_page_text_meets_wcag_aa(scheme: dict[str, str]) -> None:
    # WCAG 2.2, success criterion 1.4.3: 4.5:1 for text
    for text, ground in itertools.product(("ink", "soft", "accent"), ("paper", "warn", "high")):
        assert contrast(scheme[text], scheme[ground]) >= 4.5, (text, ground)


def test_tags_meet_wcag_aa() -> None:
    assert contrast(style.WHITE, style.BLUE) >= 4.5
    assert contrast(style.INK, style.YELLOW) >= 4.5
    assert contrast(style.GREY, style.WHITE) >= 4.5

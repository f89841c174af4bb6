"""Glue of two occasions: what a less sharp photograph does to what is said."""

from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np
import pytest

from setstone.measure.outline import Outline
from setstone.record.glue_words import glue_notes
from setstone.record.gluing import blurs, glue_between
from setstone.record.two_occasions import Look

SIZE, RADIUS = 600, 240.0
TURNS = np.linspace(0, 2 * np.pi, 180, endpoint=False)
GIRDLE = SIZE / 2 + RADIUS * np.column_stack([np.cos(TURNS), np.sin(TURNS)])


def looked_at(*, blur_px: float) -> Look:
    """A stone of sharp-edged facets, photographed with so much blur."""
    y, x = np.mgrid[:SIZE, :SIZE]
    facets = np.where((x // 40 + y // 40) % 2, 150, 80).astype(np.uint8)
    pixels = cv2.GaussianBlur(np.repeat(facets[..., None], 3, axis=2), (0, 0), blur_px)
    return Look({"white": pixels, "blue": pixels}, 5.0)


@pytest.mark.parametrize("blur_px", [2.0, 3.0])
def test_blur_is_measured_as_a_share_of_the_diameter(blur_px: float) -> None:
    found = blurs(looked_at(blur_px=blur_px).pictures, GIRDLE)
    assert found == {lamp: pytest.approx(blur_px / (2 * RADIUS), rel=0.1) for lamp in ("white", "blue")}


@pytest.mark.parametrize(
    ("before_px", "after_px", "less_sharp"),
    [(2.0, 2.2, ""), (1.0, 2.0, "after"), (2.0, 1.0, "as received")],
)
def test_less_sharp_photographs_are_named(before_px: float, after_px: float, less_sharp: str) -> None:
    outline = Outline(GIRDLE, np.ones(len(GIRDLE), np.bool_), 1.0)
    entries = [
        SimpleNamespace(occasion=o, result=SimpleNamespace(colour=None)) for o in ("as received", "after")
    ]
    both: Any = SimpleNamespace(
        before=entries[0],
        after=entries[1],
        looks=(looked_at(blur_px=before_px), looked_at(blur_px=after_px)),
        outlines=(outline, outline),
        registration=SimpleNamespace(matrix=np.eye(3)),
    )
    shown = glue_between(both)
    assert shown.less_sharp == less_sharp
    said = " ".join(glue_notes(shown))
    assert ("less sharp" in said) == bool(less_sharp)
    assert f"'{less_sharp}'" in said or not less_sharp

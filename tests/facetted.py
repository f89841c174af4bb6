"""A made-up stone for what compares photographs of two days: facets of chance brightness and grain."""

import cv2
import numpy as np

from setstone.measure.light import Pixels
from setstone.measure.outline import Outline

SIZE, RADIUS = 640, 250
_ANGLE = np.linspace(0, 2 * np.pi, 90, endpoint=False)
OUTLINE = Outline(
    (SIZE - 1) / 2 + RADIUS * np.column_stack([np.cos(_ANGLE), np.sin(_ANGLE)]), np.ones(90, np.bool_), 0.5
)
LINE = np.array([(250.0, 300.0), (390.0, 330.0)])


def facetted(*, lights: int = 1, line: bool = False, aside: int = 0, gain: float = 1.0) -> Pixels:
    """The stone with a bright line or without; other `lights` make other facets bright."""
    rng = np.random.default_rng(1)
    seeds = rng.uniform(0, SIZE, (60, 2))
    y, x = np.mgrid[:SIZE, :SIZE]
    nearest = np.argmin([(x - a) ** 2 + (y - b) ** 2 for a, b in seeds], axis=0)
    grey = np.random.default_rng(lights).uniform(50, 110, 60)[nearest] + rng.normal(0, 2, (SIZE, SIZE))
    picture = np.clip(grey, 0, 255).astype(np.uint8)
    if line:
        (x0, y0), (x1, y1) = (np.round(p + np.array([0, aside])).astype(int).tolist() for p in LINE)
        cv2.line(picture, (x0, y0), (x1, y1), (170,), 2, cv2.LINE_AA)
    return np.clip(picture[..., None].repeat(3, 2) * gain, 0, 255).astype(np.uint8)

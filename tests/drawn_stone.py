"""A drawn stone of any outline in a bezel, of exactly known size."""

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from setstone.measure.outline import Outline

Radius = Callable[[NDArray[np.float64]], NDArray[np.float64]]


def ellipse(a: float, b: float) -> Radius:
    return lambda t: a * b / np.hypot(b * np.cos(t), a * np.sin(t))


def cushion(a: float, b: float) -> Radius:
    """Superellipse |x/a|^3 + |y/b|^3 = 1 (Lamé)."""
    return lambda t: (np.abs(np.cos(t) / a) ** 3 + np.abs(np.sin(t) / b) ** 3) ** (-1 / 3)


def egg(a: float) -> Radius:
    return lambda t: a * (1 + 0.08 * np.cos(t) + 0.06 * np.cos(2 * t) - 0.02 * np.cos(3 * t))


def octagon(a: float, b: float) -> Radius:
    """Rectangle 2a by 2b with corners cut at 45 degrees."""
    return lambda t: (
        1
        / np.maximum.reduce(
            [
                np.abs(np.cos(t)) / a,
                np.abs(np.sin(t)) / b,
                (np.abs(np.cos(t)) + np.abs(np.sin(t))) / (0.8 * (a + b)),
            ]
        )
    )


def marquise(a: float, b: float) -> Radius:
    """Two arcs that meet in points a from the centre and lie b from it in the middle."""
    arc = (a**2 + b**2) / (2 * b)
    return lambda t: np.sqrt(arc**2 - ((arc - b) * np.cos(t)) ** 2) - (arc - b) * np.abs(np.sin(t))


def pear(a: float) -> Radius:
    """Round behind, drawn out to a blunt point in front."""
    return lambda t: (
        a
        * (1 / np.hypot(np.cos(t), np.sin(t) / 0.9))
        * (1 + 0.25 * np.exp(-((np.angle(np.exp(1j * t)) / 0.45) ** 2)))
    )


def chipped(a: float) -> Radius:
    """A round stone with a bite of a twentieth of its radius out of its girdle."""
    return lambda t: a * (1 - 0.05 * np.exp(-((np.angle(np.exp(1j * (t - 1))) / 0.12) ** 4)))


def true_outline(radius: Radius, centre: tuple[float, float], turn: float = 0.0) -> Outline:
    t = np.linspace(0, 2 * np.pi, 7200, endpoint=False)
    points = radius(t - turn)[:, None] * np.column_stack([np.cos(t), np.sin(t)]) + centre
    return Outline(points, np.ones(len(t), np.bool_), 0.1)


def set_stone(
    radius: Radius,
    centre: tuple[float, float] = (300.0, 300.0),
    turn: float = 0.0,
    size: tuple[int, int] = (600, 600),
) -> NDArray[np.uint8]:
    """A stone of flat facets in a bezel, every edge an error function of the distance (sigma 0.8 px).

    Distances are taken along the rays, times the cosine of the angle between ray and normal: exact to
    first order at each edge, and drawn by no library.
    """
    yy, xx = np.mgrid[: size[0], : size[1]].astype(float)
    x, y = xx - centre[0], yy - centre[1]
    angle, ray = np.arctan2(y, x), np.hypot(x, y)
    r = radius(angle - turn)
    steepness = (radius(angle - turn + 1e-5) - radius(angle - turn - 1e-5)) / 2e-5 / r
    outside = (ray - r) / np.hypot(1, steepness)

    def within(distance: float) -> NDArray[np.float64]:
        return 0.5 * (1 - erf((outside - distance) / (0.8 * math.sqrt(2))))[..., None]

    facet = np.floor((angle / (2 * np.pi) + 0.5) * 24) + 24 * np.floor(ray / r * 2.5)
    light = 40 + 180 * np.random.default_rng(5).random(400)[facet.astype(int) % 400]
    stone = np.stack([light, 0.25 * light, 0.4 * light], axis=-1)
    picture = np.full((*size, 3), (190.0, 170.0, 120.0))  # sheet metal, then bezel, gap and stone on it
    for colour, edge in (((140, 120, 80), 42), ((225, 205, 150), 30), ((150, 130, 90), 18)):
        picture += within(edge) * (np.array(colour, float) - picture)
    picture += within(7) * (np.array((50.0, 45.0, 40.0)) - picture)
    picture += within(0) * (stone - picture)
    picture += np.random.default_rng(1).normal(0, 2, picture.shape)
    return picture.clip(0, 255).round().astype(np.uint8)

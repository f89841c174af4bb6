"""Find the lines of a stone and measure what their scores rest on.

Lines are looked for under blue light, under white when blue is missing; the other lamp's photograph is asked about each.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.errors import MeasurementError
from setstone.measure.light import Pixels, Plane, linear
from setstone.measure.line_edges import straight_edges
from setstone.measure.line_features import Surroundings, line_features
from setstone.measure.line_map import line_map
from setstone.measure.lines import FWHM_PER_SIGMA, NARROWEST_UM, Line, filter_scales, find_lines
from setstone.measure.scene import Scene

Values = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: Lines closer to the edge of what can be seen of the stone than this many pixels are the edge itself.
EDGE_PX = 2
#: Shortest straight edge that is a facet's, in diameters of the stone.
SHORTEST_EDGE = 0.04


class Described(NamedTuple):
    """The lines of a stone with all the score of each rests on.

    Parameters
    ----------
    lines : tuple of Line
        N lines; the bright ones first.
    bright : (N,) bool array
        Which of them are brighter than what is around them.
    features : (N, len(NAMES)) float64 array
        See `setstone.measure.line_features`.
    """

    lines: tuple[Line, ...]
    bright: Mask
    features: Values


def straight_edges_of(scene: Scene) -> tuple[Values, ...]:
    """Find straight edges, which facets have and fissures have not.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    tuple of (N, 4) float64 array
        Ends x0, y0, x1, y1 in pixels of the scene: in the photograph lines are looked for in, then in the other if there is one.

    Raises
    ------
    MeasurementError
        When the scene has no photograph.
    """
    least = SHORTEST_EDGE * scene.diameter_px
    return tuple(straight_edges(plane, scene.stone, least) for plane in _planes(scene))


def describe_lines(scene: Scene, edges: Sequence[Values]) -> Described:
    """Find the lines of a stone and measure their features.

    Parameters
    ----------
    scene : Scene
    edges : sequence of (N, 4) float64 array
        Its `straight_edges_of`.

    Returns
    -------
    Described

    Raises
    ------
    MeasurementError
        When the scene has no photograph.
    """
    planes, sigma = _planes(scene), _finest(scene)
    kernel = np.ones((2 * EDGE_PX + 1, 2 * EDGE_PX + 1), np.uint8)
    inner = cv2.erode(scene.stone.astype(np.uint8), kernel, borderValue=0) > 0
    found = [
        find_lines(planes[0], um_per_px=_scale(scene), mask=inner, bright=bright)
        for bright in _polarities(scene)
    ]
    lines = tuple(line for some in found for line in some)
    here, *other = (
        Surroundings.of(plane, sigma, scene.stone, scene.outline, segments)
        for plane, segments in zip(planes, edges, strict=True)
    )
    features = line_features(
        lines,
        here,
        other[0] if other else None,
        clipped=saturated(_looked_at(scene)),
        outline=scene.outline,
        sigma=sigma,
    )
    return Described(lines, np.repeat(_polarities(scene), [len(some) for some in found]), features)


def describe_resized(scene: Scene, edges: Sequence[Values], factor: float) -> Described:
    """Find and measure lines in the photographs made larger or smaller: others than in the photographs themselves.

    Parameters
    ----------
    scene : Scene
    edges : sequence of (N, 4) float64 array
        Its `straight_edges_of`; none are looked for anew.
    factor : float
        How many times as large.

    Returns
    -------
    Described
        Lines in pixels of the scene, `factor` vertices a pixel; features as at that size.

    Raises
    ------
    MeasurementError
        When the scene has no photograph.
    """
    resized, ratio = scene.resized(factor)
    found = describe_lines(resized, [(ends + 0.5) * np.tile(ratio, 2) - 0.5 for ends in edges])
    size = float(ratio.mean())
    return found._replace(
        lines=tuple(
            replace(line, path=(line.path + 0.5) / ratio - 0.5, width_px=line.width_px / size)
            for line in found.lines
        )
    )


def maps_of_lines(scene: Scene) -> tuple[Plane, ...]:
    """Map where lines are (`setstone.measure.line_map`).

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    tuple of (H, W) float32 array
        Of bright lines, and without a blue photograph of dark ones too.

    Raises
    ------
    MeasurementError
        When the scene has no photograph.
    """
    plane = brightness(_looked_at(scene))
    narrowest_px = FWHM_PER_SIGMA * _finest(scene)
    return tuple(
        line_map(plane, narrowest_px=narrowest_px, bright=bright, mask=scene.stone)
        for bright in _polarities(scene)
    )


def _looked_at(scene: Scene) -> Pixels:
    pixels = scene.white if scene.blue is None else scene.blue
    if pixels is None:
        raise MeasurementError(
            "There is no photograph to look for lines in; add one under blue or white light."
        )
    return pixels


def _planes(scene: Scene) -> list[Plane]:
    """What lines are looked for in, then the other lamp's if it is there."""
    other = None if scene.blue is None else scene.white
    return [brightness(pixels) for pixels in (_looked_at(scene), other) if pixels is not None]


def _finest(scene: Scene) -> float:
    """Standard deviation of the finest filter, in pixels."""
    return filter_scales(_scale(scene))[0]


def _scale(scene: Scene) -> float:
    # Without a scale the finest filter the pixels allow is as good a guess as any.
    return scene.um_per_px or NARROWEST_UM / FWHM_PER_SIGMA


def brightness(pixels: Pixels) -> Plane:
    """Mean of the channels in linear light, encoded again: grey levels 0..255 of an 8-bit sRGB picture.

    Where the blue channel of a photograph under blue light is saturated, what leaks into the others still
    carries the picture; encoding makes the noise of a camera about even (IEC 61966-2-1:1999).

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        sRGB-encoded.

    Returns
    -------
    (H, W) float32 array
    """
    light = cv2.transform(linear(pixels), np.full((1, 3), 1 / 3, np.float32)).reshape(pixels.shape[:2])
    low = light * 12.92
    high = 1.055 * cv2.pow(np.maximum(light, 1e-9), 1 / 2.4) - 0.055
    return np.asarray(255 * np.where(light <= 0.0031308, low, high), np.float32)


def saturated(pixels: Pixels) -> NDArray[np.bool_]:
    """Find glints: where at least two channels are at their end, whatever the lamp's colour.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array

    Returns
    -------
    (H, W) bool array
    """
    return np.asarray((pixels >= 0.996 * np.iinfo(pixels.dtype).max).sum(axis=-1) >= 2)


def _polarities(scene: Scene) -> tuple[bool, ...]:
    # In transmitted and reflected light a fissure may be darker than the stone.
    return (True, False) if scene.blue is None else (True,)

"""What can be told of a spot in a facetted stone from its own small surroundings.

Every feature is free of scale: lengths are shares of the spot's diameter, brightnesses shares of
its contrast, so that the same numbers hold for every magnification, exposure and stone.
"""

import math
from dataclasses import dataclass, fields

import cv2
import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from setstone.measure.errors import MeasurementError
from setstone.measure.light import Pixels, Plane, srgb_to_linear
from setstone.measure.scene import Scene
from setstone.measure.spot_outlines import outline_shape
from setstone.measure.spot_tones import tones
from setstone.measure.spots import Spot, find_spots, local_grain

#: Diameters looked for, in shares of the stone's diameter: nobody needs the larger pointed out, and
#: the smaller are lost in a photograph that shows the whole stone.
SMALLEST_SHARE, LARGEST_SHARE = 0.003, 0.05
SMALLEST_UM, LARGEST_UM = 8.0, 300.0
LEAST_DEPTH = 0.2  # share of the light that is missing
LEAST_GREY = 5.0  # grey levels: nobody sees less
#: Ratios and shares, compared by their logarithm; the offset added before keeps the noise of small ones out.
LOGARITHMIC = {
    "size": 1e-4,
    "pixels": 1.0,
    "grey": 5.0,
    "against_grain": 1.0,
    "ring_edges": 0.1,
    "edge_sharpness": 0.2,
    "ring_spread": 0.03,
    "ring_steps": 0.03,
    "body_spread": 0.03,
    "glint_near": 0.05,
    "off_ellipse": 0.01,
}


_NO_BLUE = np.empty((0, 0), np.float32)


@dataclass(frozen=True)
class SpotFeatures:
    """Scale-free description of a spot; see the comment on each."""

    size: float  # diameter as a share of the stone's
    pixels: float  # diameter in pixels: what a photograph of this scale can show of a shape
    grey: float  # contrast in grey levels
    depth: float  # share of the surroundings' light that is missing, above the stone's own black
    blackness: float  # light left in the body above the stone's black, as a share of the stone's range
    against_grain: float  # contrast over the grain of the surroundings
    ring_spread: float  # spread of the surroundings over the contrast
    ring_steps: float  # unlikeness of opposite and neighbouring sides of the surroundings
    weakest_side: float  # contrast of the weakest side over the median side's
    ring_edges: float  # strongest edges in the surroundings over the contrast
    edge_sharpness: float  # slope across the outline over the contrast, in diameters
    edge_evenness: float  # weak slopes along the outline over the median slope
    body_spread: float  # spread inside the body over the contrast
    elongation: float
    convexity: float  # area over that of the convex hull
    roundness: float  # area over that of a circle as long as the outline
    off_ellipse: float  # distance of the outline from its ellipse over the diameter
    cornered: float  # share of the outline's turning that its three sharpest corners hold
    straight: float  # longest straight stretch of the outline over the diameter
    colour_left: float  # colour of the body over that of its surroundings
    warmth: float  # red less blue of the body over its brightness: its own colour, not the stone's
    light_left: float  # light left in the body over that of its surroundings, in linear light
    dust: float  # brightness under blue light of what lets light through in white: scattering on the surface
    centre_distance: float  # distance from the stone's centre in shares of its diameter, up to 0.1: the culet
    rim_distance: float  # distance from the girdle or setting, in shares of the stone's diameter
    glint_near: float  # brighter rim or glint right around the body, over the contrast
    blue_depth: float  # share of the surroundings' blue light that is missing
    blue_against_grain: float  # the same over the grain of the surroundings under blue light
    crowd: float  # logarithm of the number of spots as strong nearby

    def vector(self) -> NDArray[np.float64]:
        """All features in the order of their definition, shape (number of features,)."""
        return np.array([getattr(self, f.name) for f in fields(self)], np.float64)


NAMES: tuple[str, ...] = tuple(f.name for f in fields(SpotFeatures))


@dataclass(frozen=True, eq=False)
class Ground:
    """What is the same for all spots of a stone.

    Parameters
    ----------
    plane : (H, W) float32 array
        The stone's own colour in grey levels, in which spots were found.
    colour : (H, W, 3) float32 array
        The same photograph, grey levels of the three channels.
    blue : (H, W) float32 array or None
        Grey levels under blue light.
    black, bright : float
        Grey levels of the darkest and of the bright parts of the stone in `plane`.
    rim : (H, W) float32 array
        Distance to the nearest pixel that is not stone, in pixels.
    diameter_px : float
        Of the stone.
    centre : (float, float)
        Of the stone, x, y in pixels.
    """

    plane: Plane
    colour: Plane
    blue: Plane | None
    black: float
    bright: float
    rim: Plane
    diameter_px: float
    centre: tuple[float, float]


def ground_of(scene: Scene) -> Ground:
    """Prepare what is the same for all spots of a stone.

    Spots are looked for in the stone's own colour (channels weighted by how much of its light they
    carry): an opaque body blocks just that, while a channel the stone absorbs shows noise only.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    Ground

    Raises
    ------
    MeasurementError
        When the scene has no photograph.
    """
    pixels, other = (scene.blue, None) if scene.white is None else (scene.white, scene.blue)
    if pixels is None:
        raise MeasurementError(
            "There is no photograph to look for spots in; give one under white or blue light."
        )
    colour = _grey_levels(pixels)
    stone = scene.stone if scene.stone.any() else np.ones(scene.stone.shape, np.bool_)
    means = colour[stone].mean(axis=0) + 1e-3
    plane = np.asarray(
        cv2.transform(colour, (means / means.sum()).reshape(1, 3).astype(np.float32)), np.float32
    )
    plane = plane.reshape(colour.shape[:2])
    smooth = cv2.GaussianBlur(plane, (0, 0), 1.0)[stone]
    # Padded: the border of the crop is no stone either.
    padded = cv2.distanceTransform(np.pad(stone, 1).astype(np.uint8), cv2.DIST_L2, 5)
    rim = np.asarray(padded[1:-1, 1:-1], np.float32)
    return Ground(
        plane=plane,
        colour=colour,
        blue=None if other is None else blue_of(other),
        black=float(np.percentile(smooth, 0.3)),
        bright=float(np.percentile(smooth, 90)),
        rim=rim,
        diameter_px=scene.diameter_px,
        centre=scene.outline.centre,
    )


def _grey_levels(pixels: Pixels) -> Plane:
    return pixels.astype(np.float32) * np.float32(255 / np.iinfo(pixels.dtype).max)


def blue_of(pixels: Pixels) -> Plane:
    """Grey levels of the blue channel, (H, W) float32."""
    return np.ascontiguousarray(_grey_levels(pixels)[..., 2])


def spots_in(scene: Scene, ground: Ground) -> tuple[Spot, ...]:
    """Find the spots of a stone worth judging, in the photograph they show best in.

    Parameters
    ----------
    scene : Scene
    ground : Ground

    Returns
    -------
    tuple of Spot
    """
    um_per_px = scene.um_per_px or 1.0
    stone_um = ground.diameter_px * um_per_px
    smallest, largest = SMALLEST_SHARE * stone_um, LARGEST_SHARE * stone_um
    if scene.um_per_px is not None:
        smallest, largest = max(smallest, SMALLEST_UM), min(largest, LARGEST_UM)
    found = find_spots(
        ground.plane, um_per_px=um_per_px, smallest_um=smallest, largest_um=largest, mask=scene.stone
    )
    return _worth_judging(tuple(s for s in found if s.contrast >= LEAST_GREY), ground)


def describe_spots(spots: tuple[Spot, ...], ground: Ground) -> list[SpotFeatures]:
    """Measure the features of the spots of a stone, in their order."""
    return [describe(spot, ground, crowd) for spot, crowd in zip(spots, crowds(spots), strict=True)]


def _worth_judging(spots: tuple[Spot, ...], ground: Ground) -> tuple[Spot, ...]:
    """Leave out what is no darker than grain or a shade of the facet; that is nine in ten."""
    if not spots:
        return ()
    columns, rows = np.round(np.array([s.centre for s in spots])).astype(int).T
    rows, columns = rows.clip(0, ground.plane.shape[0] - 1), columns.clip(0, ground.plane.shape[1] - 1)
    contrast = np.array([s.contrast for s in spots])
    level = cv2.GaussianBlur(ground.plane, (0, 0), 1.0)[rows, columns]
    depth = contrast / np.maximum(level + contrast - ground.black, contrast)
    keep = (contrast >= 3 * local_grain(ground.plane)[rows, columns]) & (depth >= LEAST_DEPTH)
    return tuple(s for s, kept in zip(spots, keep, strict=True) if kept)


def flattened(vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    """Take logarithms of ratios, and keep every feature within what the weights were trained on.

    Parameters
    ----------
    vectors : (N, F) float64 array

    Returns
    -------
    (N, F) float64 array
    """
    out = np.array(vectors, np.float64)
    for name, offset in LOGARITHMIC.items():
        k = NAMES.index(name)
        out[:, k] = np.log(np.maximum(out[:, k], 0) + offset)
    return np.asarray(np.clip(out, -10, 10), np.float64)


def describe(spot: Spot, ground: Ground, crowd: int) -> SpotFeatures:
    """Measure the features of one spot.

    Parameters
    ----------
    spot : Spot
    ground : Ground
    crowd : int
        Number of other spots of at least half its contrast within four diameters.

    Returns
    -------
    SpotFeatures
    """
    diameter = max(spot.diameter_px, 2.0)
    reach = math.ceil(1.6 * diameter) + 4
    height, width = ground.plane.shape
    left, right = max(0, round(spot.centre[0]) - reach), min(width, round(spot.centre[0]) + reach + 1)
    top, bottom = max(0, round(spot.centre[1]) - reach), min(height, round(spot.centre[1]) + reach + 1)
    area = (slice(top, bottom), slice(left, right))
    window = ground.plane[area]
    outline = spot.outline - np.array([left, top])

    smooth = np.asarray(cv2.GaussianBlur(window, (0, 0), 1.0), np.float32)
    gx, gy = (
        cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=1 / 8),
        cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=1 / 8),
    )
    tone = tones(
        window,
        smooth,
        np.hypot(gx, gy),
        ground.colour[area],
        _NO_BLUE if ground.blue is None else ground.blue[area],
        distance_outside(outline, window.shape),
        outline,
        (spot.centre[0] - left, spot.centre[1] - top),
        diameter,
    )
    contrast = max(tone.around - tone.level, 0.5)
    shape = outline_shape(outline, diameter)
    hull = cv2.contourArea(cv2.convexHull(outline.astype(np.float32)))
    ring_chroma = max(tone.ring_rgb) - min(tone.ring_rgb)
    body_chroma = max(tone.body_rgb) - min(tone.body_rgb)
    missing = tone.blue_around - tone.blue_level
    blue_depth = missing / (tone.blue_around + 5.0)
    body_light, ring_light = srgb_to_linear(np.clip(np.array([tone.level, tone.around]), 1, 255) / 255)
    light_left = float(body_light / ring_light)
    extent = max(ground.bright - ground.black, 10.0)
    return SpotFeatures(
        size=diameter / ground.diameter_px,
        pixels=diameter,
        grey=contrast,
        depth=contrast / max(tone.around - min(ground.black, tone.level), 1.0),
        blackness=(tone.level - ground.black) / extent,
        against_grain=contrast / tone.grain,
        ring_spread=tone.spread / contrast,
        ring_steps=tone.sides_range / contrast,
        weakest_side=(tone.weakest - tone.level) / contrast,
        ring_edges=tone.edges * diameter / contrast,
        edge_sharpness=tone.slope * diameter / contrast,
        edge_evenness=tone.weak_slope / max(tone.slope, 1e-3),
        body_spread=tone.body_spread / contrast,
        elongation=spot.elongation,
        convexity=shape.area / max(hull, 1e-3),
        roundness=4 * math.pi * shape.area / max(shape.length**2, 1e-3),
        off_ellipse=shape.off_ellipse,
        cornered=shape.cornered,
        straight=shape.straight / diameter,
        colour_left=(body_chroma + 3.0) / (ring_chroma + 3.0),
        warmth=(tone.body_rgb[0] - tone.body_rgb[2]) / max(sum(tone.body_rgb), 10.0),
        light_left=light_left,
        dust=min(max(-blue_depth, 0.0), 2.0) * light_left,
        centre_distance=min(0.1, math.dist(spot.centre, ground.centre) / ground.diameter_px),
        rim_distance=float(_at(ground.rim, spot.centre)) / ground.diameter_px,
        glint_near=(tone.glint - tone.around) / contrast,
        blue_depth=blue_depth,
        blue_against_grain=math.tanh(missing / (tone.blue_spread + 1.0) / 5),
        crowd=math.log1p(crowd),
    )


def crowds(spots: tuple[Spot, ...]) -> list[int]:
    """Count around each spot those at least half as strong, within four of its diameters.

    Parameters
    ----------
    spots : tuple of Spot

    Returns
    -------
    list of int
    """
    if not spots:
        return []
    centres = np.array([s.centre for s in spots])
    contrasts = np.array([s.contrast for s in spots])
    near = cKDTree(centres).query_ball_point(centres, [4 * s.diameter_px for s in spots])
    return [int((contrasts[j] >= 0.5 * contrasts[i]).sum()) - 1 for i, j in enumerate(near)]


def _at(plane: Plane, centre: tuple[float, float]) -> float:
    row = min(max(round(centre[1]), 0), plane.shape[0] - 1)
    column = min(max(round(centre[0]), 0), plane.shape[1] - 1)
    return float(plane[row, column])


def distance_outside(outline: NDArray[np.float64], shape: tuple[int, ...]) -> Plane:
    """Distance of every pixel from an outline, negative inside it.

    Parameters
    ----------
    outline : (N, 2) float64 array
        Closed, x, y in pixels.
    shape : (int, int)
        Of the picture.

    Returns
    -------
    (H, W) float32 array
        In pixels, true to a quarter of one.
    """
    fine = np.zeros((2 * shape[0], 2 * shape[1]), np.uint8)
    cv2.fillPoly(fine, [np.round((outline + 0.25) * 2).astype(np.int32)], 1)
    beyond = cv2.distanceTransform(1 - fine, cv2.DIST_L2, 5)
    within = cv2.distanceTransform(fine, cv2.DIST_L2, 5) if fine.any() else np.zeros_like(beyond)
    return np.asarray(_halved(beyond, within), np.float32)


@njit(cache=True, nogil=True)
def _halved(beyond, within):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Difference of two distances at half the size, in pixels of that size."""
    out = np.empty((beyond.shape[0] // 2, beyond.shape[1] // 2), np.float32)
    for i in range(out.shape[0]):
        for j in range(out.shape[1]):
            total = np.float32(0)
            for k in range(2):
                for m in range(2):
                    total += beyond[2 * i + k, 2 * j + m] - within[2 * i + k, 2 * j + m]
            out[i, j] = total / np.float32(8)
    return out

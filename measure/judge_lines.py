"""Judge lines: which of the bright lines in a facetted stone are consistent with a fissure.

Most bright lines in a cut stone are none: worn facet edges, facet junctions, reflected lamps, fibres,
scratches, the rim. Each line is described by features free of scale (`setstone.measure.line_features`)
from both lamps; boosted trees of depth three weigh them (Friedman 2001, Ann. Stat. 29:1189), and a second
look takes in what was thought of the neighbours: a fissure is seen in pieces, facet by facet. Both were
trained on computed stones by benchmarks/train_line_scores.py. Rules in plain words name the reasons. Scored either
way, what the map of lines (`setstone.measure.line_map`, measured on open data sets) does not bear out counts half.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from setstone.measure.candidates import Candidate, LampName, Reason
from setstone.measure.errors import MeasurementError
from setstone.measure.light import Pixels, Plane, linear
from setstone.measure.line_features import Surroundings, line_features
from setstone.measure.line_map import line_map
from setstone.measure.line_reasons import reasons_for
from setstone.measure.line_scores import MANY, first_scores, second_scores
from setstone.measure.lines import FWHM_PER_SIGMA, NARROWEST_UM, Line, filter_scales, find_lines
from setstone.measure.plain_rules import line_rules
from setstone.measure.quantity import Quantity, combine
from setstone.measure.runs import median_each, nearest, starts_of
from setstone.measure.scene import Scene

Values = NDArray[np.float64]

#: Lines closer to the edge of what can be seen of the stone than this many pixels are the edge itself.
EDGE_PX = 2
#: First scores above this count as good company.
LEAST_GOOD = 0.05
#: More candidates than this help nobody; the weakest are left out.
SHOWN = 150
#: Standard uncertainties in pixels: of where a line ends, of one width, of the camera's blur.
U_END, U_WIDTH, U_BLUR = 2.0, 0.25, 0.2

#: Lines that the map of lines puts below this share of the stone's pixels are not borne out by it, and what is left of
#: their score. Of fissures 6 % lie so low, of other lines 31 %.
LEAST_ON_MAP, OFF_MAP = 0.8, 0.5

_MANY = Reason("many", f"after {MANY} better lines in this stone: likely a reflection; it counts half", False)
_OFF_MAP = Reason(
    "off-map",
    "does not go on along its own course as a line does: likely grain or pieces of facets; it counts half",
    False,
)


class Traced(NamedTuple):
    """The lines of a stone, found under one lamp."""

    lines: tuple[Line, ...]
    on_map: Values  # share of the stone's pixels that the map of lines puts below each
    lamp: LampName


class Around(NamedTuple):
    """What the features of all lines share, for the lamp they were found under and for the other."""

    here: Surroundings
    other: Surroundings | None


class Described(NamedTuple):
    """The lines of a stone with all the score rests on."""

    lines: tuple[Line, ...]
    features: Values
    on_map: Values  # share of the stone's pixels that the map of lines puts below each
    lamp: LampName


def judge_lines(
    scene: Scene, *, traced: Traced | None = None, around: Around | None = None, learned: bool = True
) -> tuple[Candidate, ...]:
    """Find the lines of a stone under blue light (under white when blue is missing) and score each.

    Parameters
    ----------
    scene : Scene
        Both photographs, aligned, cropped to the stone.
    traced : Traced, optional
        What `trace_lines` found, where somebody has it already.
    around : Around, optional
        What `surroundings` found, where somebody has it already.
    learned : bool
        Score by the trained trees, else by plain rules alone (`setstone.measure.plain_rules`).

    Returns
    -------
    tuple of Candidate
        Best first, in pixels of the crop; those unlikely to be fissures keep a low score and the reason.

    Raises
    ------
    MeasurementError
        When the scene has no photograph.
    """
    described = describe_lines(scene, traced or trace_lines(scene), around or surroundings(scene))
    if not described.lines:
        return ()
    scores = _learned_scores(described, scene.diameter_px) if learned else line_rules(described.features)
    borne_out = described.on_map >= LEAST_ON_MAP
    scores = scores * np.where(borne_out, 1.0, OFF_MAP)
    blur = float(np.percentile(np.concatenate([line.width_px for line in described.lines]), 10))
    order = sorted(range(len(scores)), key=lambda i: (-scores[i], described.lines[i].path[0].tolist()))[
        :SHOWN
    ]
    return tuple(
        Candidate(
            kind="line",
            path=described.lines[i].path,
            lamp=described.lamp,
            score=float(scores[i]),
            reasons=reasons_for(described.features[i], float(scores[i]))
            + (() if borne_out[i] else (_OFF_MAP,))
            + ((_MANY,) if learned and place >= MANY else ()),
            contrast=float(np.median(described.lines[i].contrast)),
            sizes=_sizes(described.lines[i], blur, scene.um_per_px),
        )
        for place, i in enumerate(order)
    )


def _learned_scores(described: Described, diameter_px: float) -> Values:
    first = first_scores(described.features)
    return second_scores(described.features, first, neighbours(described.lines, first, diameter_px))


def describe_lines(scene: Scene, traced: Traced, around: Around) -> Described:
    """Measure the features of the lines of a stone."""
    features = line_features(
        traced.lines,
        around.here,
        around.other,
        clipped=saturated(_looked_at(scene)),
        outline=scene.outline,
        sigma=_finest(scene),
    )
    return Described(traced.lines, features, traced.on_map, traced.lamp)


def trace_lines(scene: Scene) -> Traced:
    """Find the lines of a stone.

    Raises
    ------
    MeasurementError
        When the scene has no photograph.
    """
    plane = brightness(_looked_at(scene))
    lines, on_map = _traced(plane, scene, bright=True)
    if scene.blue is None:
        # In transmitted and reflected light a fissure may be darker than the stone.
        dark, dark_on_map = _traced(plane, scene, bright=False)
        return Traced(lines + dark, np.concatenate([on_map, dark_on_map]), "white")
    return Traced(lines, on_map, "blue")


def surroundings(scene: Scene) -> Around:
    """Measure what the features of all lines share.

    Raises
    ------
    MeasurementError
        When the scene has no photograph.
    """
    here, *other = (
        Surroundings.of(brightness(pixels), _finest(scene), scene.stone, scene.outline)
        for pixels in (_looked_at(scene), None if scene.blue is None else scene.white)
        if pixels is not None
    )
    return Around(here, other[0] if other else None)


def _looked_at(scene: Scene) -> Pixels:
    pixels = scene.white if scene.blue is None else scene.blue
    if pixels is None:
        raise MeasurementError(
            "There is no photograph to look for lines in; add one under blue or white light."
        )
    return pixels


def _finest(scene: Scene) -> float:
    """Standard deviation of the finest filter, in pixels."""
    return filter_scales(_scale(scene))[0]


def _scale(scene: Scene) -> float:
    # Without a scale the finest filter the pixels allow is as good a guess as any.
    return scene.um_per_px or NARROWEST_UM / FWHM_PER_SIGMA


def _traced(plane: Plane, scene: Scene, *, bright: bool) -> tuple[tuple[Line, ...], Values]:
    """Lines inside the stone, and the share of its pixels that the map of lines puts below the middle of each."""
    kernel = np.ones((2 * EDGE_PX + 1, 2 * EDGE_PX + 1), np.uint8)
    inner = cv2.erode(scene.stone.astype(np.uint8), kernel, borderValue=0) > 0
    lines = find_lines(plane, um_per_px=_scale(scene), mask=inner, bright=bright)
    if not lines:
        return lines, np.zeros(0)
    narrowest_px = FWHM_PER_SIGMA * _finest(scene)
    mapped = line_map(plane, narrowest_px=narrowest_px, bright=bright, mask=scene.stone)
    shares = np.linspace(0, 1, 257)
    levels = np.quantile(mapped[scene.stone][::7], shares)
    paths = [line.path for line in lines]
    on_lines = median_each(nearest(mapped, np.concatenate(paths)), starts_of(paths))
    return lines, np.interp(on_lines, levels, shares)


def brightness(pixels: Pixels) -> Plane:
    """Mean of the channels in linear light, encoded again: grey levels 0..255 of an 8-bit sRGB picture.

    Where the blue channel of a photograph under blue light is saturated, what leaks into the others still
    carries the picture; encoding makes the noise of a camera about even (IEC 61966-2-1:1999).
    """
    light = cv2.transform(linear(pixels), np.full((1, 3), 1 / 3, np.float32)).reshape(pixels.shape[:2])
    low = light * 12.92
    high = 1.055 * cv2.pow(np.maximum(light, 1e-9), 1 / 2.4) - 0.055
    return np.asarray(255 * np.where(light <= 0.0031308, low, high), np.float32)


def saturated(pixels: Pixels) -> NDArray[np.bool_]:
    """Where at least two channels are at their end: a glint, whatever the lamp's colour."""
    return np.asarray((pixels >= 0.996 * np.iinfo(pixels.dtype).max).sum(axis=-1) >= 2)


def neighbours(lines: Sequence[Line], scores: Values, diameter: float) -> Values:
    """What was thought of the lines around each.

    Parameters
    ----------
    lines : sequence of Line
    scores : (N,) float64 array
        First scores.
    diameter : float
        Of the stone, in pixels.

    Returns
    -------
    (N, 4) float64 array
        Length of good lines within 6 % of the diameter (as a share of it), best score there, length of
        good lines in the whole stone without this one, and number of better lines.
    """
    length = np.array([line.length_px for line in lines]) / diameter
    good = np.flatnonzero(scores > LEAST_GOOD)
    weight = np.where(scores > LEAST_GOOD, scores * length, 0.0)
    out = np.zeros((len(lines), 4))
    out[:, 2] = weight.sum() - weight
    out[:, 3] = len(scores) - np.searchsorted(np.sort(scores), scores, side="right")
    if not len(good):
        return out
    samples = [line.path[:: max(1, len(line.path) // 12)] for line in lines]
    owner = np.repeat(np.arange(len(lines)), [len(points) for points in samples])
    points = np.concatenate(samples)
    of_good = np.isin(owner, good)
    pairs = cKDTree(points).sparse_distance_matrix(
        cKDTree(points[of_good]), 0.06 * diameter, output_type="ndarray"
    )
    # Each pair of lines once, however many of their points are near.
    pair = np.unique(owner[pairs["i"]] * len(lines) + owner[of_good][pairs["j"]])
    i, j = np.divmod(pair, len(lines))
    i, j = i[i != j], j[i != j]
    np.add.at(out[:, 0], i, weight[j])
    np.maximum.at(out[:, 1], i, scores[j])
    return out


def _sizes(line: Line, blur: float, um_per_px: float | None) -> dict[str, Quantity]:
    """Length and widths with their standard uncertainty (JCGM 100:2008, 5.1.2).

    The camera's blur adds to a width as squares do. The uncertainty of the scale itself is common to the
    whole photograph and not contained.
    """
    if um_per_px is None:
        return {}
    mm = um_per_px / 1000
    return {
        "length": Quantity(line.length_px * mm, combine(U_END, U_END) * mm, "mm"),
        "width": _width(float(np.median(line.width_px)), blur, um_per_px),
        "greatest_width": _width(float(np.percentile(line.width_px, 95)), blur, um_per_px),
    }


def _width(seen: float, blur: float, um_per_px: float) -> Quantity:
    true = math.sqrt(max(seen**2 - blur**2, 0.0))
    # A width seen as 0 is one too small to be seen.
    spread = combine(max(seen, U_WIDTH) * U_WIDTH, blur * U_BLUR)
    # Near zero the square root turns the spread of the square into one of the width.
    return Quantity(true * um_per_px, spread / max(true, math.sqrt(spread)) * um_per_px, "µm")

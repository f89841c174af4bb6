"""Judge lines: which of the bright lines in a facetted stone are consistent with a fissure.

Most bright lines in a cut stone are none: worn facet edges, facet junctions, reflected lamps, fibres,
scratches, the rim. Each line is described by features free of scale (`setstone.measure.line_features`)
from both lamps; boosted trees of depth three weigh them (Friedman 2001, Ann. Stat. 29:1189), and a second
look takes in what was thought of the neighbours: a fissure is seen in pieces, facet by facet. Both were
trained on computed stones by benchmarks/train_line_scores.py. The same is done with the photographs at other sizes, and the
mean counts (`setstone.measure.line_sizes`). Rules in plain words name the reasons. Scored either
way, what the map of lines (`setstone.measure.line_map`, measured on open data sets) does not bear out counts half.
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from setstone.measure.candidates import Candidate, Reason
from setstone.measure.describe_lines import (
    Described,
    describe_lines,
    describe_resized,
    maps_of_lines,
    straight_edges_of,
)
from setstone.measure.light import Plane
from setstone.measure.line_reasons import reasons_for
from setstone.measure.line_scores import MANY, after_many, final_scores, first_scores, second_scores
from setstone.measure.line_sizes import SIZES, Look, pooled
from setstone.measure.lines import Line
from setstone.measure.plain_rules import line_rules
from setstone.measure.quantity import Quantity, combine
from setstone.measure.runs import median_each, nearest, starts_of
from setstone.measure.scene import Scene

Values = NDArray[np.float64]
Mask = NDArray[np.bool_]

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


def judge_lines(
    scene: Scene,
    *,
    described: Described | None = None,
    looks: Sequence[Look] | None = None,
    maps: Sequence[Plane] | None = None,
    learned: bool = True,
) -> tuple[Candidate, ...]:
    """Find the lines of a stone under blue light (under white when blue is missing) and score each.

    Parameters
    ----------
    scene : Scene
        Both photographs, aligned, cropped to the stone.
    described, looks, maps : optional
        What `describe_lines`, `look` (at each of `line_sizes.SIZES`) and `maps_of_lines` found, where somebody has it already.
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
    edges = straight_edges_of(scene) if described is None or (learned and looks is None) else ()
    described = described or describe_lines(scene, edges)
    lines, bright, features = described
    if not lines:
        return ()
    if learned:
        here = _look(described, scene.diameter_px)
        others = [look(scene, edges, size) for size in SIZES] if looks is None else looks
        together = pooled(here, others, scene.diameter_px)
        scores, many = final_scores(together, features), after_many(together)
    else:
        scores, many = line_rules(features), np.zeros(len(lines), np.bool_)
    on_map = _on_maps(lines, bright, maps or maps_of_lines(scene), scene.stone)
    borne_out = on_map >= LEAST_ON_MAP
    scores = scores * np.where(borne_out, 1.0, OFF_MAP)
    blur = float(np.percentile(np.concatenate([line.width_px for line in lines]), 10))
    order = sorted(range(len(scores)), key=lambda i: (-scores[i], lines[i].path[0].tolist()))[:SHOWN]
    return tuple(
        Candidate(
            kind="line",
            path=lines[i].path,
            lamp="white" if scene.blue is None else "blue",
            score=float(scores[i]),
            reasons=_with_many(reasons_for(features[i], float(scores[i])), many=bool(many[i]))
            + (() if borne_out[i] else (_OFF_MAP,)),
            contrast=float(np.median(lines[i].contrast)),
            sizes=_sizes(lines[i], blur, scene.um_per_px),
        )
        for i in order
    )


def _with_many(reasons: tuple[Reason, ...], *, many: bool) -> tuple[Reason, ...]:
    """Reasons, and that many lines are better; what counts half for being short is not halved again."""
    return (*reasons, _MANY) if many and all(reason.code != "short" for reason in reasons) else reasons


def look(scene: Scene, edges: Sequence[Values], size: float) -> Look:
    """Find lines at another size, and tell what is thought of each.

    Parameters
    ----------
    scene : Scene
    edges : sequence of (N, 4) float64 array
        Its `setstone.measure.describe_lines.straight_edges_of`.
    size : float
        How many times as large.

    Returns
    -------
    Look

    Raises
    ------
    MeasurementError
        When the scene has no photograph.
    """
    return _look(describe_resized(scene, edges, size), scene.diameter_px)


def _look(described: Described, diameter_px: float) -> Look:
    """Lines with what is thought of them, not calibrated."""
    lines, bright, features = described
    first = first_scores(features)
    scores = second_scores(features, first, neighbours(lines, first, diameter_px))
    return Look(tuple(line.path for line in lines), bright, scores)


def _on_maps(lines: Sequence[Line], bright: Mask, maps: Sequence[Plane], stone: Mask) -> Values:
    """Share of the stone's pixels that the map puts below the middle of each line."""
    paths = [line.path for line in lines]
    shares = np.linspace(0, 1, 257)
    on_map = np.zeros(len(lines))
    for plane, which in zip(maps, (bright, ~bright), strict=False):
        if which.any():
            chosen = [path for path, wanted in zip(paths, which, strict=True) if wanted]
            on_lines = median_each(nearest(plane, np.concatenate(chosen)), starts_of(chosen))
            on_map[which] = np.interp(on_lines, np.quantile(plane[stone][::7], shares), shares)
    return on_map


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

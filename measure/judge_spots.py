"""Judge spots: which of the dark bodies in a facetted stone are consistent with an inclusion.

Facets are dark, too, and there are many more of them. What tells an inclusion: it is opaque in
every colour, round or smooth in outline, sharp all the way round, and lies on the even tone of one
facet that goes on undisturbed around it. Each of these is a feature free of scale
(`setstone.measure.spot_features`); a logistic regression weighs them (Cox 1958, J. R. Stat. Soc. B
20:215), trained on computed stones by benchmarks/train_spot_scores.py. Its summands are the reasons.
"""

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components
from scipy.special import expit

from setstone.measure.candidates import Candidate, LampName, Reason
from setstone.measure.light import srgb_to_linear
from setstone.measure.plain_rules import spot_rules
from setstone.measure.quantity import Quantity, combine
from setstone.measure.scene import Scene
from setstone.measure.spot_features import (
    NAMES,
    Ground,
    blue_of,
    describe_spots,
    distance_outside,
    flattened,
    ground_of,
    spots_in,
)
from setstone.measure.spot_weights import ABOVE, BELOW, MIDDLE, OFFSET, SPREAD
from setstone.measure.spots import Spot, undimmed

SHOWN = 60  # the weakest of more candidates help nobody
LEAST_SCORE = 0.01
#: Groups: score from which a spot counts, distance in diameters, members of a cloud, and what is left
#: of the score of an inclusion's second image.
LIKELY, CLOSE, CLOUD, SEEN_AGAIN = 0.3, 5.0, 4, 0.6

#: From this `dust` on a body shines under blue light and lets white light through, as no inclusion of those trained on
#: did (0 of 476, 2 of 74 others, scored 0.1 or more); what is left of its score.
DUST, ON_SURFACE = 0.7, 0.2

_DUST = Reason(
    "dust", "shines under blue light and lets white light through: likely dust on the surface", False
)
_ALONE = {
    "blue": Reason(
        "one-light", "judged under blue light alone: dark inclusions show best under white light", False
    ),
    "white": Reason("white-alone", "judged under white light alone: blue light would show dust", False),
}


class Found(NamedTuple):
    """The spots of a stone, found in the one photograph they show best in, before they are judged."""

    ground: Ground
    spots: tuple[Spot, ...]


def look_for_spots(scene: Scene) -> Found:
    """Find the spots of a stone under white light (under blue when white is missing); the other lamp is not asked.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    Found

    Raises
    ------
    MeasurementError
        When the scene has no photograph.
    """
    ground = ground_of(scene)
    return Found(ground, spots_in(scene, ground))


def judge_spots(scene: Scene, *, found: Found | None = None, learned: bool = True) -> tuple[Candidate, ...]:
    """Find and judge candidate inclusions in the white photograph (the blue one when it is missing).

    Parameters
    ----------
    scene : Scene
        Both photographs, aligned, cropped to the stone.
    found : Found, optional
        What `look_for_spots` found, where somebody has it already; the scene may have had one photograph then.
    learned : bool
        Score by the trained weights, else by plain rules alone (`setstone.measure.plain_rules`).

    Returns
    -------
    tuple of Candidate
        Best first, in pixels of the crop; those unlikely to be real keep a low score and the reason.

    Raises
    ------
    MeasurementError
        When the scene has no photograph.
    """
    ground, spots = found or look_for_spots(scene)
    if not spots:
        return ()
    lamp: LampName = "blue" if scene.white is None else "white"
    if lamp == "white" and scene.blue is not None and ground.blue is None:
        ground = replace(ground, blue=blue_of(scene.blue))
    features = describe_spots(spots, ground)
    vectors = np.array([f.vector() for f in features])
    scores, summands = weigh(vectors)
    if not learned:
        scores = spot_rules(vectors)
    dusty = vectors[:, NAMES.index("dust")] > DUST
    scores = scores * np.where(dusty, ON_SURFACE, 1.0)
    extra = _grouped(spots, scores)
    order = sorted(range(len(spots)), key=lambda i: (-scores[i], spots[i].centre))
    order = [i for i in order if scores[i] >= LEAST_SCORE][:SHOWN]
    candidates = []
    for i in order:
        diameter, u_px = _diameter(spots[i], ground)
        candidates.append(
            Candidate(
                kind="spot",
                path=_drawn_at(spots[i].outline, diameter),
                lamp=lamp,
                score=float(scores[i]),
                reasons=((_DUST,) if dusty[i] else ())
                + extra.get(i, ())
                + _reasons(summands[i], float(scores[i]))
                + ((_ALONE[lamp],) if scene.white is None or scene.blue is None else ()),
                contrast=-features[i].grey,
                sizes=_sizes(spots[i].elongation, diameter, u_px, scene.um_per_px),
            )
        )
    return tuple(candidates)


def weigh(vectors: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Score features by the stored weights.

    Parameters
    ----------
    vectors : (N, F) float64 array
        Features in the order of their definition.

    Returns
    -------
    scores : (N,) float64 array
        0 to 1.
    summands : (N, F) float64 array
        What each feature adds to the logarithm of the odds: a straight line with a bend at what is usual
        of inclusions, since too small may count against a spot and large not for it.
    """
    away = (flattened(vectors) - MIDDLE) / SPREAD
    summands = OFFSET + np.where(away < 0, BELOW, ABOVE) * away
    return np.asarray(expit(summands.sum(axis=1)), np.float64), summands


def _grouped(spots: tuple[Spot, ...], scores: NDArray[np.float64]) -> dict[int, tuple[Reason, ...]]:
    """Count an inclusion seen through several facets once, and name clouds; changes `scores`.

    Through two facets one body is seen twice, close together and alike; then only the likeliest keeps
    its score. Four or more alike and close together are rather a cloud of pinpoints.
    """
    likely = [i for i in range(len(spots)) if scores[i] >= LIKELY]
    if len(likely) < 2:
        return {}
    centres = np.array([spots[i].centre for i in likely])
    sizes = np.array([spots[i].diameter_px for i in likely])
    apart = np.hypot(*(centres[:, None] - centres[None]).transpose(2, 0, 1))
    alike = np.abs(np.log(sizes[:, None] / sizes[None])) < math.log(1.5)
    close = apart < CLOSE * np.minimum(sizes[:, None], sizes[None])
    count, group = connected_components(csr_array(alike & close), directed=False)
    reasons: dict[int, tuple[Reason, ...]] = {}
    for label in range(count):
        members = [likely[k] for k in np.flatnonzero(group == label)]
        if len(members) >= CLOUD:
            text = f"one of {len(members)} alike and close together: possibly a cloud of pinpoints"
            reasons.update(dict.fromkeys(members, (Reason("cloud", text, True),)))
        elif len(members) > 1:
            best = max(members, key=lambda i: (scores[i], spots[i].diameter_px))
            text = "a like spot close by is likelier: possibly the same inclusion seen through another facet"
            for i in members:
                if i != best:
                    scores[i] *= SEEN_AGAIN
                    reasons[i] = (Reason("seen-again", text, False),)
    return reasons


def _drawn_at(outline: NDArray[np.float64], diameter: float) -> NDArray[np.float64]:
    """The outline as large as the body was measured: half way up an encoded, blurred edge lies within it."""
    middle = outline.mean(axis=0)
    x, y = (outline - middle).T
    area = abs(float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())) / 2
    return np.asarray(middle + (outline - middle) * diameter / (2 * math.sqrt(max(area, 1e-9) / math.pi)))


def _sizes(elongation: float, diameter: float, u_px: float, um_per_px: float | None) -> dict[str, Quantity]:
    sizes = {"elongation": Quantity(elongation, elongation * math.sqrt(2) * u_px / diameter, "")}
    if um_per_px is not None:
        sizes["diameter"] = Quantity(diameter * um_per_px, u_px * um_per_px, "µm")
    return sizes


def _diameter(spot: Spot, ground: Ground) -> tuple[float, float]:
    """Diameter of the disc of equal area and its standard uncertainty, in pixels.

    In linear light the blur of an edge leaves the sum of what is missing unchanged, so that each
    pixel counts by the share of light it lacks. Uncertainty (JCGM 100:2008, 5.1.2): the level of
    the surroundings, the grain, and a tenth of a pixel for where the edge is.
    """
    reach = math.ceil(1.2 * spot.diameter_px) + 5
    height, width = ground.plane.shape
    left, top = max(0, round(spot.centre[0]) - reach), max(0, round(spot.centre[1]) - reach)
    right, bottom = (
        min(width, round(spot.centre[0]) + reach + 1),
        min(height, round(spot.centre[1]) + reach + 1),
    )
    light = srgb_to_linear(np.clip(ground.plane[top:bottom, left:right], 0, 255) / 255)
    away = distance_outside(spot.outline - np.array([left, top]), light.shape)
    ring = light[(away >= 2) & (away <= 3 + spot.diameter_px / 3)]
    inside = np.sort(light[away <= 0])
    if ring.size < 8 or inside.size < 3:
        return spot.diameter_px, 0.1 * spot.diameter_px
    around, body = float(np.median(ring)), float(inside[: max(2, inside.size // 2)].mean())
    if around <= body:
        return spot.diameter_px, 0.1 * spot.diameter_px
    share = np.clip((around - light[away <= 2]) / (around - body), 0, 1)
    area = float(share.sum())
    diameter = undimmed(2 * math.sqrt(area / math.pi))
    spread = 1.4826 * float(np.median(np.abs(ring - around))) / (around - body)
    # d(diameter)/d(area) = 2 / (pi diameter); the level is the median of the ring's pixels.
    u_area = combine(area * spread / math.sqrt(ring.size / 4), spread * math.sqrt(share.size))
    return diameter, combine(2 * u_area / (math.pi * diameter), 0.2, 0.03 * diameter)


#: Features that tell the same, what they say for and against: code, words.
_WORDS: dict[tuple[str, ...], tuple[tuple[str, str], tuple[str, str]]] = {
    ("depth", "blackness", "grey", "light_left"): (
        ("opaque", "dark through and through, as an opaque body is"),
        ("not-dark", "lets light through: likely a darker facet, a ghost or dust"),
    ),
    ("colour_left", "warmth"): (
        ("colourless-body", "without the stone's own colour, as an opaque body is"),
        ("stone-coloured", "of the stone's own colour: likely a darker facet"),
    ),
    ("against_grain", "ring_spread", "body_spread", "crowd"): (
        ("stands-alone", "stands out clearly from even surroundings"),
        ("grain", "hardly stands out from the grain of its surroundings: likely noise or a frosted facet"),
    ),
    ("ring_steps", "weakest_side", "ring_edges"): (
        ("inside-one-facet", "lies inside one facet of even tone"),
        ("facet-edge", "bounded by facet edges that run on beyond it: likely a facet corner or a reflection"),
    ),
    ("off_ellipse", "roundness", "convexity", "cornered", "straight", "elongation"): (
        ("smooth-outline", "smooth, compact outline"),
        ("angular", "angular or straggling outline with straight sides: likely a small facet"),
    ),
    ("edge_sharpness", "edge_evenness"): (
        ("even-edge", "equally sharp all the way round"),
        ("uneven-edge", "sharp on some sides only: likely a part of a facet"),
    ),
    ("rim_distance",): (
        ("away-from-rim", "well away from the setting"),
        ("rim", "close to the rim: likely a reflection of the setting or a claw"),
    ),
    ("centre_distance",): (
        ("away-from-culet", "not where the culet is"),
        ("culet", "in the middle of the stone: possibly the culet"),
    ),
    ("glint_near",): (
        ("no-glint", "no bright rim around it"),
        ("bright-rim", "a bright rim or glint beside it: possibly a bubble or a worn edge"),
    ),
    ("blue_depth", "blue_against_grain", "dust"): (
        ("dark-in-blue", "dark under blue light, too"),
        ("bright-in-blue", "bright under blue light: possibly dust on the surface"),
    ),
    ("size", "pixels"): (
        ("usual-size", "of a size common for inclusions"),
        ("unusual-size", "very small or large for an inclusion in this photograph"),
    ),
}


def _reasons(summands: NDArray[np.float64], score: float) -> tuple[Reason, ...]:
    """Name the groups of features that moved the score most: first those on the side it leans to, weightiest first."""
    weighted = []
    for names, (speaks_for, against) in _WORDS.items():
        total = float(sum(summands[NAMES.index(n)] for n in names))
        code, text = speaks_for if total > 0 else against
        weighted.append((abs(total), Reason(code, text, total > 0)))
    weighted.sort(key=lambda pair: -pair[0])
    named = [reason for weight, reason in weighted[:5] if weight > 0.3]
    return tuple(sorted(named, key=lambda reason: reason.speaks_for != (score >= 0.5)))

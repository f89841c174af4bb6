"""Why a line may be a fissure or something else, in words a technician can check with the eye."""

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from setstone.measure.candidates import Reason
from setstone.measure.line_features import ABSENT, NAMES
from setstone.measure.line_scores import SHORT, at_culet

#: Not more reasons than a person reads.
SHOWN = 4

#: How near to the girdle a line may reach the surface there, in diameters: nearer, rim and setting hide it.
NEAR_GIRDLE = 0.03

Feature = Callable[[str], float]


def reasons_for(features: NDArray[np.float64], score: float) -> tuple[Reason, ...]:
    """Name what speaks for and against a line.

    Parameters
    ----------
    features : (len(NAMES),) float64 array
        One row of `line_features`.
    score : float
        What the line was given; the side it leans to comes first.

    Returns
    -------
    tuple of Reason
        At least one.
    """
    speaks, against = _all_reasons(features)
    alone = (_ALONE,) if features[NAMES.index("white_step")] == ABSENT else ()
    asked = (_GIRDLE,) if _comes_to_girdle(features, against) else ()
    if score >= 0.5:
        return (*(*(speaks or [_PLAIN]), *against)[:SHOWN], *asked, *alone)
    return (*(*(against or [_UNLIKE]), *speaks)[:SHOWN], *asked, *alone)


def counted_reasons(features: NDArray[np.float64]) -> tuple[int, int]:
    """Number of reasons that speak for a line and against it, of one row of `line_features`."""
    speaks, against = _all_reasons(features)
    return len(speaks), len(against)


def _all_reasons(features: NDArray[np.float64]) -> tuple[list[Reason], list[Reason]]:
    columns = dict(zip(NAMES, features.tolist(), strict=True))

    def f(name: str) -> float:
        value = columns[name]
        return math.nan if value == ABSENT else value

    speaks = [Reason(code, text, True) for code, text, holds in _FOR if holds(f)]
    against = [Reason(code, text, False) for code, text, holds in _AGAINST if holds(f)]
    return speaks, [_CULET, *against] if at_culet(features) else against


_PLAIN = Reason("line", "a thin line inside the stone", True)
_ALONE = Reason("one-light", "judged in one light alone: the other tells facet edges from fissures", False)
#: A question to the person, not a claim: a photograph from above does not tell. The score does not weigh it.
_GIRDLE = Reason(
    "girdle",
    "comes close to the girdle: does it reach the surface there? Look from the side, in reflected light",
    None,
)
_CULET = Reason("culet", "runs straight to the middle of the stone: likely a worn edge at the culet", False)
_UNLIKE = Reason("unlike", "taken together it is unlike the fissures the program knows", False)


def _comes_to_girdle(features: NDArray[np.float64], against: list[Reason]) -> bool:
    """Whether a line ends near the girdle, and is not taken for the rim or for what lies across it."""
    near = features[NAMES.index("inside_least")] < NEAR_GIRDLE
    return bool(near) and not {"rim", "outside"} & {reason.code for reason in against}


def _straight(f: Feature) -> bool:
    return f("off_straight_share") < math.log(0.001 + 0.012) or f("off_straight") < math.log(0.02 + 0.5)


def _long(f: Feature) -> bool:
    return f("length") > math.log(0.08)


def _borders(f: Feature) -> float:
    """Facet borders it crosses, under both lamps together; the features count them per tenth of the diameter."""
    return (f("crossed") + max(0.0, f("white_crossed"))) * max(1.0, 10 * math.exp(min(f("length"), 1.0)))


_AGAINST: tuple[tuple[str, str, Callable[[Feature], bool]], ...] = (
    ("glint", "most of it is saturated: likely a glint", lambda f: f("clipped") > 0.5),
    (
        "rim",
        "close to the girdle and parallel to it: likely the rim, the setting or glue",
        lambda f: f("inside_least") < 0.03 and f("inside") < 0.05 and f("along_girdle") > 0.9,
    ),
    (
        "outside",
        "goes on beyond the girdle: likely a fibre, dust or glue on the surface",
        lambda f: f("inside_least") < 0.02 and f("ahead_most") > 3,
    ),
    (
        "facet-edge",
        "straight, and on or in line with other straight edges: likely a facet edge, perhaps a worn one",
        lambda f: (
            _straight(f)
            and (max(f("edges_ahead"), f("white_edges_ahead")) > 0.3 or f("collinear") > math.log(0.5))
        ),
    ),
    (
        "facet-repeat",
        "straight, and repeated round the stone as the edges of a cut are",
        lambda f: _straight(f) and f("family") > 0.25,
    ),
    (
        "facet-step",
        "one side is brighter than the other all along: likely a facet junction",
        lambda f: (
            (f("step_to_contrast") > math.log(0.6) and f("step_one_way") > 0.9)
            or (f("white_step_even") > 0.8 and f("white_step_one_way") > 0.95)
        ),
    ),
    (
        "both-lamps",
        "straight, and as bright in white light: likely a worn facet edge or a scratch",
        lambda f: _straight(f) and f("white_bright") > 2 and f("white_ratio") > 0.7,
    ),
    (
        "surface",
        "crosses facet borders undisturbed: likely dust or a fibre on the surface",
        lambda f: _long(f) and _borders(f) > 3 and not _straight(f),
    ),
    (
        "scratch",
        "long, thin, straight and across several facets: likely a scratch",
        lambda f: _long(f) and _borders(f) > 2 and _straight(f),
    ),
    (
        "band",
        "too broad and blunt for a fissure: likely a reflected facet or lamp",
        lambda f: f("sharp") < 0.45 or f("width") > 6,
    ),
    (
        "texture",
        "in a grainy part of the stone with many like it: likely texture",
        lambda f: f("crowd") > 2.5,
    ),
    ("faint", "hardly above the grain of the picture", lambda f: f("contrast") < math.log(3.5)),
    (
        "short",
        "very short: it shows next to nothing of a fissure and counts half",
        lambda f: f("length") < math.log(SHORT),
    ),
)

_FOR: tuple[tuple[str, str, Callable[[Feature], bool]], ...] = (
    (
        "dark-in-white",
        "bright in blue light, dark in white light: it scatters and blocks, as a fissure does",
        lambda f: f("white_dark") > 2,
    ),
    (
        "bent",
        "bends smoothly, as no facet edge does",
        lambda f: not _straight(f) and f("off_parabola") < math.log(0.02 + 1.5) and _long(f),
    ),
    (
        "one-lamp",
        "not seen in white light, where facet edges show",
        lambda f: abs(f("white_bright")) < 1 and f("white_dark") < 1 and f("white_step_even") < 0.3,
    ),
    (
        "one-ground",
        "stands out from one even ground, the same on both sides",
        lambda f: f("step_to_contrast") < math.log(0.2) and f("contrast") > math.log(5),
    ),
    ("clear", "far above the grain of the picture all along", lambda f: f("weakest_quarter") > math.log(6)),
)

"""The scorer that comes with the computed test stones, and the candidates told real or not by its rules."""

import importlib.util
import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import cv2
import numpy as np
from predict import Examined, disc_of_equal_area, seen_in
from scipy.spatial import cKDTree


def load_scorer(cases: Path) -> ModuleType:
    """Load score.py, which lies in the folder of the cases or one folder up."""
    path = next((f / "score.py" for f in (cases, cases.parent) if (f / "score.py").exists()), None)
    spec = importlib.util.spec_from_file_location("score", path) if path else None
    if spec is None or spec.loader is None:
        raise SystemExit(f"There is no score.py in {cases} or above; give a folder of the computed stones.")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def truth_of(cases: Path, one: Examined) -> dict[str, Any]:
    """Truth of the stone on the occasion it was examined."""
    truth = json.loads((cases / one.case / "truth.json").read_text(encoding="utf-8"))
    return dict(truth[one.occasion] if one.occasion else truth)


def judged(
    cases: Path, examinations: Iterable[Examined], fis_lamp: str = "blue", inc_lamp: str = "white"
) -> Iterator[tuple[str, float, bool]]:
    """Kind, score and reality of every candidate, whatever its score.

    As in the scorer, lines are held against what shows under one lamp and spots against what shows
    under another. A candidate that is neither right nor wrong there (a ghost, something too weak to ask for) is
    left out.
    """
    score = load_scorer(cases)
    for one in examinations:
        truth = truth_of(cases, one)
        labels = cv2.imread(str(cases / one.case / truth["labels"]), cv2.IMREAD_UNCHANGED)
        yield from _lines(score, one, truth, labels, fis_lamp)
        yield from _spots(score, one, truth, labels, inc_lamp)


def _lines(
    score: ModuleType, one: Examined, truth: dict[str, Any], labels: Any, lamp: str
) -> Iterator[tuple[str, float, bool]]:
    tolerance = score.tol_of(truth)
    pieces = [piece for fissure in truth["fissures"] for piece in fissure["pieces"]]
    needed = score.walk([p["line_px"] for p in pieces if p[lamp]["visible"]])
    weak = score.walk([p["line_px"] for p in pieces if not p[lamp]["visible"]], 0.7)
    spared = score.dilate((labels & (1 | 4)) > 0, tolerance) | score.raster(weak, labels.shape, tolerance)
    tree = cKDTree(needed) if len(needed) else None
    for candidate in one.result.candidates:
        if candidate.kind != "line":
            continue
        points = score.walk([seen_in(one.result, lamp, candidate.path)])
        if not len(points):
            continue
        hit = np.zeros(len(points), bool) if tree is None else tree.query(points)[0] <= tolerance
        ignored = ~hit & score.at(spared, points)
        if ignored.mean() <= 0.5:
            yield "line", candidate.score, bool(hit.sum() > 0.5 * (~ignored).sum())


def _spots(
    score: ModuleType, one: Examined, truth: dict[str, Any], labels: Any, lamp: str
) -> Iterator[tuple[str, float, bool]]:
    needed, optional = [], [(x, y, 12.0) for x, y in truth.get("bubbles", [])]
    for inclusion in truth["inclusions"]:
        for s in inclusion["sightings"]:
            asked = s["main"] and s[lamp]["visible"]
            (needed if asked else optional).append((s["x"], s["y"], s["diameter_px"]))
    spots = sorted((c for c in one.result.candidates if c.kind == "spot"), key=lambda c: -c.score)
    places = [disc_of_equal_area(seen_in(one.result, lamp, c.path)) for c in spots]
    spared = score.dilate((labels & 8) > 0, 8) | score.dilate((labels & 2) > 0, 6)
    left = list(needed)
    for candidate, place in zip(spots, places, strict=True):
        x, y = place["x"], place["y"]
        near = [q for q in left if np.hypot(q[0] - x, q[1] - y) <= max(10, q[2] / 2)]
        if near:
            left.remove(min(near, key=lambda q: np.hypot(q[0] - x, q[1] - y)))
            yield "spot", candidate.score, True
        elif not any(np.hypot(q[0] - x, q[1] - y) <= max(10, q[2] / 2) for q in optional) and not score.at(
            spared, np.array([[x, y]])
        ):
            yield "spot", candidate.score, False

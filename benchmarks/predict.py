"""Examine every case of a folder of test stones and write predictions for its scorer.

    python benchmarks/predict.py CASES OUT.json

Reads only the pictures, through the public API. A case is a folder whose pictures are named
white.*, blue.* (a stone) or before_white.*, before_blue.*, after_white.*, after_blue.* (a pair).
Candidates are predicted from the score on from which they are shown.
"""

import argparse
import json
import math
import sys
import time
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.capture.errors import PhotographError
from setstone.capture.open import open_photograph
from setstone.capture.photograph import Lamp
from setstone.measure.align import warp
from setstone.measure.candidates import LIKELY, LampName
from setstone.measure.changes import Change, changes, doubtful_lines, likely_lines
from setstone.measure.errors import MeasurementError
from setstone.measure.examination import Examination
from setstone.measure.examine import examine
from setstone.measure.light import Pixels
from setstone.measure.register import register
from setstone.measure.sights import Sights, sights

PICTURES = {".jpg", ".jpeg", ".png", ".tif", ".tiff"}


def views(case: Path) -> dict[str, dict[Lamp, Path]]:
    """Find the pictures of a case by occasion ("" for a single stone) and lamp, before the work before after it."""
    found: dict[str, dict[Lamp, Path]] = defaultdict(dict)
    for path in sorted(case.iterdir()):
        occasion, _, lamp = path.stem.rpartition("_")
        if path.suffix.lower() in PICTURES and lamp in (Lamp.WHITE, Lamp.BLUE):
            found[occasion][Lamp(lamp)] = path
    return dict(sorted(found.items(), reverse=True))


def disc_of_equal_area(outline: NDArray[np.float64]) -> dict[str, float]:
    """Give centroid and diameter of the disc that covers as much as a closed outline."""
    moments = cv2.moments(outline.astype(np.float32))
    area = moments["m00"]
    return {
        "x": moments["m10"] / area,
        "y": moments["m01"] / area,
        "diameter_px": 2 * math.sqrt(area / math.pi),
    }


def seen_in(result: Examination, lamp: LampName, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points in the photograph under a lamp; where it could not be aligned, as the test stones were taken, from one place."""
    found = result.seen_in(lamp, points)
    return points if found is None else found


def prediction(result: Examination, lamp: Lamp) -> dict[str, Any]:
    """Make one entry of the scorer's format, in the pixels of the photograph under `lamp`."""
    name: LampName = "blue" if lamp is Lamp.BLUE else "white"
    likely = [(c.kind, seen_in(result, name, c.path)) for c in result.candidates if c.score >= LIKELY]
    entry: dict[str, Any] = {
        "fissures": [path.tolist() for kind, path in likely if kind == "line"],
        "inclusions": [disc_of_equal_area(path) for kind, path in likely if kind == "spot"],
    }
    if result.scale is not None:
        entry["um_per_px"] = result.scale.um_per_px
    if result.diameters is not None:
        entry["diameter_mm"] = result.diameters.mean.value
    elif result.outline is not None and result.scale is None:
        entry["outline"] = seen_in(result, name, result.outline.points).tolist()
    if lamp is Lamp.WHITE:
        entry["milky"] = "none"  # no word is given for the haze, and the scorer asks for one
    return entry


@dataclass(frozen=True)
class Examined:
    """One examination: the case, the occasion ("" for a single stone), its pictures by lamp, the result."""

    case: str
    occasion: str
    paths: dict[Lamp, Path]
    result: Examination


def examined(
    cases: Path, lamps: Collection[Lamp] = (Lamp.WHITE, Lamp.BLUE), *, learned: bool = True
) -> Iterator[Examined]:
    """Examine every case by its photographs under some lamps; a case that cannot be examined is named on stderr and left out."""
    for case in sorted(p for p in cases.iterdir() if p.is_dir()):
        for occasion, paths in views(case).items():
            start = time.perf_counter()
            try:
                pixels = {lamp: open_photograph(path).pixels for lamp, path in paths.items() if lamp in lamps}
                result = examine(pixels.get(Lamp.WHITE), pixels.get(Lamp.BLUE), learned=learned)
            except (PhotographError, MeasurementError) as error:
                print(f"{case.name} {occasion}: {error}", file=sys.stderr)
                continue
            print(f"{case.name} {occasion} {time.perf_counter() - start:.2f} s", file=sys.stderr)
            yield Examined(case.name, occasion, paths, result)


def motion(before: Examined, after: Examined) -> NDArray[np.float64] | None:
    """How the photographs after lie on those before; None where that cannot be told."""
    outlines = [one.result.outline for one in (after, before)]
    if outlines[0] is None or outlines[1] is None:
        return None
    lamps = [lamp for lamp in (Lamp.WHITE, Lamp.BLUE) if lamp in before.paths and lamp in after.paths]
    moving, fixed = ([open_photograph(one.paths[lamp]).pixels for lamp in lamps] for one in (after, before))
    scales = [one.result.scale for one in (after, before)]
    found = register(
        moving,
        fixed,
        moving_outline=outlines[0].points,
        fixed_outline=outlines[1].points,
        zoom=None if scales[0] is None or scales[1] is None else scales[0].um_per_px / scales[1].um_per_px,
    )
    return found.matrix if found.reliable else None


def compared(
    before: Examined, after: Examined, after_to_before: NDArray[np.float64], *, weak: bool = False
) -> tuple[Sights, tuple[Change, ...]] | None:
    """What the photographs of two occasions can show, and where the likely candidates are seen, or all weaker lines after as well."""
    first, second = before.result, after.result
    if first.outline is None or second.outline is None:
        return None
    shown = [[i for i, c in enumerate(r.candidates) if c.score >= LIKELY] for r in (first, second)]
    doubtful = doubtful_lines(second.candidates)
    both = sights(
        *(_lying_together(one) for one in (before, after)),
        outlines=(first.outline, second.outline),
        after_to_before=after_to_before,
        lines=likely_lines((first.candidates, second.candidates), shown),
    )
    found = changes(
        first.candidates,
        second.candidates,
        both,
        shown_before=shown[0],
        shown_after=[*shown[1], *doubtful] if weak else shown[1],
        doubtful_after=() if weak else doubtful,
    )
    return both, found


def changed(before: Examined, after: Examined, after_to_before: NDArray[np.float64]) -> tuple[Change, ...]:
    """Where the likely candidates of two occasions are seen."""
    found = compared(before, after, after_to_before)
    return found[1] if found else ()


def _lying_together(one: Examined) -> dict[LampName, Pixels]:
    """Photographs of an occasion, the blue one on the white one."""
    found: dict[LampName, Pixels] = {"white": open_photograph(one.paths[Lamp.WHITE]).pixels}
    if one.result.blue_to_white is not None:
        blue = open_photograph(one.paths[Lamp.BLUE]).pixels
        found["blue"] = warp(blue, one.result.blue_to_white, found["white"].shape[:2])
    return found


def damage(before: Examined, after: Examined, after_to_before: NDArray[np.float64]) -> list[dict[str, Any]]:
    """Lines that may be new damage, in the pixels of the photographs after."""
    found = changed(before, after, after_to_before)
    paths = [
        after.result.candidates[c.index].path if c.grown is None else c.grown
        for c in found
        if c.possible_damage
    ]
    return [{"line": path.tolist()} for path in paths]


def predictions(examinations: Iterable[Examined]) -> dict[str, Any]:
    """Put examinations into the scorer's format: an entry a picture, and one for each pair of occasions."""
    images: dict[str, Any] = {}
    pairs: dict[str, Any] = {}
    before: Examined | None = None
    for one in examinations:
        for lamp, path in one.paths.items():
            images[f"{one.case}/{path.stem}"] = prediction(one.result, lamp)
        if one.occasion == "before":
            before = one
        elif one.occasion == "after" and before is not None and before.case == one.case:
            matrix = motion(before, one)
            if matrix is not None:
                pairs[one.case] = {"transform": matrix.tolist(), "changed": damage(before, one, matrix)}
    return {"images": images, "pairs": pairs}


def main() -> None:
    """Read the two arguments, predict, write."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("cases", type=Path)
    parser.add_argument("out", type=Path)
    arguments = parser.parse_args()
    arguments.out.write_text(json.dumps(predictions(examined(arguments.cases))), encoding="utf-8")


if __name__ == "__main__":
    main()

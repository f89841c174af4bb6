"""What stays the same when the same stone is photographed again: noise, place, turn and zoom.

    python benchmarks/repeatability.py STONES... [--copies 3]

Every pair of photographs is examined as it is, and again in copies: with noise added alone, and shifted by up to 3 % of the
picture, turned by any angle and zoomed by 0.9 to 1.1 as well (white and blue alike; the scale is told, since the bar turns with the
picture). Printed are, over all stones, the change of the mean diameter, and of the likely candidates (score `LIKELY` or more) those found
again, likely or at all, with the change of their score and size. A line is found again where half of it lies within 1.2 % of the diameter
of lines of the copy, a spot where one lies within half its diameter or that distance.
"""

import argparse
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from changes import places
from numpy.typing import NDArray
from predict import Examined, examined
from scipy.spatial import KDTree

from setstone.capture.open import open_photograph
from setstone.measure.candidates import LIKELY, Candidate
from setstone.measure.errors import MeasurementError
from setstone.measure.examination import Examination
from setstone.measure.examine import examine
from setstone.measure.light import Pixels

Motion = NDArray[np.float64]

#: Standard deviation of the noise added, as a share of full scale; how near the same thing lies, in diameters.
NOISE, NEAR = 0.006, 0.012


def motion(shape: tuple[int, ...], rng: np.random.Generator) -> Motion:
    """A shift, turn and zoom about the middle of a picture, as a (2, 3) matrix."""
    height, width = shape[:2]
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), rng.uniform(0, 360), rng.uniform(0.9, 1.1))
    matrix[:, 2] += rng.uniform(-0.03, 0.03, 2) * (width, height)
    return np.asarray(matrix, np.float64)


def copy(pixels: Pixels, matrix: Motion | None, rng: np.random.Generator) -> Pixels:
    """The picture moved, with noise added."""
    full = np.iinfo(pixels.dtype).max
    if matrix is not None:
        size = pixels.shape[1], pixels.shape[0]
        pixels = cv2.warpAffine(
            pixels, matrix, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
        ).astype(pixels.dtype)
    noisy = pixels + rng.normal(0, NOISE * full, pixels.shape)
    return np.clip(np.rint(noisy), 0, full).astype(pixels.dtype)


def found_again(candidate: Candidate, among: list[Candidate], near: float) -> Candidate | None:
    """The likeliest candidate of a copy, moved back, that is the same."""
    if candidate.kind == "spot":
        reach = max(near, float(np.ptp(candidate.path, axis=0).max()) / 2)
        alike = [
            c
            for c in among
            if c.kind == "spot" and np.hypot(*np.subtract(c.position, candidate.position)) < reach
        ]
    else:
        path = places([candidate.path])
        along = KDTree(path)
        alike = [
            c for c in among if c.kind == "line" and (along.query(places([c.path]))[0] < near).mean() >= 0.5
        ]
        if alike:
            covered = KDTree(np.concatenate([places([c.path]) for c in alike])).query(path)[0] < near
            alike = alike if covered.mean() >= 0.5 else []
    return max(alike, key=lambda c: c.score, default=None)


def compare(
    first: Examination, again: Examination, matrix: Motion | None, out: dict[str, list[float]]
) -> None:
    """Add what a copy changed."""
    if first.diameters is None or again.diameters is None or first.outline is None:
        out["no diameter"].append(1)
        return
    out["mean diameter of the girdle, %"].append(
        100 * (again.diameters.mean.value / first.diameters.mean.value - 1)
    )
    stated = first.diameters.mean.expanded / first.diameters.mean.value
    out["girdles within the stated interval"].append(
        abs(out["mean diameter of the girdle, %"][-1]) <= 100 * stated
    )
    back = np.eye(2, 3) if matrix is None else cv2.invertAffineTransform(matrix)
    moved = [replace(c, path=c.path @ back[:, :2].T + back[:, 2]) for c in again.candidates]
    near = NEAR * float(np.ptp(first.outline.points, axis=0).mean())
    for candidate in (c for c in first.candidates if c.score >= LIKELY):
        same = found_again(candidate, moved, near)
        kind = candidate.kind
        out[f"{kind}s found again"].append(same is not None)
        out[f"{kind}s likely again"].append(same is not None and same.score >= LIKELY)
        if same is not None:
            out[f"score of {kind}s"].append(same.score - candidate.score)
            size = "length" if kind == "line" else "diameter"
            out[f"{size} of {kind}s, %"].append(
                100 * (same.sizes[size].value / candidate.sizes[size].value - 1)
            )


def examine_again(one: Examined, matrix: Motion | None, rng: np.random.Generator) -> Examination | None:
    """Examine a copy of the photographs; None where it cannot be."""
    pixels = {lamp: copy(open_photograph(path).pixels, matrix, rng) for lamp, path in one.paths.items()}
    scale = one.result.scale
    assert scale is not None
    zoom = 1.0 if matrix is None else float(np.sqrt(abs(np.linalg.det(matrix[:, :2]))))
    told = replace(scale, um_per_px=scale.um_per_px / zoom, u_um_per_px=scale.u_um_per_px / zoom)
    by_name = {lamp.value: p for lamp, p in pixels.items()}
    try:
        return examine(by_name.get("white"), by_name.get("blue"), scale=told)
    except MeasurementError:
        return None


def main() -> None:
    """Examine all, and their copies; print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--copies", type=int, default=3)
    asked = parser.parse_args()
    found: dict[str, dict[str, list[float]]] = {
        "noise alone": defaultdict(list),
        "moved too": defaultdict(list),
    }
    rng = np.random.default_rng(0)
    for folder in asked.folders:
        for one in examined(folder):
            if one.result.scale is None:
                continue
            shape = open_photograph(next(iter(one.paths.values()))).pixels.shape
            for _ in range(asked.copies):
                for name, matrix in (("noise alone", None), ("moved too", motion(shape, rng))):
                    again = examine_again(one, matrix, rng)
                    if again is None:
                        found[name]["no stone seen"].append(1)
                    else:
                        compare(one.result, again, matrix, found[name])
    for name, figures in found.items():
        print(f"\n{name}:")
        for what, values in figures.items():
            if isinstance(values[0], float):
                low, middle, high = np.percentile(values, [5, 50, 95])
                print(f"  {what}: median {middle:.3f}, 5 to 95 % of {len(values)}: {low:.3f} to {high:.3f}")
            else:
                print(f"  {what}: {int(np.sum(values))} of {len(values)}")


if __name__ == "__main__":
    main()

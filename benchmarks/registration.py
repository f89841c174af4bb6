"""How well photographs of a stone from two days are laid on one another, beside general-purpose methods, and how fast.

    python benchmarks/registration.py STONES [--realdata REALDATA] [--time]

STONES holds test pairs with a truth.json (see the README beside the test stones). The photographs after are turned by any
angle, zoomed, exposed otherwise and made noisier at random, several times each; the outline is found again on them. Printed are the distance
at the girdle between where `setstone.measure.register` puts it and where it lies (root mean square, px of the photograph before),
and what was refused: of both lamps together, each alone, and blue laid on white. Beside it, under white light:

- features: SIFT (Lowe 2004), homography by RANSAC, of OpenCV, from scratch like ours;
- ECC: enhanced correlation coefficient (Evangelidis & Psarakis 2008) of OpenCV, affine, *started 2° and 1 % of the diameter from the truth*;
- phase: phase correlation of scikit-image (Guizar-Sicairos et al. 2008), *told turn and zoom*, so that it looks for the shift only.

Every photograph before is also laid on those of the next stones, which must be refused. REALDATA holds pairs of known shift
(Padfield 2012), given the hulls of what they show as outlines. With --time a pair is enlarged to 20 megapixels.
"""

import argparse
import json
import time
from collections import defaultdict
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from haze import load
from numpy.typing import NDArray
from skimage.registration import phase_cross_correlation

from setstone.measure.align import warp
from setstone.measure.girdle import find_girdle
from setstone.measure.light import Pixels
from setstone.measure.register import register

Points = NDArray[np.float64]
Matrix = NDArray[np.float64]

#: How often each pair is altered, and on how many of the next stones each is laid.
ALTERED, OTHERS = 2, 3
#: Side of the pictures the general-purpose methods look at, px.
SIDE = 800
#: Edge of a square photograph of 20 megapixels.
EDGE_20_MP = 4472


@dataclass(frozen=True, eq=False)
class Look:
    """Photographs of a stone on one occasion, and its girdle as it is."""

    stone: str
    white: Pixels
    blue: Pixels
    um_per_px: float
    outline: Points

    def found(self) -> Points | None:
        """The girdle as the program finds it."""
        girdle = find_girdle(self.white)
        return None if girdle is None else np.asarray(girdle.points, np.float64)


def looks(folder: Path) -> tuple[Look, Look, Matrix]:
    """Both occasions of a pair, and how the later truly lies on the earlier."""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    both = []
    for occasion in ("before", "after"):
        block = truth[occasion]
        white, blue = (
            load(folder / block["images"][f"{occasion}_{lamp}"]["image"]) for lamp in ("white", "blue")
        )
        outline = np.array(block["stone"]["outline_px"], np.float64)
        both.append(Look(folder.name, white, blue, block["um_per_px"], outline))
    return both[0], both[1], np.array(truth["pair"]["transform_after_to_before"])


def altered(look: Look, rng: np.random.Generator) -> tuple[Look, Matrix]:
    """Turned by any angle, zoomed, exposed otherwise, noisier; and the motion."""
    height, width = look.white.shape[:2]
    zoom = float(rng.uniform(0.8, 1.25))
    side = round(1.1 * float(np.hypot(height, width)) * zoom)
    motion = np.eye(3)
    motion[:2] = cv2.getRotationMatrix2D(
        ((width - 1) / 2, (height - 1) / 2), float(rng.uniform(0, 360)), zoom
    )
    motion[:2, 2] += (side - width) / 2, (side - height) / 2

    def again(pixels: Pixels) -> Pixels:
        full = np.iinfo(pixels.dtype).max
        there = warp(pixels, motion, (side, side)) * rng.uniform(0.6, 1.2)
        return np.clip(there + rng.normal(0, 0.008 * full, there.shape), 0, full).astype(pixels.dtype)

    there = moved(motion, look.outline)
    return replace(
        look, white=again(look.white), blue=again(look.blue), um_per_px=look.um_per_px / zoom, outline=there
    ), motion


def moved(matrix: Matrix, points: Points) -> Points:
    """Points after a motion."""
    there = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(there[:, :2] / there[:, 2:])


def off(found: Matrix, true: Matrix, outline: Points) -> float:
    """Root mean square distance at the girdle."""
    return float(np.sqrt(((moved(found, outline) - moved(true, outline)) ** 2).sum(1).mean()))


def ours(after: Look, before: Look, lamps: str) -> Matrix | None:
    """What the program finds; None when it refuses."""
    moving, fixed = after.found(), before.found()
    if moving is None or fixed is None:
        return None
    chosen = {
        "white and blue": ([after.white, after.blue], [before.white, before.blue]),
        "white": ([after.white], [before.white]),
        "blue": ([after.blue], [before.blue]),
        "blue on white": ([after.blue], [before.white]),
    }[lamps]
    found = register(
        *chosen, moving_outline=moving, fixed_outline=fixed, zoom=after.um_per_px / before.um_per_px
    )
    return found.matrix if found.reliable else None


def general(after: Look, before: Look, true: Matrix) -> dict[str, Matrix | None]:
    """What general-purpose methods find, in pictures of one size."""
    small = np.diag([SIDE / max(before.white.shape[:2])] * 2 + [1.0])
    there = small @ true
    fixed, same = (
        cv2.cvtColor(warp(p, m, (SIDE, SIDE)), cv2.COLOR_RGB2GRAY)
        for p, m in ((before.white, small), (after.white, there))
    )
    inside = np.zeros((SIDE, SIDE), np.uint8)
    cv2.fillPoly(inside, [np.round(moved(small, before.outline)).astype(np.int32)], 1)
    inside = cv2.erode(inside, np.ones((25, 25), np.uint8))
    zoom = SIDE / max(after.white.shape[:2])
    reduced = np.diag([zoom, zoom, 1.0])
    moving = cv2.cvtColor(warp(after.white, reduced, (SIDE, SIDE)), cv2.COLOR_RGB2GRAY)
    features = _features(moving, fixed, inside)
    near = np.eye(3)
    middle = moved(small, before.outline).mean(0)
    near[:2] = cv2.getRotationMatrix2D(tuple(middle.tolist()), 2.0, 1.0)
    near[0, 2] += 0.01 * np.ptp(moved(small, before.outline)[:, 0])
    by_phase = _phase(same, fixed, inside)
    corrected = _ecc(same, fixed, inside, near)
    back = np.linalg.inv(small)
    return {
        "features": None if features is None else back @ features @ reduced,
        "ECC, started beside the truth": None if corrected is None else back @ corrected @ there,
        "phase, told turn and zoom": back @ by_phase @ there,
    }


def _features(
    moving: NDArray[np.uint8], fixed: NDArray[np.uint8], inside: NDArray[np.uint8]
) -> Matrix | None:
    sift = cv2.SIFT.create()
    (p, a), (q, b) = sift.detectAndCompute(moving, None), sift.detectAndCompute(fixed, inside)
    if a is None or b is None:
        return None
    pairs = [m for m, n in cv2.BFMatcher().knnMatch(b, a, k=2) if m.distance < 0.8 * n.distance]
    if len(pairs) < 8:
        return None
    source, target = np.array([p[m.trainIdx].pt for m in pairs]), np.array([q[m.queryIdx].pt for m in pairs])
    matrix, agree = cv2.findHomography(source, target, cv2.RANSAC, 3.0)
    return None if matrix is None or agree.sum() < 12 else np.asarray(matrix, np.float64)


def _phase(moving: NDArray[np.uint8], fixed: NDArray[np.uint8], inside: NDArray[np.uint8]) -> Matrix:
    """Shift by phase correlation of the square in the middle of the stone, beginning 7 px aside."""
    y, x = (round(float(v.mean())) for v in np.nonzero(inside))
    half = round(0.6 * float(np.sqrt(inside.sum() / np.pi)))
    window = np.outer(np.hanning(2 * half), np.hanning(2 * half))
    cut = [
        p[y - half : y + half, x - half + aside : x + half + aside] * window
        for p, aside in ((fixed, 0), (moving, 7))
    ]
    down, right = phase_cross_correlation(*cut, upsample_factor=20)[0]
    found = np.eye(3)
    found[:2, 2] = right - 7, down
    return found


def _ecc(
    moving: NDArray[np.uint8], fixed: NDArray[np.uint8], inside: NDArray[np.uint8], start: Matrix
) -> Matrix | None:
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 60, 1e-4)
    begun = np.linalg.inv(start)[:2].astype(np.float32)
    try:
        _, found = cv2.findTransformECC(fixed, moving, begun, cv2.MOTION_AFFINE, criteria, inside, 5)
    except cv2.error:  # it did not converge
        return None
    return np.linalg.inv(np.vstack([found, [0, 0, 1]]))


def print_errors(name: str, errors: list[float | None]) -> None:
    """One row: median and worst of what was not refused."""
    told = [e for e in errors if e is not None]
    figures = f"median {np.median(told):6.2f} px, worst {max(told):7.2f} px" if told else "nothing told"
    print(f"{name:32} {len(errors):3} pairs: {figures}, {len(errors) - len(told)} refused", flush=True)


def compare(folders: list[Path]) -> None:
    """Pairs of one stone, as they are and altered."""
    rng = np.random.default_rng(0)
    errors: dict[str, list[float | None]] = defaultdict(list)

    def note(name: str, found: Matrix | None, true: Matrix, outline: Points) -> None:
        errors[name].append(None if found is None else off(found, true, outline))

    for folder in folders:
        before, after, true = looks(folder)
        note("white and blue, as they are", ours(after, before, "white and blue"), true, after.outline)
        for _ in range(ALTERED):
            other, motion = altered(after, rng)
            truth = true @ np.linalg.inv(motion)
            for lamps in ("white and blue", "white", "blue", "blue on white"):
                note(lamps, ours(other, before, lamps), truth, other.outline)
            for name, found in general(other, before, truth).items():
                note(name, found, truth, other.outline)
    for name, row in errors.items():
        print_errors(name, row)


def refuse(folders: list[Path]) -> None:
    """Different stones."""
    some = [looks(folder)[:2] for folder in folders]
    told = {"white and blue": 0, "white": 0, "blue": 0}
    tried = 0
    for k, (before, _) in enumerate(some):
        for step in range(1, min(OTHERS + 1, len(some))):
            tried += 1
            for lamps in told:
                told[lamps] += ours(some[(k + step) % len(some)][1], before, lamps) is not None
    print(
        "different stones taken for one:", ", ".join(f"{n} of {tried} ({lamps})" for lamps, n in told.items())
    )


def known(folder: Path) -> None:
    """Pairs of known shift."""
    for name, one in json.loads((folder / "truth.json").read_text(encoding="utf-8")).items():
        moving, fixed = (cv2.imread(str(folder / one[k])) for k in ("moving", "fixed"))
        found = register(
            [moving], [fixed], moving_outline=_hull(moving), fixed_outline=_hull(fixed), zoom=1.0
        )
        x, y = one["truth_translation_xy"]
        true = np.array([[1, 0, -x], [0, 1, y], [0, 0, 1.0]])
        says = f"{off(found.matrix, true, _hull(moving)):.2f} px off" if found.reliable else "refused"
        print(f"{name}: {says} ({found.reason})")


def _hull(pixels: Pixels) -> Points:
    shown = np.argwhere(pixels.max(axis=2) > 0)[:, ::-1].astype(np.int32)
    return np.asarray(cv2.convexHull(shown)[:, 0], np.float64)


def print_time(folder: Path) -> None:
    """Seconds and seconds of the processor for a pair of 20 megapixels under both lamps, the quickest of three."""
    before, after, _ = looks(folder)
    enlarged = []
    for look in (after, before):
        scale = EDGE_20_MP / max(look.white.shape[:2])
        pictures = [np.asarray(cv2.resize(p, (EDGE_20_MP, EDGE_20_MP))) for p in (look.white, look.blue)]
        enlarged.append((pictures, (look.outline + 0.5) * scale - 0.5))
    times = []
    for _ in range(3):
        wall, processor = time.perf_counter(), time.process_time()
        register(enlarged[0][0], enlarged[1][0], moving_outline=enlarged[0][1], fixed_outline=enlarged[1][1])
        times.append((time.perf_counter() - wall, time.process_time() - processor))
    wall, processor = min(times)
    print(
        f"20 megapixels, white and blue: {wall:.2f} s, {processor:.2f} s of the processor (goal: 1.5 s on two cores)"
    )


def main() -> None:
    """Compare, refuse, time."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--realdata", type=Path)
    parser.add_argument("--time", action="store_true")
    asked = parser.parse_args()
    folders = sorted(p for p in asked.folder.iterdir() if any(p.glob("before_white.*")))
    if asked.time:
        print_time(folders[0])
        return
    compare(folders)
    if asked.realdata:
        known(asked.realdata / "registration-known")
    refuse(folders)


if __name__ == "__main__":
    main()

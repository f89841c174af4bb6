"""Train the weights by which spots are judged, and say how well they do on stones not trained on.

    python benchmarks/train_spot_scores.py STONES --renders FOLDER ... --cache FOLDER [--write]

Needs scikit-learn, for training only. The weights go to measure/spot_weights.py as plain numbers.
Stones are few, so each is also seen turned, larger or smaller, noisier and of other exposure, and
with opaque bodies of random size, outline, place and softness put into it. Folds are by stone: both
photographs of a pair, and all variants of a stone, are in the same fold. Stones rendered by
benchmarks/render_stones.py take part in the training, not in the figures. Only the photographs of the
test stones as they are count in what is reported. Printed of the scores as well: how far they are from the share that is
real, before and after calibration on the other folds, and how far perfect scores of as few spots would be.
"""

import argparse
import math
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression  # type: ignore[import-untyped]

sys.path.insert(0, str(Path(__file__).parent))
from accuracy import calibration_error
from stone_scenes import StoneScene, stone_scenes

from setstone.measure.light import Pixels, Plane
from setstone.measure.scene import Scene
from setstone.measure.spot_features import NAMES, describe_spots, flattened, ground_of, spots_in

VARIANTS = 2
PUT_IN_WEIGHT, SEEN_WEIGHT = 0.15, 0.5
#: What a spot of a rendered stone counts against one of a test stone.
RENDERED = 0.3
SOFTNESS = 0.3  # of the penalty on large weights (C of scikit-learn)
Vector = NDArray[np.float64]
FOLDS = 8


@dataclass
class Sample:
    """Candidates of one photograph or variant: features, what they are (1 inclusion, 0 not, -1 either)."""

    stone: str
    photograph: str
    original: bool
    rendered: bool
    vectors: NDArray[np.float64]
    labels: NDArray[np.int64]
    needed: int


def labelled(case: StoneScene, original: bool) -> Sample:
    """Find and label the candidates of one scene."""
    ground = ground_of(case.scene)
    spots = spots_in(case.scene, ground)
    features = describe_spots(spots, ground)
    labels = np.zeros(len(spots), np.int64)
    for k, spot in enumerate(spots):
        x, y = spot.centre
        row, column = min(round(y), case.spare.shape[0] - 1), min(round(x), case.spare.shape[1] - 1)
        if case.spare[max(row, 0), max(column, 0)]:
            labels[k] = -1
        for sx, sy, diameter, needed in case.sightings:
            away = math.hypot(x - sx, y - sy)
            if away <= max(10, diameter / 2):
                labels[k] = max(labels[k], -1) if labels[k] == 1 else -1
            if needed and away <= max(3, diameter / 3) and 0.55 < spot.diameter_px / diameter < 1.7:
                labels[k] = 1
                break
    vectors = np.array([f.vector() for f in features]).reshape(-1, len(NAMES))
    return Sample(
        case.stone, case.photograph, original, False, vectors, labels, sum(s[3] for s in case.sightings)
    )


def varied(case: StoneScene, rng: np.random.Generator) -> StoneScene:
    """Turn, enlarge, blur, expose and soil a scene, and put bodies into it."""
    scene = case.scene
    white, blue = _shares(scene.white), _shares(scene.blue)
    height, width = white.shape[:2]
    scale = math.exp(rng.uniform(math.log(0.75), math.log(1.5)))
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), rng.uniform(0, 360), scale)
    if rng.random() < 0.5:
        turn = turn @ np.array([[-1, 0, width - 1], [0, 1, 0], [0, 0, 1]], np.float64)
    size = math.ceil(1.02 * scale * max(width, height))
    turn[:, 2] += size / 2 - np.array([width / 2, height / 2])

    def moved(plane: NDArray[np.float32], how: int = cv2.INTER_CUBIC) -> NDArray[np.float32]:
        out = cv2.warpAffine(plane, turn, (size, size), flags=how, borderMode=cv2.BORDER_REFLECT)
        return np.asarray(out, np.float32)

    white, blue = np.clip(moved(white), 0, 1), np.clip(moved(blue), 0, 1)
    stone = moved(scene.stone.astype(np.float32), cv2.INTER_NEAREST) > 0.5
    spare = moved(case.spare.astype(np.float32), cv2.INTER_NEAREST) > 0.5
    points = scene.outline.points @ turn[:, :2].T + turn[:, 2]
    sightings = []
    for x, y, diameter, needed in case.sightings:
        nx, ny = turn @ np.array([x, y, 1.0])
        sightings.append((float(nx), float(ny), diameter * scale, needed))
    blur = rng.choice([0.0, 0.0, 0.5, 0.8])
    if blur:
        white = np.asarray(cv2.GaussianBlur(white, (0, 0), blur), np.float32)
        blue = np.asarray(cv2.GaussianBlur(blue, (0, 0), blur), np.float32)
    softness = math.hypot(0.65 * max(scale, 1), blur)
    sightings += _put_in(white, blue, stone, spare, sightings, softness, scene.diameter_px * scale, rng)
    white **= np.float32(math.exp(rng.normal(0, 0.12)))
    noise = rng.uniform(0.5, 3) / 255
    white += rng.normal(0, noise, white.shape).astype(np.float32)
    blue += rng.normal(0, noise, blue.shape).astype(np.float32)
    return replace(
        case,
        scene=Scene(
            white=_bytes(white),
            blue=_bytes(blue),
            outline=replace(scene.outline, points=points),
            stone=stone,
            um_per_px=None if scene.um_per_px is None else scene.um_per_px / scale,
        ),
        sightings=sightings,
        spare=spare,
    )


def _shares(pixels: Pixels | None) -> Plane:
    """Turn encoded pixels into shares of full scale."""
    if pixels is None:
        raise SystemExit("Each stone needs a photograph under white and one under blue light.")
    return pixels.astype(np.float32) / np.float32(np.iinfo(pixels.dtype).max)


def _bytes(picture: NDArray[np.float32]) -> NDArray[np.uint8]:
    pixels = np.round(np.clip(picture, 0, 1) * 255).astype(np.uint8)
    ok, packed = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, 93])
    return np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR) if ok else pixels, np.uint8)


def _put_in(
    white: NDArray[np.float32],
    blue: NDArray[np.float32],
    stone: NDArray[np.bool_],
    spare: NDArray[np.bool_],
    sightings: list[tuple[float, float, float, bool]],
    softness: float,
    stone_px: float,
    rng: np.random.Generator,
) -> list[tuple[float, float, float, bool]]:
    """Put opaque bodies into a picture at random places; those too weak to see need not be found."""
    free = cv2.distanceTransform(np.pad(stone & ~spare, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    put: list[tuple[float, float, float, bool]] = []
    ys, xs = np.nonzero(free > 0.04 * stone_px)
    for _ in range(10):
        if not len(xs):
            break
        k = rng.integers(len(xs))
        x, y = xs[k] + rng.uniform(-0.5, 0.5), ys[k] + rng.uniform(-0.5, 0.5)
        diameter = max(4.0, stone_px * math.exp(rng.uniform(math.log(0.006), math.log(0.026))))
        if any(math.hypot(x - q[0], y - q[1]) < 25 + diameter + q[2] for q in sightings + put):
            continue
        reach = math.ceil(1.5 * diameter) + 5
        x0, y0 = int(x) - reach, int(y) - reach
        area = (slice(max(y0, 0), int(y) + reach), slice(max(x0, 0), int(x) + reach))
        cover, true_diameter = _cover(x, y, diameter, softness, area, rng)
        before = white[area].copy()
        # Nothing passes an opaque body; what is left is glare on the table above it.
        glare = np.float32(rng.uniform(0.005, 0.03)) * np.array([1, 0.85, 0.75], np.float32)
        light = (before**2.2) * (1 - cover[..., None]) + glare * cover[..., None]
        white[area] = light ** (1 / 2.2)
        weight = cover > 0.7
        lost = float((before - white[area])[weight].mean() * 255) if weight.any() else 0.0
        grain = float(np.abs(before - cv2.GaussianBlur(before, (0, 0), 1)).mean() * 255 + 0.5)
        dim = np.float32(rng.choice([1.0, 0.9, 0.6, 0.3]))
        blue[area] *= 1 - cover[..., None] * (1 - dim)
        if rng.random() < 0.4:  # its skin glitters under blue light
            flecks = (
                (rng.random(cover.shape) < 0.15).astype(np.float32)
                * cover
                * np.float32(rng.uniform(0.1, 0.5))
            )
            blue[area] += cv2.GaussianBlur(flecks, (0, 0), 0.7)[..., None] * np.array(
                [0.1, 0.3, 1], np.float32
            )
        put.append((x, y, true_diameter, lost > max(12.0, 4 * grain)))
    return put


def _cover(
    x: float, y: float, diameter: float, softness: float, area: tuple[slice, slice], rng: np.random.Generator
) -> tuple[NDArray[np.float32], float]:
    """Share of each pixel that a lumpy ellipse covers, blurred; and its diameter of equal area."""
    rows, columns = np.mgrid[area].astype(np.float32)
    turn, stretch = rng.uniform(0, math.pi), math.sqrt(rng.uniform(1, 2))
    u = ((columns - x) * math.cos(turn) + (rows - y) * math.sin(turn)) / stretch
    v = (-(columns - x) * math.sin(turn) + (rows - y) * math.cos(turn)) * stretch
    angle = np.arctan2(v, u)
    radius = np.full(angle.shape, diameter / 2)
    for order in (2, 3, 4, 5):
        radius = radius * (
            1 + rng.normal(0, 0.16 / order) * np.cos(order * angle + rng.uniform(0, 2 * math.pi))
        )
    sharp = np.clip(radius - np.hypot(u, v) + 0.5, 0, 1).astype(np.float32)
    true = 2 * math.sqrt(float(sharp.sum()) / math.pi)
    return np.asarray(cv2.GaussianBlur(sharp, (0, 0), softness), np.float32), true


def samples(stones: Path, cache: Path, *, rendered: bool = False) -> Iterator[Sample]:
    """Yield all scenes and their variants, described once and kept in the cache; rendered ones as they are."""
    for case in stone_scenes(stones):
        for variant in range(1 if rendered else VARIANTS + 1):
            kept = cache / f"{case.photograph.replace('/', '-')}-{variant}.npz"
            original = variant == 0 and not rendered
            if not kept.exists():
                rng = np.random.default_rng([variant, *map(ord, case.photograph)])
                sample = labelled(case if variant == 0 else varied(case, rng), original)
                np.savez(kept, v=sample.vectors, l=sample.labels, n=sample.needed)
            data = np.load(kept)
            yield Sample(
                case.stone, case.photograph, original, rendered, data["v"], data["l"], int(data["n"])
            )


@dataclass
class Weights:
    """One number a feature: the bend, the spread, the slopes on both sides, and a share of the bias."""

    middle: Vector
    spread: Vector
    below: Vector
    above: Vector
    offset: Vector

    def calibrated(self, slope: float, offset: float) -> "Weights":
        """The same with another slope and offset of the odds."""
        share = np.abs(self.below) + np.abs(self.above)
        return Weights(
            self.middle,
            self.spread,
            slope * self.below,
            slope * self.above,
            slope * self.offset + offset * share / share.sum(),
        )

    def scores(self, vectors: Vector) -> Vector:
        """Scores of raw features, as setstone.measure.judge_spots.weigh gives them."""
        away = (flattened(vectors) - self.middle) / self.spread
        odds = (self.offset + np.where(away < 0, self.below, self.above) * away).sum(axis=1)
        return np.asarray(1 / (1 + np.exp(-odds)), np.float64)


def fit(rows: list[Sample]) -> Weights:
    """Logistic regression with a bend in each feature at the mean of the inclusions."""
    X = flattened(np.vstack([s.vectors for s in rows]))
    y = np.concatenate([s.labels for s in rows])
    # Bodies put in are ten to a picture, ten times what is common: they count less, as do the
    # facets of variants, which have been seen before.
    w = np.concatenate(
        [
            np.full(len(s.labels), RENDERED if s.rendered else 1.0)
            if s.original or s.rendered
            else np.where(s.labels == 1, PUT_IN_WEIGHT, SEEN_WEIGHT)
            for s in rows
        ]
    )
    use = y >= 0
    X, y, w = X[use], y[use], w[use]
    middle, spread = np.average(X[y == 1], axis=0, weights=w[y == 1]), X.std(axis=0) + 1e-6
    away = (X - middle) / spread
    model = LogisticRegression(C=SOFTNESS, max_iter=1000)
    model.fit(np.hstack([np.minimum(away, 0), np.maximum(away, 0)]), y == 1, sample_weight=w)
    below, above = np.split(model.coef_[0], 2)
    share = np.abs(below) + np.abs(above)
    return Weights(middle, spread, below, above, float(model.intercept_[0]) * share / share.sum())


def figures(scores: NDArray[np.float64], labels: NDArray[np.int64], needed: int, threshold: float) -> str:
    """Hits, false ones and F1 at a threshold."""
    hit, false = (
        int(((scores >= threshold) & (labels == 1)).sum()),
        int(((scores >= threshold) & (labels == 0)).sum()),
    )
    return f"score >= {threshold:.2f}: {hit} of {needed} found, {false} false, F1 {2 * hit / max(hit + false + needed, 1):.3f}"


def main() -> None:
    """Train, report and, when asked, write."""
    options = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    options.add_argument("stones", type=Path)
    options.add_argument("--renders", type=Path, nargs="+", required=True)
    options.add_argument("--cache", type=Path, required=True)
    options.add_argument("--deal", type=int, default=1, help="deal the stones to the folds anew")
    options.add_argument("--write", action="store_true", help="replace measure/spot_weights.py")
    chosen = options.parse_args()
    chosen.cache.mkdir(parents=True, exist_ok=True)
    rows = list(samples(chosen.stones, chosen.cache))
    for renders in chosen.renders:
        rows += samples(renders, chosen.cache, rendered=True)
    stones = sorted({s.stone for s in rows})
    fold = {
        stone: k % FOLDS for k, stone in enumerate(np.random.default_rng(chosen.deal).permutation(stones))
    }
    held_out = [fit([s for s in rows if fold[s.stone] != k]) for k in range(FOLDS)]
    originals = [s for s in rows if s.original]
    scored = {id(s): held_out[fold[s.stone]].scores(s.vectors) for s in originals}
    honest = [calibration([s for s in originals if fold[s.stone] != k], scored) for k in range(FOLDS)]
    scores = np.concatenate(
        [held_out[fold[s.stone]].calibrated(*honest[fold[s.stone]]).scores(s.vectors) for s in originals]
    )
    labels = np.concatenate([s.labels for s in originals])
    print("held-out folds, photographs as they are")
    for threshold in (0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.7):
        print(" ", figures(scores, labels, sum(s.needed for s in originals), threshold))
    for low in (0.0, 0.2, 0.4, 0.6, 0.8):
        band = (labels >= 0) & (scores >= low) & (scores < low + 0.2)
        print(f"  scored {low:.1f} to {low + 0.2:.1f}: {labels[band].sum()} of {band.sum()} real")
    print_reliability("before", np.concatenate([scored[id(s)] for s in originals]), labels)
    print_reliability("after", scores, labels)
    if chosen.write:
        weights = fit(rows).calibrated(*calibration(originals, scored))
        write(Path(__file__).parents[1] / "measure" / "spot_weights.py", weights)


def print_reliability(when: str, scores: Vector, labels: NDArray[np.int64]) -> None:
    """Expected calibration error of spots scored 0.1 or more, beside what chance alone makes of perfect scores."""
    use = (labels >= 0) & (scores >= 0.1)
    shown, real = scores[use], labels[use] == 1

    def error(which: NDArray[np.bool_]) -> float:
        return calibration_error(list(zip(shown.tolist(), which.tolist(), strict=True)))

    rng = np.random.default_rng(0)
    chance = [error(rng.random(len(shown)) < shown) for _ in range(500)]
    brier = float(np.mean((scores[labels >= 0] - (labels[labels >= 0] == 1)) ** 2))
    print(
        f"  {when} calibration: error {error(real):.3f} of {len(shown)} spots scored 0.1 or more; of perfect scores it would be "
        f"{np.mean(chance):.3f} in the mean and below {np.quantile(chance, 0.95):.3f} in 95 % (Brier score {brier:.5f})"
    )


def calibration(rows: list[Sample], scored: dict[int, Vector]) -> tuple[float, float]:
    """Slope and offset that turn held-out scores into the share that is real (Platt 1999)."""
    score = np.clip(np.concatenate([scored[id(s)][s.labels >= 0] for s in rows]), 1e-4, 1 - 1e-4)
    real = np.concatenate([s.labels[s.labels >= 0] == 1 for s in rows])
    model = LogisticRegression(C=1e6).fit(np.log(score / (1 - score))[:, None], real)
    return float(model.coef_[0, 0]), float(model.intercept_[0])


def write(path: Path, weights: Weights) -> None:
    """Write the table as a small module."""
    table = np.column_stack([weights.middle, weights.spread, weights.below, weights.above, weights.offset])
    lines = [
        '"""Weights of the features of a spot, written by benchmarks/train_spot_scores.py: do not edit."""',
        "",
        "import numpy as np",
        "",
        "# One row a feature: what is usual of inclusions, the spread over all candidates, the weight",
        "# below and above the usual, and a share of the bias.",
        "_TABLE = {",
        *(
            f'    "{name}": ({", ".join(f"{v:.4g}" for v in row)}),'
            for name, row in zip(NAMES, table, strict=True)
        ),
        "}",
        "",
        "MIDDLE, SPREAD, BELOW, ABOVE, OFFSET = np.array(list(_TABLE.values()), np.float64).T",
        "",
    ]
    path.write_text("\n".join(lines), encoding="utf-8")


if __name__ == "__main__":
    main()

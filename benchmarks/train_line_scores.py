"""Train the scores of lines on computed stones and write measure/line_trees.py.

    python benchmarks/train_line_scores.py STONES --renders FOLDER ... --cache FOLDER [--variants 0 1] [--write all]

Needs scikit-learn (for training only). Variant 0 is the photographs as they are; the others are altered at
random (size, turn, flip, exposure, gamma, channel mix, blur, noise; fibres, dust and scratches laid on top), so that
the scores rest on nothing one microscope or one stone has. Every figure printed is held out *by stone*:
scores of a stone come from trees that never saw it, at every size it is judged at, calibrated on the stones of the other folds. Stones rendered by
benchmarks/render_stones.py (in one FOLDER or several) take part in the training, not in the figures: they have cuts, colours
and lamps that the others lack. What each feature may mean is fixed beforehand
(`RISING`, `FALLING`): more contrast never counts against a line, more straight edges never for it.
"""

import argparse
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from accuracy import calibration_error
from line_scenes import FissureScene, fissure_scenes, shares, walk
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from sklearn.ensemble import HistGradientBoostingClassifier
from sklearn.linear_model import LogisticRegression  # type: ignore[import-untyped]

from setstone.measure.candidates import LIKELY
from setstone.measure.describe_lines import describe_lines, describe_resized, straight_edges_of
from setstone.measure.judge_lines import neighbours
from setstone.measure.line_features import ABSENT, NAMES
from setstone.measure.line_scores import (
    MANY,
    SECOND_NAMES,
    both_looks,
    calibrated,
    odds,
    second_features,
    taken_at,
)
from setstone.measure.line_sizes import SIZES, Look, pooled
from setstone.measure.lines import Line
from setstone.measure.outline import Outline
from setstone.measure.scene import Scene

Values = NDArray[np.float64]
Mask = NDArray[np.bool_]
Random = np.random.Generator

RISING = {
    "contrast",
    "weakest_quarter",
    "unbroken",
    "strength",
    "strength_here",
    "length",
    "pixels",
    "white_dark",
    "off_straight",
    "inside_least",
    "first",
    "good_near",
    "best_near",
}
FALLING = {
    "width",
    "width_share",
    "width_spread",
    "peaked",
    "specks",
    "wander",
    "step",
    "step_to_contrast",
    "step_one_way",
    "ground_range",
    "clipped",
    "collinear",
    "crowd",
    "edges",
    "edges_ahead",
    "edges_long",
    "symmetry",
    "family",
    "crossed",
    "ring",
    "white_step",
    "white_step_one_way",
    "white_step_even",
    "white_edges",
    "white_edges_ahead",
    "white_edges_long",
    "white_symmetry",
    "white_family",
    "white_crossed",
    "white_ahead_step",
    "white_bright",
    "white_ratio",
}
FOLDS = 6
FIRST_TREES, SECOND_TREES = 100, 50
#: What a line of a rendered stone counts against one of a test stone, whose pictures are the better ones.
RENDERED = 0.3
#: Of the lines nobody would take for a fissure this share is enough.
EASY_SHARE = 0.3
WHITE = [i for i, name in enumerate(NAMES) if name.startswith("white")]
TABLE = Path(__file__).parents[1] / "measure" / "line_trees.py"


@dataclass(eq=False)
class Record:
    """The lines of one photograph or of one altered copy, described once and for all."""

    stone: str
    original: bool
    rendered: bool
    diameter: float
    features: Values
    shares: NDArray[np.int64]  # length, right, neither
    lines: list[Line]
    covers: Mask  # which line covers which point of the fissures
    fissure: NDArray[np.int64]  # which fissure the point belongs to
    first: Values = field(default_factory=lambda: np.zeros(0))
    view: Values = field(default_factory=lambda: np.zeros(0))  # features of the second look
    second: Values = field(default_factory=lambda: np.zeros(0))
    #: The same photograph at other sizes, lines in its own pixels; of those the figures are of.
    looks: list["Record"] = field(default_factory=list)

    @property
    def real(self) -> Mask:
        """Lines that are more fissure than anything else."""
        length, right, neither = self.shares.T
        return np.asarray((right > 0.5 * np.maximum(length - neither, 1)) & (right > 0.25 * length))

    @property
    def counts(self) -> Mask:
        """Lines that are right or wrong at all."""
        return np.asarray(self.real | (self.shares[:, 2] < 0.6 * self.shares[:, 0]))


def altered(stone: FissureScene, rng: Random) -> FissureScene:
    """The same stone as another microscope might have seen it on another day."""
    white, blue = (_as_8_bit(p) for p in (stone.scene.white, stone.scene.blue))
    height, width = stone.spare.shape
    factor = min(float(np.exp(rng.uniform(np.log(0.7), np.log(1.4)))), 1500 / max(height, width))
    size = (round(width * factor), round(height * factor))
    ratio = np.array([size[0] / width, size[1] / height])
    gamma, gain, blur, noise = (
        rng.uniform(0.88, 1.15),
        rng.uniform(0.75, 1.25),
        rng.uniform(0, 0.8),
        rng.uniform(0, 3.5),
    )
    mix = np.exp(rng.normal(0, 0.2, 3)).astype(np.float32)
    fibres, scratches, dust = _clutter(stone, rng)

    def picture(
        pixels: NDArray[np.uint8], layers: Sequence[tuple[Values, Values]], channels: Values
    ) -> NDArray[np.uint8]:
        light = pixels.astype(np.float32) / 255
        for opacity, colour in layers:
            light += np.clip(opacity, 0, 1)[..., None].astype(np.float32) * (
                colour.astype(np.float32) - light
            )
        light = cv2.resize(light, size, interpolation=cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC)
        if blur > 0.3:
            light = cv2.GaussianBlur(light, (0, 0), blur)
        light = np.clip(light * gain * channels, 0, 1) ** gamma + rng.normal(0, noise / 255, light.shape)
        return np.clip(np.rint(light * 255), 0, 255).astype(np.uint8)

    glow = np.array([rng.uniform(0.2, 0.9), rng.uniform(0.5, 1), 1.0]) * rng.uniform(0.5, 1)
    grey = np.full(3, rng.uniform(0.35, 0.9))
    seen = (rng.uniform(0.3, 0.9), rng.uniform(0, 0.8), rng.uniform(0.1, 0.7))
    scene = Scene(
        white=picture(
            white, [(fibres * seen[0], grey), (scratches * seen[1], grey), (dust * seen[2], grey)], np.ones(3)
        ),
        blue=picture(blue, [(np.maximum(fibres, np.maximum(scratches, dust)), glow)], mix),
        outline=replace(stone.scene.outline, points=(stone.scene.outline.points + 0.5) * ratio - 0.5),
        stone=_enlarged(stone.scene.stone, size),
        um_per_px=(stone.scene.um_per_px or 1.0) / float(ratio.mean()),
    )
    result = replace(
        stone,
        scene=scene,
        fissures=[walk((f + 0.5) * ratio - 0.5) for f in stone.fissures],
        spare=_enlarged(stone.spare, size),
        tolerance=max(3.0, stone.tolerance * factor),
    )
    return _turned(_turned(result, rng.random() < 0.5, True), rng.random() < 0.5, False)


def describe(stone: FissureScene, original: bool) -> Record:
    """Find and describe the lines and compare them with the truth."""
    found = describe_lines(stone.scene, straight_edges_of(stone.scene))
    truth = stone.visible
    covers = np.zeros((len(found.lines), len(truth)), np.bool_)
    for row, line in enumerate(found.lines):
        if len(truth):
            covers[row] = cKDTree(walk(line.path)).query(truth)[0] <= stone.tolerance
    return Record(
        stone=stone.stone,
        original=original,
        rendered=False,
        diameter=stone.scene.diameter_px,
        features=found.features,
        shares=np.array([shares(line.path, stone) for line in found.lines], np.int64).reshape(-1, 3),
        lines=[Line(line.path.astype(np.float32), np.zeros(0), np.zeros(0)) for line in found.lines],
        covers=covers,
        fissure=np.repeat(np.arange(len(stone.fissures)), [len(f) for f in stone.fissures]),
    )


def looked_at(stone: FissureScene, size: float) -> Record:
    """Describe the lines of a stone so many times as large, in its own pixels; with no truth, for nothing is learnt of them."""
    found = describe_resized(stone.scene, straight_edges_of(stone.scene), size)
    paths = [line.path.astype(np.float32) for line in found.lines]
    return Record(
        stone=stone.stone,
        original=False,
        rendered=False,
        diameter=stone.scene.diameter_px,
        features=found.features,
        shares=np.zeros((len(paths), 3), np.int64),
        lines=[Line(path, np.zeros(0), np.zeros(0)) for path in paths],
        covers=np.zeros((len(paths), 0), np.bool_),
        fissure=np.zeros(0, np.int64),
    )


def records(
    stones: Path, cache: Path, variants: Sequence[int], *, rendered: bool = False
) -> Iterator[Record]:
    """Describe all photographs in all variants, or read what was described before."""
    cache.mkdir(parents=True, exist_ok=True)
    for variant in variants:
        for stone in fissure_scenes(stones):
            stem = f"{stone.photograph.replace('/', '_')}_{variant}"
            path = cache / f"{stem}.npz"
            original = variant == 0 and not rendered
            if not path.exists():
                rng = np.random.default_rng([variant, *map(ord, stone.photograph)])
                _store(path, describe(stone if variant == 0 else altered(stone, rng), original))
            looks = []
            for size in SIZES if original else ():
                elsewhere = cache / f"{stem}_at_{size}.npz"
                if not elsewhere.exists():
                    _store(elsewhere, looked_at(stone, size))
                looks.append(_load(elsewhere))
            yield replace(_load(path), rendered=rendered, looks=looks)


def all_records(
    stones: Path, renders: Sequence[Path], cache: Path, variants: Sequence[int] = (0, 1)
) -> list[Record]:
    """Describe the lines of the test stones and of the rendered ones."""
    rows = list(records(stones, cache, variants))
    for folder in renders:
        rows += records(folder, cache, [1], rendered=True)
    return rows


def fit(rows: Sequence[Record], look: str, trees: int) -> HistGradientBoostingClassifier:
    """Fit the trees of one look; each line counts by the square root of its length."""
    names = NAMES if look == "first" else SECOND_NAMES
    table, real, weight = [], [], []
    for record in rows:
        if not len(record.shares):
            continue
        rng = np.random.default_rng(len(record.shares))
        features = record.features if look == "first" else record.view
        easy = ~record.real & (record.first < 0.02 if len(record.first) else True)
        kept = record.counts & (~easy | (rng.random(len(easy)) < EASY_SHARE))
        size = np.sqrt(record.shares[:, 0] / record.diameter * 27)
        table.append(features[kept])
        real.append(record.real[kept])
        counts = size * np.where(easy, 1 / EASY_SHARE, 1) * (RENDERED if record.rendered else 1)
        weight.append(counts[kept])
        if record.original and look == "first":
            # The same without the white photograph, which may be missing.
            blind = features[kept].copy()
            blind[:, WHITE] = ABSENT
            table.append(blind)
            real.append(record.real[kept])
            weight.append(0.3 * counts[kept])
    model = HistGradientBoostingClassifier(
        max_iter=trees, max_depth=3, max_leaf_nodes=8, learning_rate=0.1, max_features=0.2, min_samples_leaf=60,
        l2_regularization=5.0, max_bins=64, early_stopping=False, random_state=0,
        monotonic_cst=[1 if n in RISING else -1 if n in FALLING else 0 for n in names],
    )  # fmt: skip
    model.fit(
        np.concatenate(table).astype(np.float32), np.concatenate(real), sample_weight=np.concatenate(weight)
    )
    return model


def second_view(record: Record) -> Values:
    """Features of the second look."""
    around = neighbours(record.lines, record.first, record.diameter)
    return second_features(record.features, record.first, around)


def hold_out(rows: Sequence[Record], deal: int) -> tuple[float, float]:
    """Score every stone by trees that have not seen it; slope and offset that calibrate the scores."""
    stones = sorted({r.stone for r in rows})
    np.random.default_rng(deal).shuffle(stones)
    folds = [set(stones[k::FOLDS]) for k in range(FOLDS)]
    everything = [*rows, *(look for r in rows for look in r.looks)]
    for record in everything:
        record.first = np.zeros(0)
    scored: dict[int, Values] = {}
    for fold in folds:
        model = fit([r for r in rows if r.stone not in fold], "first", FIRST_TREES)
        scored |= {id(r): _probability(model, r.features) for r in everything if r.stone in fold}
    for record in everything:
        record.first = scored[id(record)]
        record.view = second_view(record)
    originals = [r for r in rows if r.original]
    for fold in folds:
        model = fit([r for r in rows if r.stone not in fold], "second", SECOND_TREES)
        for record in (r for r in originals if r.stone in fold):
            here, *elsewhere = (_thought_of(model, r) for r in (record, *record.looks))
            record.second = pooled(here, elsewhere, record.diameter)
    of_all = calibration(originals)
    honest = [calibration([r for r in originals if r.stone not in fold]) for fold in folds]
    for fold, (slope, offset) in zip(folds, honest, strict=True):
        for record in originals:
            if record.stone in fold:
                score = calibrated(record.second, slope, offset)
                record.second = score * taken_at(score, record.features)
    return of_all


def _thought_of(model: HistGradientBoostingClassifier, record: Record) -> Look:
    second = _probability(model, record.view) if len(record.first) else record.first
    # Under blue light all lines are bright.
    bright = np.ones(len(record.lines), np.bool_)
    return Look(tuple(line.path for line in record.lines), bright, both_looks(record.first, second))


def calibration(rows: Sequence[Record]) -> tuple[float, float]:
    """Slope and offset that turn held-out scores of lines taken whole into the share that is real (Platt 1999)."""
    whole = [r.counts & (taken_at(r.second, r.features) == 1) for r in rows]
    score = np.concatenate([r.second[w] for r, w in zip(rows, whole, strict=True)])
    real = np.concatenate([r.real[w] for r, w in zip(rows, whole, strict=True)])
    model = LogisticRegression(C=1e6).fit(odds(score)[:, None], real)
    return float(model.coef_[0, 0]), float(model.intercept_[0])


def report(rows: Sequence[Record], look: str, threshold: float) -> str:
    """Figures of the scorer: length precision, recall, F1; fissures found; false lines on clean stones."""
    sums, found, clean = np.zeros(4), [], []
    for record in (r for r in rows if r.original):
        kept = getattr(record, look) >= threshold
        length, right, neither = record.shares[kept].T
        covered = record.covers[kept].any(axis=0)
        sums += [right.sum(), (length - neither).sum(), covered.sum(), len(covered)]
        found += [covered[record.fissure == k].mean() >= 0.5 for k in np.unique(record.fissure)]
        if not len(record.fissure):
            clean.append(int((right + neither < 0.5 * length).sum()))
    precision, recall = sums[0] / max(sums[1], 1), sums[2] / max(sums[3], 1)
    return (
        f"{look} >= {threshold}: precision {precision:.3f}, recall {recall:.3f}, "
        f"F1 {2 * precision * recall / max(precision + recall, 1e-9):.3f}, found {np.mean(found):.2f}, "
        f"false on clean {clean}"
    )


def reliability(rows: Sequence[Record], look: str) -> str:
    """Share of real ones by score."""
    originals = [r for r in rows if r.original]
    score = np.concatenate([getattr(r, look)[r.counts] for r in originals])
    real = np.concatenate([r.real[r.counts] for r in originals])
    bands = [(low, (score >= low) & (score < low + 0.2)) for low in (0.0, 0.2, 0.4, 0.6, 0.8)]
    shares = "; ".join(
        f"{low:.1f}-{low + 0.2:.1f}: {real[b].mean():.2f} of {b.sum()}" for low, b in bands if b.any()
    )
    worth = list(zip(score[score >= 0.1].tolist(), real[score >= 0.1].tolist(), strict=True))
    return f"real of those scored {shares}; calibration error from 0.1 {calibration_error(worth):.3f}"


def after_many(rows: Sequence[Record], threshold: float) -> str:
    """How many of the lines would be shown, and are real, had those after the best of their stone counted whole."""
    shown = real = 0
    for record in (r for r in rows if r.original):
        share = taken_at(record.second, np.zeros_like(record.features))
        rest = record.counts & (share < 1) & (record.second / share >= threshold)
        shown, real = shown + int(rest.sum()), real + int(record.real[rest].sum())
    return f"after {MANY} better lines of the stone: {real} of {shown} real"


def complete(model: HistGradientBoostingClassifier, names: Sequence[str]) -> list[str]:
    """Trees as rows of seven questions and eight answers; a question never met sends everything one way."""
    rows = []
    for (tree,) in model._predictors:
        questions = [(names[0], 1e9)] * 7
        answers = [0.0] * 8
        stack = [(0, 0, 0)]
        while stack:
            node, place, depth = stack.pop()
            found = tree.nodes[node]
            if depth == 3:
                answers[place - 7] = float(found["value"])
            elif found["is_leaf"]:
                stack += [(node, 2 * place + 1, depth + 1), (node, 2 * place + 2, depth + 1)]
            else:
                questions[place] = (names[found["feature_idx"]], float(found["num_threshold"]))
                stack += [
                    (int(found["left"]), 2 * place + 1, depth + 1),
                    (int(found["right"]), 2 * place + 2, depth + 1),
                ]
        asked = ", ".join(f'("{name}", {limit:.4g})' for name, limit in questions)
        rows.append(f"    (({asked}), ({', '.join(f'{a:.3g}' for a in answers)})),")
    return rows


def write_table(
    first: HistGradientBoostingClassifier, second: HistGradientBoostingClassifier, slope: float, offset: float
) -> None:
    """Write the trees of both looks as a Python table."""
    text = [
        '"""Decision trees of the line scores, written by benchmarks/train_line_scores.py: do not edit.', "",
        "Each look has a base value and trees: seven questions (feature, limit) and eight answers, see",
        "`setstone.measure.line_scores.Trees`.", '"""', "", "# fmt: off", "",
        _calibration_line(slope, offset), "",
    ]  # fmt: skip
    for name, model, columns in (("FIRST", first, NAMES), ("SECOND", second, SECOND_NAMES)):
        base = float(model._baseline_prediction.ravel()[0])
        text += [f"{name}_BASE = {base:.4g}", f"{name} = (", *complete(model, columns), ")", ""]
    TABLE.write_text("\n".join(text), encoding="utf-8")


def _calibration_line(slope: float, offset: float) -> str:
    return f"SLOPE, OFFSET = {slope:.4g}, {offset:.4g}"


def main() -> None:
    """Describe, hold out, report, fit on everything, write."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("stones", type=Path)
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--renders", type=Path, nargs="+", required=True)
    parser.add_argument("--variants", type=int, nargs="+", default=[0, 1])
    parser.add_argument(
        "--deal", type=int, default=1, help="another number deals the stones to the folds anew"
    )
    parser.add_argument(
        "--write",
        choices=("all", "calibration"),
        help="write measure/line_trees.py: all of it, or slope and offset of the scores only, the trees as they are",
    )
    arguments = parser.parse_args()
    rows = all_records(arguments.stones, arguments.renders, arguments.cache, arguments.variants)
    slope, offset = hold_out(rows, arguments.deal)
    for look in ("first", "second"):
        for threshold in (0.0, 0.2, LIKELY, 0.25, 0.3, 0.4, 0.5):
            print(report(rows, look, threshold))
        print(reliability(rows, look))
    print(after_many(rows, LIKELY))
    if arguments.write == "calibration":
        kept = TABLE.read_text(encoding="utf-8")
        TABLE.write_text(re.sub("(?m)^SLOPE.*", _calibration_line(slope, offset), kept), encoding="utf-8")
    elif arguments.write:
        write_table(fit(rows, "first", FIRST_TREES), fit(rows, "second", SECOND_TREES), slope, offset)


def _probability(model: HistGradientBoostingClassifier, features: Values) -> Values:
    if not len(features):
        return np.zeros(0)
    return np.asarray(model.predict_proba(features.astype(np.float32))[:, 1], np.float64)


def _as_8_bit(pixels: NDArray[np.uint8] | NDArray[np.uint16] | None) -> NDArray[np.uint8]:
    if pixels is None:
        raise ValueError("training needs both photographs")
    return (pixels >> 8).astype(np.uint8) if pixels.dtype == np.uint16 else pixels.astype(np.uint8)


def _enlarged(mask: Mask, size: tuple[int, int]) -> Mask:
    return np.asarray(cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0)


def _turned(stone: FissureScene, wanted: bool, flip: bool) -> FissureScene:
    """Flipped left to right, or turned by a quarter."""
    if not wanted:
        return stone
    height, width = stone.spare.shape

    def move(points: Values) -> Values:
        x, y = points.T
        return np.stack([width - 1 - x, y] if flip else [height - 1 - y, x], axis=1)

    def pixels(array: NDArray[Any]) -> NDArray[Any]:
        return np.ascontiguousarray(array[:, ::-1] if flip else np.rot90(array, -1))

    scene = stone.scene
    return replace(
        stone,
        scene=Scene(
            white=pixels(_as_8_bit(scene.white)),
            blue=pixels(_as_8_bit(scene.blue)),
            outline=Outline(move(scene.outline.points), scene.outline.seen, scene.outline.u_px),
            stone=pixels(scene.stone),
            um_per_px=scene.um_per_px,
        ),
        fissures=[move(f) for f in stone.fissures],
        spare=pixels(stone.spare),
    )


def _clutter(stone: FissureScene, rng: Random) -> tuple[Values, Values, Values]:
    """Opacity of fibres, scratches and dust on the surface."""
    shape = stone.spare.shape
    diameter, centre = stone.scene.diameter_px, np.array(stone.scene.outline.centre)
    unit = max(1.0, 6 / (stone.scene.um_per_px or 4.0) / 2.355)
    fibres, scratches, dust = (np.zeros(shape, np.float32) for _ in range(3))

    def somewhere(reach: float) -> Values:
        return np.asarray(centre + rng.uniform(-reach, reach, 2) * diameter)

    def stroke(points: Values, sigma: float) -> NDArray[np.float32]:
        line = np.zeros(shape, np.float32)
        cv2.polylines(line, [np.rint(points * 8).astype(np.int32)], False, 1.0, 1, cv2.LINE_AA, 3)
        line = cv2.GaussianBlur(line, (0, 0), sigma)
        return np.asarray(line / max(float(line.max()), 1e-6), np.float32)

    for _ in range(int(rng.integers(1, 3)) if rng.random() < 0.45 else 0):
        step = rng.uniform(0.15, 0.8) * diameter / 60
        bend = np.cumsum(rng.normal(0, 7 * step / diameter, 60)) + rng.normal(0, 2.5 * step / diameter)
        heading = rng.uniform(0, 2 * np.pi) + np.cumsum(bend)
        path = np.stack([np.cos(heading), np.sin(heading)], axis=1).cumsum(axis=0) * step
        fibres = np.maximum(
            fibres,
            stroke(path - path[30] + somewhere(0.45), rng.uniform(0.8, 1.6) * unit) * rng.uniform(0.4, 1),
        )
    main_way = rng.uniform(0, np.pi)
    for _ in range(int(rng.integers(2, 7)) if rng.random() < 0.3 else 0):
        way = main_way + rng.normal(0, 0.5)
        half = rng.uniform(0.05, 0.2) * diameter * np.array([np.cos(way), np.sin(way)])
        middle = somewhere(0.25)
        line = stroke(np.stack([middle - half, middle + half]), 0.6 * unit) * rng.uniform(0.08, 0.4)
        if rng.random() < 0.6:
            broken = cv2.GaussianBlur(rng.normal(0, 1, shape).astype(np.float32), (0, 0), 2)
            line *= np.clip(5 * broken + 0.5, 0, 1)
        scratches = np.maximum(scratches, line)
    for _ in range(int(rng.integers(10, 120)) if rng.random() < 0.35 else 0):
        spot = np.zeros(shape, np.uint8)
        axes = rng.uniform(0.7, 2.2) * unit * np.array([1, rng.uniform(0.5, 1)])
        cv2.ellipse(
            spot,
            np.rint(somewhere(0.5)).astype(int).tolist(),
            np.ceil(axes).astype(int).tolist(),
            rng.uniform(0, 180),
            0,
            360,
            255,
            -1,
        )
        dust[spot > 0] = np.maximum(dust[spot > 0], rng.uniform(0.3, 1))
    return fibres, scratches, cv2.GaussianBlur(dust, (0, 0), 0.8)


def _store(path: Path, record: Record) -> None:
    np.savez_compressed(
        path, stone=record.stone, original=record.original, diameter=record.diameter, features=record.features,
        shares=record.shares, covers=record.covers, fissure=record.fissure,
        points=np.concatenate([np.zeros((0, 2)), *(line.path for line in record.lines)]),
        counts=np.array([len(line.path) for line in record.lines], np.int64),
    )  # fmt: skip


def _load(path: Path) -> Record:
    with np.load(path) as stored:
        paths = np.split(stored["points"], np.cumsum(stored["counts"])[:-1]) if len(stored["counts"]) else []
        return Record(
            stone=str(stored["stone"]), original=bool(stored["original"]), rendered=False, diameter=float(stored["diameter"]),
            features=stored["features"], shares=stored["shares"], covers=stored["covers"], fissure=stored["fissure"],
            lines=[Line(p, np.zeros(0), np.zeros(0)) for p in paths],
        )  # fmt: skip


if __name__ == "__main__":
    main()

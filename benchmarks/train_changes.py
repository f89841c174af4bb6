"""Train the chances of new lines (measure/new_lines.py) on pairs with known truth, and say how well they do held out.

    python benchmarks/train_changes.py CACHE STONES... [--rendered BEFORE AFTER]... [--without FEATURE]

STONES and rendered folders as for benchmarks/changes.py; what is measured of a pair is kept in CACHE, by the name of its folder: empty it when
examinations or features have changed. Weights are fitted by
logistic regression on every line that only the later day shows and every end that has no counterpart before; each pair counts by the square
root of its lines. Lines on which a new fissure is seen again, reflected, count neither as right nor as wrong. Every figure printed is
held out by stone: weights from the pairs of the other folds, dealt in several ways. The weights of all pairs come last, to be
written into the module. --without leaves out one of the features, to see what it brings.
"""

import argparse
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from changes import Truth, lies_on, pairs_of, places, rendered_pairs
from line_scenes import GHOST
from numpy.typing import NDArray
from predict import Examined, compared, motion
from scipy.special import expit
from sklearn.linear_model import LogisticRegression  # type: ignore[import-untyped]
from sklearn.pipeline import make_pipeline  # type: ignore[import-untyped]
from sklearn.preprocessing import StandardScaler  # type: ignore[import-untyped]

from setstone.measure.changes import Where, dense, likeliest
from setstone.measure.line_scores import odds
from setstone.measure.new_lines import NAMES, features

Values = NDArray[np.float64]

#: Least chances tried; deals and folds of the stones.
CHANCES, DEALS, FOLDS = (0.3, 0.4, 0.5, 0.6, 0.65, 0.7, 0.8), 4, 8
#: Strength of the penalty on the weights, the inverse of scikit-learn's C.
PENALTY = 0.6
#: Share of the unchanged pairs that shall stay without alarm.
QUIET = 0.95


@dataclass(frozen=True, eq=False)
class Lines:
    """New lines of a pair: features, which new fissure each lies on (-1 none, -2 one not to be seen), share on reflections."""

    group: str
    stone: str
    features: Values
    fissure: NDArray[np.int64]
    reflected: Values
    fissures: int

    @property
    def counts(self) -> NDArray[np.bool_]:
        """Lines that are right or wrong at all."""
        seen_again = (self.fissure == -1) & (self.fissures > 0) & (self.reflected > 0.4)
        return np.asarray((self.fissure != -2) & ~seen_again)


def measured(cache: Path, folders: Sequence[Path], rendered: Sequence[Sequence[Path]]) -> Iterator[Lines]:
    """Describe the new lines of all pairs, or read what was described before; pairs that are refused are left out."""
    cache.mkdir(parents=True, exist_ok=True)
    sources = [("test", folder, pairs_of(folder)) for folder in folders]
    sources += [(f"rendered {k}", pair[1], rendered_pairs(*pair)) for k, pair in enumerate(rendered, 1)]
    for group, folder, pairs in sources:
        kept = cache / f"{str(folder.resolve()).replace('/', '_')}.npz"
        if not kept.exists():
            np.savez_compressed(kept, **dict(_described(folder, pairs)))
        with np.load(kept) as stored:
            for case in sorted({name.split("/")[0] for name in stored}):
                yield Lines(
                    group,
                    case,
                    *(stored[f"{case}/{k}"] for k in ("features", "fissure", "reflected")),
                    int(stored[f"{case}/fissures"]),
                )


def _described(
    folder: Path, pairs: Iterator[tuple[Examined, Examined, Truth]]
) -> Iterator[tuple[str, NDArray[Any]]]:
    """What is measured of each pair, by the name of the case and of the figure."""
    for before, after, truth in pairs:
        matrix = motion(before, after)
        found = None if matrix is None else compared(before, after, matrix, weak=True)
        if found is None:
            continue
        both, changes = found
        candidates = after.result.candidates
        new = [
            c
            for c in changes
            if c.of_after
            and candidates[c.index].kind == "line"
            and (c.where is Where.AFTER or c.grown is not None)
        ]
        lines = [
            candidates[c.index] if c.grown is None else replace(candidates[c.index], path=c.grown)
            for c in new
        ]
        case = folder / after.case
        labels = next(p for p in (case / "labels_after.png", case / "labels.png") if p.exists())
        ghost = cv2.dilate(
            (cv2.imread(str(labels), cv2.IMREAD_UNCHANGED) & GHOST > 0).astype(np.uint8), np.ones((7, 7))
        )
        shape = np.array(ghost.shape[::-1]) - 1
        on = [np.clip(np.rint(line.path).astype(int), 0, shape).T for line in lines]
        yield f"{after.case}/features", features(lines, [dense(x, both.to_frame[1]) for x in lines], both)
        yield (
            f"{after.case}/fissure",
            np.array([lies_on(places([line.path]), truth) for line in lines], np.int64),
        )
        yield f"{after.case}/reflected", np.array([ghost[y, x].mean() for x, y in on])
        yield f"{after.case}/fissures", np.array(len(truth.seen))


def folds(pairs: Sequence[Lines], deal: int) -> NDArray[np.int64]:
    """Fold of each pair; all pairs of a stone are in one."""
    stones = sorted({pair.stone for pair in pairs})
    dealt = dict(zip(stones, np.random.default_rng(deal).permutation(len(stones)) % FOLDS, strict=True))
    return np.array([dealt[pair.stone] for pair in pairs], np.int64)


def fitted(pairs: Sequence[Lines]) -> tuple[float, Values]:
    """Base and weights."""
    table = np.concatenate([p.features[p.counts] for p in pairs])
    real = np.concatenate([p.fissure[p.counts] >= 0 for p in pairs])
    weight = np.concatenate([np.full(p.counts.sum(), 1 / np.sqrt(max(1, p.counts.sum()))) for p in pairs])
    model = make_pipeline(StandardScaler(), LogisticRegression(C=1 / PENALTY))
    model.fit(table, real, logisticregression__sample_weight=weight)
    scale, regression = model[0], model[1]
    weights = regression.coef_[0] / scale.scale_
    return float(regression.intercept_[0] - weights @ scale.mean_), weights


def raised(pair: Lines, base: float, weights: Values) -> list[tuple[float, int]]:
    """Log odds of the likeliest new line, and of further ones that are very likely too, and which fissure each lies on."""
    value = base + pair.features @ weights
    return [(float(value[i]), int(pair.fissure[i])) for i in likeliest(expit(value).tolist())]


def tally(told: Iterable[tuple[Lines, list[tuple[float, int]], float]]) -> tuple[int, int, int]:
    """New fissures found, false alarms, and unchanged pairs with an alarm, by the lines raised in each pair and the least log odds."""
    found = false = loud = 0
    for pair, rows, least in told:
        on = [k for value, k in rows if value >= least]
        found += len({k for k in on if k >= 0})
        false += on.count(-1)
        loud += not pair.fissures and -1 in on
    return found, false, loud


def least_quiet(pairs: Sequence[tuple[Lines, list[tuple[float, int]]]]) -> float:
    """Log odds of the least chance at which `QUIET` of the unchanged pairs, of which there must be one, stay without alarm."""
    values = [rows[0][0] if rows else -np.inf for pair, rows in pairs if not pair.fissures]
    return float(np.quantile(values, QUIET, method="higher")) + 1e-9


def reliability(pairs: Sequence[Lines]) -> Iterator[tuple[float, float, float, float]]:
    """Chances of lines held out: the band, its mean chance, the share that is new, and lines in a deal."""
    chance, new = [], []
    for deal in range(DEALS):
        fold = folds(pairs, deal)
        for k in range(FOLDS):
            base, weights = fitted([p for p, f in zip(pairs, fold, strict=True) if f != k])
            for pair in (p for p, f in zip(pairs, fold, strict=True) if f == k):
                kept = pair.counts
                chance.append(expit(base + pair.features[kept] @ weights))
                new.append(pair.fissure[kept] >= 0)
    chances, real = np.concatenate(chance), np.concatenate(new)
    for low in np.arange(0, 1, 0.2):
        band = (chances >= low) & (chances < low + 0.2)
        if band.any():
            yield float(low), chances[band].mean(), real[band].mean(), band.sum() / DEALS


def main() -> None:
    """Hold out, print, fit."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("cache", type=Path)
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--rendered", type=Path, nargs=2, action="append", default=[])
    parser.add_argument("--without", choices=NAMES[1:])
    asked = parser.parse_args()
    names = [name for name in NAMES if name != asked.without]
    kept = [NAMES.index(name) for name in names]
    pairs = [
        replace(pair, features=pair.features[:, kept])
        for pair in measured(asked.cache, asked.folders, asked.rendered)
    ]
    held_out: list[list[list[tuple[float, int]]]] = []
    for deal in range(DEALS):
        fold = folds(pairs, deal)
        by_fold = [fitted([p for p, f in zip(pairs, fold, strict=True) if f != k]) for k in range(FOLDS)]
        held_out.append([raised(p, *by_fold[f]) for p, f in zip(pairs, fold, strict=True)])
    groups = {"all": pairs} | {
        g: [p for p in pairs if p.group == g] for g in dict.fromkeys(p.group for p in pairs)
    }
    for chance in CHANCES:
        for name, members in groups.items():
            least = odds(np.array(chance))
            tallies = [
                tally((p, rows, least) for p, rows in zip(pairs, deal, strict=True) if p in members)
                for deal in held_out
            ]
            quiet = sum(not p.fissures for p in members)
            found, false, loud = np.mean(tallies, axis=0)
            print(
                f"chance {chance}: {name:11} {len(members)} pairs, found {found:.1f} of {sum(p.fissures for p in members)}, "
                f"false {false / len(members):.2f} a pair, {quiet - loud:.1f} of {quiet} unchanged ones without alarm"
            )
    for deal, rows in enumerate(held_out):
        fold = folds(pairs, deal)
        limits = [
            least_quiet([(p, r) for p, r, f in zip(pairs, rows, fold, strict=True) if f != k])
            for k in range(FOLDS)
        ]
        found, false, loud = tally((p, r, limits[f]) for p, r, f in zip(pairs, rows, fold, strict=True))
        print(
            f"least chance chosen on the other folds ({min(expit(limits)):.2f} to {max(expit(limits)):.2f}), deal {deal}: "
            f"found {found}, false {false / len(pairs):.2f} a pair, {loud} unchanged ones with an alarm"
        )
    for low, share, real, count in reliability(pairs):
        print(f"chance {low:.1f} to {low + 0.2:.1f}: mean {share:.2f}, new {real:.2f} of {count:.0f} lines")
    base, weights = fitted(pairs)
    print(f"BASE = {base:.2f}; " + ", ".join(f"{n} {w:.2f}" for n, w in zip(names, weights, strict=True)))


if __name__ == "__main__":
    main()

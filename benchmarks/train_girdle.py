"""Fit the weights by which the girdle is told from the other rings of a setting.

    python benchmarks/train_girdle.py STONES --renders FOLDER ... --halves FOLDER

Each folder holds one folder per case with a truth.json, as for benchmarks/diameters.py. Every photograph of the test stones
is used as it is and in perturbed copies: turned, mirrored and reduced; with another tone curve and
colour balance; and round stones pulled into other outlines; those rendered by benchmarks/render_stones.py as they are.
--halves has the networks that benchmarks/train_body.py trained without half of the test stones: the body of each is seen by the one
that never saw it. Weights are fitted for each lamp. Prints what is wrong when each stone is judged by weights from
the others, then writes measure/rim_weights.py.
"""

import argparse
from collections.abc import Iterator, Mapping
from pathlib import Path

import cv2
import numpy as np
from diameters import load, photographs
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.spatial import cKDTree

from setstone.measure import body
from setstone.measure.girdle import candidate_rings
from setstone.measure.light import Pixels
from setstone.measure.network import Network, read_network
from setstone.measure.rim import MEASURES, evidence
from setstone.measure.rings import Curve, resampled

TARGET = Path(__file__).parents[1] / "measure" / "rim_weights.py"
ANGLES = np.linspace(-np.pi, np.pi, 1440, endpoint=False)
#: Penalty on the squared weights, in units of one stone.
SHRINKAGE = 0.05
FOLDS = 8
#: What a test stone counts against a rendered one, whose setting is only drawn.
TESTED = 5


def radius(outline: Curve, centre: NDArray[np.float64]) -> NDArray[np.float64]:
    """Radius of an outline at `ANGLES` around a centre inside it."""
    x, y = (outline - centre).T
    angle = np.arctan2(y, x)
    order = np.argsort(angle)
    return np.interp(ANGLES, angle[order], np.hypot(x, y)[order], period=2 * np.pi)


def other_outlines() -> dict[str, NDArray[np.float64]]:
    """Radii at `ANGLES` of outlines no round stone has."""
    c, s = np.abs(np.cos(ANGLES)), np.abs(np.sin(ANGLES))
    height, arc = 0.72, (1.3**2 + 0.72**2) / (2 * 0.72)
    offset = arc - height
    return {
        "cushion": ((c / 1.08) ** 2.9 + (s / 0.95) ** 2.9) ** (-1 / 2.9),
        "square": (c**6 + s**6) ** (-1 / 6),
        "oval": 1 / np.hypot(c / 1.25, s / 0.85),
        "marquise": np.sqrt(arc**2 - (offset * c) ** 2) - offset * s,
        "pear": 1 / np.hypot(c, s / 0.9) * (1 + 0.28 * np.exp(-((ANGLES / 0.42) ** 2))),
    }


def pulled(pixels: Pixels, outline: Curve, target: NDArray[np.float64], turn: float) -> tuple[Pixels, Curve]:
    """Photograph with every ray stretched so that the outline takes another form."""
    centre = outline.mean(axis=0)
    source = radius(outline, centre)
    target = np.interp(ANGLES - turn, ANGLES, target, period=2 * np.pi)
    target = target * (0.82 * source.mean() / target.mean())
    size = 1200
    middle = (size - 1) / 2
    y, x = np.mgrid[:size, :size] - middle
    angle, distance = np.arctan2(y, x), np.hypot(x, y)
    steepness = np.gradient(np.log(target), ANGLES)

    def around(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.interp(angle, ANGLES, values, period=2 * np.pi)

    girdle, beyond = around(target), distance - around(target)
    there = around(source)
    # The stone is stretched; what lies beyond it keeps its distance from the girdle, as a setting does.
    beyond *= around(source.mean() / target.mean() / np.hypot(1, steepness))
    distance = np.where(beyond < 0, distance * there / girdle, there + beyond)
    at = [(c + distance * f(angle)).astype(np.float32) for c, f in zip(centre, (np.cos, np.sin), strict=True)]
    copy = cv2.remap(pixels, *at, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT_101)
    return copy, middle + target[:, None] * np.column_stack([np.cos(ANGLES), np.sin(ANGLES)])


def turned(pixels: Pixels, outline: Curve, turn: float, factor: float) -> tuple[Pixels, Curve]:
    """Mirrored, turned and reduced photograph."""
    centre = outline.mean(axis=0)
    move = cv2.getRotationMatrix2D((float(centre[0]), float(centre[1])), np.degrees(turn), factor)
    size = 1200
    move[:, 2] += size / 2 - centre
    smooth = cv2.GaussianBlur(pixels, (0, 0), 0.5 / factor)
    copy = cv2.warpAffine(smooth, move, (size, size), borderMode=cv2.BORDER_REFLECT_101)[:, ::-1]
    there = outline @ move[:, :2].T + move[:, 2]
    return np.ascontiguousarray(copy), np.column_stack([size - 1 - there[:, 0], there[:, 1]])


def toned(pixels: Pixels, rng: np.random.Generator) -> Pixels:
    """Photograph with another tone curve, colour balance and more noise."""
    gain = rng.uniform(0.6, 1.15, 3)
    value = gain * (pixels / np.iinfo(pixels.dtype).max) ** rng.uniform(0.6, 1.7)
    return np.clip(255 * value + rng.normal(0, 4, pixels.shape), 0, 255).astype(np.uint8)


def copies(folder: Path, lamp: str) -> Iterator[tuple[str, Pixels, Curve]]:
    """Case, photograph and true outline of every photograph, and of perturbed copies of the test stones."""
    rng = np.random.default_rng(7)
    forms = list(other_outlines().values())
    for i, (name, path, stone, _) in enumerate(photographs(folder, lamp)):
        case = name.split("/")[0]
        pixels = load(path)
        rendered = "visible_diameter_mm" not in stone
        # What is seen of a rendered stone ends at the lip all around.
        outline = resampled(np.array(stone["visible_outline_px" if rendered else "outline_px"]), 2000)
        yield case, pixels, outline
        if rendered:
            continue
        yield case, *turned(pixels, outline, rng.uniform(-np.pi, np.pi), rng.uniform(0.6, 0.95))
        yield case, toned(pixels, rng), outline
        if stone["cut"] in ("round", "old_european"):
            for k in (0, 2):
                form = forms[(i + k) % len(forms)]
                yield case, *pulled(pixels, outline, form, rng.uniform(-np.pi, np.pi))


def halves(folder: Path) -> dict[str, Network]:
    """For every test stone the network that has not learnt from it."""
    seen = {}
    for path in sorted(folder.glob("*.txt")):
        names, weights = path.read_text(encoding="utf-8").split("\n", 1)
        seen |= dict.fromkeys(names.split(), read_network(weights))
    return seen


def fitted(cases: list[tuple[NDArray[np.float64], NDArray[np.bool_], float]]) -> NDArray[np.float64]:
    """Weights of greatest penalised likelihood of a conditional logit model (McFadden 1974)."""

    def loss(weight: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        value, slope = SHRINKAGE / 2 * weight @ weight, SHRINKAGE * weight
        for measures, right, share in cases:
            score = measures @ weight
            chance = np.exp(score - score.max())
            chance /= chance.sum()
            hit = chance[right].sum()
            value -= share * np.log(hit)
            slope = slope - share * ((chance * right / hit - chance) @ measures)
        return float(value), slope

    return minimize(loss, np.zeros(len(MEASURES)), jac=True, method="L-BFGS-B").x


def weights(
    folders: list[Path], lamp: str, unseen: Mapping[str, Network]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Spread of each measure over all rings, and its weight per spread; prints the check."""
    names, all_measures, all_right = [], [], []
    left_out = 0
    own = body.network
    for case, pixels, outline in (copy for folder in folders for copy in copies(folder, lamp)):
        body.network = lambda case=case: unseen.get(case) or own()
        tree = cKDTree(resampled(outline, 4000))
        diameter = np.ptp(outline, axis=0).mean()
        found = list(candidate_rings(pixels))
        off = np.array([np.median(tree.query(c)[0]) for rings in found for c in rings.curves]) / diameter
        if off.min(initial=1) > 0.005:
            left_out += 1
            continue
        names.append(case)
        all_measures.append(np.concatenate([evidence(r.strip, r.paths, r.heart, r.astray) for r in found]))
        all_right.append(off < max(0.0015, off.min() + 0.0005))
    body.network = own
    spread = np.concatenate(all_measures).std(axis=0)
    share = [(TESTED if name in unseen else 1) / names.count(name) for name in names]
    cases = list(zip([m / spread for m in all_measures], all_right, share, strict=True))
    wrong = []
    stones = sorted(set(names))
    np.random.default_rng(0).shuffle(stones)
    for fold in (set(stones[k::FOLDS]) for k in range(FOLDS)):
        weight = fitted([c for c, name in zip(cases, names, strict=True) if name not in fold])
        wrong += [
            name
            for (measures, right, _), name in zip(cases, names, strict=True)
            if name in fold and not right[int((measures @ weight).argmax())]
        ]
    print(
        f"{lamp}: {len(wrong)} of {len(names)} wrong by weights from the other stones;"
        f" {left_out} without the true ring"
    )
    print("  " + " ".join(wrong))
    return spread, fitted(cases)


def main() -> None:
    """Fit for both lamps and write."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("stones", type=Path)
    parser.add_argument("--renders", type=Path, nargs="+", required=True)
    parser.add_argument("--halves", type=Path, required=True)
    arguments = parser.parse_args()
    folders, unseen = [arguments.stones, *arguments.renders], halves(arguments.halves)
    rows = ""
    for lamp in ("white", "blue"):
        rows += f'    "{lamp}": {{\n'
        for name, spread, weight in zip(MEASURES, *weights(folders, lamp, unseen), strict=True):
            rows += f'        "{name}": ({spread:.4g}, {weight:.4g}),\n'
        rows += "    },\n"
    TARGET.write_text(
        '"""Weights of the measures of a ring, written by benchmarks/train_girdle.py: do not edit."""\n\n'
        "import numpy as np\n\n"
        "# For each lamp, one row a measure: its spread over all rings, and its weight per spread.\n"
        f"_TABLES = {{\n{rows}}}\n\n"
        "#: Weight of each measure in its own unit, by lamp.\n"
        "SLOPE = {\n"
        "    lamp: np.array([weight / spread for spread, weight in table.values()], np.float64)\n"
        "    for lamp, table in _TABLES.items()\n"
        "}\n",
        encoding="utf-8",
    )


if __name__ == "__main__":
    main()

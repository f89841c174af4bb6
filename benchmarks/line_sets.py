"""The line detector on open sets of lines, beside the published and baseline figures.

    python benchmarks/line_sets.py REALDATA [--set NAME] [--limit N]

REALDATA holds the folders lines-retina-chase, lines-retina-hrf, lines-pavement-sut, lines-masonry and
lines-steel-grains; each README names source, licence and metric. No learning, one set of defaults: `line_map`, by which
every line of a stone is judged, too; dark lines, from the narrowest width named per set and chosen on it (a fit: see docs/accuracy.md).
"""

import argparse
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.line_map import line_map

Plane = NDArray[np.float32]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class LineSet:
    """A folder of pictures with traced lines.

    Parameters
    ----------
    folder : str
    narrowest_px : float
        Full width at half maximum of its thin lines.
    known : str
        Figures of others, from the README.
    """

    folder: str
    narrowest_px: float
    known: str


SETS = {
    "chase": LineSet(
        "lines-retina-chase", 3.5,
        "sato F1 0.620, AUC 0.915, F1 at 2 px 0.784; B-COSFIRE Se 0.7585 at Sp 0.9587",
    ),
    "hrf": LineSet(
        "lines-retina-hrf", 5.6,
        "sato accuracy 0.951, AUC 0.948, Se 0.741 at Sp 0.967; multi-scale Hessian accuracy 0.9581",
    ),
    "pavement": LineSet("lines-pavement-sut", 6.0, "sato F1 at 2 px 0.499, meijering 0.552"),
    "masonry": LineSet("lines-masonry", 7.75, "sato F1 at 2 px 0.565, local darkness 0.653"),
    "steel": LineSet("lines-steel-grains", 1.2, "sato F1 at 2 px 0.889, frangi 0.948"),
}  # fmt: skip


def pictures(folder: Path, limit: int | None) -> Iterator[tuple[Plane, Mask, Mask]]:
    """Picture, truth and field of view of each case."""
    if (folder / "steel.png").exists():
        pairs = [(folder / "steel.png", folder / "mask_boundaries.png")]
    else:
        pairs = [
            (path, folder / "masks" / f"{path.stem}.png") for path in sorted((folder / "images").iterdir())
        ]
    for path, mask in pairs[:limit]:
        # Green, as is customary for retinas; where a picture is grey it is the luminance.
        green = cv2.imread(str(path), cv2.IMREAD_COLOR)[..., 1]
        truth = cv2.imread(str(mask), cv2.IMREAD_GRAYSCALE) > 0
        field = folder / "fov" / f"{path.stem}.png"
        inside = cv2.imread(str(field), cv2.IMREAD_GRAYSCALE) > 0 if field.exists() else np.ones_like(truth)
        yield green.astype(np.float32), truth, inside


def response(plane: Plane, inside: Mask, narrowest_px: float) -> Plane:
    """Map of dark lines."""
    return line_map(plane, narrowest_px=narrowest_px, bright=False, mask=None if inside.all() else inside)


def area_under_curve(lines: Plane, others: Plane) -> float:
    """Probability that a line's pixel is above another's (Mann-Whitney), by ranks of both."""
    order = np.sort(others)
    return float(
        (np.searchsorted(order, lines) + np.searchsorted(order, lines, side="right")).mean() / 2 / len(order)
    )


def near(mask: Mask) -> Mask:
    """Pixels within 2 px of the mask."""
    yy, xx = np.mgrid[-2:3, -2:3]
    disc = (xx**2 + yy**2 <= 4).astype(np.uint8)
    return np.asarray(cv2.dilate(mask.astype(np.uint8), disc) > 0)


def f1(right_p: float, predicted: float, right_t: float, true: float) -> float:
    """Harmonic mean of precision and recall."""
    precision, recall = right_p / max(predicted, 1), right_t / max(true, 1)
    return 2 * precision * recall / max(precision + recall, 1e-12)


def measure(line_set: LineSet, root: Path, limit: int | None) -> str:
    """One line of figures."""
    start = time.perf_counter()
    cases = [
        (response(plane, inside, line_set.narrowest_px), truth, inside)
        for plane, truth, inside in pictures(root / line_set.folder, limit)
    ]
    seconds = (time.perf_counter() - start) / max(len(cases), 1)
    lines = np.concatenate([r[t & i] for r, t, i in cases])
    others = np.concatenate([r[~t & i] for r, t, i in cases])
    levels = np.quantile(np.concatenate([lines[::11], others[::11]]), np.linspace(0.6, 0.997, 60))
    plain = [f1(a := (lines > v).sum(), a + (others > v).sum(), a, len(lines)) for v in levels]
    accuracy = max(((lines > v).sum() + (others <= v).sum()) / (len(lines) + len(others)) for v in levels)
    tolerant = np.zeros((len(levels), 4))
    for r, t, i in cases:
        wide = near(t)
        for k, v in enumerate(levels):
            p = (r > v) & i
            tolerant[k] += [(p & wide).sum(), p.sum(), (t & i & near(p)).sum(), (t & i).sum()]
    at = {sp: float((lines > np.quantile(others, sp)).mean()) for sp in (0.96, 0.967)}
    return (
        f"{len(cases)} pictures, {seconds:.2f} s each: F1 {max(plain):.3f}, accuracy {accuracy:.4f}, "
        f"AUC {area_under_curve(lines, others):.3f}, Se {at[0.96]:.3f} at Sp 0.96, {at[0.967]:.3f} at Sp 0.967, "
        f"F1 at 2 px {max(f1(*row) for row in tolerant):.3f}"
    )


def main() -> None:
    """Print the figures of all sets or of one."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("realdata", type=Path)
    parser.add_argument("--set", choices=sorted(SETS))
    parser.add_argument("--limit", type=int, help="only the first N pictures of each set")
    arguments = parser.parse_args()
    for name, line_set in SETS.items():
        if arguments.set in (None, name):
            if not (arguments.realdata / line_set.folder).exists():
                print(f"{name}: {line_set.folder} is not in {arguments.realdata}", file=sys.stderr)
                continue
            print(
                f"{name}: {measure(line_set, arguments.realdata, arguments.limit)}\n    others: {line_set.known}"
            )


if __name__ == "__main__":
    main()

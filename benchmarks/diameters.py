"""Accuracy of the girdle's mean diameter on a folder of photographs with known truth.

    python benchmarks/diameters.py FOLDER [FOLDER ...] [--lamp white] [--sheet docs/images/outlines.jpg]

The folder holds one folder per case with a truth.json (see the README beside the test stones). The
true scale is used, so that only the outline is judged. Where the setting hides more than 4 % of the
stone, the reference is the visible part. --sheet draws the outline that is most wrong of each cut (blue) over the true
one (dashed, orange; colours of Okabe & Ito 2008).
"""

import argparse
import json
import statistics
import time
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.girdle import find_girdle
from setstone.measure.light import Pixels
from setstone.measure.outline import diameters
from setstone.measure.rings import resampled
from setstone.measure.scale import Scale

#: Side of a drawn tile, in pixels.
TILE = 320
#: How many times finer what a lip leaves to be seen is drawn, to measure it.
FINER = 4


def photographs(folder: Path, lamp: str) -> Iterator[tuple[str, Path, dict[str, Any], float]]:
    """Name, file, stone and scale of every photograph under one lamp."""
    for path in sorted(folder.glob("*/truth.json")):
        truth = json.loads(path.read_text(encoding="utf-8"))
        blocks = {"stone": [truth], "pair": [truth.get("before"), truth.get("after")]}.get(truth["kind"], [])
        for block in blocks:
            for stem, record in block["images"].items():
                if record["lamp"] == lamp:
                    name = f"{path.parent.name}/{stem}"
                    yield name, path.parent / record["image"], block["stone"], record["um_per_px"]


def true_width(stone: dict[str, Any], um_per_px: float) -> float:
    """Mean width of the girdle, mm; where the setting hides much of it, of what can be seen."""
    if "visible_diameter_mm" in stone:  # a computed test stone
        part = "diameter_mm" if stone["visible_fraction"] > 0.96 else "visible_diameter_mm"
        return float(stone[part]["mean"])
    # On stones of our own rendering the lip hides the same width all around, claws more in places.
    outline = np.array(stone["outline_px"])
    size = np.ceil(outline.max(axis=0)).astype(int)[::-1] + 8
    girdle = np.zeros(FINER * size, np.uint8)
    cv2.fillPoly(girdle, [np.rint((FINER * (outline + 0.5) - 0.5) * 16).astype(np.int32)], 1, shift=4)
    inside = cv2.distanceTransform(girdle, cv2.DIST_L2, cv2.DIST_MASK_PRECISE) / FINER
    x, y = (FINER * np.array(stone["visible_outline_px"]) + FINER // 2).T
    lip = max(
        float(np.median(inside[y, x])) - 0.5, 0.0
    )  # the outermost pixels seen begin half a pixel before
    contours, _ = cv2.findContours((inside > lip).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    hull = cv2.convexHull(max(contours, key=cv2.contourArea))
    return (cv2.arcLength(hull, True) / np.pi + 1) / FINER * um_per_px / 1000


def drawn(
    pixels: Pixels, found: NDArray[np.float64], true: NDArray[np.float64], text: str
) -> NDArray[np.uint8]:
    """Photograph with the outline found and the true one, cut out and reduced to a tile."""
    low = np.maximum(np.floor(true.min(axis=0) - 0.12 * np.ptp(true, axis=0)), 0).astype(int)
    high = np.ceil(true.max(axis=0) + 0.12 * np.ptp(true, axis=0)).astype(int)
    part = pixels[low[1] : high[1], low[0] : high[0]]
    factor = TILE / max(part.shape[:2])
    small = cv2.resize(part, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    tile = np.full((TILE + 20, TILE, 3), 255, np.uint8)
    tile[20 : 20 + small.shape[0], : small.shape[1]] = small

    def place(outline: NDArray[np.float64]) -> NDArray[np.int32]:
        return np.rint((outline - low) * factor + [0, 20]).astype(np.int32)

    cv2.polylines(tile, [place(found)], True, (0, 114, 178), 2, cv2.LINE_AA)
    around = place(resampled(true, 120))
    cv2.polylines(tile, list(around.reshape(-1, 2, 2)), False, (230, 159, 0), 1, cv2.LINE_AA)
    cv2.putText(tile, text, (4, 14), cv2.FONT_HERSHEY_SIMPLEX, 0.42, (0, 0, 0), 1, cv2.LINE_AA)
    return tile


def load(path: Path) -> Pixels:
    """Photograph as (H, W, 3) RGB."""
    image = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    if image is None:
        raise SystemExit(f"{path} cannot be read as a picture.")
    return np.ascontiguousarray(image[..., ::-1] if image.ndim == 3 else np.repeat(image[..., None], 3, 2))


def main() -> None:
    """Print one line per photograph and a summary per cut."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--lamp", default="white", choices=["white", "blue"])
    parser.add_argument("--sheet", type=Path, help="file for the most wrong outline of each cut")
    arguments = parser.parse_args()

    worst: dict[str, tuple[float, NDArray[np.uint8]]] = {}
    errors = defaultdict(list)
    covered, missed, seconds = [], 0, []
    print(f"{'photograph':28} {'cut':14} {'true mm':>8} {'error %':>8} {'U %':>6} {'|e|/U':>6}  shape")
    for folder in arguments.folders:
        for name, path, stone, um_per_px in photographs(folder, arguments.lamp):
            pixels = load(path)
            start = time.perf_counter()
            outline = find_girdle(pixels)
            seconds.append(time.perf_counter() - start)
            true = true_width(stone, um_per_px)
            if outline is None:
                missed += 1
                print(f"{name:28} {stone['cut']:14} {true:8.3f}  no stone seen")
                continue
            mean = diameters(outline, Scale(um_per_px, 0.0, "given")).mean
            error, expanded = 100 * (mean.value / true - 1), 100 * mean.expanded / true
            errors[stone["cut"]].append(abs(error))
            covered.append(abs(error) <= expanded)
            if abs(error) > worst.get(stone["cut"], (-1.0,))[0]:
                text = f"{name.split('/')[0]}, {stone['cut']}: {error:+.2f} %, U {expanded:.2f} %"
                edge = np.array(stone["visible_outline_px"], np.float64)
                worst[stone["cut"]] = abs(error), drawn(pixels, outline.points, edge, text)
            print(
                f"{name:28} {stone['cut']:14} {true:8.3f} {error:8.2f} {expanded:6.2f}"
                f" {abs(error) / expanded:6.2f}  {outline.shape}"
            )
    print()
    for cut, values in sorted(errors.items()):
        print(
            f"{cut:14} n {len(values):3}  median {statistics.median(values):5.2f} %  worst {max(values):6.2f} %"
        )
    print(
        f"95 % intervals hold the truth in {100 * statistics.fmean(covered):.0f} % of {len(covered)};"
        f" not found {missed}; median time {1000 * statistics.median(seconds):.0f} ms"
    )
    if arguments.sheet is not None:
        tiles = [tile for _, (_, tile) in sorted(worst.items())]
        tiles += [np.full_like(tiles[0], 255)] * (-len(tiles) % 5)
        rows = [np.hstack(tiles[i : i + 5]) for i in range(0, len(tiles), 5)]
        cv2.imwrite(str(arguments.sheet), np.vstack(rows)[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 85])


if __name__ == "__main__":
    main()

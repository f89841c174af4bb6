"""Whether larger photographs of the same stones give the same findings: test stones enlarged, with fresh noise.

    python benchmarks/large_photographs.py CASES [--factor 3]

CASES is the folder of the computed test stones. Prints the scorer's figures for the photographs as they are and
enlarged; results of the enlarged ones are scored in the pixels of the originals. Enlarging brings no detail, so it
shows only whether the chain holds at another size.
"""

import argparse
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from predict import Examined, predictions, views
from scorer import load_scorer

from setstone.capture.open import open_photograph
from setstone.capture.photograph import Lamp
from setstone.measure.examination import Examination
from setstone.measure.examine import examine
from setstone.measure.light import Pixels
from setstone.measure.scale import Scale
from setstone.measure.scalebar import find_scale_bar, scale_from_bar

FIGURES = {
    "diam_err_med": "mean diameter error, median (%)",
    "diam_err_max": "mean diameter error, worst (%)",
    "fis_precision": "fissures, length precision",
    "fis_recall": "fissures, length recall",
    "fis_f1": "fissures, length F1",
    "false_fissures_per_clean": "false lines on a clean stone",
    "inc_precision": "inclusions, precision",
    "inc_recall": "inclusions, recall",
    "inc_f1": "inclusions, F1",
}


def enlarged(pixels: Pixels, factor: int, seed: int) -> Pixels:
    """Enlarge by cubic interpolation; noise of 2.5 grey levels is of the new pixels."""
    large = cv2.resize(pixels, None, fx=factor, fy=factor, interpolation=cv2.INTER_CUBIC).astype(np.float32)
    top = np.iinfo(pixels.dtype).max
    large += np.random.default_rng(seed).standard_normal(large.shape, np.float32) * (2.5 * top / 255)
    return np.asarray(np.clip(large, 0, top).astype(pixels.dtype))


def reduced(result: Examination, factor: int) -> Examination:
    """Result of an enlarged photograph in the pixels of the original."""

    def back(points: NDArray[np.float64]) -> NDArray[np.float64]:
        return (points + 0.5) / factor - 0.5

    assert result.outline is not None
    scale = result.scale and Scale(result.scale.um_per_px * factor, result.scale.u_um_per_px, "given")
    return replace(
        result,
        scale=scale,
        outline=replace(result.outline, points=back(result.outline.points)),
        blue_to_white=None,
        candidates=tuple(replace(c, path=back(c.path)) for c in result.candidates),
    )


def both_ways(cases: Path, factor: int) -> tuple[list[Examined], list[Examined]]:
    """Examine each pair as it is and enlarged, with the scale read from the original."""
    plain, large = [], []
    for case in sorted(p for p in cases.iterdir() if p.is_dir()):
        for occasion, paths in views(case).items():
            if set(paths) != {Lamp.WHITE, Lamp.BLUE}:
                continue
            white, blue = (open_photograph(paths[lamp]).pixels for lamp in (Lamp.WHITE, Lamp.BLUE))
            bar = find_scale_bar(white)
            scale = None if bar is None or bar.length_um is None else scale_from_bar(bar)
            finer = scale and Scale(scale.um_per_px / factor, scale.u_um_per_px / factor, "given")
            plain.append(Examined(case.name, occasion, paths, examine(white, blue, scale=scale)))
            found = examine(enlarged(white, factor, 0), enlarged(blue, factor, 1), scale=finer)
            large.append(Examined(case.name, occasion, paths, reduced(found, factor)))
            print(f"{case.name} {occasion}", flush=True)
    return plain, large


def main() -> None:
    """Examine, score, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("cases", type=Path)
    parser.add_argument("--factor", type=int, default=3)
    options = parser.parse_args()
    run = load_scorer(options.cases).run
    plain, large = (
        run(str(options.cases), predictions(some))[0]["ALL"]
        for some in both_ways(options.cases, options.factor)
    )
    print(f"\n| figure | as they are | {options.factor} times the pixels a side |\n|---|---|---|")
    for key, what in FIGURES.items():
        print(f"| {what} | {plain[key]:.2f} | {large[key]:.2f} |")


if __name__ == "__main__":
    main()

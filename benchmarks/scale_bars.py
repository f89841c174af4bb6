"""Scale bars burned into open micrographs, read with the printed label, beside the truth.

    python benchmarks/scale_bars.py REALDATA

REALDATA holds scalebars/ (electron micrographs, source and licence of each in its truth.json). A reading is right within
2 % of the true scale; one farther off is wrong, which is worse than none. No published figure is known for these.
"""

import argparse
import json
from pathlib import Path

import cv2
import numpy as np

from setstone.measure.scalebar import find_scale_bar, scale_from_bar

WITHIN = 0.02


def main() -> None:
    """Print one line a picture and the sum."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("realdata", type=Path)
    folder = parser.parse_args().realdata / "scalebars"
    right = wrong = readable = 0
    for name, truth in json.loads((folder / "truth.json").read_text(encoding="utf-8")).items():
        pixels = np.ascontiguousarray(cv2.imread(str(folder / name), cv2.IMREAD_COLOR)[..., ::-1])
        bar = find_scale_bar(pixels)
        true = truth.get("um_per_px")
        readable += true is not None
        if bar is None or bar.length_um is None:
            print(f"{name:24} {'no bar seen' if bar is None else 'bar seen, its label not read'}")
            continue
        scale = scale_from_bar(bar)
        error = scale.um_per_px / true - 1 if true else float("inf")
        right += abs(error) <= WITHIN
        wrong += abs(error) > WITHIN
        print(
            f"{name:24} {bar.label!r}, {bar.length_px:.1f} px (true {truth.get('bar_px')}): {100 * error:+.2f} %,"
            f" stated ± {200 * scale.relative_u:.2f} %"
        )
    print(f"read within 2 %: {right} of {readable} (goal: all readable); wrong: {wrong} (goal: 0)")


if __name__ == "__main__":
    main()

"""Resolution targets and rulers of known pitch, measured beside the standard.

    python benchmarks/rulers.py REALDATA

REALDATA holds rulers-targets/ (sources and licences in its truth.json). USAF 1951: the pitch of each element by a fit of its
three bars, calibrated on the first element listed, against MIL-STD-150A: 2^(group + (element - 1)/6) line pairs per mm.
The README of the set gives 0.3 % spread by half-maximum edges; no other published figure is known.
"""

import argparse
import json
from pathlib import Path

import cv2
import numpy as np

from setstone.measure.bars import three_bars, usaf_1951_pitch_um

GOAL = 1.0


def target(path: Path, elements: dict[str, dict[str, list[float]]]) -> None:
    """Print the error of every element of a resolution target after calibrating on the first."""
    # Green rises evenly through the false-colour map of the picture.
    plane = cv2.imread(str(path), cv2.IMREAD_COLOR)[..., 1].astype(np.float32)
    scale = 0.0
    errors = []
    for name, element in elements.items():
        x0, y0, x1, y1 = element["bbox_px"]
        bars = three_bars(plane, (x0, y0, x1, y1))
        true = usaf_1951_pitch_um(int(name[1]), int(name[3]))
        if bars is None:
            print(f"  {name}: no three bars seen")
            continue
        scale = scale or true / bars.pitch_px.value
        error = 100 * (bars.pitch_px.value * scale / true - 1)
        errors.append(abs(error))
        u = 100 * bars.pitch_px.u / bars.pitch_px.value
        print(
            f"  {name}: {bars.pitch_px.value:.3f} px, {bars.pitch_px.value * scale:.3f} µm (standard {true:.3f} µm):"
            f" {error:+.2f} %, stated ± {2 * u:.2f} %"
        )
    print(
        f"{path.name}: {scale:.4f} µm/px, worst {max(errors, default=float('nan')):.2f} % (goal ≤ {GOAL:g} %)"
    )


def main() -> None:
    """Print the elements of every target."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("realdata", type=Path)
    folder = parser.parse_args().realdata / "rulers-targets"
    for name, truth in json.loads((folder / "truth.json").read_text(encoding="utf-8")).items():
        if "vertical_bar_triplets" in truth:
            target(folder / name, truth["vertical_bar_triplets"])


if __name__ == "__main__":
    main()

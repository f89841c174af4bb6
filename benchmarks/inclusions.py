"""How well inclusions are found on the computed stones, by the scorer that comes with them.

    python benchmarks/inclusions.py [--stones ../shared/stones] [--by-case]

The girdle is taken from the truth, a per cent off; everything else is measured. Weights trained on
the same stones are used: for figures on stones not trained on, see benchmarks/train_spot_scores.py.
"""

import argparse
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))
from scorer import load_scorer
from stone_scenes import stone_scenes

from setstone.measure.judge_spots import judge_spots


def main() -> None:
    """Judge all stones and print what the scorer says."""
    options = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    default = Path(__file__).resolve().parents[2] / "shared" / "stones"
    options.add_argument("--stones", type=Path, default=default)
    options.add_argument("--threshold", type=float, default=0.5)
    options.add_argument("--by-case", action="store_true")
    chosen = options.parse_args()
    images: dict[str, Any] = {}
    seconds = 0.0
    for case in stone_scenes(chosen.stones):
        begin = time.process_time()
        candidates = judge_spots(case.scene)
        seconds += time.process_time() - begin
        um_per_px = case.scene.um_per_px or 1.0
        images[case.photograph] = {
            "inclusions": [
                {
                    "x": c.position[0] + case.offset[0],
                    "y": c.position[1] + case.offset[1],
                    "diameter_px": c.sizes["diameter"].value / um_per_px,
                }
                for c in candidates
                if c.score >= chosen.threshold
            ]
        }
    groups, cases = load_scorer(chosen.stones).run(str(chosen.stones), {"images": images})
    print(f"{'group':34}{'precision':>10}{'recall':>8}{'F1':>7}{'true':>6}{'|diameter| %':>14}")
    shown = {k: v for k, v in groups.items() if k in ("ALL", "clean") or k.startswith("difficulty")}
    for name, row in shown.items() | cases.items() if chosen.by_case else shown.items():
        print(
            f"{name:34}{row['inc_precision']:10.2f}{row['inc_recall']:8.2f}{row['inc_f1']:7.3f}"
            f"{row['inclusions']:6d}{row['inc_diam_err_med']:14.1f}"
        )
    clean = [c for c in stone_scenes(chosen.stones) if not any(needed for *_, needed in c.sightings)]
    believed = sum(len(images[c.photograph]["inclusions"]) for c in clean)
    print(f"believed spots on {len(clean)} photographs without one to be found: {believed}")
    print(
        f"baseline (blob_log, baseline-scores.txt): F1 0.02; {seconds / len(images):.2f} s of processor a stone"
    )


if __name__ == "__main__":
    main()

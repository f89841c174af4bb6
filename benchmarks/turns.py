"""How often it is told by which angle a stone was turned when it was set again, by its cut.

    python benchmarks/turns.py --rendered BEFORE AFTER ...

BEFORE and AFTER hold rendered stones, the same numbers as received and set again (see benchmarks/changes.py). Outlines are those the
program finds; the truth are those of the renderer. Step cuts look much the same after half a turn, square ones after a quarter.
Each stone is laid on the next one of its cut as well, which must be refused.
"""

import argparse
import json
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from setstone.capture.open import open_photograph
from setstone.measure.girdle import find_girdle
from setstone.measure.light import Pixels
from setstone.measure.register import register

#: A turn told so far from the truth is wrong, degrees.
WRONG_DEG = 3.0


class Look(NamedTuple):
    """Photographs under white and blue light, the girdle found and the true one."""

    pixels: list[Pixels]
    found: NDArray[np.float64] | None
    true: NDArray[np.float64]


def truth_of(folder: Path) -> dict[str, Any]:
    """What a rendered stone is."""
    told: dict[str, Any] = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    return told


def look(folder: Path) -> Look:
    """Open a rendered stone."""
    pixels = [open_photograph(folder / f"{lamp}.jpg").pixels for lamp in ("white", "blue")]
    girdle = find_girdle(pixels[0])
    found = None if girdle is None else girdle.points
    return Look(pixels, found, np.array(truth_of(folder)["stone"]["outline_px"]))


def turn_deg(moving: Look, fixed: Look) -> float:
    """True turn, of the similarity that lays one girdle on the other by least squares."""
    a, b = ((points - points.mean(0)) @ [1, 1j] for points in (moving.true, fixed.true))
    return float(np.degrees(np.angle((b * a.conj()).sum())))


def told(moving: Look, fixed: Look) -> float | None:
    """Turn that is told, degrees; None where it is refused, or a girdle is not found."""
    if moving.found is None or fixed.found is None:
        return None
    found = register(moving.pixels, fixed.pixels, moving_outline=moving.found, fixed_outline=fixed.found)
    return found.turned_deg if found.reliable else None


def main() -> None:
    """Lay all on one another and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rendered", type=Path, nargs=2, action="append", required=True)
    parser.add_argument("--cuts", nargs="*", help="these cuts only")
    asked = parser.parse_args()
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    for before, after in asked.rendered:
        others: dict[str, Look] = {}
        for folder in sorted(p.parent for p in after.glob("*/truth.json")):
            cut = truth_of(folder)["tags"][0]
            if (asked.cuts and cut not in asked.cuts) or not (before / folder.name).is_dir():
                continue
            fixed, moving = look(before / folder.name), look(folder)
            turned = told(moving, fixed)
            apart = 0.0 if turned is None else (turned - turn_deg(moving, fixed) + 180) % 360 - 180
            outcome = "refused" if turned is None else "wrong" if abs(apart) > WRONG_DEG else "right"
            counts[cut][outcome] += 1
            if cut in others and told(moving, others[cut]) is not None:
                counts[cut]["another stone taken for it"] += 1
            others[cut] = fixed
            print(folder.name, cut, outcome, f"{apart:.1f}°", flush=True)
    for cut, outcomes in sorted(counts.items()):
        print(cut, ", ".join(f"{name} {count}" for name, count in sorted(outcomes.items())))


if __name__ == "__main__":
    main()

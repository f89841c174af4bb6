"""What is measured of the glue on pairs of photographs before and after, and on stones with growing films of it.

    python benchmarks/glue.py STONES [--blurred] [--series FOLDER [--count 5]]

STONES holds pairs with a truth.json (see the README beside the test stones): before each there is old glue, yellow and
crazed, after it none. Printed are, for every pair, yellowness, residue and crazing of the rim before and after, the
difference, and on how many pairs each falls; with --blurred, what is still seen of residue and crazing before when those photographs are
blurred, and whether that is noticed; with --series, the same of rendered stones with films of growing width, as
which all three should grow (rendered first where not in the folder yet, a minute a stone on one core). The
true outline and the true motion are used, so that only the glue is judged.
"""

import argparse
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from haze import load
from numpy.typing import NDArray
from rendering.photograph import render

from setstone.measure.candidates import LampName
from setstone.measure.colour import stone_haze
from setstone.measure.glue import GlueChange, Occasion, glue_change
from setstone.measure.light import Pixels
from setstone.measure.quantity import Quantity
from setstone.record.gluing import blurred, blurs

#: Sigma of the blur tried, px.
BLUR = 1.5
#: Mean widths of the film of one stone after another, as shares of the diameter.
FILMS = (0.0, 0.01, 0.02, 0.04, 0.06)
#: Numbers of the stones of the series, of five cuts: none was trained on.
NUMBERS = (3000, 3003, 3007, 3012, 3018)


def occasions_of(folder: Path, truth: dict[str, Any]) -> tuple[Occasion, Occasion]:
    """Photographs of both occasions of a pair."""
    before, after = (
        Occasion(
            *(load(folder / truth[o]["images"][f"{o}_{lamp}"]["image"]) for lamp in ("white", "blue")),
            truth[o]["um_per_px"],
        )
        for o in ("before", "after")
    )
    return before, after


def pair(folder: Path) -> tuple[GlueChange, list[float]]:
    """Compare the two occasions of a pair: its rim, and the haze index of each."""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    before, after = occasions_of(folder, truth)
    hazes = []
    for occasion, look in (("before", before), ("after", after)):
        seen = np.zeros(look.white.shape[:2], np.uint8)
        outline = truth[occasion]["stone"]["visible_outline_px"]
        cv2.fillPoly(seen, [np.round(outline).astype(np.int32)], (1,))
        hazes.append(stone_haze(look.white, seen.astype(np.bool_), blue=look.blue))
    outline = np.array(truth["before"]["stone"]["visible_outline_px"], np.float64)
    return glue_change(before, after, outline, np.array(truth["pair"]["transform_after_to_before"])), hazes


def shown(quantity: Quantity | None) -> str:
    """Value and standard uncertainty."""
    return "      declined" if quantity is None else f"{quantity.value:8.2f} ± {quantity.u:5.2f}"


def print_pairs(folder: Path) -> None:
    """Print every pair, and on how many each figure falls."""
    falls = {"residue": 0, "crazing": 0, "yellowness": 0}
    pairs = compared = 0
    print(
        f"{'pair':8} {'yellowness before, after':>33} {'residue':>33} {'crazing mm/mm²':>33}  CIEDE2000  haze"
    )
    for path in sorted(folder.glob("*/truth.json")):
        if "pair" not in json.loads(path.read_text(encoding="utf-8")):
            continue
        change, hazes = pair(path.parent)
        pairs += 1
        compared += not change.declined
        cells = []
        for name in ("yellowness", "residue", "crazing"):
            before, after = getattr(change.before, name), getattr(change.after, name)
            cells.append(f"{shown(before)} {shown(after)}")
            falls[name] += before is not None and after.value < before.value
        print(
            f"{path.parent.name:8}",
            *cells,
            shown(change.difference),
            *(f"{h:.2f}" for h in hazes),
            "" if change.near_neutral else "coloured",
        )
    print(
        f"of {pairs} pairs: residue falls on {falls['residue']}, crazing on {falls['crazing']} (goal: all);"
    )
    print(f"colours compared on {compared}, of which yellowness falls on {falls['yellowness']}\n")


def print_blurred(folder: Path) -> None:
    """Print what a blur leaves of residue and crazing, and whether it is noticed there and between the photographs as they are."""
    for path in sorted(folder.glob("*/truth.json")):
        truth = json.loads(path.read_text(encoding="utf-8"))
        if "pair" not in truth:
            continue
        before, after = occasions_of(path.parent, truth)
        softer = replace(before, white=_softened(before.white), blue=_softened(before.blue))
        outlines = [
            np.array(truth[o]["stone"]["visible_outline_px"], np.float64) for o in ("before", "after")
        ]
        change = glue_change(before, softer, outlines[0], np.eye(3))
        residue, crazing = (
            getattr(change.after, name).value / getattr(change.before, name).value
            for name in ("residue", "crazing")
        )
        sharp = blurs(_by_lamp(before), outlines[0])
        noticed, false = (
            any(blurred(*sorted((sharp[lamp], blur))) for lamp, blur in other.items() if lamp in sharp)
            for other in (blurs(_by_lamp(softer), outlines[0]), blurs(_by_lamp(after), outlines[1]))
        )
        print(
            f"{path.parent.name:8} residue {residue:.0%}, crazing {crazing:.0%} of what it was, "
            f"{'noticed' if noticed else 'NOT noticed'}; as they are: {'a difference' if false else 'none'}"
        )


def _by_lamp(look: Occasion) -> dict[LampName, Pixels]:
    return {"white": look.white} if look.blue is None else {"white": look.white, "blue": look.blue}


def _softened(pixels: Pixels | None) -> Pixels | None:
    return None if pixels is None else cv2.GaussianBlur(pixels, (0, 0), BLUR)


def print_series(folder: Path, count: int) -> None:
    """Print yellowness, residue and crazing of stones with growing films."""
    folder.mkdir(parents=True, exist_ok=True)
    growing: dict[str, NDArray[np.float64]] = {}
    print("film (share of the diameter)   " + "".join(f"{f:8.2f}" for f in FILMS))
    for number in NUMBERS[:count]:
        rows: dict[str, list[float]] = {"yellowness": [], "residue": [], "crazing": []}
        for film in FILMS:
            change = _film(folder / f"g{number}-{film:.2f}.npz", number, film)
            for name, values in rows.items():
                measured = getattr(change.before, name)
                values.append(np.nan if measured is None else measured.value)
        for name, values in rows.items():
            print(f"r{number} {name:24}" + "".join(f"{v:8.2f}" for v in values))
            growing[f"{number} {name}"] = np.diff(values)
    for name in ("yellowness", "residue", "crazing"):
        steps = np.concatenate([v for key, v in growing.items() if key.endswith(name)])
        print(
            f"{name} grows or stays at {(steps >= 0).sum()} of {len(steps)} steps, least {steps.min():+.3f}"
        )


def _film(kept: Path, number: int, film: float) -> GlueChange:
    """The rim of a rendered stone compared with itself."""
    if not kept.exists():
        made = render(kept.stem, number, glue=film)
        np.savez(
            kept,
            white=made.white,
            blue=made.blue,
            outline=made.truth["stone"]["visible_outline_px"],
            um_per_px=made.truth["um_per_px"],
        )
    with np.load(kept) as data:
        occasion = Occasion(data["white"], data["blue"], float(data["um_per_px"]))
        return glue_change(occasion, occasion, data["outline"].astype(np.float64), np.eye(3))


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--blurred", action="store_true", help="blur the photographs before")
    parser.add_argument("--series", type=Path, help="folder of the rendered series")
    parser.add_argument("--count", type=int, default=5, help="stones in the series")
    asked = parser.parse_args()
    print_pairs(asked.folder)
    if asked.blurred:
        print_blurred(asked.folder)
    if asked.series is not None:
        print_series(asked.series, asked.count)


if __name__ == "__main__":
    main()

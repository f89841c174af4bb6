"""How the haze index follows the haze, and whether it tells a milky stone from a clear one.

    python benchmarks/haze.py STONES [--series FOLDER [--count 20]]

STONES holds one folder per case with a truth.json (see the README beside the test stones). Printed are

- with --series: the index of stones rendered by `rendering` with growing optical depth, all else the same: how many
  of the steps it grows at, and how much it moves when each photograph is exposed one stop more or less. What is
  not in the folder yet is rendered first (a minute a stone on one core);
- the index of every test stone, most first, with what is true of it;
- "milky or not" with the threshold learnt from all other stones (leave one stone out): halfway between the
  haziest clear stone and the next milky one above it;
- the same exposures on the clear test stones.

The true outline is used, so that only the haze is judged.
"""

import argparse
import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.colour import stone_haze
from setstone.measure.light import Pixels, linear

#: Optical depths across the girdle of one stone after another.
DEPTHS = (0.0, 0.1, 0.2, 0.4, 0.8, 1.6)
#: Number of the first stone of the series: none was trained on.
FIRST = 3000


@dataclass(frozen=True, eq=False)
class Case:
    """Both photographs of one stone on one occasion."""

    stone: str
    name: str
    white: Pixels
    blue: Pixels
    seen: NDArray[np.bool_]
    milky: str


def load(path: Path) -> Pixels:
    """Photograph as (H, W, 3) RGB."""
    image = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    if image is None:
        raise SystemExit(f"{path} cannot be read as a picture.")
    return np.ascontiguousarray(image[..., ::-1]).astype(image.dtype)  # type: ignore[return-value]


def cases(folder: Path) -> Iterator[Case]:
    """Every stone and occasion with both lamps."""
    for path in sorted(folder.glob("*/truth.json")):
        truth = json.loads(path.read_text(encoding="utf-8"))
        occasions = {"stone": {"": truth}, "pair": {k: truth.get(k) for k in ("before", "after")}}
        for occasion, block in occasions.get(truth["kind"], {}).items():
            yield case(path.parent, occasion, block, truth["colour"]["milky"])


def case(folder: Path, occasion: str, block: dict[str, Any], milky: str) -> Case:
    """Read the photographs of one occasion."""
    prefix = f"{occasion}_" if occasion else ""
    white, blue = (load(folder / block["images"][prefix + lamp]["image"]) for lamp in ("white", "blue"))
    seen = np.zeros(white.shape[:2], np.uint8)
    outline = np.round(np.array(block["stone"]["visible_outline_px"])).astype(np.int32)
    cv2.fillPoly(seen, [outline], (1,))
    return Case(folder.name, f"{folder.name} {occasion}".strip(), white, blue, seen.astype(np.bool_), milky)


def exposed(pixels: Pixels, stops: float) -> Pixels:
    """Photograph with another exposure, clipped at white."""
    return encoded(linear(pixels).astype(np.float64) * 2**stops, pixels)


def haze_of(one: Case, *, stops: float = 0) -> float:
    """Haze index of a case, its photographs exposed again where stops are given."""
    white, blue = (exposed(p, stops) if stops else p for p in (one.white, one.blue))
    return stone_haze(white, one.seen, blue=blue)


def series(folder: Path, count: int) -> Iterator[tuple[int, float, Case]]:
    """Stones with growing haze: number, optical depth, photographs; rendered where they are not there yet."""
    for number in range(FIRST, FIRST + count):
        for depth in DEPTHS:
            name = f"r{number}-{depth:.2f}"
            if not (folder / name / "truth.json").exists():
                _render(folder / name, number, depth)
            truth = json.loads((folder / name / "truth.json").read_text(encoding="utf-8"))
            yield number, depth, case(folder / name, "", truth, truth["colour"]["milky"])


def _render(folder: Path, number: int, depth: float) -> None:
    from rendering.photograph import render

    made = render(folder.name, number, depth=depth)
    folder.mkdir(parents=True, exist_ok=True)
    for lamp, pixels in (("white", made.white), ("blue", made.blue)):
        cv2.imwrite(str(folder / f"{lamp}.jpg"), pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 95])
    (folder / "truth.json").write_text(json.dumps(made.truth), encoding="utf-8")


def print_series(folder: Path, count: int) -> None:
    """Print how the index follows growing haze."""
    rows: dict[int, list[float]] = {}
    moved = []
    for number, _, one in series(folder, count):
        value = haze_of(one)
        rows.setdefault(number, []).append(value)
        moved += [abs(haze_of(one, stops=stops) - value) for stops in (-1, 1)]
    print("optical depth  " + "".join(f"{d:7.2f}" for d in DEPTHS))
    for number, values in rows.items():
        print(f"r{number}          " + "".join(f"{v:7.3f}" for v in values))
    steps = np.concatenate([np.diff(v) for v in rows.values()])
    print(f"grows at {(steps > 0).sum()} of {len(steps)} steps, least {steps.min():+.4f}")
    print(f"one stop more or less moves it by {np.mean(moved):.4f} in the mean, {max(moved):.3f} at most\n")


def encoded(light: NDArray[np.float64], like: Pixels) -> Pixels:
    """Linear light as sRGB (IEC 61966-2-1) in the depth of another photograph."""
    light = np.clip(light, 0, 1)
    value = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.round(value * np.iinfo(like.dtype).max).astype(like.dtype)  # type: ignore[return-value]


def learnt_threshold(haze: dict[str, list[tuple[float, bool]]], left_out: str) -> float:
    """Threshold between clear and milky from all stones but one."""
    others = [pair for stone, pairs in haze.items() if stone != left_out for pair in pairs]
    clear = max(value for value, milky in others if not milky)
    above = [value for value, milky in others if milky and value > clear]
    return (clear + min(above)) / 2 if above else (clear + 1) / 2


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--series", type=Path, help="folder of the rendered series")
    parser.add_argument("--count", type=int, default=20, help="stones in the series")
    asked = parser.parse_args()
    if asked.series is not None:
        print_series(asked.series, asked.count)
    rows: list[tuple[float, str, str, str]] = []
    moved = []
    for one in cases(asked.folder):
        value = haze_of(one)
        rows.append((value, one.name, one.stone, one.milky))
        if one.milky == "none" and not one.name.endswith("after"):
            moved += [abs(haze_of(one, stops=stops) - value) for stops in (-1, 1)]

    print(f"{'stone':12} {'true':7} {'haze':>5}")
    for value, name, _, milky in sorted(rows, reverse=True):
        print(f"{name:12} {milky:7} {value:5.2f}")
    haze: dict[str, list[tuple[float, bool]]] = {}
    for value, _, stone, milky in rows:
        haze.setdefault(stone, []).append((value, milky != "none"))
    told = Counter(
        (milky, value >= learnt_threshold(haze, stone))
        for stone, pairs in haze.items()
        for value, milky in pairs
    )
    print(
        f"leave one stone out: {told[True, True]} of {told[True, True] + told[True, False]} milky found, "
        f"{told[False, True]} of {told[False, True] + told[False, False]} clear called milky"
    )
    print(f"one stop more or less moves it by {np.mean(moved):.4f} in the mean, {max(moved):.3f} at most")


if __name__ == "__main__":
    main()

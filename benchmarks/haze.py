"""How well haze and milkiness agree with a folder of photographs with known truth.

    python benchmarks/haze.py FOLDER

The folder holds one folder per case with a truth.json (see the README beside the test stones). Printed are

- the haze of every stone, most first, with what is true of it;
- the confusion of the classes as the program gives them;
- the same for "milky or not" with the threshold learnt from all other stones (leave one stone out): halfway
  between the haziest clear stone and the next milky one above it;
- the response to more haze, simulated on the clear stones as I' = I t + A (1 - t) in linear light with the
  veil A at a third of the stone's mean light, and to exposures one stop up and down.

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

from setstone.measure.colour import Milky, stone_colour, stone_haze
from setstone.measure.light import Pixels, linear

CLASSES: tuple[Milky, ...] = ("none", "slight", "medium", "strong")


@dataclass(frozen=True, eq=False)
class Case:
    """Both photographs of one stone on one occasion."""

    stone: str
    name: str
    white: Pixels
    blue: Pixels
    seen: NDArray[np.bool_]
    milky: Milky


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


def case(folder: Path, occasion: str, block: dict[str, Any], milky: Milky) -> Case:
    """Read the photographs of one occasion."""
    prefix = f"{occasion}_" if occasion else ""
    white, blue = (load(folder / block["images"][prefix + lamp]["image"]) for lamp in ("white", "blue"))
    seen = np.zeros(white.shape[:2], np.uint8)
    outline = np.round(np.array(block["stone"]["visible_outline_px"])).astype(np.int32)
    cv2.fillPoly(seen, [outline], (1,))
    return Case(folder.name, f"{folder.name} {occasion}".strip(), white, blue, seen.astype(np.bool_), milky)


def hazed(pixels: Pixels, seen: NDArray[np.bool_], depth: float) -> Pixels:
    """Add haze of an optical depth inside the stone."""
    light = linear(pixels).astype(np.float64)
    veil = light[seen].mean(axis=0) / 3
    through = np.exp(-depth)
    light[seen] = light[seen] * through + veil * (1 - through)
    return encoded(light, pixels)


def exposed(pixels: Pixels, stops: float) -> Pixels:
    """Photograph with another exposure, clipped at white."""
    return encoded(linear(pixels).astype(np.float64) * 2**stops, pixels)


def changed(one: Case) -> dict[str, tuple[Pixels, Pixels]]:
    """Both photographs with more haze, and with other exposures."""
    pair = one.white, one.blue
    hazy = {f"depth {d:.2f}": tuple(hazed(p, one.seen, d) for p in pair) for d in (0.1, 0.3, 0.9, 2.0)}
    other = {f"{stops:+d} stop": tuple(exposed(p, stops) for p in pair) for stops in (-1, 1)}
    return {name: (pixels[0], pixels[1]) for name, pixels in (hazy | other).items()}


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
    rows: list[tuple[float, Case, Milky]] = []
    responses: dict[str, list[float]] = {}
    for one in cases(parser.parse_args().folder):
        colour = stone_colour(one.white, one.seen, blue=one.blue)
        rows.append((colour.haze, one, colour.milky))
        if one.milky == "none" and not one.name.endswith("after"):
            for name, (white, blue) in changed(one).items():
                value = stone_haze(white, one.seen, blue=blue)
                responses.setdefault(name, []).append(value - colour.haze)

    print(f"{'stone':12} {'true':7} {'haze':>5}  given")
    for value, one, given in sorted(rows, key=lambda row: -row[0]):
        print(f"{one.name:12} {one.milky:7} {value:5.2f}  {given}")
    confusion = Counter((one.milky, given) for _, one, given in rows)
    print(f"\n{'true / given':12}" + "".join(f"{name:>8}" for name in CLASSES))
    for true in CLASSES:
        print(f"{true:12}" + "".join(f"{confusion[true, given]:8}" for given in CLASSES))
    right = sum(confusion[name, name] for name in CLASSES)
    print(
        f"right {right} of {len(rows)}; always 'none' would be {sum(confusion['none', c] for c in CLASSES)}"
    )

    haze: dict[str, list[tuple[float, bool]]] = {}
    for value, one, _ in rows:
        haze.setdefault(one.stone, []).append((value, one.milky != "none"))
    told = Counter(
        (milky, value >= learnt_threshold(haze, stone))
        for stone, pairs in haze.items()
        for value, milky in pairs
    )
    print(
        f"leave one stone out: {told[True, True]} of {told[True, True] + told[True, False]} milky found, "
        f"{told[False, True]} of {told[False, True] + told[False, False]} clear called milky"
    )
    print("\nchange of haze on clear stones: median (least to greatest)")
    for name, changes in responses.items():
        print(f"{name:12} {np.median(changes):+.3f} ({min(changes):+.3f} to {max(changes):+.3f})")


if __name__ == "__main__":
    main()

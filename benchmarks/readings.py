"""How often readings of simulated stones leave the true material in, and how many others with it.

    nice python benchmarks/readings.py [--stones 40] [--seed 1]

Draws stones of every row of the table of materials: true index, birefringence and density from the middle 80 % of the
published ranges (uniformly: not the trapezoid the program assumes), readings scattered with the instrument's standard uncertainty.
For each set of tests prints how often the true row is consistent with the readings, is within a factor of twenty of the
best, shares the first rank; and how many rows and species (groups) share it.
"""

import argparse
import math
from collections.abc import Sequence

import numpy as np

from setstone.measure.quantity import Quantity
from setstone.record.evidence.materials import Material, Range, Refraction, materials
from setstone.record.evidence.ranking import Evidence, rank
from setstone.record.evidence.readings import Edges, OverLimit, ReadingKind, Understood, Value, Word

LIMIT = 1.81
U_INDEX, U_DENSITY = 0.003 / math.sqrt(3), 0.02 / math.sqrt(3)
SETS = {
    "refractometer": ("index",),
    "+ polariscope": ("index", "polariscope"),
    "+ thermal tester": ("index", "polariscope", "thermal"),
    "+ body colour": ("index", "polariscope", "thermal", "colour"),
    "+ density (unset)": ("index", "polariscope", "thermal", "colour", "density"),
}


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--stones", type=int, default=40, help="stones of each row")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    stones = [(m, read(m, rng)) for m in materials() for _ in range(options.stones)]
    print(f"{len(stones)} stones of {len(materials())} rows, seed {options.seed}")
    print(f"{'tests':20s} consistent  within 20  first rank  rows sharing it  species sharing it")
    for name, tests in SETS.items():
        print(f"{name:20s} {row(stones, tests)}")


def row(stones: Sequence[tuple[Material, dict[str, Evidence]]], tests: Sequence[str]) -> str:
    """Count over all stones."""
    kept = near = first = 0
    rows, groups = [], []
    for material, readings in stones:
        ranked = rank([readings[t] for t in tests if t in readings])
        own = next(r for r in ranked if r.material == material)
        leaders = [r.material for r in ranked if r.rank == 1]
        kept += own.consistent
        near += own.consistent and own.relative >= 1 / 20
        first += own.rank == 1
        rows.append(len(leaders))
        groups.append(len({m.group for m in leaders}))
    n = len(stones)
    return (
        f"{kept / n:10.1%} {near / n:10.1%} {first / n:11.1%} {np.mean(rows):16.1f} {np.mean(groups):19.1f}"
    )


def read(material: Material, rng: np.random.Generator) -> dict[str, Evidence]:
    """Read one stone of a material."""
    found: dict[str, tuple[ReadingKind, Value]] = {
        "index": (ReadingKind.REFRACTOMETER, index(material, rng)),
        "polariscope": (ReadingKind.POLARISCOPE, Word(str(rng.choice(*LIGHT[material.refraction])))),
        "thermal": (ReadingKind.THERMAL, Word(str(rng.choice(sorted(material.thermal))))),
        "colour": (ReadingKind.COLOUR, Word(str(rng.choice(sorted(material.colours))))),
    }
    if material.density is not None and "density" not in material.avoid:
        rho = inside(material.density, rng) + rng.normal(0, U_DENSITY)
        found["density"] = (ReadingKind.DENSITY, Quantity(rho, U_DENSITY, "g/cm³"))
    return {name: Evidence(Understood(kind, value, name)) for name, (kind, value) in found.items()}


#: What is seen between crossed filters, and how often (common practice, no source).
LIGHT: dict[Refraction, tuple[list[str], int | None, bool, list[float]]] = {
    Refraction.SINGLE: (["single", "single with strain"], None, True, [0.97, 0.03]),
    Refraction.STRAINED: (["single", "single with strain"], None, True, [0.6, 0.4]),
    Refraction.DOUBLE: (["double", "single"], None, True, [0.95, 0.05]),
    Refraction.EITHER: (["double", "single"], None, True, [0.5, 0.5]),
    Refraction.AGGREGATE: (["aggregate"], None, True, [1.0]),
}


def index(material: Material, rng: np.random.Generator) -> Edges | OverLimit:
    """Read the index on the table."""
    b = inside(material.birefringence, rng) if material.refraction is Refraction.DOUBLE else 0.0
    n = inside(Range(material.index.low, max(material.index.low, material.index.high - b)), rng)
    if n >= LIMIT - 0.005:
        return OverLimit(LIMIT)
    low, high = sorted((n + rng.normal(0, U_INDEX), n + b + rng.normal(0, U_INDEX)))
    if b == 0 or high >= LIMIT - 0.005:
        high = low
    return Edges(low, high, U_INDEX)


def inside(range_: Range, rng: np.random.Generator) -> float:
    """Draw from the middle 80 % of a range."""
    tenth = (range_.high - range_.low) / 10
    return float(rng.uniform(range_.low + tenth, range_.high - tenth))


if __name__ == "__main__":
    main()

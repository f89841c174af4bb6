"""What is said to have changed between two days, on test pairs and on stones rendered before and after.

    python benchmarks/changes.py STONES... [--rendered BEFORE AFTER]

STONES hold pairs with a truth.json (see the README beside the test stones). BEFORE and AFTER hold rendered stones, the same
numbers as received and set again, half of them with a new fissure, or with one that has grown (--grown) (about ten seconds a stone on one core):

    python benchmarks/render_stones.py BEFORE --first 2000 --count 40
    python benchmarks/render_stones.py AFTER --first 2000 --count 40 --again

Each pair is examined and laid on one another as `setstone changes` does. Printed are, for every least chance of a new line, the new
fissures found (half of a line raised as possible damage lies within 15 px or 3 % of the diameter of it, as the test stones' scorer
has it), false alarms a pair, and unchanged pairs with none; then the same with the least chance chosen on all
other stones. The chances were learnt on such pairs: benchmarks/train_changes.py has the figures held out by stone. Of the likely candidates before: how many are said to be gone although nothing was taken
away.
"""

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from predict import Examined, changed, examined, motion
from scipy.spatial import KDTree

from setstone.measure.changes import DAMAGE, Where, likeliest

Points = NDArray[np.float64]

#: Least chances tried, and most false alarms a pair.
LEAST = np.round(np.arange(0.1, 0.96, 0.05), 2)
FALSE_A_PAIR = 0.2


@dataclass(frozen=True, eq=False)
class Truth:
    """What is new: places along each new fissure, px after, seen ones and hidden ones; and how near counts."""

    seen: list[Points]
    hidden: list[Points]
    near: float


@dataclass(frozen=True, eq=False)
class Pair:
    """A pair laid on one another.

    `alarms` are the chances of new lines that are raised, with which of the new fissures each lies on, -1 for none and -2 for a hidden one. `fissures` is
    how many can be seen, `kept` how many likely candidates before were told of, `gone` how many of them as gone.
    """

    stone: str
    fissures: int
    alarms: list[tuple[float, int]]
    kept: int
    gone: int

    def found(self, least: float) -> int:
        """New fissures found."""
        return len({k for chance, k in self.alarms if k >= 0 and chance >= least})

    def false(self, least: float) -> int:
        """Lines raised that are not new."""
        return sum(k == -1 and chance >= least for chance, k in self.alarms)


def places(pieces: list[Points]) -> Points:
    """Places 2 px apart along polylines."""
    found = []
    for piece in pieces:
        run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(piece, axis=0).T))])
        at = np.arange(0, run[-1] + 1e-9, 2.0)
        found.append(np.column_stack([np.interp(at, run, piece[:, k]) for k in (0, 1)]))
    return np.concatenate(found) if found else np.empty((0, 2))


def truth_of_pair(folder: Path) -> Truth:
    """New fissures of a test pair."""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    told = [
        (c["visible"], places([np.array(p["line_px"]) for p in c["pieces"]]))
        for c in truth["pair"]["changed"]
    ]
    near = max(15.0, 0.03 * truth["after"]["stone"]["diameter_px"])
    return Truth([p for seen, p in told if seen], [p for seen, p in told if not seen], near)


def truth_of_rendered(before: Path, after: Path) -> Truth:
    """New fissures of a rendered stone: those it has more afterwards."""
    first, second = (json.loads((f / "truth.json").read_text(encoding="utf-8")) for f in (before, after))
    seen, hidden = [], []
    for fissure in second["fissures"][len(first["fissures"]) :]:
        pieces = [np.array(p["line_px"]) for p in fissure["pieces"]]
        (seen if any(p["blue"]["visible"] for p in fissure["pieces"]) else hidden).append(places(pieces))
    return Truth(seen, hidden, max(15.0, 0.03 * second["stone"]["diameter_px"]))


def judged(before: Examined, after: Examined, truth: Truth) -> Pair | None:
    """Compare a pair; None where it cannot be told how it lies."""
    matrix = motion(before, after)
    if matrix is None:
        return None
    alarms, kept, gone = [], 0, 0
    for change in changed(before, after, matrix):
        if not change.of_after:
            kept += 1
            gone += change.where is Where.BEFORE
        elif change.where in (Where.AFTER, Where.LONGER):
            candidate = after.result.candidates[change.index]
            if candidate.kind == "line":
                path = candidate.path if change.grown is None else change.grown
                alarms.append((change.chance, lies_on(places([path]), truth)))
    raised = [alarms[i] for i in likeliest([chance for chance, _ in alarms])]
    return Pair(before.case, len(truth.seen), raised, kept, gone)


def lies_on(path: Points, truth: Truth) -> int:
    """Which of the new fissures a line lies on; -1 for none and -2 for a hidden one."""
    for k, fissure in enumerate(truth.seen + truth.hidden):
        if len(fissure) and np.mean(KDTree(fissure).query(path)[0] <= truth.near) >= 0.5:
            return k if k < len(truth.seen) else -2
    return -1


def pairs_of(folder: Path) -> Iterator[tuple[Examined, Examined, Truth]]:
    """Test pairs."""
    before: Examined | None = None
    for one in examined(folder):
        if one.occasion == "before":
            before = one
        elif one.occasion == "after" and before is not None and before.case == one.case:
            yield before, one, truth_of_pair(folder / one.case)


def rendered_pairs(before: Path, after: Path) -> Iterator[tuple[Examined, Examined, Truth]]:
    """Rendered stones, as received and set again."""
    second = {one.case: one for one in examined(after)}
    for one in examined(before):
        if one.case in second:
            yield one, second[one.case], truth_of_rendered(before / one.case, after / one.case)


def best_least(pairs: list[Pair]) -> float:
    """The lowest chance with at most `FALSE_A_PAIR` false alarms a pair."""
    for least in LEAST.tolist():
        if sum(p.false(least) for p in pairs) <= FALSE_A_PAIR * len(pairs):
            return float(least)
    return float(LEAST[-1])


def row(name: str, pairs: list[Pair], least: list[float]) -> None:
    """One line of the table."""
    each = list(zip(pairs, least, strict=True))
    found, fissures = sum(p.found(t) for p, t in each), sum(p.fissures for p in pairs)
    false = sum(p.false(t) for p, t in each)
    quiet = [p.false(t) == 0 for p, t in each if not p.fissures]
    print(
        f"{name:28} found {found} of {fissures}, false {false} in {len(pairs)} pairs ({false / len(pairs):.2f} a pair), "
        f"{sum(quiet)} of {len(quiet)} unchanged pairs without alarm"
    )


def report(name: str, pairs: list[Pair]) -> None:
    """Print the tables of some pairs."""
    print(f"\n{name}: {len(pairs)} pairs")
    for least in sorted({*LEAST.tolist(), DAMAGE}):
        row(f"least chance {least:.2f}{' (in use)' if least == DAMAGE else ''}", pairs, [least] * len(pairs))
    kept, gone = sum(p.kept for p in pairs), sum(p.gone for p in pairs)
    print(f"likely candidates before that have no likely counterpart: {kept}, {gone} of them told as gone")


def main() -> None:
    """Examine, compare, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--rendered", type=Path, nargs=2)
    asked = parser.parse_args()
    cases = [case for folder in asked.folders for case in pairs_of(folder)]
    groups = {"test pairs": [judged(*case) for case in cases]}
    if asked.rendered:
        groups["rendered"] = [judged(*case) for case in rendered_pairs(*asked.rendered)]
    told = {name: [p for p in pairs if p is not None] for name, pairs in groups.items()}
    for name, pairs in told.items():
        report(name, pairs)
        print(f"{len(groups[name]) - len(pairs)} pairs refused")
    everything = [p for pairs in told.values() for p in pairs]
    held_out = [best_least([q for q in everything if q.stone != p.stone]) for p in everything]
    print(
        f"\nleast chance chosen on all: {best_least(everything):.2f}; held out: {min(held_out):.2f} to {max(held_out):.2f}"
    )
    row("cross-validated by stone", everything, held_out)
    if asked.rendered:
        count = len(told["test pairs"])
        row("of them the test pairs", everything[:count], held_out[:count])


if __name__ == "__main__":
    main()

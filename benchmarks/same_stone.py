"""How surely photographs of one stone are told from those of two, and how fast a stone is found among thousands.

    python benchmarks/same_stone.py STONES [--visits FIRST SECOND] [--train]

STONES holds test stones and pairs with a truth.json (see the README beside the test stones). FIRST and SECOND hold rendered
stones, the same numbers on two days, in other settings, turned, under other lamps and cameras:

    python benchmarks/render_stones.py FIRST --first 2000 --count 60
    python benchmarks/render_stones.py SECOND --first 2000 --count 60 --visit 1

Every occasion is compared with every other. Printed are the equal error rate over pairings with at least three findings on both
sides, by the scores of `setstone.measure.same_stone` and cross-validated (the weights learnt without the two stones compared), the words
for each pair of occasions of one stone, the most alike pairs of different ones, and the time of a search among 2,000. Rendered
stones whose outline was found more than 6 % too large, too small or aside are left out and counted: a person draws those
again. With --train the coefficients are printed.
"""

import argparse
import itertools
import json
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np
from numpy.typing import NDArray
from predict import examined
from sqlalchemy import insert

from setstone.capture.open import open_photograph
from setstone.capture.photograph import Lamp
from setstone.measure.align import warp
from setstone.measure.examination import Examination
from setstone.measure.fingerprint import Fingerprint, fingerprint, likeness
from setstone.measure.light import Pixels
from setstone.measure.same_stone import Strength, likelihood_ratio, weighed
from setstone.record import schema
from setstone.record.book import Book
from setstone.record.clock import now
from setstone.record.convert import to_json
from setstone.record.identity import find_stone_of, packed

#: Findings both must have to be counted.
THREE = 3
#: How far an outline may be from the true one, as a share of the radius.
OUTLINE = 0.06


@dataclass(frozen=True, eq=False)
class Print:
    """The fingerprint of one stone on one occasion."""

    stone: str
    occasion: str
    print: Fingerprint


@dataclass(frozen=True, eq=False)
class Pairs:
    """All pairings of occasions."""

    names: list[tuple[str, str]]
    layers: NDArray[np.float64]
    ratio: NDArray[np.float64]
    findings: NDArray[np.int64]
    strength: list[Strength]

    @property
    def same(self) -> NDArray[np.bool_]:
        """Whether both are of one stone."""
        return np.array([a == b for a, b in self.names])


def outline_holds(result: Examination, truth: Path) -> bool:
    """Whether the outline found is the true one but for `OUTLINE`."""
    if result.outline is None:
        return False
    true = np.array(json.loads(truth.read_text(encoding="utf-8"))["stone"]["outline_px"], np.float32)
    radius, found = (
        np.sqrt(cv2.contourArea(p.astype(np.float32)) / np.pi) for p in (true, result.outline.points)
    )
    aside = np.hypot(*(true.mean(axis=0) - np.array(result.outline.centre)))
    return bool(abs(found / radius - 1) <= OUTLINE and aside <= OUTLINE * radius)


def of_examination(result: Examination, white: Pixels, blue: Pixels) -> Fingerprint:
    """Fingerprint of what was examined."""
    assert result.outline is not None  # without one there is no examination
    if result.blue_to_white is not None:
        blue = warp(blue, result.blue_to_white, white.shape[:2])
    return fingerprint(result.outline, result.candidates, white, blue)


def prints(folder: Path, occasion: str = "") -> Iterator[Print]:
    """Examine every case of a folder under both lamps."""
    for one in examined(folder):
        white, blue = (open_photograph(one.paths[lamp]).pixels for lamp in (Lamp.WHITE, Lamp.BLUE))
        if occasion and not outline_holds(one.result, folder / one.case / "truth.json"):
            continue
        yield Print(one.case, occasion or one.occasion, of_examination(one.result, white, blue))


def compared(some: list[Print]) -> Pairs:
    """Compare every one with every other."""
    names, layers, ratios, findings, strengths = [], [], [], [], []
    for k, one in enumerate(some):
        for other, found in zip(some[:k], likeness(one.print, [o.print for o in some[:k]]), strict=True):
            fewer = min(one.print.findings, other.print.findings)
            names.append((one.stone, other.stone))
            layers.append(found.layers)
            ratios.append(likelihood_ratio(found))
            findings.append(fewer)
            strengths.append(weighed(found, fewer).strength)
    return Pairs(names, np.array(layers), np.array(ratios), np.array(findings), strengths)


def equal_error_rate(score: NDArray[np.float64], same: NDArray[np.bool_]) -> float:
    """Rate at which as large a share of the same is missed as of others is taken for the same."""
    thresholds = np.unique(np.concatenate([score[same], np.sort(score[~same])[-500:]]))
    worse = [max((score[same] < t).mean(), (score[~same] >= t).mean()) for t in thresholds]
    return float(min(worse))


def trained(layers: NDArray[np.float64], same: NDArray[np.bool_]) -> tuple[NDArray[np.float64], float]:
    """Weights and constant that give the natural logarithm of the likelihood ratio."""
    from sklearn.linear_model import LogisticRegression

    model = LogisticRegression(C=1.0).fit(layers, same)
    return model.coef_[0], float(model.intercept_[0] - np.log(same.sum() / (~same).sum()))


def cross_validated(pairs: Pairs, counted: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Logarithm of each pair's ratio, by weights learnt on pairs that share no stone of its second's fold."""
    first, second = (np.array(side) for side in zip(*pairs.names, strict=True))
    same = pairs.same
    logarithms = np.full(len(same), np.nan)
    for stone in np.unique(np.concatenate([first, second])):
        touched = (first == stone) | (second == stone)
        weights, constant = trained(pairs.layers[counted & ~touched], same[counted & ~touched])
        logarithms[touched] = pairs.layers[touched] @ weights + constant
    return logarithms


def search_time(some: list[Print], stones: int = 2000) -> float:
    """Seconds for one search of a book of so many stones, reading them included."""
    nothing = Examination("white", (300, 300), None, None, None, None, (), None, ())
    at = now()
    with TemporaryDirectory() as folder, Book.create(Path(folder) / "book") as book:
        box = book.add_object("Box of stones")
        numbers = range(1, stones + 1)
        with book.atomic() as connection:
            connection.execute(
                insert(schema.stones),
                [
                    {"id": n, "object_id": box.id, "position": f"{n}", "position_key": f"{n}", "claimed_as": "", "added": at}
                    for n in numbers
                ],
            )  # fmt: skip
            connection.execute(
                insert(schema.examinations),
                [
                    {"id": n, "stone_id": n, "occasion": "as received", "made": at, "by": "", "version": "", "result": to_json(nothing)}
                    for n in numbers
                ],
            )  # fmt: skip
            connection.execute(
                insert(schema.fingerprints),
                [
                    {"examination_id": n, "packed": packed(one.print)}
                    for n, one in zip(numbers, itertools.cycle(some), strict=False)
                ],
            )
        start = time.perf_counter()
        find_stone_of(book, some[0].print)
        return time.perf_counter() - start


def report(some: list[Print], *, train: bool) -> None:
    """Print the tables."""
    pairs = compared(some)
    same, counted = pairs.same, pairs.findings >= THREE
    print(f"{len(some)} occasions, {same.sum()} pairings of one stone, {(~same).sum()} of two")
    print(f"with three findings on both sides: {(counted & same).sum()} and {(counted & ~same).sum()}")
    if train:
        weights, constant = trained(pairs.layers[counted], same[counted])
        print("weights", weights.round(3).tolist(), "constant", round(constant, 3))
    logarithms = cross_validated(pairs, counted)
    print(
        f"equal error rate {equal_error_rate(pairs.ratio[counted], same[counted]):.2%}, cross-validated "
        f"{equal_error_rate(logarithms[counted], same[counted]):.2%} (goal: at most 2 %)"
    )
    print(
        f"cross-validated ratio of the most alike different stones {np.exp(logarithms[counted & ~same].max()):.0f}"
    )
    for name, which in (("one stone", same), ("two stones", ~same)):
        words = Counter(s for s, w in zip(pairs.strength, which, strict=True) if w)
        print(f"{name:10}", ", ".join(f"{words[s]} {s!s}" for s in Strength))
    print("(goal: no two stones 'strongly consistent')")
    print(f"search among 2,000: {search_time(some):.2f} s (goal: 1 s)")


def main() -> None:
    """Examine, compare, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--visits", type=Path, nargs=2, help="rendered stones on two days")
    parser.add_argument("--train", action="store_true", help="print the coefficients")
    asked = parser.parse_args()
    some = list(prints(asked.folder))
    for number, visit in enumerate(asked.visits or ()):
        some += prints(visit, f"visit {number}")
    report(some, train=asked.train)


if __name__ == "__main__":
    main()

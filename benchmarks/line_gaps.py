"""What stands between the candidate fissures and the truth, photograph by photograph, on stones left out of the training.

    python benchmarks/line_gaps.py STONES --renders FOLDER ... --cache FOLDER [--draw FOLDER] [--sheet docs/images/line-gaps.jpg]

Scores are those of `train_line_scores.py`, held out by stone. Every fissure not found is listed with its kind and
strength, how much of it the lines cover before scoring, and the best score of those lines; every false line shown with its score
and the reason that speaks against it most. With --draw, blue photographs with what was right (solid, blue), wrong
(dashed, orange) and missed (dotted, yellow); colours of Okabe & Ito (2008). --sheet writes twelve of them as one picture.
"""

import argparse
import json
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from line_scenes import FissureScene, fissure_scenes, walk
from numpy.typing import NDArray
from train_line_scores import Record, all_records, hold_out

from setstone.measure.candidates import LIKELY
from setstone.measure.line_reasons import reasons_for

#: On the sheet, row by row: as it should be; false lines; missed and false.
SHEET = (
    ("s01/blue", "p01/after_blue", "s24/blue", "s18/blue"),
    ("p07/before_blue", "s16/blue", "s20/blue", "p03/before_blue"),
    ("s09/blue", "s10/blue", "p08/after_blue", "s19/blue"),
)
TILE = 400
RIGHT, WRONG, MISSED = (86, 180, 233), (230, 159, 0), (240, 228, 66)


def visible_fissures(stones: Path, photograph: str) -> list[dict[str, Any]]:
    """Truth of the fissures that can be seen under blue light, in the order of the scene's."""
    folder, stem = photograph.split("/")
    truth = json.loads((stones / folder / "truth.json").read_text(encoding="utf-8"))
    block = truth if truth["kind"] == "stone" else truth["before" if stem.startswith("before") else "after"]
    return [f for f in block["fissures"] if any(p["blue"]["visible"] for p in f["pieces"])]


def missed(record: Record, truth: Sequence[dict[str, Any]]) -> Iterator[tuple[int, str]]:
    """Number and description of each fissure of which less than half is covered by lines that would be shown."""
    shown = record.covers[record.second >= LIKELY].any(axis=0)
    for k in np.unique(record.fissure):
        own = record.fissure == k
        if shown[own].mean() >= 0.5:
            continue
        covering = record.covers[:, own]
        scores = record.second[covering.mean(axis=1) > 0.1]
        best = f"best score {scores.max():.2f}" if len(scores) else "no line on it"
        ratio = np.median([p["blue"]["cnr"] for p in truth[k]["pieces"] if p["blue"]["visible"]])
        yield (
            int(k),
            f"{truth[k]['kind']}, {truth[k]['level']}, contrast {ratio:.1f} times its flanks' spread; "
            f"{covering.any(axis=0).mean():.0%} of it among the lines, {shown[own].mean():.0%} shown, {best}",
        )


def false_lines(record: Record) -> Iterator[tuple[int, str]]:
    """Number and description of each line that would be shown and is neither fissure nor reflection."""
    length, right, neither = record.shares.T
    wrong = (record.second >= LIKELY) & (right + neither < 0.5 * length)
    for i in np.flatnonzero(wrong):
        reasons = reasons_for(record.features[i], 0.0)
        against = next((r.code for r in reasons if not r.speaks_for), "none")
        yield (
            int(i),
            f"score {record.second[i]:.2f}, {length[i] / record.diameter:.0%} of the diameter, against it: {against}",
        )


def draw(scene: FissureScene, record: Record, gone: Sequence[int], wrong: Sequence[int]) -> NDArray[np.uint8]:
    """Blue photograph, brightened, with right and wrong lines and missed fissures."""
    pixels = scene.scene.blue
    assert pixels is not None
    canvas = np.clip(pixels * (255 / np.iinfo(pixels.dtype).max) * 1.5, 0, 255).astype(np.uint8)
    length, right, _ = record.shares.T
    good = np.flatnonzero((record.second >= LIKELY) & (2 * right > length))
    for chosen, colour, on, period in ((good, RIGHT, 1, 1), (wrong, WRONG, 8, 13)):
        for i in chosen:
            _stroke(canvas, walk(record.lines[i].path), colour, on, period)
    for k in gone:
        _stroke(canvas, scene.fissures[k], MISSED, 2, 7)
    return canvas


def tile(picture: NDArray[np.uint8], photograph: str) -> NDArray[np.uint8]:
    """The picture on a black square, named."""
    size = TILE / max(picture.shape[:2])
    small = cv2.resize(picture, None, fx=size, fy=size, interpolation=cv2.INTER_AREA)
    out = np.zeros((TILE, TILE, 3), np.uint8)
    out[: small.shape[0], : small.shape[1]] = small
    return np.asarray(
        cv2.putText(out, photograph, (8, TILE - 8), 0, 0.5, (255, 255, 255), 1, cv2.LINE_AA), np.uint8
    )


def write(path: Path, picture: NDArray[np.uint8]) -> None:
    """Write a picture as JPEG."""
    path.parent.mkdir(parents=True, exist_ok=True)
    cv2.imwrite(str(path), picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 85])


def _stroke(
    canvas: NDArray[np.uint8], points: NDArray[np.float64], colour: tuple[int, int, int], on: int, period: int
) -> None:
    for place, (x, y) in enumerate(points):
        if place % period < on:
            cv2.circle(canvas, (round(x * 8), round(y * 8)), 10, colour, -1, cv2.LINE_AA, 3)


def main() -> None:
    """Hold out, list, draw."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("stones", type=Path)
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--renders", type=Path, nargs="+", required=True)
    parser.add_argument("--deal", type=int, default=1)
    parser.add_argument("--draw", type=Path, help="folder for pictures")
    parser.add_argument("--sheet", type=Path, help="file for twelve of them together")
    arguments = parser.parse_args()
    rows = all_records(arguments.stones, arguments.renders, arguments.cache)
    hold_out(rows, arguments.deal)
    originals = [r for r in rows if r.original]
    kinds: Counter[str] = Counter()
    tiles: dict[str, NDArray[np.uint8]] = {}
    for scene, record in zip(fissure_scenes(arguments.stones), originals, strict=True):
        gone = list(missed(record, visible_fissures(arguments.stones, scene.photograph)))
        wrong = list(false_lines(record))
        kinds.update(text.rsplit(" ", 1)[1] for _, text in wrong)
        print(f"\n{scene.photograph}: {len(scene.fissures)} fissures, {len(gone)} missed, {len(wrong)} false")
        for head, texts in (("missed", gone), ("false", wrong)):
            for _, text in texts:
                print(f"  {head}: {text}")
        picture = draw(scene, record, [k for k, _ in gone], [i for i, _ in wrong])
        tiles[scene.photograph] = tile(picture, scene.photograph)
        if arguments.draw is not None:
            write(arguments.draw / f"{scene.photograph.replace('/', '_')}.jpg", picture)
    if arguments.sheet is not None:
        write(arguments.sheet, np.vstack([np.hstack([tiles[name] for name in row]) for row in SHEET]))
    print("\nfalse lines by the reason against them:", dict(kinds.most_common()))


if __name__ == "__main__":
    main()

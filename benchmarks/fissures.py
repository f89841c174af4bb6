"""How well fissures are told from the other lines of a stone, on the computed test stones.

    python benchmarks/fissures.py STONES [--draw FOLDER] [--threshold 0.3]

STONES is a folder of computed stones with truth.json. Outlines are taken from the truth, a per cent off.
Figures follow the stones' own scorer: length precision, recall and F1 within max(3 px, 1 % of the
diameter), fissures found (half their visible length), false lines on stones without fissures, and the
share of real ones by score. The scores were trained on the development stones: on those the figures are
those of a fit; held-out figures come from train_line_scores.py.
"""

import argparse
import time
from pathlib import Path

import cv2
import numpy as np
from line_scenes import FissureScene, fissure_scenes, shares, walk
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from setstone.measure.candidates import LIKELY, Candidate
from setstone.measure.judge_lines import judge_lines

RIGHT, FALSE, SPARE, MISSED = (0, 255, 160), (255, 140, 0), (150, 150, 150), (255, 0, 255)


def draw(stone: FissureScene, candidates: tuple[Candidate, ...], threshold: float) -> NDArray[np.uint8]:
    """Blue photograph with right lines green, false ones orange, spare ones grey, missed fissures magenta."""
    pixels = stone.scene.blue
    assert pixels is not None
    canvas = np.clip(pixels * (255 / np.iinfo(pixels.dtype).max) * 1.5, 0, 255).astype(np.uint8)
    for fissure in stone.fissures:
        for x, y in np.rint(fissure).astype(int):
            canvas[np.clip(y, 0, canvas.shape[0] - 1), np.clip(x, 0, canvas.shape[1] - 1)] = MISSED
    for candidate in reversed(candidates):
        if candidate.score < 0.15:
            continue
        length, right, spare = shares(candidate.path, stone)
        colour = RIGHT if 2 * right > length else SPARE if 2 * (right + spare) > length else FALSE
        corners = np.rint(candidate.path * 8).astype(np.int32)
        cv2.polylines(
            canvas, [corners], False, colour, 2 if candidate.score >= threshold else 1, cv2.LINE_AA, 3
        )
        x, y = candidate.position
        cv2.putText(canvas, f"{candidate.score:.2f}", (int(x) + 4, int(y)), 0, 0.4, colour, 1, cv2.LINE_AA)
    return canvas


def main() -> None:
    """Judge all stones and print the figures."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("stones", type=Path)
    parser.add_argument("--draw", type=Path, help="folder for pictures of the results")
    parser.add_argument("--threshold", type=float, default=LIKELY)
    arguments = parser.parse_args()
    sums, found, false_on_clean, judged = np.zeros(4), [], [], []
    for stone in fissure_scenes(arguments.stones):
        start = time.perf_counter()
        candidates = judge_lines(stone.scene)
        seconds = time.perf_counter() - start
        kept = [c for c in candidates if c.score >= arguments.threshold]
        rows = np.array([shares(c.path, stone) for c in kept]).reshape(-1, 3)
        judged += [(c.score, *shares(c.path, stone)) for c in candidates]
        points = np.concatenate([walk(c.path) for c in kept]) if kept else np.zeros((0, 2))
        hits = 0
        for fissure in stone.fissures:
            near = (cKDTree(points).query(fissure)[0] if len(points) else np.inf) <= stone.tolerance
            near = np.broadcast_to(near, len(fissure))
            hits += int(near.sum())
            if len(fissure) >= 5:
                found.append(near.mean() >= 0.5)
        wrong = int((rows[:, 1] + rows[:, 2] < 0.5 * rows[:, 0]).sum())
        if not stone.fissures:
            false_on_clean.append(wrong)
        sums += [rows[:, 1].sum(), (rows[:, 0] - rows[:, 2]).sum(), hits, len(stone.visible)]
        print(
            f"{stone.photograph}: {len(candidates)} candidates, {len(kept)} kept, {wrong} false, {seconds:.1f} s"
        )
        if arguments.draw:
            arguments.draw.mkdir(parents=True, exist_ok=True)
            picture = draw(stone, candidates, arguments.threshold)
            name = stone.photograph.replace("/", "_")
            cv2.imwrite(str(arguments.draw / f"{name}.png"), picture[..., ::-1])
    precision, recall = sums[0] / max(sums[1], 1), sums[2] / max(sums[3], 1)
    print(f"length precision {precision:.3f}, recall {recall:.3f}, ", end="")
    print(f"F1 {2 * precision * recall / max(precision + recall, 1e-9):.3f}")
    print(
        f"fissures found {np.mean(found):.2f} of {len(found)}; false lines on clean stones {false_on_clean}"
    )
    table = np.array(judged)
    table = table[table[:, 3] < 0.6 * table[:, 1]]
    real = table[:, 2] > 0.5 * (table[:, 1] - table[:, 3])
    for low in np.arange(0, 1, 0.2):
        band = (table[:, 0] >= low) & (table[:, 0] < low + 0.2)
        if band.any():
            print(f"score {low:.1f} to {low + 0.2:.1f}: {real[band].mean():.2f} of {band.sum()} real")


if __name__ == "__main__":
    main()

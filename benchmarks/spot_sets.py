"""Finding spots on open data, beside the figures that come with it; and its speed.

    python benchmarks/spot_sets.py [--data ../shared/realdata] [--skip-speed]

IDRiD (Porwal et al. 2020, CC BY 4.0): microaneurysms and haemorrhages on retina photographs, area
under the pixel precision-recall curve and lesions found at eight false spots a picture. BCCD
(Shenggan et al. 2017, MIT): platelets in blood smears. Nothing is trained on either.
"""

import argparse
import json
import time
import tracemalloc
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.feature import blob_log
from sklearn.metrics import average_precision_score  # type: ignore[import-untyped]

from setstone.measure.light import Plane
from setstone.measure.spots import Spot, find_spots

FALSE_PER_PICTURE = 8


def picture(path: Path) -> NDArray[np.uint8]:
    """Read a picture with its channels in the order blue, green, red."""
    return np.asarray(cv2.imread(str(path), cv2.IMREAD_COLOR), np.uint8)


def rank(spot: Spot) -> float:
    """Plain order of belief: sharp and compact first."""
    outline = spot.outline
    length = float(np.hypot(*(np.roll(outline, -1, axis=0) - outline).T).sum())
    roundness = min(1.0, np.pi * spot.diameter_px / max(length, 1e-6))
    return float(np.sqrt(spot.contrast * spot.edge) * roundness**2 / spot.elongation)


def retina(folder: Path) -> None:
    """Print areas under the curve, and lesions found, on the retina photographs."""
    maps: dict[str, list[NDArray[np.bool_]]] = {"MA": [], "HE": [], "MA or HE": []}
    scores: list[NDArray[np.float32]] = []
    ranked: list[tuple[float, int, bool]] = []  # score, lesion or -1
    lesions = {"MA": 0, "HE": 0}
    owner: list[str] = []
    pictures = sorted((folder / "images").glob("*.jpg"))
    for path in pictures:
        rgb = picture(path)
        height, width = rgb.shape[0] // 2, rgb.shape[1] // 2
        half = cv2.resize(rgb, (width, height), interpolation=cv2.INTER_AREA)
        field = cv2.erode(np.asarray(half[..., 2] > 40, np.uint8), np.ones((41, 41), np.uint8)) > 0
        green = half[..., 1].astype(np.float32)
        # Light falls off towards the border of a retina photograph: contrast counts against it.
        lit = cv2.GaussianBlur(
            cv2.resize(green, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA), (0, 0), 8
        )
        even = green / (cv2.resize(lit, (width, height)) + 5)
        spots = find_spots(even, um_per_px=1, smallest_um=4, largest_um=120, mask=field)
        score = np.zeros((height, width), np.float32)
        for spot in sorted(spots, key=rank):
            cv2.fillPoly(score, [np.round(spot.outline).astype(np.int32)], rank(spot))
        scores.append(score[field])
        truth = {}
        for kind in ("MA", "HE"):
            file = folder / f"masks_{kind}" / f"{path.stem}.png"
            full = np.zeros(rgb.shape[:2], np.float32)
            if file.exists():
                full = np.asarray(picture(file)[..., 0] > 0, np.float32)
            small = cv2.resize(full, (width, height), interpolation=cv2.INTER_AREA)
            truth[kind] = np.asarray(small, np.float32) > 0.5
        truth["MA or HE"] = truth["MA"] | truth["HE"]
        for kind, mask in truth.items():
            maps[kind].append(mask[field])
        _, labels = cv2.connectedComponents(truth["MA or HE"].astype(np.uint8))
        kinds = {}
        for label in range(1, int(labels.max()) + 1):
            kinds[label] = "MA" if (truth["MA"] & (labels == label)).any() else "HE"
            lesions[kinds[label]] += 1
        first = len(owner)
        owner += [kinds[k] for k in sorted(kinds)]
        wide = cv2.dilate(labels.astype(np.float32), np.ones((5, 5), np.uint8)).astype(int)
        for spot in spots:
            at = wide[round(spot.centre[1]), round(spot.centre[0])]
            ranked.append((rank(spot), first + at - 1 if at else -1, bool(at)))
    print("retina (IDRiD): area under the precision-recall curve, beside scale-normalised LoG")
    allscores = np.concatenate(scores)
    for kind, baseline in (("MA", 0.009), ("HE", 0.041), ("MA or HE", 0.048)):
        area = average_precision_score(np.concatenate(maps[kind]), allscores)
        print(f"  {kind:9} {area:.3f}   baseline {baseline:.3f}   times {area / baseline:.1f}")
    ranked.sort(key=lambda r: -r[0])
    false, found = 0, set()
    for _, lesion, real in ranked:
        false += not real
        if false > FALSE_PER_PICTURE * len(pictures):
            break
        if real:
            found.add(lesion)
    for kind, total in lesions.items():
        hit = sum(owner[k] == kind for k in found)
        print(
            f"  {kind} found at {FALSE_PER_PICTURE} false spots a picture: {hit} of {total} ({hit / max(total, 1):.2f})"
        )


def smear(folder: Path) -> None:
    """Print platelets among the ten strongest spots of their size in each picture."""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["images"]
    found = total = 0
    for name, entries in truth.items():
        boxes = [e["bbox"] for e in entries if e["class"] == "Platelets"]
        green = picture(folder / "images" / name)[..., 1].astype(np.float32)
        spots = find_spots(green, um_per_px=1, smallest_um=15, largest_um=60)
        best = [s.centre for s in sorted(spots, key=rank, reverse=True)[:10]]
        found += sum(any(x0 <= x <= x1 and y0 <= y <= y1 for x, y in best) for x0, y0, x1, y1 in boxes)
        total += len(boxes)
    print(
        f"blood smears (BCCD): platelets among ten spots a picture {found} of {total}; watershed baseline 14 of 65"
    )


def speed() -> None:
    """Print time and memory on 20 megapixels beside blob_log."""
    rng = np.random.default_rng(0)
    plane = np.full((4000, 5000), 180, np.float32) + rng.normal(0, 3, (4000, 5000)).astype(np.float32)
    ys, xs = np.mgrid[-30:31, -30:31]
    for _ in range(400):
        x, y, r = rng.integers(60, 4900), rng.integers(60, 3900), rng.uniform(2, 20)
        plane[y - 30 : y + 31, x - 30 : x + 31] -= (80 * np.clip(r - np.hypot(xs, ys) + 0.5, 0, 1)).astype(
            np.float32
        )
    find_spots(plane[:500, :500], um_per_px=1, smallest_um=4, largest_um=50)  # compiles
    best = min(_timed(plane) for _ in range(3))
    tracemalloc.start()
    find_spots(plane, um_per_px=1, smallest_um=4, largest_um=50)
    planes = tracemalloc.get_traced_memory()[1] / plane.nbytes
    tracemalloc.stop()
    part = (255 - plane[:1000, :1250]) / 255
    begin = time.process_time()
    blob_log(part, min_sigma=1.4, max_sigma=18, num_sigma=12, threshold=0.08)
    theirs = (time.process_time() - begin) * plane.size / part.size
    print(
        f"20 megapixels: {best:.2f} s of processor, {planes:.1f} planes of memory at most;"
        f" blob_log {theirs:.1f} s (from a sixteenth): {theirs / best:.0f} times faster"
    )


def _timed(plane: Plane) -> float:
    begin = time.process_time()
    find_spots(plane, um_per_px=1, smallest_um=4, largest_um=50)
    return time.process_time() - begin


def main() -> None:
    """Run what is there."""
    options = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    options.add_argument(
        "--data", type=Path, default=Path(__file__).resolve().parents[2] / "shared" / "realdata"
    )
    options.add_argument("--skip-speed", action="store_true")
    chosen = options.parse_args()
    if not chosen.data.is_dir():
        raise SystemExit(f"The open data sets are not in {chosen.data}; give their folder with --data.")
    smear(chosen.data / "blobs-blood-smear")
    retina(chosen.data / "spots-retina-idrid")
    if not chosen.skip_speed:
        speed()


if __name__ == "__main__":
    main()

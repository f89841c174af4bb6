"""The computed test stones as scenes, with what is true of their fissures."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from setstone.measure.outline import Outline
from setstone.measure.scene import Scene

FISSURE, GHOST = 1, 4  # bits of labels.png

Points = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class FissureScene:
    """One stone on one occasion, in the pixels of its crop.

    Parameters
    ----------
    stone : str
        Name of the stone, the same before and after.
    photograph : str
        Name of the blue photograph.
    scene : Scene
    fissures : list of (N, 2) float64 arrays
        Points every pixel along what can be seen of each fissure.
    spare : (H, W) bool array
        Where a line is neither right nor wrong: reflections, and fissures nobody could see.
    tolerance : float
        Pixels within which a line counts as found.
    """

    stone: str
    photograph: str
    scene: Scene
    fissures: list[Points]
    spare: Mask
    tolerance: float

    @property
    def visible(self) -> Points:
        """Points of all fissures."""
        return np.concatenate(self.fissures) if self.fissures else np.zeros((0, 2))


def read(path: Path) -> NDArray[Any]:
    """Read a picture as RGB, of whatever depth it is."""
    pixels = cv2.imdecode(np.fromfile(path, np.uint8), cv2.IMREAD_UNCHANGED)
    if pixels.ndim == 2:
        return np.repeat(pixels[..., None], 3, 2)
    return np.ascontiguousarray(pixels[..., 2::-1])


def fissure_scenes(stones: Path) -> Iterator[FissureScene]:
    """Yield all blue photographs with their white ones; outlines are a per cent off, as found ones may be."""
    for folder in sorted(p.parent for p in stones.glob("*/truth.json")):
        truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
        if truth["kind"] == "micrometer":
            continue
        for block in [truth] if truth["kind"] == "stone" else [truth["before"], truth["after"]]:
            yield _scene(folder, block)


def walk(line: Sequence[Sequence[float]] | Points, step: float = 1.0) -> Points:
    """Points every `step` px along a polyline."""
    points = np.asarray(line, np.float64)
    at = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    where = np.arange(0, at[-1] + 1e-9, step)
    return np.stack([np.interp(where, at, points[:, 0]), np.interp(where, at, points[:, 1])], axis=1)


def shares(path: Points, stone: FissureScene) -> tuple[int, int, int]:
    """Length of a line in px, how much of it is right, and how much neither right nor wrong."""
    points = walk(path)
    truth = stone.visible
    far = cKDTree(truth).query(points)[0] if len(truth) else np.full(len(points), np.inf)
    right = far <= stone.tolerance
    x = np.clip(np.rint(points[:, 0]).astype(int), 0, stone.spare.shape[1] - 1)
    y = np.clip(np.rint(points[:, 1]).astype(int), 0, stone.spare.shape[0] - 1)
    return len(points), int(right.sum()), int((~right & stone.spare[y, x]).sum())


def _scene(folder: Path, block: dict[str, Any]) -> FissureScene:
    blue_stem = next(name for name in block["images"] if "blue" in name)
    white_stem = next(name for name in block["images"] if "white" in name)
    photograph = f"{folder.name}/{blue_stem}"
    white = read(folder / block["images"][white_stem]["image"])
    blue = read(folder / block["images"][blue_stem]["image"])
    labels = cv2.imread(str(folder / block["labels"]), cv2.IMREAD_UNCHANGED)
    rng = np.random.default_rng(list(map(ord, photograph)))
    girdle, seen = (np.array(block["stone"][k], np.float64) for k in ("outline_px", "visible_outline_px"))
    diameter, middle = block["stone"]["diameter_px"], girdle.mean(axis=0)
    grow, move = 1 + rng.normal(0, 0.007), rng.normal(0, 0.003 * diameter, 2)
    girdle, seen = ((p - middle) * grow + middle + move for p in (girdle, seen))
    low = np.maximum(np.floor(girdle.min(axis=0) - 0.05 * diameter), 0).astype(int)
    high = np.ceil(girdle.max(axis=0) + 0.05 * diameter).astype(int) + 1
    crop = (slice(low[1], min(high[1], labels.shape[0])), slice(low[0], min(high[0], labels.shape[1])))
    shape = labels[crop].shape
    stone = np.zeros(shape, np.uint8)
    cv2.fillPoly(stone, [np.round(seen - low).astype(np.int32)], 1)
    tolerance = max(3.0, 0.01 * diameter)
    unseen = np.zeros(shape, np.uint8)
    fissures = []
    for fissure in block["fissures"]:
        lines = [(np.array(q["line_px"]) - low, q["blue"]["visible"]) for q in fissure["pieces"]]
        if any(visible for _, visible in lines):
            fissures.append(np.concatenate([walk(line) for line, visible in lines if visible]))
        hidden = [np.rint(line).astype(np.int32) for line, visible in lines if not visible]
        cv2.polylines(unseen, hidden, False, 1)
    spare = _near(labels[crop] & (GHOST | FISSURE), tolerance) | _near(unseen, tolerance)
    return FissureScene(
        stone=folder.name,
        photograph=photograph,
        scene=Scene(
            white=np.ascontiguousarray(white[crop]),
            blue=np.ascontiguousarray(blue[crop]),
            outline=Outline(girdle - low, np.ones(len(girdle), np.bool_), 1.0),
            stone=stone > 0,
            um_per_px=block["um_per_px"],
        ),
        fissures=fissures,
        spare=spare,
        tolerance=tolerance,
    )


def _near(bits: NDArray[np.uint8], reach: float) -> Mask:
    k = round(reach)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * k + 1, 2 * k + 1))
    return np.asarray(cv2.dilate((bits > 0).astype(np.uint8), kernel) > 0)

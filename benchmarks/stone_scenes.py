"""The computed test stones as scenes, with what is true of their inclusions."""

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.outline import Outline
from setstone.measure.scene import Scene

GHOST, INCLUSION = 8, 2  # bits of labels.png


@dataclass(frozen=True, eq=False)
class StoneScene:
    """One stone on one occasion, in the pixels of its crop.

    Parameters
    ----------
    stone : str
        Name of the stone, the same before and after.
    photograph : str
        Name of the white photograph.
    scene : Scene
    offset : (int, int)
        Of the crop in the photograph, in pixels.
    sightings : list of (x, y, diameter, needed)
        Inclusions and bubbles; those not needed are neither right nor wrong.
    spare : (H, W) bool array
        Where a candidate is neither right nor wrong.
    """

    stone: str
    photograph: str
    scene: Scene
    offset: tuple[int, int]
    sightings: list[tuple[float, float, float, bool]]
    spare: NDArray[np.bool_]


def read(path: Path) -> NDArray[Any]:
    """Read a picture as RGB, of whatever depth it is."""
    pixels = np.asarray(cv2.imdecode(np.fromfile(path, np.uint8), cv2.IMREAD_UNCHANGED))
    return (
        np.repeat(pixels[..., None], 3, 2) if pixels.ndim == 2 else np.ascontiguousarray(pixels[..., 2::-1])
    )


def stone_scenes(stones: Path) -> Iterator[StoneScene]:
    """Yield all white photographs with their blue ones; outlines are a per cent off, as found ones may be.

    Parameters
    ----------
    stones : Path
        Folder of the computed stones.

    Yields
    ------
    StoneScene
    """
    for folder in sorted(p.parent for p in stones.glob("*/truth.json")):
        truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
        if truth["kind"] == "micrometer":
            continue
        blocks = [truth] if truth["kind"] == "stone" else [truth["before"], truth["after"]]
        for block in blocks:
            stem = next(name for name in block["images"] if "white" in name)
            yield _scene(folder, stem, block)


def _scene(folder: Path, stem: str, block: dict[str, Any]) -> StoneScene:
    photograph = f"{folder.name}/{stem}"
    white = read(folder / block["images"][stem]["image"])
    blue = read(folder / block["images"][stem.replace("white", "blue")]["image"])
    labels = read(folder / block["labels"])[..., 0]
    rng = np.random.default_rng(list(map(ord, photograph)))
    girdle, visible = (np.array(block["stone"][k], np.float64) for k in ("outline_px", "visible_outline_px"))
    diameter, middle = block["stone"]["diameter_px"], girdle.mean(axis=0)
    grow, move = 1 + rng.normal(0, 0.01), rng.normal(0, 0.003 * diameter, 2)
    girdle, visible = ((p - middle) * grow + middle + move for p in (girdle, visible))
    low = np.maximum(np.floor(girdle.min(axis=0) - 0.04 * diameter), 0).astype(int)
    high = np.ceil(girdle.max(axis=0) + 0.04 * diameter).astype(int) + 1
    crop = (slice(low[1], min(high[1], labels.shape[0])), slice(low[0], min(high[0], labels.shape[1])))
    stone = np.zeros(labels[crop].shape, np.uint8)
    cv2.fillPoly(stone, [np.round(visible - low).astype(np.int32)], 1)
    sightings = [
        (s["x"] - low[0], s["y"] - low[1], s["diameter_px"], s["main"] and s["white"]["visible"])
        for inclusion in block["inclusions"]
        for s in inclusion["sightings"]
    ]
    sightings += [(x - low[0], y - low[1], 12.0, False) for x, y in block["bubbles"]]
    spare = _near(labels[crop] & GHOST, 8) | _near(labels[crop] & INCLUSION, 6)
    return StoneScene(
        stone=folder.name,
        photograph=photograph,
        scene=Scene(
            white=np.ascontiguousarray(white[crop]),
            blue=np.ascontiguousarray(blue[crop]),
            outline=Outline(girdle - low, np.ones(len(girdle), np.bool_), 1.0),
            stone=stone > 0,
            um_per_px=block["um_per_px"],
        ),
        offset=(int(low[0]), int(low[1])),
        sightings=[(float(x), float(y), float(d), bool(n)) for x, y, d, n in sightings],
        spare=spare,
    )


def _near(bits: NDArray[np.integer[Any]], reach: float) -> NDArray[np.bool_]:
    k = math.ceil(reach)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * k + 1, 2 * k + 1))
    return np.asarray(cv2.dilate((bits > 0).astype(np.uint8), kernel) > 0)

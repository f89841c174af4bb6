"""Train the network that sees new fissures and write measure/new_places_weights.py.

    python benchmarks/train_new_places.py BEFORE AFTER... [--minutes 45] [--begin WEIGHTS.pt [--way 0.5]] [--keep WEIGHTS.pt]

Needs PyTorch. BEFORE holds rendered stones as received, each AFTER the same ones set again for another time, three in four
damaged, or with fissures that grew (about nine seconds a stone on one core; dust and fibres are as broad in coarse pictures, so most should be at full size):

    python benchmarks/render_stones.py BEFORE --first 5424 --count 120 --worn
    python benchmarks/render_stones.py AFTER1 --first 5424 --count 120 --worn --again 1 --damaged 0.75
    python benchmarks/render_stones.py AFTER2 --first 5424 --count 120 --worn --again 3 --damaged 1 --grown 1

Any two of these days of a stone are a pair, in either order: what is new is what befell the stone for the later one. They are laid on one another by their true
girdles, and so altered that nothing rests on one camera: turned, mirrored, off by a pixel or two, brighter or darker, of more or less
contrast, blurred, with noise, now and then without one of the lamps. On every third piece lines of all kinds are drawn besides, straight ones too,
new, gone or of both days, so that nothing rests on how our renderer makes a fissure look; on as many fibres, which come and go with the days and are nothing new. A few pixels beside a new fissure, and where a new one hardly shows, may be either;
its reflections in other facets are none. With --begin, training goes on from other weights, and what is written lies --way from those to the ones learnt.
"""

import argparse
import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import NamedTuple

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from rendering.photograph import SETTING
from skimage.transform import estimate_transform
from torch import Tensor, nn
from torch.nn import functional
from unet import UNet, Weights, text, trained, write

from setstone.measure.align import warp
from setstone.measure.new_places import FINER, GIRDLE, LAMPS, MOST, folded, seen
from setstone.measure.sights import brightness

TARGET = Path(__file__).parents[1] / "measure" / "new_places_weights.py"
#: Planes at each level of the network.
CHANNELS = (12, 16, 24, 32, 32, 32)
#: Side of the pieces learnt from, px, the same as the network looks at it, and pieces a step; girdle in the frame of both days, px, and room
#: around it, diameters.
SIDE, BATCH, FRAME, ROOM = 384, 4, 800.0, 0.1
LOOKED_AT = FINER * SIDE
#: Widths of a new fissure, and of what may be either, px; by how much a pixel of one counts more than others.
WIDTH, EITHER_WIDTH, COUNTS = 3, 9, 3.0
NOT_NEW, NEW, EITHER = 0, 1, 2
#: Share of the pieces on which lines are drawn; the least and the greatest spread of one across, px looked at, and contrast under blue light, natural
#: logarithms, and from where it is plain to see.
DRAWN, BREADTH, CONTRAST, PLAIN = 0.35, (0.6, 5.0), (0.15, 1.5), 0.3
#: Share of the pieces with fibres; spread of one across, px looked at, how much of what is beneath it hides, and how bright it is under blue and white light.
FIBROUS, SPREAD, OPAQUE, BRIGHT = 0.5, (0.4, 4.0), (0.35, 1.0), ((-0.4, 2.5), (-1.2, 1.2))

Values = NDArray[np.float64]
Planes = NDArray[np.float32]


class Day(NamedTuple):
    """A stone on one day: brightness under each lamp as the network looks at it, (2, H, W) float16, and pieces of what is new, with whether each lamp shows them."""

    planes: NDArray[np.float16]
    new: list[tuple[Values, list[bool]]]


def days(folders: list[Path], name: str) -> list[Day]:
    """All days of a stone in one frame; some folders may lack it."""
    folders = [f for f in folders if (f / name / "truth.json").exists()]
    truths = [json.loads((f / name / "truth.json").read_text(encoding="utf-8")) for f in folders]
    first = np.array(truths[0]["stone"]["outline_px"])
    extent = np.ptp(first, axis=0)
    diameter = min(FRAME, extent.mean())
    scale = diameter / extent.mean()
    shift = ROOM * diameter - scale * first.min(axis=0)
    frame = np.array([[scale, 0, shift[0]], [0, scale, shift[1]], [0, 0, 1]])
    width, height = np.ceil(scale * extent + 2 * ROOM * diameter).astype(int).tolist()
    larger = FINER * GIRDLE / diameter
    size = FINER * round(width * GIRDLE / diameter), FINER * round(height * GIRDLE / diameter)
    looked_at = np.array([[larger, 0, (larger - 1) / 2], [0, larger, (larger - 1) / 2], [0, 0, 1]])
    found = []
    for folder, truth in zip(folders, truths, strict=True):
        outline = np.array(truth["stone"]["outline_px"])
        motion = frame @ estimate_transform("similarity", outline, first).params
        labels = cv2.imread(str(folder / name / "labels.png"), cv2.IMREAD_UNCHANGED)
        planes = []
        for lamp in LAMPS:
            pixels = cv2.imread(str(folder / name / f"{lamp}.jpg"))
            level = max(1.0, float(np.median(pixels.max(axis=2)[labels & SETTING == 0])))
            plane = warp(pixels, motion, (height, width)).max(axis=2).astype(np.float32)
            planes.append(seen(brightness(plane, level), size))
        motion = looked_at @ motion
        pieces = [p for f in truth["fissures"][len(truths[0]["fissures"]) :] for p in f["pieces"]]
        new = [
            (
                np.array(p["line_px"]) @ motion[:2, :2].T + motion[:2, 2],
                [bool(p[lamp]["visible"]) for lamp in LAMPS],
            )
            for p in pieces
        ]
        found.append(Day(np.stack(planes).astype(np.float16), new))
    return found


class Darkroom:
    """Makes altered copies of pairs of days."""

    def __init__(self, stones: list[list[Day]]) -> None:
        self.rng = np.random.default_rng(1)
        self.stones = stones
        #: Grain laid on the pieces, a cut of it each time.
        self.grain = self.rng.standard_normal((2 * LOOKED_AT, 2 * LOOKED_AT), np.float32)

    def batch(self) -> tuple[Tensor, Tensor]:
        """Planes (B, 4 FINER^2, SIDE, SIDE) as the network takes them, and marks (B, SIDE, SIDE)."""
        copies = [self.copy() for _ in range(BATCH)]
        return torch.from_numpy(np.stack([c[0] for c in copies])), torch.from_numpy(
            np.stack([c[1] for c in copies])
        )

    def copy(self) -> tuple[Planes, NDArray[np.uint8]]:
        """A piece of a pair."""
        rng = self.rng
        stone = self.stones[rng.integers(len(self.stones))]
        before, after = (stone[k] for k in rng.choice(len(stone), 2, replace=False))
        height, width = after.planes.shape[1:]
        shown = [piece for piece, visible in after.new if any(visible)]
        if shown and rng.random() < 0.65:
            middle = shown[rng.integers(len(shown))].mean(axis=0) + rng.normal(0, 0.2 * LOOKED_AT, 2)
        else:
            middle = np.array([width, height]) * rng.uniform(0.25, 0.75, 2)
        move = _move(middle, rng.uniform(0, 2 * np.pi), rng.choice([-1, 1]), np.exp(rng.normal(0, 0.08)))
        # What the lie of one day on the other is off by.
        off = np.eye(3)
        off[:2, 2] = rng.normal(0, 0.6 * FINER, 2)
        planes = np.empty((2 * len(LAMPS), LOOKED_AT, LOOKED_AT), np.float32)
        for k in range(len(LAMPS)):
            gain, offset = rng.uniform(0.75, 1.3), rng.normal(0, 0.12)
            for when, (day, motion) in enumerate(((before, move @ off), (after, move))):
                plane = cv2.warpAffine(
                    day.planes[k].astype(np.float32),
                    motion[:2],
                    (LOOKED_AT, LOOKED_AT),
                    borderMode=cv2.BORDER_REFLECT,
                )
                plane = plane * gain * np.exp(rng.normal(0, 0.07)) + offset + rng.normal(0, 0.06)
                if rng.random() < 0.3:
                    plane = cv2.GaussianBlur(plane, (0, 0), rng.uniform(0.4, 2.0))
                plane += rng.uniform(0, 0.05) * self._grains()
                planes[2 * k + when] = np.clip(plane, -MOST, MOST)
        chance = rng.random()
        lost = 0 if chance < 0.08 else 1 if chance < 0.16 else None
        lamps = [k for k in range(len(LAMPS)) if k != lost]
        marks = _marks(after.new, move, lamps)
        if rng.random() < DRAWN:
            for _ in range(int(rng.integers(1, 4))):
                self._draw(planes, marks, lamps)
        if rng.random() < FIBROUS:
            for _ in range(int(rng.integers(1, 3))):
                self._lay(planes)
        if lost is not None:
            planes[2 * lost : 2 * lost + 2] = 0
        return folded(planes), marks

    def _draw(self, planes: Planes, marks: NDArray[np.uint8], lamps: list[int]) -> None:
        """Draw a line that is new, gone, or of both days."""
        rng = self.rng
        kind = rng.choice(["new", "gone", "both"], p=[0.5, 0.2, 0.3])
        steps = FINER * int(rng.integers(30, 240))
        bend = rng.choice([0.0, 0.01, 0.04]) * np.cumsum(rng.normal(0, 1, steps)) + rng.normal(0, 0.004)
        path = self._path(0.3 * bend / FINER)
        width, contrast = (np.exp(rng.uniform(*np.log(span))) for span in (BREADTH, CONTRAST))
        broken = rng.random() < 0.5
        grains = cv2.GaussianBlur(self._grains(), (0, 0), 1.5 * FINER)
        under = contrast, rng.normal(0, 0.3) * contrast
        for when in (0, 1):
            if kind in ("both", ("gone", "new")[when]):
                moved = path + rng.normal(0, 0.7 * FINER, 2)
                cover = _cover(moved, width) * (grains > 0 if broken else 1)
                stronger = np.exp(rng.normal(0, 0.25))
                for k, light in zip(range(len(LAMPS)), under, strict=True):
                    planes[2 * k + when] += light * stronger * cover
        if kind == "new":
            line = [np.rint(16 * _said(path)).astype(np.int32)]
            cv2.polylines(marks, line, False, (EITHER,), EITHER_WIDTH, cv2.LINE_8, 4)
            if max(abs(under[k]) for k in lamps) > PLAIN:
                cv2.polylines(marks, line, False, (NEW,), WIDTH, cv2.LINE_8, 4)

    def _lay(self, planes: Planes) -> None:
        """Lay a fibre on one of the days: it bends smoothly, is as broad everywhere, and hides what is beneath."""
        rng = self.rng
        when, steps = int(rng.integers(2)), FINER * int(rng.integers(60, 400))
        bend = cv2.GaussianBlur(rng.normal(0, 0.2 / FINER**0.5, steps), (0, 0), rng.uniform(16, 60)).ravel()
        cover = _cover(self._path(bend), rng.uniform(*SPREAD)) * rng.uniform(*OPAQUE)
        for k, bright in enumerate(BRIGHT):
            planes[2 * k + when] += cover * (rng.uniform(*bright) - planes[2 * k + when])

    def _grains(self) -> Planes:
        top, left = self.rng.integers(LOOKED_AT, size=2)
        return self.grain[top : top + LOOKED_AT, left : left + LOOKED_AT]

    def _path(self, bend: Values) -> Values:
        """Places a pixel apart along a line that bends so, somewhere in the piece."""
        heading = self.rng.uniform(0, 2 * np.pi) + np.cumsum(bend)
        path = np.cumsum(np.column_stack([np.cos(heading), np.sin(heading)]), axis=0)
        return np.asarray(path + self.rng.uniform(0.2, 0.8, 2) * LOOKED_AT - path.mean(axis=0))


def _cover(path: Values, spread: float) -> Planes:
    """A line of a piece so broad, 1 where it is most."""
    cover = np.zeros((LOOKED_AT, LOOKED_AT), np.float32)
    cv2.polylines(cover, [np.rint(16 * path).astype(np.int32)], False, (1.0,), 1, cv2.LINE_AA, 4)
    cover = cv2.GaussianBlur(cover, (0, 0), spread)
    return np.asarray(cover / max(float(cover.max()), 1e-6))


def _move(middle: Values, turn: float, mirror: int, zoom: float) -> Values:
    c, s = zoom * np.cos(turn), zoom * np.sin(turn)
    move = np.array([[c * mirror, -s, 0], [s * mirror, c, 0], [0, 0, 1.0]])
    move[:2, 2] = LOOKED_AT / 2 - move[:2, :2] @ middle
    return move


def _said(path: Values) -> Values:
    """Places looked at in what the network says."""
    return (path + 0.5) / FINER - 0.5


def _marks(new: list[tuple[Values, list[bool]]], move: Values, lamps: list[int]) -> NDArray[np.uint8]:
    marks = np.full((SIDE, SIDE), NOT_NEW, np.uint8)
    places = [_said(piece @ move[:2, :2].T + move[:2, 2]) for piece, _ in new]
    lines = [np.rint(16 * place).astype(np.int32) for place in places]
    for line in lines:
        cv2.polylines(marks, [line], False, (EITHER,), EITHER_WIDTH, cv2.LINE_8, 4)
    for line, (_, shown) in zip(lines, new, strict=True):
        if any(shown[k] for k in lamps):
            cv2.polylines(marks, [line], False, (NEW,), WIDTH, cv2.LINE_8, 4)
    return marks


def main() -> None:
    """Train and write."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("before", type=Path)
    parser.add_argument("after", type=Path, nargs="+")
    parser.add_argument("--minutes", type=float, default=45.0)
    parser.add_argument("--begin", type=Path)
    parser.add_argument("--way", type=float, default=0.5)
    parser.add_argument("--keep", type=Path)
    asked = parser.parse_args()
    folders = [asked.before, *asked.after]
    names = sorted({p.parent.name for p in asked.before.glob("*/truth.json")})
    stones = [stone for stone in (days(folders, name) for name in names) if len(stone) > 1]
    print(f"{len(stones)} stones, {sum(map(len, stones))} days", flush=True)
    room = Darkroom(stones)
    beside = ThreadPoolExecutor(1)
    coming = [beside.submit(room.batch) for _ in range(2)]

    def loss(network: UNet) -> Tensor:
        planes, marks = coming.pop(0).result()
        coming.append(beside.submit(room.batch))
        new = (marks == NEW).float()
        weight = (marks != EITHER).float() * (1 + (COUNTS - 1) * new)
        return functional.binary_cross_entropy_with_logits(network(planes), new, weight, reduction="mean")

    torch.manual_seed(0)
    network = UNet(2 * len(LAMPS) * FINER**2, CHANNELS)
    nn.init.constant_(network.out.bias, -4.0)
    begin: Weights | None = torch.load(asked.begin) if asked.begin else None
    weights = trained(network, loss, asked.minutes, begin)
    if begin:
        # Part of the way it keeps what it knew of other pictures (Wortsman et al. 2022, CVPR; arXiv:2109.01903).
        weights = {name: begin[name] + asked.way * (kernel - begin[name]) for name, kernel in weights.items()}
    if asked.keep:
        torch.save(weights, asked.keep)
    write(TARGET, "new fissures", Path(__file__).name, text(weights))


if __name__ == "__main__":
    main()

"""Train the network that sees the body of a stone and write measure/body_weights.py.

    python benchmarks/train_body.py STONES --renders FOLDER ... --others FOLDER [--minutes 25] [--halves FOLDER]

Needs PyTorch (for training only; it is gigabytes, so no extra of the project asks for it). Learns from the photographs of the
computed test stones and of stones rendered by benchmarks/render_stones.py, under both lamps, so altered that nothing rests
on one setting, lamp or camera: turned, mirrored, shifted and scaled; two in five set anew, in bands of any profile, in beads, on
any colour or on the pictures of other things in --others; a quarter held by claws; exposure, tone, colour, blur and noise drawn at random.
--halves trains two more networks, each without half of the test stones, and writes them there for benchmarks/train_girdle.py.
"""

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import cv2
import numpy as np
import torch
from diameters import load, photographs
from numpy.typing import NDArray
from torch import Tensor
from torch.nn import functional
from unet import UNet, Weights, text, trained, write

from setstone.measure.body import MIDDLE, SIDE, SPREAD

TARGET = Path(__file__).parents[1] / "measure" / "body_weights.py"
#: Planes at each level of the network.
CHANNELS = (8, 12, 16, 20, 24, 24)
#: Longest side of the copies learnt from, in pixels; pictures a step.
KEPT, BATCH = 320, 8
BEYOND, STONE, EITHER = 0, 1, 2

Picture = NDArray[np.float32]
Marks = NDArray[np.uint8]


class Example(NamedTuple):
    """One photograph: colours in 0..1, what is stone, and whose it is."""

    name: str
    pixels: Picture
    marks: Marks
    rendered: bool


def examples(folder: Path, lamp: str) -> list[Example]:
    """Read the photographs of a folder; what lies between girdle and lip, and under claws, may be either."""
    read = []
    for name, path, stone, _ in photographs(folder, lamp):
        pixels = load(path)
        height, width = pixels.shape[:2]
        factor = KEPT / max(height, width)
        size = round(width * factor), round(height * factor)
        ratio = np.array([size[0] / width, size[1] / height])

        def filled(
            key: str, size: tuple[int, int] = size, ratio: NDArray[np.float64] = ratio, stone: dict = stone
        ) -> Marks:
            corners = (np.array(stone[key]) + 0.5) * ratio - 0.5
            marks = np.zeros(size[::-1], np.uint8)
            return cv2.fillPoly(marks, [np.rint(corners * 16).astype(np.int32)], 1, cv2.LINE_8, 4)

        marks = np.where(
            filled("visible_outline_px") > 0, STONE, np.where(filled("outline_px") > 0, EITHER, BEYOND)
        )
        small = (
            cv2.resize(pixels, size, interpolation=cv2.INTER_AREA).astype(np.float32)
            / np.iinfo(pixels.dtype).max
        )
        rendered = "visible_diameter_mm" not in stone
        read.append(Example(name.split("/")[0], small, marks.astype(np.uint8), rendered))
    return read


def textures(folder: Path, most: int = 400) -> list[Picture]:
    """Pictures of other things, reduced."""
    found = []
    for path in sorted(p for p in folder.rglob("*") if p.suffix.lower() in {".jpg", ".png", ".tif", ".tiff"}):
        pixels = cv2.imread(str(path))
        if pixels is not None and len(found) < most:
            factor = 400 / max(pixels.shape[:2])
            small = cv2.resize(pixels, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
            found.append(small[..., ::-1].astype(np.float32) / 255)
    return found


class Darkroom:
    """Makes altered copies of examples."""

    def __init__(self, learnt: Sequence[Example], blue: Sequence[Example], others: Sequence[Picture]) -> None:
        self.rng = np.random.default_rng(1)
        self.others = others
        self.pools = {
            (lamp, rendered): [e for e in some if e.rendered == rendered]
            for lamp, some in (("white", learnt), ("blue", blue))
            for rendered in (True, False)
        }

    def batch(self) -> tuple[Tensor, Tensor]:
        """Planes (B, 3, SIDE, SIDE) as the network takes them, and marks (B, SIDE, SIDE)."""
        copies = [self.copy() for _ in range(BATCH)]
        pixels = np.stack([c[0].transpose(2, 0, 1) for c in copies])
        return torch.from_numpy((pixels - MIDDLE) / SPREAD), torch.from_numpy(
            np.stack([c[1] for c in copies])
        )

    def copy(self) -> tuple[Picture, Marks]:
        """One example as another camera might have taken it in another setting; test stones come up as often as rendered ones."""
        rng = self.rng
        pool = self.pools["white" if rng.random() < 0.75 else "blue", rng.random() < 0.55]
        pixels, marks = self._moved(pool[rng.integers(len(pool))])
        if rng.random() < 0.4:
            pixels = self._set_anew(pixels, marks)
        if rng.random() < 0.25:
            pixels, marks = self._under_claws(pixels, marks)
        pixels = (
            pixels ** rng.uniform(0.6, 1.6) * np.exp(rng.normal(0, 0.25)) * np.exp(rng.normal(0, 0.12, 3))
        )
        if rng.random() < 0.3:
            pixels = cv2.GaussianBlur(pixels, (0, 0), rng.uniform(0.3, 1.5))
        if rng.random() < 0.08:
            pixels = pixels.mean(-1, keepdims=True).repeat(3, -1)
        pixels = pixels + rng.normal(0, rng.uniform(0, 0.04), pixels.shape)
        return np.clip(pixels, 0, 1).astype(np.float32), marks

    def _moved(self, example: Example) -> tuple[Picture, Marks]:
        rng = self.rng
        factor = SIDE / max(example.marks.shape) * np.exp(rng.uniform(-0.45, 0.5))
        turn, mirror = rng.uniform(0, 2 * np.pi), rng.choice([-1, 1])
        c, s = factor * np.cos(turn), factor * np.sin(turn)
        move = np.array([[c * mirror, -s, 0], [s * mirror, c, 0]])
        y, x = np.nonzero(example.marks == STONE)
        move[:, 2] = SIDE / 2 + rng.normal(0, 0.08 * SIDE, 2) - move[:, :2] @ [x.mean(), y.mean()]
        edge = int(
            rng.choice([cv2.BORDER_REFLECT, cv2.BORDER_REPLICATE, cv2.BORDER_CONSTANT], p=[0.4, 0.3, 0.3])
        )
        size = (SIDE, SIDE)
        how = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
        pixels = cv2.warpAffine(
            example.pixels, move, size, flags=how, borderMode=edge, borderValue=tuple(rng.random(3))
        )
        marks = cv2.warpAffine(example.marks, move, size, flags=cv2.INTER_NEAREST)
        if edge == cv2.BORDER_REFLECT:  # a mirrored stone is a stone too
            there = cv2.warpAffine(np.ones_like(example.marks), move, size, flags=cv2.INTER_NEAREST)
            marks[there == 0] = EITHER
        return pixels, marks

    def _set_anew(self, pixels: Picture, marks: Marks) -> Picture:
        """Another setting around the stone."""
        rng = self.rng
        inside = (marks == STONE).astype(np.uint8)
        away = cv2.distanceTransform(1 - inside, cv2.DIST_L2, 5)
        extent = np.sqrt(max(inside.sum(), 1))
        around = np.empty_like(pixels)
        around[:] = rng.random(3)
        if rng.random() < 0.6:
            other = self.others[rng.integers(len(self.others))]
            if rng.random() < 0.5:
                other = other[:SIDE, :SIDE]
            around = cv2.resize(other, (SIDE, SIDE)) * np.exp(rng.normal(0, 0.3, 3)).astype(np.float32)
        if rng.random() < 0.75:
            many, reach = int(rng.integers(3, 14)), extent * rng.uniform(0.05, 0.5)
            band = np.interp(
                np.minimum(away / reach, 1) * many, np.arange(many + 1), rng.uniform(0.2, 1.8, many + 1)
            )
            if rng.random() < 0.5:
                middle = np.array(np.nonzero(inside)).mean(axis=1)[:, None, None]
                angle = np.arctan2(*(np.indices(marks.shape) - middle))
                beads = np.sin(angle * rng.integers(8, 60) + rng.random() * 2 * np.pi) * np.exp(-away / reach)
                band = band * (1 + rng.uniform(0, 0.6) * beads)
            around = around * band[..., None]
        if rng.random() < 0.3:
            around = around.mean(-1, keepdims=True) * [1, rng.uniform(0.7, 1), rng.uniform(0.4, 1)]
        seen = cv2.GaussianBlur(inside.astype(np.float32), (0, 0), 0.7)[..., None]
        return (pixels * seen + around * (1 - seen)).astype(np.float32)

    def _under_claws(self, pixels: Picture, marks: Marks) -> tuple[Picture, Marks]:
        """Claws of metal over the edge; under them may be stone."""
        rng = self.rng
        contours, _ = cv2.findContours((marks > 0).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        if not contours:
            return pixels, marks
        edge = max(contours, key=cv2.contourArea)[:, 0].astype(float)
        extent, middle = np.sqrt((marks > 0).sum()), edge.mean(axis=0)
        metal = np.array([1, rng.uniform(0.75, 1), rng.uniform(0.5, 1)]) * rng.uniform(0.2, 1)
        claws = np.zeros_like(marks)
        width, length = extent * rng.uniform(0.03, 0.1), extent * rng.uniform(0.06, 0.2)
        many, first = int(rng.integers(3, 9)), rng.random()
        for k in range(many):
            foot = edge[int((first + k / many) * len(edge)) % len(edge)]
            out = (foot - middle) / max(np.hypot(*(foot - middle)), 1)
            ends = [np.rint(foot + out * reach).astype(int).tolist() for reach in (0.25 * extent, -length)]
            cv2.line(claws, ends[0], ends[1], 1, max(1, int(width)))
        seen = cv2.GaussianBlur(claws.astype(np.float32), (0, 0), 0.7)[..., None]
        shade = cv2.distanceTransform(claws, cv2.DIST_L2, 3)[..., None] / max(width, 1)
        pixels = pixels * (1 - seen) + seen * metal * (0.5 + 0.8 * np.minimum(shade, 1))
        return pixels.astype(np.float32), np.where((claws > 0) & (marks == STONE), EITHER, marks).astype(
            np.uint8
        )


def learnt_from(room: Darkroom, minutes: float, begin: Weights | None = None) -> Weights:
    """Train for some time, from the beginning or from other weights."""

    def loss(network: UNet) -> Tensor:
        planes, marks = room.batch()
        sure = (marks != EITHER).float()
        off = functional.binary_cross_entropy_with_logits(
            network(planes), (marks == STONE).float(), reduction="none"
        )
        return (off * sure).sum() / sure.sum()

    torch.manual_seed(0)
    return trained(UNet(3, CHANNELS), loss, minutes, begin)


def main() -> None:
    """Train and write."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("stones", type=Path)
    parser.add_argument("--renders", type=Path, nargs="+", required=True)
    parser.add_argument("--others", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=25.0)
    parser.add_argument("--halves", type=Path)
    arguments = parser.parse_args()
    folders = [arguments.stones, *arguments.renders]
    white, blue = ([e for f in folders for e in examples(f, lamp)] for lamp in ("white", "blue"))
    others = textures(arguments.others)

    def learnt(left_out: Sequence[str], minutes: float, begin: Weights | None) -> Weights:
        kept = [[e for e in some if e.name not in left_out] for some in (white, blue)]
        return learnt_from(Darkroom(*kept, others), minutes, begin)

    stones = sorted({e.name for e in white if not e.rendered})
    np.random.default_rng(2).shuffle(stones)
    begun = learnt(stones, 0.6 * arguments.minutes, None) if arguments.halves else None
    for half in range(2) if arguments.halves else ():
        out = stones[half::2]
        arguments.halves.mkdir(parents=True, exist_ok=True)
        weights = text(learnt(out, 0.2 * arguments.minutes, begun))
        (arguments.halves / f"{half}.txt").write_text(f"{' '.join(out)}\n{weights}\n", encoding="utf-8")
    final = text(learnt([], arguments.minutes, begun))
    write(TARGET, "the body of a stone", Path(__file__).name, final)


if __name__ == "__main__":
    main()

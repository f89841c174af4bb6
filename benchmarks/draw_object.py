"""Draw the demo snuff box as a whole: sample_images/snuff-box.jpg, an invented lid with stones set around it.

    python benchmarks/draw_object.py [OUT.jpg]

Everything is computed but the stones, which are cut out of the sample photographs.
"""

import sys
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.capture.open import open_photograph
from setstone.measure.girdle import find_girdle
from setstone.sample_images import OBJECT_PLACES, sample_stones

WIDTH, HEIGHT = 1600, 1120
#: Girdle of a stone on the lid, in pixels.
STONE = 150


def main(to: Path) -> None:
    """Draw it."""
    rng = np.random.default_rng(7)
    y, x = np.mgrid[:HEIGHT, :WIDTH].astype(np.float32)
    ground = np.full((HEIGHT, WIDTH, 3), (58, 56, 60), np.float32) + rng.normal(0, 2, (HEIGHT, WIDTH, 1))
    centre = np.array([WIDTH / 2, HEIGHT / 2])
    radius = np.hypot((x - centre[0]) / 720, (y - centre[1]) / 500)
    # A domed oval lid: light from the upper left, fine engine-turned waves, a raised rim.
    angle = np.arctan2((y - centre[1]) / 500, (x - centre[0]) / 720)
    waves = 0.06 * np.sin(48 * angle + 26 * np.pi * radius) * (radius < 0.9) + 0.1 * np.sin(60 * radius) * (
        radius > 0.93
    )
    shade = 0.78 - 0.22 * (((x - centre[0]) / 720) + ((y - centre[1]) / 500)) * radius + waves
    lid = np.float32((212, 178, 104)) * shade[..., None] + rng.normal(0, 2.5, (HEIGHT, WIDTH, 1))
    shadow = np.clip(1 - (np.hypot((x - centre[0] - 18) / 735, (y - centre[1] - 26) / 515) < 1) * 0.55, 0, 1)
    picture = ground * cv2.GaussianBlur(shadow.astype(np.float32), (0, 0), 14)[..., None]
    covered = np.clip((1 - radius) * 300, 0, 1)[..., None]
    picture = picture * (1 - covered) + lid * covered
    cut = [cut_stone(sample.folder / "after_white.jpg") for sample in sample_stones()]
    by_position = {sample.position: piece for sample, piece in zip(sample_stones(), cut, strict=True)}
    for number, (position, (right, down)) in enumerate(OBJECT_PLACES.items()):
        pixels, mask = by_position.get(position, cut[number % len(cut)])
        set_in(picture, pixels, mask, round(right * WIDTH), round(down * HEIGHT), turn=40 * number)
    bgr = cv2.cvtColor(np.clip(picture, 0, 255).astype(np.uint8), cv2.COLOR_RGB2BGR)
    cv2.imwrite(str(to), bgr, [cv2.IMWRITE_JPEG_QUALITY, 88])


def cut_stone(file: Path) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """The stone in a photograph, small, and how much of each pixel is stone."""
    pixels = open_photograph(file).pixels
    outline = find_girdle(pixels)
    if outline is None:
        raise SystemExit(f"No girdle was found in {file}.")
    points = outline.points
    low, high = np.floor(points.min(0)).astype(int), np.ceil(points.max(0)).astype(int)
    mask = np.zeros(pixels.shape[:2], np.float32)
    cv2.fillPoly(mask, [np.round(points).astype(np.int32)], 1.0)
    window = np.s_[low[1] : high[1], low[0] : high[0]]
    scale = STONE / float((high - low).max())
    size = tuple(int(v) for v in np.round((high - low) * scale))
    small = cv2.resize(pixels[window], size, interpolation=cv2.INTER_AREA).astype(np.float32)
    return small, cv2.resize(mask[window], size, interpolation=cv2.INTER_AREA)


def set_in(
    picture: NDArray[np.float32],
    pixels: NDArray[np.float32],
    mask: NDArray[np.float32],
    x: int,
    y: int,
    *,
    turn: float,
) -> None:
    """Set a stone in its collet, turned by so many degrees."""
    side = STONE + 40
    height, width = mask.shape
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), turn, 1.0)
    matrix[:, 2] += (side - width) / 2, (side - height) / 2
    turned = cv2.warpAffine(pixels, matrix, (side, side))
    stone = cv2.warpAffine(mask, matrix, (side, side))[..., None]
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (21, 21))
    collet = cv2.GaussianBlur(cv2.dilate(stone[..., 0], kernel), (0, 0), 1.2)[..., None]
    rows, columns = np.mgrid[:side, :side]
    gleam = 0.9 - 0.35 * ((columns + rows) / side - 1)
    rim = np.float32((232, 198, 122)) * gleam[..., None]
    window = picture[y - side // 2 : y - side // 2 + side, x - side // 2 : x - side // 2 + side]
    window[:] = window * (1 - collet) + rim * collet
    window[:] = window * (1 - stone) + turned * stone


if __name__ == "__main__":
    main(
        Path(sys.argv[1])
        if len(sys.argv) > 1
        else Path(__file__).parent.parent / "sample_images" / "snuff-box.jpg"
    )

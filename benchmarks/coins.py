"""Coins of known diameter, measured against one of them on a sheet of paper of known size.

    python benchmarks/coins.py REALDATA [--draw FOLDER]

REALDATA holds circles-coins/ (sources and licences in its truth.json; diameters: Commission Regulation (EU) 729/2014). The
corners of the sheet (A4, ISO 216) are found as the crossings of its sides, and the picture is rectified by them. Then each
coin is calibrated on each other one: the error is that of `find_girdle`, the girdle's own outline finder, on a coin, told one
point of the rim. No published figure is known; a plain Hough circle without rectifying spreads over 5 % (README of the set).
"""

import argparse
import json
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.capture.open import open_photograph
from setstone.measure.girdle import find_girdle
from setstone.measure.light import Pixels
from setstone.measure.outline import Outline, diameters
from setstone.measure.scale import Scale

PX_PER_MM = 6.0
GOAL = 1.0


def sheet_corners(pixels: Pixels) -> NDArray[np.float32]:
    """Corners of the one white sheet, from top left clockwise: crossings of the lines along its sides."""
    grey, saturation = pixels.max(axis=2), np.ptp(pixels, axis=2)
    paper = ((saturation < 40) & (grey > 110)).astype(np.uint8)
    paper = cv2.morphologyEx(paper, cv2.MORPH_OPEN, np.ones((9, 9), np.uint8))
    outlines, _ = cv2.findContours(paper, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(outlines, key=cv2.contourArea).reshape(-1, 2).astype(np.float32)
    rough = cv2.approxPolyN(outline[:, None], 4).reshape(-1, 2).astype(np.float64)
    sides = []
    for a, b in zip(rough, np.roll(rough, -1, axis=0), strict=True):
        along = (b - a) / np.hypot(*(b - a))
        at = (outline - a) @ along / np.hypot(*(b - a))
        off = (outline - a) @ np.array([-along[1], along[0]])
        side = outline[(at > 0.05) & (at < 0.95) & (np.abs(off) < 25)]
        vx, vy, x, y = cv2.fitLine(side, cv2.DIST_WELSCH, 0, 0.01, 0.01).ravel()
        sides.append(np.array([vy, -vx, vx * y - vy * x]))
    crossings = [np.cross(p, q) for p, q in zip(np.roll(sides, 1, axis=0), sides, strict=True)]
    corners = np.array([c[:2] / c[2] for c in crossings])
    order = np.argsort(np.arctan2(*(corners - corners.mean(axis=0)).T[::-1]))
    return corners[order].astype(np.float32)


def rectified(pixels: Pixels, sheet_mm: tuple[float, float]) -> tuple[Pixels, NDArray[np.float64]]:
    """The sheet seen from straight above, `PX_PER_MM` pixels a millimetre, and the move that does it."""
    width, height = (side * PX_PER_MM for side in sheet_mm)
    target = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    move = cv2.getPerspectiveTransform(sheet_corners(pixels), target)
    return cv2.warpPerspective(pixels, move, (int(width), int(height)), flags=cv2.INTER_CUBIC), move


def main() -> None:
    """Measure every coin against every other."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("realdata", type=Path)
    parser.add_argument("--draw", type=Path, help="folder for the rectified pictures with the outlines")
    arguments = parser.parse_args()
    folder = arguments.realdata / "circles-coins"
    for name, truth in json.loads((folder / "truth.json").read_text(encoding="utf-8")).items():
        if "sheet_mm" not in truth:
            continue
        flat, move = rectified(open_photograph(folder / name).pixels, truth["sheet_mm"])
        names, ratios, drawn = [], [], flat.copy()
        for coin in truth["coins"]:
            x, y = cv2.perspectiveTransform(np.array([[coin["centre_px_approx"]]], np.float32), move)[0, 0]
            width = PX_PER_MM * coin["diameter_mm"]
            half = int(0.8 * width)
            x0, y0 = int(x) - half, int(y) - half
            crop = np.ascontiguousarray(flat[y0 : y0 + 2 * half, x0 : x0 + 2 * half])
            outline = find_girdle(crop, near=(x - x0, y - y0 - width / 2))
            if outline is None:
                print(f"{name} {coin['denomination']}: no outline")
                continue
            names.append(coin["denomination"])
            ratios.append(
                diameters(outline, Scale(1000 / PX_PER_MM, 0.0, "given")).mean.value / coin["diameter_mm"]
            )
            draw(drawn, outline.shifted(x0, y0))
        print(f"{name}: measured / nominal by the sheet: ", end="")
        print(", ".join(f"{n} {r:.4f}" for n, r in zip(names, ratios, strict=True)))
        for reference, ratio in zip(names, ratios, strict=True):
            errors = 100 * (np.array(ratios) / ratio - 1)
            print(
                f"  calibrated on {reference:4}: worst {np.abs(errors).max():.2f} % (goal ≤ {GOAL:g} %): "
                + ", ".join(f"{n} {e:+.2f}" for n, e in zip(names, errors, strict=True))
            )
        if arguments.draw:
            arguments.draw.mkdir(parents=True, exist_ok=True)
            cv2.imwrite(str(arguments.draw / f"{Path(name).stem}.png"), drawn[..., ::-1])


def draw(picture: Pixels, outline: Outline) -> None:
    """Draw an outline into a picture."""
    corners = np.rint(outline.points * 8).astype(np.int32)
    cv2.polylines(picture, [corners], True, (255, 0, 255), 1, cv2.LINE_AA, 3)


if __name__ == "__main__":
    main()

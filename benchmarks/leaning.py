"""How far off a stone is laid that leans otherwise than before.

    python benchmarks/leaning.py [--numbers 2000 2002 2006 2010 2016 2020]

Stones of our own rendering (`rendering/`), photographed as they are and again after they were turned by 40° and leaned by 0, 1, 2 and 5°.
Printed is the distance at the girdle between where `setstone.measure.register` puts each point of it and where it lies,
root mean square, px of the photograph before, or why it was refused; and of the similarity and of the affine motion that fit
the girdle best, which is what a perfect answer of either kind would reach.
"""

import argparse

import cv2
import numpy as np
from registration import Points, moved
from rendering.photograph import render
from rendering.setting_again import SetAgain

from setstone.measure.register import register

LEANS_DEG = (0.0, 1.0, 2.0, 5.0)


def off(there: Points, true: Points) -> float:
    """Root mean square distance of points."""
    return float(np.sqrt(((there - true) ** 2).sum(1).mean()))


def main() -> None:
    """Render, lay on one another, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--numbers", type=int, nargs="+", default=[2000, 2002, 2006, 2010, 2016, 2020])
    for number in parser.parse_args().numbers:
        before = render("before", number)
        fixed = np.array(before.truth["stone"]["outline_px"])
        for lean in LEANS_DEG:
            after = render("after", number, again=SetAgain(turn_deg=40.0, lean_deg=(lean, 0.0)))
            moving = np.array(after.truth["stone"]["outline_px"])
            found = register(
                [after.white, after.blue],
                [before.white, before.blue],
                moving_outline=moving,
                fixed_outline=fixed,
                zoom=1.0,
            )
            says = f"{off(moved(found.matrix, moving), fixed):5.2f} px" if found.reliable else "refused"
            best = [cv2.estimateAffinePartial2D(moving, fixed)[0], cv2.estimateAffine2D(moving, fixed)[0]]
            similar, affine = (off(moved(np.vstack([m, [0, 0, 1]]), moving), fixed) for m in best)
            print(
                f"{number} {before.truth['stone']['cut']:10} {lean:3.0f}° {says} ({found.reason}); "
                f"best similarity {similar:.2f} px, best affine {affine:.2f} px",
                flush=True,
            )


if __name__ == "__main__":
    main()

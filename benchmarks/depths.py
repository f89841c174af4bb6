"""How well the depth of a candidate is told by a series through the focus, on computed frames of known depth.

    python benchmarks/depths.py [--series 60]

Lines (Gaussian, 1 px) and discs (18 px wide) at random depths in nine frames, blurred by a Gaussian that grows by 0.4, 1.2 or
2.5 px from frame to frame, with noise of 2 or 6 grey levels. Printed are the errors in steps between frames, and how many of the
stated intervals (k = 2) hold the truth.
"""

import argparse

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from setstone.measure.candidates import Candidate
from setstone.measure.depth import with_depths

FRAMES, SIZE, MIDDLE, RADIUS = 9, 80, 40.3, 9.0


def frames(
    kind: str, depth: float, growth: float, noise: float, rng: np.random.Generator
) -> list[NDArray[np.uint8]]:
    """Frames of one line or disc."""
    y, x = np.mgrid[:SIZE, :SIZE].astype(float)
    made = []
    for k in range(FRAMES):
        blur = np.hypot(0.9, growth * (k - depth))
        if kind == "line":
            width = np.hypot(1.0, blur)
            grey = 90 + 50 / width * np.exp(-((x - MIDDLE) ** 2) / 2 / width**2)
        else:
            grey = 140 - 30 * (1 + erf((RADIUS - np.hypot(x - MIDDLE, y - MIDDLE)) / np.sqrt(2) / blur))
        grey = np.clip(np.round(grey + rng.normal(0, noise, grey.shape)), 0, 255)
        made.append(np.repeat(grey.astype(np.uint8)[..., None], 3, axis=2))
    return made


def candidate(kind: str) -> Candidate:
    """Path of the line or disc, drawn a little beside it."""
    if kind == "line":
        path = np.column_stack([np.full(61, round(MIDDLE)), np.arange(10.0, 71)])
        return Candidate("line", path, "blue", 0.5, (), 20.0)
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    path = round(MIDDLE) + RADIUS * np.column_stack([np.cos(turn), np.sin(turn)])
    return Candidate("spot", path, "white", 0.5, (), -40.0)


def main() -> None:
    """Print one line per kind, blur and noise."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--series", type=int, default=60, help="series for each line")
    count = parser.parse_args().series
    print(
        f"{'kind':5} {'blur':>5} {'noise':>6} {'told':>7} {'rms':>6} {'worst':>6} {'U':>6}  intervals that hold the truth"
    )
    held = told = 0
    for kind in ("line", "spot"):
        for growth in (0.4, 1.2, 2.5):
            for noise in (2.0, 6.0):
                rng = np.random.default_rng([len(kind), int(10 * growth), int(noise)])
                errors, stated = [], []
                for _ in range(count):
                    depth = rng.uniform(1.5, FRAMES - 2.5)
                    (found,) = with_depths(
                        [candidate(kind)], frames(kind, depth, growth, noise, rng), step_um=1.0
                    )
                    below = found.sizes.get("below_first_frame")
                    if below is not None:
                        errors.append(abs(below.value - depth))
                        stated.append(below.expanded)
                e, u = np.array(errors), np.array(stated)
                inside = int((e <= u).sum())
                held, told = held + inside, told + len(e)
                print(
                    f"{kind:5} {growth:5.1f} {noise:6.0f} {len(e):3}/{count:3} {np.sqrt((e**2).mean()):6.3f} {e.max():6.3f} "
                    f"{np.median(u):6.2f}  {inside}/{len(e)}"
                )
    print(f"intervals that hold the truth: {held} of {told} ({held / told:.0%})")


if __name__ == "__main__":
    main()

"""Time and memory of a focus stack, as a ratio to a plain single-scale Laplacian merge in the same run.

    python benchmarks/stacking.py [--megapixels 20] [--frames 10]

The frames are computed: one scene, sharp where its depth is, scaled and moved a little from frame to frame as by
a real focus drive. They are kept in a file and read one at a time, as photographs are. Each way runs in a
process of its own, whose peak memory is told (Linux). The goal is 20 s and 2 GB for 10 frames of 20 megapixels.
"""

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.capture.stacking import stack

Picture = NDArray[np.uint8]


def make(folder: Path, megapixels: float, count: int) -> None:
    """Write the frames and the sharp scene."""
    width = int((megapixels * 1e6 * 4 / 3) ** 0.5) // 8 * 8
    height = int(megapixels * 1e6 / width) // 8 * 8
    rng = np.random.default_rng(0)
    coarse = rng.integers(30, 220, (height // 12, width // 12, 3)).astype(np.uint8)
    sharp = cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC)
    blurred = [sharp] + [cv2.GaussianBlur(sharp, (0, 0), 2.0 * k) for k in range(1, count)]
    bands = np.linspace(0, width, count + 1).astype(int)
    for z in range(count):
        frame = np.empty_like(sharp)
        for band in range(count):
            columns = np.s_[:, bands[band] : bands[band + 1]]
            frame[columns] = blurred[abs(band - z)][columns]
        scale = 1 + 0.0005 * z
        motion = np.array([[scale, 0, 2.0 * z], [0, scale, -1.0 * z]])
        moved = cv2.warpAffine(frame, motion, (width, height), borderMode=cv2.BORDER_REFLECT)
        np.save(folder / f"{z:02}.npy", cv2.add(moved, rng.integers(0, 4, moved.shape).astype(np.uint8)))
    np.save(folder / "sharp.npy", sharp)


def frames(folder: Path) -> Iterator[Picture]:
    """Read the frames one at a time."""
    for file in sorted(folder.glob("[0-9]*.npy")):
        yield np.load(file)


def plain(pictures: Iterator[Picture]) -> Picture:
    """Merge without aligning: each pixel from the frame with the largest Laplacian."""
    merged: Picture | None = None
    strongest: NDArray[np.float32] | None = None
    for frame in pictures:
        grey = cv2.GaussianBlur(cv2.cvtColor(frame, cv2.COLOR_RGB2GRAY), (3, 3), 0)
        energy = np.abs(cv2.Laplacian(grey, cv2.CV_32F, ksize=3))
        if merged is None or strongest is None:
            merged, strongest = frame.copy(), energy
            continue
        better = energy > strongest
        merged[better] = frame[better]
        strongest[better] = energy[better]
    assert merged is not None
    return merged


def one(way: str, folder: Path) -> None:
    """Run one way and print seconds, seconds of the processor, peak memory in MiB, and the error in grey levels."""
    begun, cpu = time.perf_counter(), time.process_time()
    if way == "plain":
        merged = plain(frames(folder))
    else:
        merged = stack(frames(folder), method="pyramid" if way == "pyramid" else "sharpest").pixels
    seconds, cpu = time.perf_counter() - begun, time.process_time() - cpu
    # Linux hands the peak of ru_maxrss on to child processes, so the kernel's own figure is read.
    peak = next(
        int(line.split()[1])
        for line in Path("/proc/self/status").read_text().splitlines()
        if line.startswith("VmHWM")
    )
    sharp = np.load(folder / "sharp.npy", mmap_mode="r")
    inner = np.s_[64:-64:3, 64:-64:3]
    error = float((merged[inner].astype(np.float32) - sharp[inner]).std())
    print(seconds, cpu, peak / 1024, error)


def main() -> None:
    """Compare the ways."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--megapixels", type=float, default=20)
    parser.add_argument("--frames", type=int, default=10)
    parser.add_argument("--one", nargs=2, metavar=("WAY", "FOLDER"), help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.one:
        one(asked.one[0], Path(asked.one[1]))
        return
    with tempfile.TemporaryDirectory() as name:
        make(Path(name), asked.megapixels, asked.frames)
        found = {}
        for way in ("plain", "pyramid", "sharpest"):
            said = subprocess.run(
                [sys.executable, __file__, "--one", way, name], check=True, capture_output=True, text=True
            )
            found[way] = [float(v) for v in said.stdout.split()]
    print(f"{asked.frames} frames of {asked.megapixels:g} megapixels")
    for way, (seconds, cpu, peak, error) in found.items():
        ratio = cpu / found["plain"][1]
        print(
            f"{way:9} {seconds:6.1f} s, {cpu:5.1f} s of the processor  {ratio:5.2f} × plain  {peak:6.0f} MiB at most  error {error:.1f} grey levels"
        )


if __name__ == "__main__":
    main()

"""Time and memory on large photographs, beside general-purpose routines and the goals.

    python benchmarks/speed.py [ROW ...] [--megapixels 20] [--stones 200] [--repeats 5]

ROW is one or more of: ridges lines spots outline examination growth folder start; all when none is given. The
photographs are those of a sample stone enlarged, with fresh noise, and their scale bar drawn in whole pixels.
Ratios are of processor time in the same run on one core; a *pass* reads and writes one float32 plane of the picture
once. Seconds of clock are the least of the repeats: on a busy machine they say little, processor time still does.
"""

import argparse
import json
import math
import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from setstone.capture.open import open_photograph
from setstone.measure.describe_lines import brightness
from setstone.measure.frame import Frame
from setstone.measure.girdle import find_girdle, visible_stone
from setstone.measure.judge_lines import judge_lines
from setstone.measure.light import Pixels, Plane
from setstone.measure.lines import find_lines
from setstone.measure.ridges import ridge_response
from setstone.measure.scalebar import find_scale_bar, scale_from_bar
from setstone.measure.scene import Scene
from setstone.measure.spots import find_spots
from setstone.sample_images import sample_stones

#: Widths of lines, as standard deviations in pixels (what scikit-image's sato takes when not told), and sizes of
#: spots in pixels, that both sides look for.
SIGMAS = (1.0, 3.0, 5.0, 7.0, 9.0)
SPOTS_PX = (4.0, 50.0)
MIB = 2**20


@dataclass(frozen=True)
class Figure:
    """One row of the table."""

    what: str
    measured: str
    goal: str
    reached: bool


@dataclass(frozen=True)
class Cost:
    """The least clock and processor seconds of several runs."""

    clock: float
    cpu: float


def cost(work: Callable[[], object], repeats: int) -> Cost:
    """Run some work several times."""
    runs = []
    for _ in range(repeats):
        clock, cpu = time.perf_counter(), time.process_time()
        work()
        runs.append((time.perf_counter() - clock, time.process_time() - cpu))
    return Cost(*(min(seconds) for seconds in zip(*runs, strict=True)))


def extra_planes(work: Callable[[], object], plane: Plane) -> float:
    """Memory taken while working and with the result, in planes of the picture."""
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / plane.nbytes


def enlarged(pixels: Pixels, megapixels: float, seed: int) -> Pixels:
    """Enlarge a photograph to so many megapixels; noise is of the new pixels, the bar of whole ones."""
    height, width = pixels.shape[:2]
    factor = math.sqrt(megapixels * 1e6 / (height * width))
    size = round(width * factor), round(height * factor)
    large = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_CUBIC), np.uint8)
    bar = find_scale_bar(pixels)
    if bar is not None:
        x0, y0, x1, y1 = bar.extent_box
        columns = np.minimum(((np.arange(size[0]) + 0.5) / factor).astype(int), width - 1)
        rows = np.minimum(((np.arange(size[1]) + 0.5) / factor).astype(int), height - 1)
        across, down = (columns >= x0 - 3) & (columns <= x1 + 3), (rows >= y0 - 3) & (rows <= y1 + 3)
        large[np.ix_(down, across)] = pixels[np.ix_(rows[down], columns[across])]
    noise = np.random.default_rng(seed)
    for top in range(0, size[1], 512):
        band = large[top : top + 512]
        band[:] = np.clip(band + 2.5 * noise.standard_normal(band.shape, np.float32), 0, 255)
    return large


@cache
def folder_of_photographs() -> Path:
    """Make a folder for the photographs; it goes with the run."""
    holder = tempfile.TemporaryDirectory(prefix="setstone-speed-")
    _KEPT.append(holder)
    return Path(holder.name)


_KEPT: list[Any] = []


@cache
def pair(megapixels: float) -> tuple[Path, Path]:
    """White and blue JPEG of so many megapixels, as a camera writes them (4:2:0)."""
    source = sample_stones()[0].folder
    paths = []
    for seed, lamp in enumerate(("white", "blue")):
        path = folder_of_photographs() / f"{megapixels:g}_{lamp}.jpg"
        pixels = open_photograph(source / f"before_{lamp}.jpg").pixels
        Image.fromarray(enlarged(pixels, megapixels, seed)).save(path, quality=92, subsampling=2)
        paths.append(path)
    return paths[0], paths[1]


@cache
def blue_plane(megapixels: float) -> Plane:
    """Grey levels of the blue photograph."""
    return brightness(open_photograph(pair(megapixels)[1]).pixels)


@cache
def sato_cost(megapixels: float) -> float:
    """Processor seconds of scikit-image's Sato filter on the whole picture; once, for it takes long."""
    return cost(lambda: sato_of(blue_plane(megapixels)), 1).cpu


def sato_of(plane: Plane) -> NDArray[Any]:
    """Ridge response of scikit-image (Sato et al. 1998)."""
    from skimage.filters import sato

    return np.asarray(sato(plane, sigmas=SIGMAS, black_ridges=False, mode="reflect"))


def pass_cost(plane: Plane, repeats: int) -> float:
    """Processor seconds to read and write a plane once."""
    target = np.empty_like(plane)
    return cost(lambda: np.multiply(plane, np.float32(1.5), out=target), 2 * repeats).cpu


def ridges(options: argparse.Namespace) -> list[Figure]:
    """Hessian ridge response."""
    plane = blue_plane(options.megapixels)
    part = plane[: plane.shape[0] // 3, : plane.shape[1] // 3]
    likeness = float(np.corrcoef(ridge_response(part, SIGMAS).response.ravel(), sato_of(part).ravel())[0, 1])
    own = cost(lambda: ridge_response(plane, SIGMAS), options.repeats).cpu
    passes = own / pass_cost(plane, options.repeats)
    extra = (extra_planes(lambda: ridge_response(plane, SIGMAS), plane) - 3) * plane.nbytes / MIB
    ratio = sato_cost(options.megapixels) / own
    return [
        Figure(
            "ridge response: likeness to sato (correlation)", f"{likeness:.4f}", "≥ 0.99", likeness >= 0.99
        ),
        Figure(
            f"ridge response: {own:.2f} s of processor; times faster than sato",
            f"{ratio:.0f}",
            "≥ 60",
            ratio >= 60,
        ),
        Figure("ridge response, in passes", f"{passes:.0f}", "≤ 60", passes <= 60),
        Figure("ridge response, memory beside its result", f"{extra:.0f} MiB", "≤ 250 MiB", extra <= 250),
    ]


def lines(options: argparse.Namespace) -> list[Figure]:
    """Lines found, linked, measured and judged in the stone, as an examination does; and found in the whole picture."""
    white, blue = (open_photograph(path).pixels for path in pair(options.megapixels))
    girdle = find_girdle(white)
    assert girdle is not None
    frame = Frame.around(girdle, white.shape)

    def chain() -> object:
        stone, framed = frame.cut(white), frame.into(girdle)
        return judge_lines(Scene(stone, frame.cut(blue), framed, visible_stone(stone, framed), None))

    own = cost(chain, options.repeats).cpu
    bar = find_scale_bar(white)
    assert bar is not None
    um_per_px = scale_from_bar(bar).um_per_px
    plane = blue_plane(options.megapixels)
    whole = cost(lambda: find_lines(plane, um_per_px=um_per_px), options.repeats).cpu
    ratio, of_all = sato_cost(options.megapixels) / own, sato_cost(options.megapixels) / whole
    return [
        Figure(
            f"lines of the stone, found, measured and judged at three sizes: {own:.2f} s of processor;"
            " times faster than sato alone on the picture",
            f"{ratio:.0f}",
            "",
            True,
        ),
        Figure(
            f"the finder on every pixel of the picture, to linked sub-pixel paths: {whole:.1f} s of processor; times faster than sato",
            f"{of_all:.1f}",
            "≥ 20",
            of_all >= 20,
        ),
    ]


def spots(options: argparse.Namespace) -> list[Figure]:
    """Spots of all sizes, on the white photograph; blob_log on a sixteenth of it, whose cost grows with the pixels."""
    from skimage.feature import blob_log

    plane = brightness(open_photograph(pair(options.megapixels)[0]).pixels)

    def find() -> object:
        return find_spots(plane, um_per_px=1, smallest_um=SPOTS_PX[0], largest_um=SPOTS_PX[1])

    own = cost(find, options.repeats).cpu
    planes = extra_planes(find, plane)
    height, width = (n // 8 for n in plane.shape)
    part = (255 - plane[3 * height : 5 * height, 3 * width : 5 * width]) / 255
    sigmas = [diameter / (2 * math.sqrt(2)) for diameter in SPOTS_PX]
    theirs = cost(
        lambda: blob_log(part, min_sigma=sigmas[0], max_sigma=sigmas[1], num_sigma=12, threshold=0.08),
        options.repeats,
    )
    ratio = theirs.cpu * plane.size / part.size / own
    return [
        Figure(
            f"spots: {own:.2f} s of processor; times faster than blob_log",
            f"{ratio:.0f}",
            "≥ 25",
            ratio >= 25,
        ),
        Figure("spots, memory at most", f"{planes:.1f} planes", "≤ 4 planes", planes <= 4),
    ]


def outline(options: argparse.Namespace) -> list[Figure]:
    """The girdle in the white photograph."""
    pixels = open_photograph(pair(options.megapixels)[0]).pixels
    own = cost(lambda: find_girdle(pixels), 2 * options.repeats)
    return [Figure("outline", f"{own.clock:.2f} s (processor {own.cpu:.2f} s)", "≤ 0.2 s", own.clock <= 0.2)]


#: Run in a process of its own, so that its peak of memory is its own.
_EXAMINATION = """
import json, sys, time
from pathlib import Path
from setstone.capture.open import open_photograph
from setstone.measure.examine import examine
def once(white, blue):
    clock, cpu = time.perf_counter(), time.process_time()
    result = examine(*(open_photograph(Path(p)).pixels for p in (white, blue)))
    assert result.diameters is not None and result.candidates, result.flags
    return time.perf_counter() - clock, time.process_time() - cpu
def peak():
    # Not ru_maxrss: that of a child begins with its parent's.
    return next(int(l.split()[1]) / 1024 for l in open("/proc/self/status") if l.startswith("VmHWM"))
white, blue, small_white, small_blue, repeats = sys.argv[1:]
cold = once(small_white, small_blue)
runs = [once(white, blue) for _ in range(int(repeats))]
json.dump({"clock": min(r[0] for r in runs), "cpu": min(r[1] for r in runs), "peak": peak(), "cold": cold[0]},
          sys.stdout)
"""


def examined(megapixels: float, repeats: int) -> dict[str, float]:
    """Examine a pair from its files, after one small pair that loads and compiles all there is."""
    source = sample_stones()[2].folder
    small = [source / "before_white.jpg", source / "before_blue.jpg"]
    done = subprocess.run(
        [sys.executable, "-c", _EXAMINATION, *map(str, (*pair(megapixels), *small)), str(repeats)],
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    figures: dict[str, float] = json.loads(done.stdout)
    return figures


def examination(options: argparse.Namespace) -> list[Figure]:
    """The whole examination of a pair, from JPEG files to results."""
    run = examined(options.megapixels, options.repeats)
    return [
        Figure(
            f"whole examination of a pair, from files to results (processor {run['cpu']:.2f} s)",
            f"{run['clock']:.2f} s",
            "≤ 2.5 s",
            run["clock"] <= 2.5,
        ),
        Figure("the same, peak of memory", f"{run['peak']:.0f} MiB", "≤ 900 MiB", run["peak"] <= 900),
        Figure(
            "the first examination of a process (1.4 megapixels), all loaded",
            f"{run['cold']:.1f} s",
            "",
            True,
        ),
    ]


def growth(_options: argparse.Namespace) -> list[Figure]:
    """Time and memory from 2 to 80 megapixels."""
    sizes = (2, 5, 10, 20, 40, 80)
    runs = {size: examined(size, 1) for size in sizes}
    figures = [
        Figure(
            f"{size} megapixels: processor {run['cpu']:.2f} s", f"{run['peak']:.0f} MiB", "", True
        )
        for size, run in runs.items()
    ]  # fmt: skip

    # Linear in the pixels: no large step costs more per pixel than the whole range does, a tenth allowed. Seconds of
    # one run scatter too much for smaller steps.
    def per_pixel(key: str, a: int, b: int) -> float:
        return (runs[b][key] - runs[a][key]) / (b - a)

    memory = [per_pixel("peak", a, b) for a, b in ((2, 80), (20, 40), (40, 80))]
    seconds = [per_pixel("cpu", a, b) for a, b in ((2, 80), (20, 80))]
    straight = all(max(one[1:]) <= 1.1 * one[0] for one in (memory, seconds))
    return [
        *figures,
        Figure(
            "growth per megapixel: memory from 2 to 80, 20 to 40, 40 to 80; processor from 2 to 80, 20 to 80",
            ", ".join(f"{m:.1f}" for m in memory) + " MiB; " + ", ".join(f"{t:.3f}" for t in seconds) + " s",
            "linear",
            straight,
        ),
    ]


#: One process on one core, or two on two.
_FOLDER = """
import os, sys, time
from pathlib import Path
from setstone.record.book import Book
from setstone.record.examining import examine_stones
def main():
    folder, stones, workers = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    os.sched_setaffinity(0, set(range(workers)))
    with Book.open(Path(folder)) as book:
        chosen = [(stone, None) for stone in book.stones()][:stones]
        begin = time.perf_counter()
        done = list(examine_stones(book, chosen, by="Ada", workers=workers))
        print(time.perf_counter() - begin, sum(d.entry is not None for d in done))
if __name__ == "__main__":
    main()
"""


def folder(options: argparse.Namespace) -> list[Figure]:
    """A book of many stones, examined by one process on one core and by two on two."""
    from setstone.record.book import Book

    place = folder_of_photographs() / "book"
    sources = [s.folder / f"{when}_{{}}.jpg" for s in sample_stones() for when in ("before", "after")]
    with Book.create(place, workshop="Workshop on the Quay") as book:
        box = book.add_object("Tray", by="Ada")
        for n in range(options.stones):
            stone = book.add_stone(box, f"stone-{n + 1}", by="Ada")
            for lamp in ("white", "blue"):
                # Each its own photograph: a comment (T.81, B.2.4.5) after the start of the image differs.
                data = Path(str(sources[n % len(sources)]).format(lamp)).read_bytes()
                comment = f"{n:04d}".encode()
                path = folder_of_photographs() / f"{lamp}.jpg"
                path.write_bytes(data[:2] + b"\xff\xfe\x00\x06" + comment + data[2:])
                book.add_photograph(stone, path, by="Ada")
    script = folder_of_photographs() / "examine_folder.py"
    script.write_text(_FOLDER, encoding="utf-8")
    seconds = []
    for workers in (1, 2):
        done = subprocess.run(
            [sys.executable, str(script), str(place), str(options.stones), str(workers)],
            check=True, capture_output=True, text=True, env=os.environ | {"PYTHONPATH": str(Path.cwd())},
        )  # fmt: skip
        clock, count = done.stdout.split()
        assert int(count) == options.stones
        seconds.append(float(clock) / options.stones)
    ratio = seconds[0] / seconds[1]
    return [
        Figure(
            f"{options.stones} stones of two photographs, 1.4 megapixels: {60 / seconds[1]:.0f} a minute on two cores"
            f" ({seconds[1]:.2f} s a stone, {seconds[0]:.2f} s on one); times one core",
            f"{ratio:.2f}",
            "≥ 1.8",
            ratio >= 1.8,
        )
    ]


def start(options: argparse.Namespace) -> list[Figure]:
    """Import, and the command line's help."""
    figures = []
    for what, command, goal in (
        ("import of setstone, beside an empty Python", ["-c", "import setstone"], 0.15),
        ("setstone --help", ["-m", "setstone", "--help"], 0.4),
    ):

        def run(command: list[str]) -> Cost:
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            clock = cost(
                lambda: subprocess.run([sys.executable, *command], check=True, capture_output=True),
                4 * options.repeats,
            ).clock
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
            return Cost(clock, used / (4 * options.repeats))

        empty = run(["-c", "pass"]) if command[0] == "-c" else Cost(0, 0)
        own = run(command)
        seconds = own.clock - empty.clock
        figures.append(
            Figure(
                f"{what} (processor {own.cpu - empty.cpu:.2f} s)",
                f"{seconds:.2f} s",
                f"≤ {goal} s",
                seconds <= goal,
            )
        )
    return figures


ROWS: dict[str, Callable[[argparse.Namespace], list[Figure]]] = {
    f.__name__: f for f in (ridges, lines, spots, outline, examination, growth, folder, start)
}


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("rows", nargs="*", metavar="ROW", choices=[*ROWS, []], help="all when none is given")
    parser.add_argument("--megapixels", type=float, default=20)
    parser.add_argument("--stones", type=int, default=200)
    parser.add_argument("--repeats", type=int, default=5)
    options = parser.parse_args()
    cv2.setNumThreads(1)
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    print(
        f"{platform.processor() or platform.machine()}, {os.cpu_count()} cores, load {load:.1f} at the start\n"
    )
    print("| what | measured | goal | |\n|---|---|---|---|")
    for name in options.rows or ROWS:
        for figure in ROWS[name](options):
            mark = "" if not figure.goal else "reached" if figure.reached else "**not reached**"
            print(f"| {figure.what} | {figure.measured} | {figure.goal} | {mark} |", flush=True)


if __name__ == "__main__":
    main()

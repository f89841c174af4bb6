"""Time the live view takes for a frame of 1080p, as a ratio to a plain numpy mean of frames in the same run.

    python benchmarks/live_view.py [--frames 200] [--window]

At 30 pictures a second there are 33 ms for a frame: reading it, its figures, and handing it on. Reading is
the driver's; the recording used here is decoded from a video file written first. ``--window`` adds what it takes
to draw frame and figures in the window (a place of 1000 × 700 for the picture); it needs the extra ``gui``.
"""

import argparse
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

from setstone.capture.averaging import average
from setstone.capture.camera import Camera
from setstone.capture.live import Look, figures
from setstone.capture.photograph import Pixels


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--frames", type=int, default=200)
    parser.add_argument("--window", action="store_true")
    asked = parser.parse_args()
    count = asked.frames
    rng = np.random.default_rng(0)
    scene = cv2.resize(rng.integers(0, 255, (108, 192, 3)).astype(np.uint8), (1920, 1080))
    with tempfile.TemporaryDirectory() as folder:
        file = str(Path(folder) / "live.avi")
        writer = cv2.VideoWriter(file, cv2.VideoWriter.fourcc(*"MJPG"), 30, (1920, 1080))
        for _ in range(30):
            writer.write(cv2.add(scene, rng.integers(0, 8, scene.shape).astype(np.uint8)))
        writer.release()
        with Camera.open(file) as camera:
            frames = [camera.read() for _ in range(8)]
            begun, cpu = time.perf_counter(), time.process_time()
            for _ in range(count):
                figures(camera.read())
            whole, whole_cpu = time.perf_counter() - begun, time.process_time() - cpu
    cpu = time.process_time()
    for i in range(count):
        figures(frames[i % 8])
    own = (time.process_time() - cpu) / count
    cpu = time.process_time()
    np.mean(np.stack(frames), axis=0)
    plain = (time.process_time() - cpu) / 8
    cpu = time.process_time()
    average(frames)
    mean = (time.process_time() - cpu) / 8
    print(
        f"read, decoded and measured: {count / whole:.0f} pictures a second, {1e3 * whole_cpu / count:.1f} ms of the processor each"
    )
    print(
        f"figures alone: {1e3 * own:.2f} ms of the processor a frame, {own / plain:.2f} × numpy's mean of frames"
    )
    print(
        f"average in linear light: {1e3 * mean:.1f} ms of the processor a frame, {mean / plain:.2f} × numpy's mean"
    )
    if asked.window:
        drawn, drawn_cpu = _drawn(frames, count)
        print(
            f"drawn with its figures: {1e3 * drawn_cpu:.1f} ms of the processor a frame, {drawn_cpu / plain:.2f} × numpy's mean"
        )
        cost = whole_cpu / count + drawn_cpu
        print(
            f"read, measured and drawn: {1e3 * cost:.1f} ms of the processor a frame, room for {1 / cost:.0f} pictures a second on one"
            f" free processor; {1 / (whole / count + drawn):.0f} as it was, one after the other"
        )


def _drawn(frames: list[Pixels], count: int) -> tuple[float, float]:
    """Seconds, and those of the processor, to draw one frame with its figures in a window."""
    from qtpy.QtWidgets import QApplication, QWidget  # noqa: TID251

    from setstone.annotate.panels.live_picture import LivePicture

    application = QApplication.instance() or QApplication([])
    place = QWidget()
    place.resize(1000, 700)
    place.show()
    picture = LivePicture(place)
    looks = [Look(frame, figures(frame), 1.0, 30.0, i) for i, frame in enumerate(frames)]
    begun, cpu = time.perf_counter(), time.process_time()
    for i in range(count):
        picture.show_look(looks[i % len(looks)])
        application.processEvents()
    return (time.perf_counter() - begun) / count, (time.process_time() - cpu) / count


if __name__ == "__main__":
    main()

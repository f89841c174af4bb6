"""A live view with figures to focus and expose by, and photographs out of it; knows no window.

A thread reads the camera; whoever shows the view asks for the latest look as often as it likes. When the camera
goes away, the view says so and comes back with it.
"""

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from threading import Condition, Thread

import cv2
import numpy as np

from setstone.capture.averaging import Average, average
from setstone.capture.camera import MOST_FRAMES, Camera, CameraError, CameraFacts, control
from setstone.capture.errors import PhotographError
from setstone.capture.focus import tenengrad
from setstone.capture.photograph import Pixels

#: Side of the middle part that is focused by, px; and size of the picture exposure is told by.
MIDDLE_PX, _REDUCED_PX = 640, 320
#: Levels of 255 that count as over- and underexposed.
OVER, _UNDER = 250, 8
#: Seconds between two tries to open a camera, and to wait for a photograph's next frame.
_AGAIN_S, _PATIENCE_S = 1.0, 10.0


@dataclass(frozen=True)
class Figures:
    """Figures of one frame.

    Parameters
    ----------
    focus : float
        Sharpness of the middle of the picture; compares frames of one scene.
    over, under : float
        Shares of the picture that are overexposed and without light.
    """

    focus: float
    over: float
    under: float


@dataclass(frozen=True, eq=False)
class Look:
    """The latest frame: (H, W, 3) RGB with its figures.

    `best_focus` is the highest figure since the view began or `LiveView.forget_focus`; `rate` is in frames per
    second; `number` counts frames.
    """

    pixels: Pixels
    figures: Figures
    best_focus: float
    rate: float
    number: int


def figures(frame: Pixels) -> Figures:
    """Measure a frame quickly: a few milliseconds for 1080p.

    Parameters
    ----------
    frame : (H, W, 3) uint8 or uint16 array
    """
    height, width = frame.shape[:2]
    side = min(height, width, MIDDLE_PX)
    y, x = (height - side) // 2, (width - side) // 2
    middle = cv2.cvtColor(np.ascontiguousarray(frame[y : y + side, x : x + side]), cv2.COLOR_RGB2GRAY)
    if middle.dtype != np.uint8:
        middle = cv2.convertScaleAbs(middle, alpha=1 / 257)
    # Every n-th pixel, not means of them: a mean hides single clipped ones.
    step = max(1, max(height, width) // _REDUCED_PX)
    brightest = frame[::step, ::step].max(axis=2)
    top = np.iinfo(frame.dtype).max / 255
    over, under = float((brightest >= OVER * top).mean()), float((brightest <= _UNDER * top).mean())
    return Figures(tenengrad(np.asarray(middle, np.uint8)), over, under)


class LiveView:
    """A camera being watched, from `start` to `stop`.

    Parameters
    ----------
    open_camera : callable
        Opens the camera; called again after it went away. Raises CameraError when it cannot.
    on_look : callable, optional
        Told of each new look, in the thread of the camera.
    """

    def __init__(
        self, open_camera: Callable[[], Camera], *, on_look: Callable[[Look], None] | None = None
    ) -> None:
        self._open = open_camera
        self._on_look = on_look
        self._changed = Condition()
        self._latest: Look | None = None
        self._problem = ""
        self._facts: CameraFacts | None = None
        self._remarks: tuple[str, ...] = ()
        self._asked: dict[str, float] = {}
        self._to_ask: dict[str, float] = {}
        self._running = False
        self._thread: Thread | None = None
        self._best = 0.0
        self._count = 0

    @property
    def latest(self) -> Look | None:
        """The newest frame with its figures; None before the first, and while the camera is away."""
        with self._changed:
            return self._latest

    @property
    def problem(self) -> str:
        """Why there is no picture, in one sentence; empty when there is one."""
        with self._changed:
            return self._problem

    @property
    def facts(self) -> CameraFacts | None:
        """What the driver tells of the camera; None while it is away."""
        with self._changed:
            return self._facts

    @property
    def remarks(self) -> tuple[str, ...]:
        """What was asked of the camera and it did not do, in sentences."""
        with self._changed:
            return self._remarks

    def adjust(self, name: str, value: float) -> None:
        """Set a control before the next frame, and again when the camera was away; `remarks` tells if it was ignored.

        Raises
        ------
        CameraError
            When there is no control of that name.
        """
        control(name)
        with self._changed:
            self._asked[name] = self._to_ask[name] = value

    def start(self) -> None:
        """Begin to watch."""
        if self._thread is None:
            self._running = True
            self._thread = Thread(target=self._watch, name="camera", daemon=True)
            self._thread.start()

    def stop(self, *, wait: bool = True) -> None:
        """Stop, and let go of the camera.

        Parameters
        ----------
        wait : bool
            Whether to wait until it is let go; a camera that hangs may take seconds.
        """
        with self._changed:
            self._running = False
            self._changed.notify_all()
        if self._thread is not None and wait:
            self._thread.join(_PATIENCE_S)
        self._thread = None

    def forget_focus(self) -> None:
        """Begin anew to look for the best focus: another place, another stone."""
        with self._changed:
            self._best = 0.0

    def take(self, frames: int = 8) -> Average:
        """Take a photograph: the mean of the next frames.

        Raises
        ------
        CameraError
            When the camera is away or falls silent.
        """
        if not 1 <= frames <= MOST_FRAMES:
            raise CameraError(
                f"A photograph cannot be made of {frames} frames; give from 1 to {MOST_FRAMES}."
            )
        return average(self._fresh(frames))

    def _fresh(self, frames: int) -> Iterator[Pixels]:
        """Frames that come from now on; what comes while one is worked on is passed over."""
        with self._changed:
            seen = -1 if self._latest is None else self._latest.number
        for _ in range(frames):
            with self._changed:
                fresh = self._changed.wait_for(partial(self._is_news, seen), _PATIENCE_S)
                look = self._latest
                if self._problem or not self._running or not fresh or look is None:
                    raise CameraError(
                        self._problem or "The camera gives no pictures; start the live view again."
                    )
            seen = look.number
            yield look.pixels

    def _is_news(self, seen: int) -> bool:
        newer = self._latest is not None and self._latest.number > seen
        return newer or bool(self._problem) or not self._running

    def _watch(self) -> None:
        while self._running:
            try:
                with self._open() as camera:
                    self._read_from(camera)
            except PhotographError as problem:
                with self._changed:
                    self._problem, self._latest, self._facts = str(problem), None, None
                    self._changed.notify_all()
                    self._changed.wait_for(lambda: not self._running, _AGAIN_S)

    def _read_from(self, camera: Camera) -> None:
        with self._changed:
            self._to_ask = dict(self._asked)
            self._remarks, self._facts = camera.remarks, camera.facts()
        rate, before = 0.0, time.monotonic()
        while self._running:
            begun = time.monotonic()
            self._ask(camera)
            frame = camera.read()
            found = figures(frame)
            now = time.monotonic()
            passing = 1 / max(1e-3, now - before)
            rate, before = passing if rate == 0 else 0.9 * rate + 0.1 * passing, now
            with self._changed:
                self._best = max(self._best, found.focus)
                self._count += 1
                look = Look(frame, found, self._best, rate, self._count)
                self._latest, self._problem = look, ""
                self._changed.notify_all()
                # A camera comes in its own time; a recording is held back.
                left = camera.pace_s - (time.monotonic() - begun)
                if left > 0:
                    self._changed.wait_for(lambda: not self._running, left)
            if self._on_look is not None:
                self._on_look(look)

    def _ask(self, camera: Camera) -> None:
        with self._changed:
            wanted, self._to_ask = self._to_ask, {}
        if not wanted:
            return
        refused = tuple(camera.refusal(name, v) for name, v in wanted.items() if not camera.set(name, v))
        facts = camera.facts()
        with self._changed:
            self._remarks, self._facts = refused, facts

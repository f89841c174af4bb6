"""A camera as OpenCV opens it: by index, network address, or a video file or image sequence for trying out.

A camera that is missing, busy or unplugged is told in one sentence, and can be opened again at any time.
"""

import os
import platform
import stat
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, Self

import cv2
import numpy as np

from setstone.capture.averaging import Average, average
from setstone.capture.errors import PhotographError
from setstone.capture.photograph import Pixels

#: Controls by our name. Units and ranges are the driver's own; not every driver has every one.
CONTROLS = {
    "exposure": cv2.CAP_PROP_EXPOSURE,
    "auto-exposure": cv2.CAP_PROP_AUTO_EXPOSURE,
    "gain": cv2.CAP_PROP_GAIN,
    "white-balance": cv2.CAP_PROP_WB_TEMPERATURE,
    "auto-white-balance": cv2.CAP_PROP_AUTO_WB,
    "focus": cv2.CAP_PROP_FOCUS,
    "auto-focus": cv2.CAP_PROP_AUTOFOCUS,
    "brightness": cv2.CAP_PROP_BRIGHTNESS,
    "contrast": cv2.CAP_PROP_CONTRAST,
    "sharpness": cv2.CAP_PROP_SHARPNESS,
}
#: How long a network address may be silent, ms.
_PATIENCE_MS = 5000
#: Frames that drivers hand out from before a change or a pause.
_STALE = 2
MOST_FRAMES = 256


#: Units of the exposure time: 100 µs with Video4Linux (docs.kernel.org, V4L2_CID_EXPOSURE_ABSOLUTE), powers of two of
#: a second with Windows (learn.microsoft.com, KSPROPERTY_CAMERACONTROL_EXPOSURE).
_V4L2_EXPOSURE_S = 1e-4
#: Values of "auto-exposure" with which the time is set by hand (docs.kernel.org, V4L2_CID_EXPOSURE_AUTO: manual, and
#: shutter priority; as OpenCV reads Windows' flag).
_BY_HAND = {"Linux": (1.0, 2.0), "Windows": (0.0,)}


class CameraError(PhotographError):
    """A camera cannot be used; the message says what to do. Opening it again later may work."""


@dataclass(frozen=True)
class CameraFacts:
    """What the driver tells of a camera.

    Parameters
    ----------
    name : str
        Of the model; empty where the system does not tell.
    exposure_s : float or None
        Exposure time of one frame, s; None where it is not told, or changes by itself.
    controls : mapping of str to float
        Values of the controls there are, in the driver's own units.
    """

    name: str
    exposure_s: float | None
    controls: Mapping[str, float]


class Capture(Protocol):
    """What is used of ``cv2.VideoCapture``."""

    def isOpened(self) -> bool: ...  # noqa: D102, N802
    def read(self) -> tuple[bool, Any]: ...  # noqa: D102
    def get(self, prop: int, /) -> float: ...  # noqa: D102
    def set(self, prop: int, value: float, /) -> bool: ...  # noqa: D102
    def release(self) -> None: ...  # noqa: D102


@dataclass(frozen=True)
class Source:
    """Where frames come from.

    Parameters
    ----------
    name : str
        As a person gave it.
    index : int or None
        Of a camera at this computer; None for an address or a file.
    """

    name: str
    index: int | None

    @property
    def is_file(self) -> bool:
        """Whether it is a recording, which begins anew at its end."""
        return self.index is None and "://" not in self.name

    def __str__(self) -> str:
        """Name it in a message, an address without its password."""
        if self.index is not None:
            return f"camera {self.index}"
        before, at, host = self.name.rpartition("@")
        return f"'{before.partition('://')[0]}://…@{host}'" if at and "://" in before else f"'{self.name}'"


def source_of(text: str) -> Source:
    """Understand what a person says of a source.

    >>> source_of("0"), source_of("rtsp://10.0.0.7/live").index
    (Source(name='0', index=0), None)
    """
    text = text.strip()
    if text.isdecimal() and len(text) <= 3:
        return Source(text, int(text))
    if not text:
        raise CameraError("No camera is named; give its number, for example 0, an address, or a video file.")
    return Source(text, None)


def control(name: str) -> int:
    """OpenCV's number of a control.

    Raises
    ------
    CameraError
        When there is no control of that name.
    """
    if name not in CONTROLS:
        raise CameraError(f"There is no control '{name}'; there are: {', '.join(CONTROLS)}.")
    return CONTROLS[name]


class Camera:
    """An open camera.

    Parameters
    ----------
    source : Source
    capture : Capture
        As `open_capture` gives it.

    Attributes
    ----------
    remarks : tuple of str
        What was asked for when it was opened and the driver did not do, in sentences.
    """

    def __init__(self, source: Source, capture: Capture) -> None:
        self.source = source
        self.remarks: tuple[str, ...] = ()
        self._capture = capture
        self._seen = False

    @classmethod
    def open(
        cls,
        source: Source | str,
        *,
        size: tuple[int, int] | None = None,
        controls: Mapping[str, float] | None = None,
    ) -> Self:
        """Open a camera.

        Parameters
        ----------
        source : Source or str
            As `source_of` reads it.
        size : (int, int), optional
            Width and height asked for, px; the driver may give another.
        controls : mapping of str to float, optional
            Settings by the names of `CONTROLS`, in the driver's own units.

        Raises
        ------
        CameraError
            When there is no such camera, it is busy, or a control is not known.
        """
        source = source_of(source) if isinstance(source, str) else source
        camera = cls(source, open_capture(source))
        try:
            if size is not None:
                if not source.is_file:
                    # The compressed stream first: raw frames of full size are too many for most cables.
                    camera._capture.set(cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*"MJPG"))
                    camera._capture.set(cv2.CAP_PROP_FRAME_WIDTH, size[0])
                    camera._capture.set(cv2.CAP_PROP_FRAME_HEIGHT, size[1])
                camera._remark_size(size)
            for name, value in (controls or {}).items():
                if not camera.set(name, value):
                    camera.remarks += (camera.refusal(name, value),)
        except BaseException:
            camera.close()
            raise
        return camera

    def close(self) -> None:
        """Let go of the camera, for other programs to use."""
        self._capture.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def read(self) -> Pixels:
        """Read the next frame.

        Returns
        -------
        (H, W, 3) uint8 or uint16 array
            RGB, sRGB-encoded.

        Raises
        ------
        CameraError
            When none comes: unplugged, or the network is down.
        """
        try:
            came, frame = self._capture.read()
            if not came and self.source.is_file and self._capture.set(cv2.CAP_PROP_POS_FRAMES, 0):
                came, frame = self._capture.read()
        except cv2.error:
            came, frame = False, None
        if not came or frame is None or frame.size == 0:
            raise CameraError(_silent(self.source, self._seen))
        self._seen = True
        if frame.dtype not in (np.uint8, np.uint16):
            raise CameraError(
                f"{_capital(self.source)} gives pixels of a kind not read here; choose another format."
            )
        if frame.ndim == 2:
            return np.asarray(cv2.cvtColor(frame, cv2.COLOR_GRAY2RGB))
        return np.asarray(cv2.cvtColor(frame[..., :3], cv2.COLOR_BGR2RGB))

    @property
    def pace_s(self) -> float:
        """Seconds between two frames of a recording, as it was taken; 0 for a camera, which has its own pace."""
        if not self.source.is_file:
            return 0.0
        rate = self._capture.get(cv2.CAP_PROP_FPS)
        return 1 / rate if 1 <= rate <= 240 else 1 / 25

    def facts(self) -> CameraFacts:
        """Read what the driver tells of the camera."""
        controls = self.controls()
        return CameraFacts(camera_name(self.source), self._exposure_s(controls), controls)

    def _exposure_s(self, controls: Mapping[str, float]) -> float | None:
        system, value = platform.system(), controls.get("exposure")
        by_hand = self._capture.get(CONTROLS["auto-exposure"]) in _BY_HAND.get(system, ())
        if self.source.index is None or value is None or not by_hand:
            return None
        if system == "Linux":
            return value * _V4L2_EXPOSURE_S if value > 0 else None
        return float(2**value) if -20 < value < 0 else None

    def _remark_size(self, size: tuple[int, int]) -> None:
        given = tuple(
            round(self._capture.get(p)) for p in (cv2.CAP_PROP_FRAME_WIDTH, cv2.CAP_PROP_FRAME_HEIGHT)
        )
        if given != size:
            self.remarks += (
                f"{_capital(self.source)} gives {given[0]} × {given[1]} pixels, not {size[0]} × {size[1]} as asked.",
            )

    def controls(self) -> dict[str, float]:
        """Read the controls the driver has, by name, in its own units."""
        values = {name: self._capture.get(prop) for name, prop in CONTROLS.items()}
        # Drivers say -1 or 0 of what they do not have; a control at 0 cannot be told from none.
        return {name: float(v) for name, v in values.items() if v not in (-1.0, 0.0)}

    def set(self, name: str, value: float) -> bool:
        """Set a control and say whether the driver took it: many say yes and do nothing.

        Raises
        ------
        CameraError
            When there is no control of that name.
        """
        prop = control(name)
        return self._capture.set(prop, value) and abs(self._capture.get(prop) - value) <= 0.01 * max(
            1.0, abs(value)
        )

    def refusal(self, name: str, value: float) -> str:
        """Say that the driver did not take a value, and what stands instead."""
        stands = self._capture.get(control(name))
        instead = "it has no such control" if stands in (-1.0, 0.0) else f"it stands at {stands:g}"
        return f"{_capital(self.source)} did not take {name} = {value:g}; {instead}."

    def frames(self, count: int) -> Iterator[Pixels]:
        """Read so many fresh frames."""
        if not self.source.is_file:
            for _ in range(_STALE):
                self.read()
        for _ in range(count):
            yield self.read()

    def photograph(self, frames: int = 8) -> Average:
        """Take a photograph as the mean of several frames.

        Parameters
        ----------
        frames : int
            How many; noise falls with the square root of it.

        Raises
        ------
        CameraError
            When the camera falls silent.
        """
        if not 1 <= frames <= MOST_FRAMES:
            raise CameraError(
                f"A photograph cannot be made of {frames} frames; give from 1 to {MOST_FRAMES}."
            )
        return average(self.frames(frames))


def cameras() -> dict[int, str]:
    """List the cameras at this computer: number and name of each, by number."""
    from cv2_enumerate_cameras import enumerate_cameras

    try:
        found = {c.index: str(c.name or "") for c in enumerate_cameras(_backend())}
    except (OSError, NotImplementedError):
        return {}
    return dict(sorted(found.items()))


def camera_name(source: Source) -> str:
    """Name of a camera's model; empty for an address or a file, and where the system does not tell."""
    return "" if source.index is None else cameras().get(source.index, "")


def open_capture(source: Source) -> Capture:
    """Open a source with OpenCV.

    Raises
    ------
    CameraError
        When it cannot be opened.
    """
    # Else the library writes of its attempts to the console.
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")  # AV_LOG_QUIET
    if source.index is not None:
        capture = cv2.VideoCapture(source.index, _backend())
    elif source.is_file:
        if not Path(source.name).exists() and "%" not in source.name:
            raise CameraError(
                f"There is no file '{source.name}'; check its name, or give a camera by its number."
            )
        capture = cv2.VideoCapture(source.name)
    else:
        capture = cv2.VideoCapture(
            source.name,
            cv2.CAP_FFMPEG,
            [cv2.CAP_PROP_OPEN_TIMEOUT_MSEC, _PATIENCE_MS, cv2.CAP_PROP_READ_TIMEOUT_MSEC, _PATIENCE_MS],
        )
    if not capture.isOpened():
        capture.release()
        raise CameraError(_closed(source))
    return capture


def _backend() -> int:
    """The system's own way to a camera; to let OpenCV try all of them takes long and fills the console."""
    if platform.system() == "Linux":
        return cv2.CAP_V4L2
    return cv2.CAP_MSMF if platform.system() == "Windows" else cv2.CAP_AVFOUNDATION


def _closed(source: Source) -> str:
    if source.index is None:
        what = "plays no video" if source.is_file else "does not answer"
        return f"{_capital(source)} {what}; check it, or give another source."
    device = Path(f"/dev/video{source.index}")
    if platform.system() == "Linux":
        if not device.exists():
            return f"There is no camera {source.index}; plug it in, or give another number."
        if stat.S_ISCHR(device.stat().st_mode) and not os.access(device, os.R_OK | os.W_OK):
            return f"Camera {source.index} may not be used by you; ask to be added to the group 'video'."
        return (
            f"Camera {source.index} is in use by another program, or gives no pictures; close that program."
        )
    return (
        f"Camera {source.index} cannot be opened: it is not plugged in, in use by another program, or not allowed in the "
        "system's privacy settings."
    )


def _silent(source: Source, seen: bool) -> str:
    if source.index is None:
        return f"{_capital(source)} gives no more pictures; check the connection."
    if not seen:  # some drivers open a camera that is in use
        return (
            f"Camera {source.index} gives no pictures; close other programs that use it, or plug it in again."
        )
    return f"Camera {source.index} gives no more pictures; plug it in again."


def _capital(source: Source) -> str:
    text = str(source)
    return text[0].upper() + text[1:]

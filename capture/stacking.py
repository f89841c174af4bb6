"""One picture from a series through the focus, with a map of the depth in which each place was sharp.

Two ways, for no one is right everywhere: the *pyramid* keeps whatever is sharp in any frame at each scale, so
that things at different depths one behind the other in a clear stone both stay (Burt & Kolczynski 1993,
ICCV, 173-182); *sharpest* takes each place whole from its sharpest frame (Tenengrad, compared by Pertuz, Puig &
Garcia 2013, Pattern Recognition 46, 1415-1432). Brightness must not be measured on either.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.capture.errors import PhotographError
from setstone.capture.photograph import Pixels

Plane = NDArray[np.float32]
Method = Literal["pyramid", "sharpest"]

#: The depth map is this many times smaller than the picture.
REDUCED = 2
#: Frames are aligned in pictures of about this many pixels.
_ALIGN_PX = 1_000_000
#: A frame that would have to be moved or scaled by more than this share is not of the series.
_LIKELY_SHIFT, _LIKELY_SCALE = 0.1, 0.05
_LEVELS = 6
#: Window over which sharpness is compared, px of the reduced picture.
_WINDOW = 15


@dataclass(frozen=True, eq=False)
class Stack:
    """A series through the focus, merged.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        RGB, sRGB-encoded, in the place of the first frame.
    depth : (H / 2, W / 2) uint8 array
        Number of the frame each place is sharpest in, from 0.
    certain : (H / 2, W / 2) bool array
        Where there was anything to tell the depth by.
    motions : (N, 2, 3) float64 array
        Maps pixels of the first frame to those of each frame.
    unaligned : tuple of int
        Frames that could not be aligned and were taken as they lay.
    method : {"pyramid", "sharpest"}
    """

    pixels: Pixels
    depth: NDArray[np.uint8]
    certain: NDArray[np.bool_]
    motions: NDArray[np.float64]
    unaligned: tuple[int, ...]
    method: Method


def stack(frames: Iterable[Pixels], *, method: Method = "pyramid", aligned: bool = False) -> Stack:
    """Merge a series through the focus; one frame is held at a time.

    Parameters
    ----------
    frames : iterable of (H, W, 3) uint8 or uint16 array
        RGB, sRGB-encoded, of one size and exposure, in the order of the focus; at most 255.
    method : {"pyramid", "sharpest"}, optional
    aligned : bool, optional
        Whether the frames lie on one another already.

    Returns
    -------
    Stack

    Raises
    ------
    PhotographError
        When there are fewer than two frames, they differ in size, or are a single row of pixels.
    """
    merge: _Pyramid | _Sharpest | None = None
    chain = _Chain()
    motions: list[NDArray[np.float64]] = []
    unaligned: list[int] = []
    best = depth = shape = dtype = None
    total: Plane | None = None
    for number, frame in enumerate(frames):
        if shape is None:
            shape, dtype = frame.shape, frame.dtype
            if min(shape[:2]) < REDUCED:
                raise PhotographError(
                    "A single row of pixels is no photograph to be stacked; take larger ones."
                )
            merge = _Pyramid() if method == "pyramid" else _Sharpest()
        elif frame.shape != shape or frame.dtype != dtype:
            raise PhotographError("The frames of the series differ in size; take them with one setting.")
        if number > 254:
            raise PhotographError("More than 255 frames are not stacked; leave every second one out.")
        motion, found = (np.eye(2, 3), True) if aligned else chain.next(frame)
        if not found:
            unaligned.append(number)
        motions.append(motion)
        if not np.array_equal(motion, np.eye(2, 3)):
            frame = np.asarray(
                cv2.warpAffine(
                    frame,
                    motion,
                    frame.shape[1::-1],
                    flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                    borderMode=cv2.BORDER_REPLICATE,
                )
            )
        energy = _energy(frame)
        if best is None or depth is None or total is None:
            best, total = energy.copy(), energy
            depth = np.zeros(energy.shape, np.uint8)
            better = np.ones(energy.shape, np.uint8)
        else:
            better = cv2.compare(energy, best, cv2.CMP_GT)
            depth[better > 0] = number
            cv2.max(energy, best, dst=best)
            cv2.add(total, energy, dst=total)
        assert merge is not None  # noqa: S101 made with the first frame
        merge.take(frame, better)
    if merge is None or best is None or depth is None or total is None or len(motions) < 2:
        raise PhotographError("A series through the focus needs at least two frames; take more.")
    # Where every frame is alike in sharpness, there is nothing but noise.
    certain = best > 1.3 * total / len(motions)
    depth = np.asarray(cv2.medianBlur(depth, 5), np.uint8)
    return Stack(
        merge.result(dtype), depth, np.asarray(certain, np.bool_), np.array(motions), tuple(unaligned), method
    )


def align_series(frames: Iterable[Pixels]) -> NDArray[np.float64]:
    """How the frames of a series through the focus lie on the first, as `stack` aligns them.

    Parameters
    ----------
    frames : iterable of (H, W, 3) uint8 or uint16 array
        RGB, sRGB-encoded, of one size, in the order of the focus.

    Returns
    -------
    (N, 2, 3) float64 array
        Maps pixels of the first frame to those of each frame; one that could not be aligned is taken as it lies.
    """
    chain = _Chain()
    return np.array([chain.next(frame)[0] for frame in frames]).reshape(-1, 2, 3)


class _Chain:
    """Each frame aligned on the one before, one held at a time."""

    def __init__(self) -> None:
        self._before: Plane | None = None
        self._motion = np.eye(2, 3)

    def next(self, frame: Pixels) -> tuple[NDArray[np.float64], bool]:
        """Motion from the first frame to this one, and whether it could be found."""
        small, factor = _small(frame)
        step = np.eye(2, 3) if self._before is None else _motion(self._before, small, factor)
        self._before = small
        if step is not None:
            self._motion = _after(step, self._motion)
        return self._motion, step is not None


def _small(frame: Pixels) -> tuple[Plane, int]:
    factor = max(1, round((frame.shape[0] * frame.shape[1] / _ALIGN_PX) ** 0.5))
    size = (frame.shape[1] // factor, frame.shape[0] // factor)
    reduced = cv2.resize(frame, size, interpolation=cv2.INTER_AREA)
    grey = cv2.cvtColor(reduced, cv2.COLOR_RGB2GRAY).astype(np.float32)
    return grey * np.float32(255 / np.iinfo(frame.dtype).max), factor


def _motion(before: Plane, now: Plane, factor: int) -> NDArray[np.float64] | None:
    """Similarity that maps pixels of the frame before to those of this one, by ECC (Evangelidis & Psarakis 2008)."""
    # What is sharp differs between frames; what is coarse does not.
    a, b = (cv2.GaussianBlur(p, (0, 0), 2) for p in (before, now))
    try:
        _, found = cv2.findTransformECC(
            a,
            b,
            np.eye(2, 3, dtype=np.float32),
            cv2.MOTION_AFFINE,
            (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 40, 1e-5),
            None,
            1,
        )
    except cv2.error:
        return None
    # Focusing moves, turns and scales; shear would be an error.
    scale_cos, scale_sin = (found[0, 0] + found[1, 1]) / 2, (found[1, 0] - found[0, 1]) / 2
    height, width = a.shape
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    linear = np.array([[scale_cos, -scale_sin], [scale_sin, scale_cos]], np.float64)
    moved = found[:, :2].astype(np.float64) @ middle + found[:, 2]
    shift = moved - linear @ middle
    jump = np.abs(moved - middle).max() / max(height, width)
    if jump > _LIKELY_SHIFT or abs(np.hypot(scale_cos, scale_sin) - 1) > _LIKELY_SCALE:
        return None
    # Pixel centres: x of the full picture is (x' + 0.5) f - 0.5.
    half = (factor - 1) / 2
    full = factor * shift + half - linear @ np.array([half, half])
    return np.column_stack([linear, full])


def _after(step: NDArray[np.float64], motion: NDArray[np.float64]) -> NDArray[np.float64]:
    whole = np.vstack([step, [0, 0, 1]]) @ np.vstack([motion, [0, 0, 1]])
    return np.asarray(whole[:2])


def _energy(frame: Pixels) -> Plane:
    """Tenengrad of the reduced picture, averaged over a window."""
    size = (frame.shape[1] // REDUCED, frame.shape[0] // REDUCED)
    grey = cv2.cvtColor(cv2.resize(frame, size, interpolation=cv2.INTER_AREA), cv2.COLOR_RGB2GRAY)
    across, down = cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1)
    cv2.multiply(across, across, dst=across)
    cv2.accumulateSquare(down, across)
    return cv2.boxFilter(across, -1, (_WINDOW, _WINDOW))


class _Sharpest:
    """Each place from the frame in which it is sharpest."""

    def __init__(self) -> None:
        self._pixels: Pixels | None = None

    def take(self, frame: Pixels, better: NDArray[np.uint8]) -> None:
        if self._pixels is None:
            self._pixels = frame.copy()
            return
        mask = cv2.resize(better, frame.shape[1::-1], interpolation=cv2.INTER_NEAREST)
        cv2.copyTo(frame, mask, self._pixels)

    def result(self, _dtype: object) -> Pixels:
        assert self._pixels is not None  # noqa: S101 a frame was taken
        return self._pixels


class _Pyramid:
    """At each scale the strongest detail of any frame, and the mean of what is coarser than all scales.

    Detail is kept in 16-bit integers, a sixteenth of a grey level fine for 8-bit frames: half the memory of
    floating point.
    """

    def __init__(self) -> None:
        self._details: list[NDArray[np.int16]] = []
        self._strengths: list[NDArray[np.uint8]] = []
        self._coarse: Plane | None = None
        self._count = 0

    def take(self, frame: Pixels, _better: NDArray[np.uint8]) -> None:
        fine = (
            cv2.multiply(frame, 16, dtype=cv2.CV_16S)
            if frame.dtype == np.uint8
            else cv2.multiply(frame, 4080 / 65535, dtype=cv2.CV_16S)
        )
        first = not self._details
        for level in range(_LEVELS):
            smaller = cv2.pyrDown(fine)
            detail = cv2.subtract(fine, cv2.pyrUp(smaller, dstsize=fine.shape[1::-1]))
            strength = _strength(detail)
            if first:
                self._details.append(detail)
                self._strengths.append(strength)
            else:
                better = cv2.compare(strength, self._strengths[level], cv2.CMP_GT)
                cv2.copyTo(detail, better, self._details[level])
                cv2.max(strength, self._strengths[level], dst=self._strengths[level])
            fine = smaller
            if min(fine.shape[:2]) < 8:
                break
        coarse = fine.astype(np.float32)
        self._coarse = coarse if self._coarse is None else cv2.add(self._coarse, coarse)
        self._count += 1

    def result(self, dtype: "np.dtype[np.unsignedinteger] | None") -> Pixels:
        assert self._coarse is not None  # noqa: S101 a frame was taken
        picture = np.round(self._coarse / self._count).astype(np.int16)
        while self._details:
            detail = self._details.pop()
            picture = cv2.add(cv2.pyrUp(picture, dstsize=detail.shape[1::-1]), detail)
            self._strengths.pop()
        if dtype == np.uint8:
            return np.asarray(cv2.convertScaleAbs(cv2.max(picture, 0), alpha=1 / 16), np.uint8)
        return np.clip(picture.astype(np.float32) * np.float32(65535 / 4080), 0, 65535).astype(np.uint16)


def _strength(detail: NDArray[np.int16]) -> NDArray[np.uint8]:
    """How strong the detail of all colours is around each place, in quarter grey levels."""
    size = cv2.convertScaleAbs(detail, alpha=0.25)
    grey = cv2.cvtColor(size, cv2.COLOR_RGB2GRAY)
    return np.asarray(cv2.blur(grey, (3, 3)), np.uint8)

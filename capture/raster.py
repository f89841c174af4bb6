"""What every decoder hands over, and the checks they share."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from setstone.capture.errors import RefusalError
from setstone.capture.photograph import Format, Lamp, Pixels

#: Largest picture opened. A 16-bit one of this size takes 1.2 GB of memory.
MAX_MEGAPIXELS = 200
MAX_SIDE_PX = 60_000


@dataclass(frozen=True, eq=False)
class Raster:
    """A decoded picture with what its file says about it; fields as in `Photograph`."""

    pixels: Pixels
    colour: bool
    format: Format
    um_per_px: float | None = None
    taken: datetime | None = None
    magnification: float | None = None
    lamp_hint: Lamp | None = None
    notes: tuple[str, ...] = ()


def check_size(width: int, height: int) -> None:
    """Refuse a picture without or with too many pixels; to be called before anything is decoded.

    Raises
    ------
    RefusalError
        When a side is zero or above `MAX_SIDE_PX`, or the area above `MAX_MEGAPIXELS`.
    """
    if width < 1 or height < 1:
        raise RefusalError("holds a picture without a single pixel; copy it again from the camera")
    if max(width, height) > MAX_SIDE_PX or width * height > MAX_MEGAPIXELS * 1_000_000:
        raise RefusalError(
            f"says it is {width} × {height} pixels, and at most {MAX_MEGAPIXELS} megapixels and "
            f"{MAX_SIDE_PX} pixels a side are opened; save a smaller picture"
        )


def to_rgb(channels: Pixels) -> tuple[Pixels, bool, tuple[str, ...]]:
    """Bring decoded channels to red, green, blue.

    Parameters
    ----------
    channels : (H, W) or (H, W, 1 to 4) uint8 or uint16 array
        Grey, grey and alpha, RGB, or RGB and alpha.

    Returns
    -------
    pixels : (H, W, 3) array of the same type
        Whole and writable; no copy where they were. Alpha is dropped, not blended: what an editor made transparent keeps the colour it was
        stored with.
    colour : bool
        Whether there were colour channels.
    notes : tuple of str
        A note when something was transparent.
    """
    stack = channels.reshape(*channels.shape[:2], -1)
    count = stack.shape[2]
    notes: tuple[str, ...] = ()
    if count in (2, 4) and stack[..., -1].min() < np.iinfo(stack.dtype).max:
        notes = ("Parts of the picture were made transparent; they are shown with the colour stored there.",)
    if count >= 3:
        return np.require(stack[..., :3], requirements=["C", "W"]), True, notes
    return stack[..., :1].repeat(3, axis=2), False, notes


def upright(pixels: Pixels, orientation: object) -> Pixels:
    """Turn pixels as the EXIF tag Orientation says (CIPA DC-008-2019, tag 274); other values change nothing.

    >>> upright(np.array([[[1], [2]]], np.uint8), 6)[..., 0].tolist()
    [[1], [2]]
    """
    transposed = pixels.swapaxes(0, 1)
    turned = {
        2: pixels[:, ::-1],
        3: pixels[::-1, ::-1],
        4: pixels[::-1],
        5: transposed,
        6: transposed[:, ::-1],
        7: transposed[::-1, ::-1],
        8: transposed[::-1],
    }
    return turned[orientation].copy() if isinstance(orientation, int) and orientation in turned else pixels


def profile_notes(profile: object) -> tuple[str, ...]:
    """Note a colour profile (ICC.1:2022) that does not name itself sRGB, for it is not applied."""
    if not isinstance(profile, bytes) or not profile:
        return ()
    if b"sRGB" in profile or "sRGB".encode("utf-16-be") in profile:
        return ()
    return ("The file carries a colour profile other than sRGB; its colours are read as sRGB.",)

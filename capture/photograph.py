"""A photograph as it comes from its file: pixels, and what the file says about them."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8] | NDArray[np.uint16]
Format = Literal["JPEG", "PNG", "TIFF", "OME-TIFF", "HEIC", "camera raw"]


class Lamp(StrEnum):
    """The light a photograph was taken in."""

    WHITE = "white"
    BLUE = "blue"
    OTHER = "other"


@dataclass(frozen=True, eq=False)
class Photograph:
    """One picture, unaltered, known by its SHA-256.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        Red, green, blue as stored, taken to be sRGB-encoded (IEC 61966-2-1:1999), upright. Grey is
        repeated to three channels; transparency is dropped, for a photograph has none.
    bit_depth : {8, 16}
        Bits per channel of `pixels`.
    colour : bool
        Whether the file holds colour channels.
    format : {"JPEG", "PNG", "TIFF", "OME-TIFF", "HEIC", "camera raw"}
        By the content of the file, whatever its name says.
    sha256 : str
        Of the whole file, in hexadecimal.
    name : str
        Name of the file without its folder.
    size_bytes : int
        Size of the file in bytes.
    um_per_px : float or None
        Micrometres per pixel, where the file says so credibly: ``PhysicalSizeX`` of OME with a unit
        of length, or a TIFF resolution finer than any printer's. The 72, 96, 300 or 1200 dots per inch
        that cameras and editors write are the size of a print, not of the stone, and are passed over.
    taken : datetime or None
        When it was taken, with offset from UTC where the file tells it, else in the camera's local time.
    magnification : float or None
        Nominal magnification of the objective (OME ``NominalMagnification``).
    lamp_hint : Lamp or None
        The lamp the file speaks of: its OME channel, or its name, as in ``lid-3_blue.jpg``.
    notes : tuple of str
        What a person should know about the file: a misleading name, a colour profile not applied.
    """

    pixels: Pixels
    bit_depth: int
    colour: bool
    format: Format
    sha256: str
    name: str
    size_bytes: int
    um_per_px: float | None = None
    taken: datetime | None = None
    magnification: float | None = None
    lamp_hint: Lamp | None = None
    notes: tuple[str, ...] = ()

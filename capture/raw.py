"""Camera raw files, developed by rawpy where it is installed: ``pip install 'setstone[raw]'``."""

import io
from pathlib import Path

import numpy as np

from setstone.capture.errors import RefusalError
from setstone.capture.raster import Raster, check_size, to_rgb

#: Raw files are TIFFs of a kind of their own, and are known by their names.
SUFFIXES = {".dng", ".nef", ".nrw", ".cr2", ".cr3", ".crw", ".arw", ".orf", ".rw2", ".raf", ".pef", ".srw"}


def is_raw(name: str) -> bool:
    """Whether a file's name is that of a camera raw file.

    >>> is_raw("lid-3.NEF"), is_raw("lid-3.tif")
    (True, False)
    """
    return Path(name).suffix.lower() in SUFFIXES


def decode_raw(data: bytes) -> Raster:
    """Develop a raw file to 16-bit sRGB: the camera's white balance, no brightening, no sharpening.

    Raises
    ------
    RefusalError
        When rawpy is not installed, it is no raw file that it knows, or the picture is too large.
    """
    try:
        import rawpy
    except ImportError as error:
        raise RefusalError(
            "is a camera raw file, and what develops it is not installed; install it with "
            "pip install 'setstone[raw]', or save the photograph as TIFF"
        ) from error
    try:
        with rawpy.imread(io.BytesIO(data)) as raw:
            check_size(raw.sizes.width, raw.sizes.height)
            developed = raw.postprocess(
                use_camera_wb=True,
                no_auto_bright=True,
                output_bps=16,
                output_color=rawpy.ColorSpace.sRGB,
                gamma=(2.4, 12.92),  # the curve of sRGB
            )
    except rawpy.LibRawError as error:
        raise RefusalError("is a raw file of a kind not known here, or damaged; save it as TIFF") from error
    note = "Developed from camera raw with the camera's white balance, without brightening or sharpening."
    pixels, colour, _ = to_rgb(np.asarray(developed, np.uint16))  # cameras without colours give one channel
    return Raster(pixels, colour, "camera raw", notes=(note,))

"""The depth map of a focus stack as a picture."""

from io import BytesIO
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, PngImagePlugin

from setstone.annotate.files import replace_file


def write_depth_map(to: Path, depth: NDArray[np.uint8], frames: int) -> None:
    """Write which frame each place is sharpest in: the first black, the last white.

    Parameters
    ----------
    to : Path
        Ending in ``.png``.
    depth : (H, W) uint8 array
        Numbers of frames from 0, as `setstone.capture.stacking.Stack` has them.
    frames : int
        At least two.

    Raises
    ------
    AnnotateError
        When it cannot be written.
    """
    written, note = BytesIO(), PngImagePlugin.PngInfo()
    note.add_text("Software", "setstone")
    note.add_text("Comment", f"first frame black, last frame white; {frames} frames")
    grey = (depth.astype(np.float32) * (255 / (frames - 1))).astype(np.uint8)
    Image.fromarray(grey).save(written, "PNG", pnginfo=note)
    replace_file(to, written.getvalue())

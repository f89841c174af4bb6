"""The scale of a photograph: micrometres per pixel, and where the figure came from."""

from dataclasses import dataclass
from typing import Literal

from setstone.measure.errors import MeasurementError

ScaleSource = Literal["scale bar", "bar length given", "given", "file", "calibration"]


@dataclass(frozen=True)
class Scale:
    """Size of a pixel in the plane of the girdle.

    Parameters
    ----------
    um_per_px : float
        Micrometres per pixel.
    u_um_per_px : float
        Its standard uncertainty, in micrometres per pixel.
    source : str
        Where it came from, see `ScaleSource`.
    detail : str
        What a person may check: the label as read, the setup's name.
    """

    um_per_px: float
    u_um_per_px: float
    source: ScaleSource
    detail: str = ""

    def __post_init__(self) -> None:
        if not 1e-3 <= self.um_per_px <= 1e4:
            raise MeasurementError(
                f"A scale of {self.um_per_px:g} µm per pixel is not possible for a photograph of a stone; "
                "give a value between 0.001 and 10000."
            )

    @property
    def relative_u(self) -> float:
        """Relative standard uncertainty (a plain number)."""
        return self.u_um_per_px / self.um_per_px

"""The result of examining one stone on one occasion."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from setstone.measure.candidates import Candidate, LampName
from setstone.measure.colour import StoneColour
from setstone.measure.outline import Diameters, Outline
from setstone.measure.scale import Scale


@dataclass(frozen=True)
class Flag:
    """Something a person must know before trusting a figure.

    Parameters
    ----------
    code : str
        Stable name for scripts, for example ``"no-scale"``.
    text : str
        One plain sentence: what is wrong and what to do.
    """

    code: str
    text: str


@dataclass(frozen=True, eq=False)
class Examination:
    """All that was measured and proposed; geometry is in pixels of the reference photograph.

    Parameters
    ----------
    reference : {"white", "blue"}
        The photograph whose pixels the geometry refers to: white where there is one.
    size : (int, int)
        Width and height of the reference photograph in pixels.
    scale : Scale or None
    outline : Outline or None
    diameters : Diameters or None
        None without a scale or an outline, and where the girdle cannot be told to 10 %.
    blue_to_white : (3, 3) float64 array or None
        Maps blue pixels (x, y, 1) to reference pixels; None without both photographs, or where they could not be aligned.
    candidates : tuple of Candidate
        Best first.
    colour : StoneColour or None
        None without a white photograph.
    flags : tuple of Flag
    """

    reference: LampName
    size: tuple[int, int]
    scale: Scale | None
    outline: Outline | None
    diameters: Diameters | None
    blue_to_white: NDArray[np.float64] | None
    candidates: tuple[Candidate, ...]
    colour: StoneColour | None
    flags: tuple[Flag, ...]

    @property
    def aligned(self) -> bool:
        """False where the blue photograph could not be laid on the white one."""
        return all(flag.code != "not-aligned" for flag in self.flags)

    def seen_in(self, lamp: LampName, points: NDArray[np.float64]) -> NDArray[np.float64] | None:
        """Map points from the reference photograph into the one under `lamp`.

        Parameters
        ----------
        lamp : {"white", "blue"}
        points : (N, 2) float64 array
            Pixels x, y of the reference photograph.

        Returns
        -------
        (N, 2) float64 array or None
            Pixels of the photograph under `lamp`; None where it could not be aligned.
        """
        if lamp == self.reference:
            return points
        if self.blue_to_white is None:
            return points if self.aligned else None
        mapped = np.column_stack([points, np.ones(len(points))]) @ np.linalg.inv(self.blue_to_white).T
        return np.asarray(mapped[:, :2] / mapped[:, 2:], np.float64)

"""How much each point has to say in a fit, so that those that stray have none."""

import numpy as np
from numpy.typing import NDArray

#: Width of the biweight, in standard deviations, for 95 % efficiency on normal residuals (Beaton & Tukey 1974).
TUKEY = 4.685


def biweight(distance: NDArray[np.float64], width: float) -> NDArray[np.float64]:
    """Tukey's biweight (Beaton & Tukey 1974): 1 at no distance, 0 from the width on."""
    weight: NDArray[np.float64] = np.square(np.maximum(0, 1 - np.square(distance / width)))
    return weight

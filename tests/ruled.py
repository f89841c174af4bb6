"""Stage micrometers drawn analytically, with exactly known period, direction, bend and pixel shape."""

import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]


def ruled(
    period: float,
    angle_deg: float,
    *,
    lines: int = 60,
    sigma: float = 1.2,
    noise: float = 3.0,
    length: float = 60.0,
    bend: float = 0.0,
    size: int = 800,
    aspect: float = 1.0,
) -> Picture:
    """Dark lines of Gaussian profile, every fifth longer, at exactly known places; `bend` is cubic."""
    rng = np.random.default_rng(round(1e3 * period + angle_deg))
    y, x = np.mgrid[:size, :size].astype(np.float64) - (size - 1) / 2
    x = x * aspect  # pixels wider than high by `aspect`
    a = np.deg2rad(angle_deg)
    u, v = x * np.cos(a) + y * np.sin(a), -x * np.sin(a) + y * np.cos(a)
    half = (lines - 1) / 2 * period
    even = u
    for _ in range(4):
        even = u - bend * half * (even / half) ** 3 / 3
    k = np.clip(np.round(even / period + (lines - 1) / 2), 0, lines - 1)
    off = even - (k - (lines - 1) / 2) * period
    tall = np.where(k % 5 == 0, 1.6, 1.0) * length / 2
    dark = (
        0.5 * np.exp(-(off**2) / (2 * sigma**2)) / (1 + np.exp(np.minimum(2 * (np.abs(v + tall) - tall), 50)))
    )
    grey = 200 * (1 - dark) + rng.normal(0, noise, u.shape)
    return np.repeat(np.clip(np.round(grey), 0, 255).astype(np.uint8)[..., None], 3, axis=2)

"""Fixtures of several rooms, and how property-based tests are run."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import settings

# How long an example takes tells of the machine's other work, not of the code.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")


@pytest.fixture
def recording(tmp_path: Path) -> str:
    """What a camera saw: six frames that differ by their noise, as a name OpenCV opens like a camera."""
    rng = np.random.default_rng(1)
    coarse = rng.integers(40, 200, (50, 60, 3)).astype(np.uint8)
    scene = cv2.resize(coarse, (600, 500), interpolation=cv2.INTER_CUBIC)
    for i in range(6):
        noisy = np.clip(scene + rng.normal(0, 6, scene.shape), 0, 255).astype(np.uint8)
        cv2.imwrite(str(tmp_path / f"frame{i}.png"), noisy)
    return str(tmp_path / "frame%d.png")

"""Weights of the measures of a ring, written by benchmarks/train_girdle.py: do not edit."""

import numpy as np

# One row a measure: its spread over all rings, and its weight per spread.
_TABLE = {
    "contrast": (0.1351, 0.9666),
    "sharpness": (0.3876, 1.362),
    "independence": (0.3612, 1.571),
    "unevenness": (0.754, 1.91),
    "unevenness_drop": (0.5578, 1.498),
    "hue_drop": (1.142, 1.777),
    "hue_beyond": (1.865, 0.5285),
    "clearance": (0.3467, 0.8789),
    "inner_rival": (1.059, -0.8237),
    "outer_rival": (1.421, 2.113),
}

SPREAD, WEIGHT = np.array(list(_TABLE.values()), np.float64).T

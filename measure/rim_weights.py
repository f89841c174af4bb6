"""Weights of the measures of a ring, written by benchmarks/train_girdle.py: do not edit."""

import numpy as np

# One row a measure: its spread over all rings, and its weight per spread.
_TABLE = {
    "contrast": (0.1379, 0.9557),
    "sharpness": (0.3868, 1.678),
    "independence": (0.2991, 1.796),
    "unevenness": (0.7752, 1.712),
    "unevenness_drop": (0.5707, 1.648),
    "hue_drop": (0.8624, 2.261),
    "hue_beyond": (1.416, 0.2073),
    "clearance": (0.3376, 0.8571),
    "inner_rival": (1.075, -1.027),
    "outer_rival": (1.406, 1.998),
}

SPREAD, WEIGHT = np.array(list(_TABLE.values()), np.float64).T

"""Weights of the measures of a ring, written by benchmarks/train_girdle.py: do not edit."""

import numpy as np

# One row a measure: its spread over all rings, and its weight per spread.
_TABLE = {
    "contrast": (0.1397, 1.739),
    "sharpness": (0.3908, 2.361),
    "independence": (0.3003, 2.119),
    "unevenness": (0.7756, 2.112),
    "unevenness_drop": (0.5735, 2.206),
    "hue_drop": (0.8639, 3.046),
    "hue_beyond": (1.413, 0.2462),
    "clearance": (0.3395, 0.9802),
    "inner_rival": (1.08, -1.141),
    "outer_rival": (1.388, 3.038),
}

SPREAD, WEIGHT = np.array(list(_TABLE.values()), np.float64).T

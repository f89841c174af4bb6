"""Weights of the measures of a ring, written by benchmarks/train_girdle.py: do not edit."""

import numpy as np

# For each lamp, one row a measure: its spread over all rings, and its weight per spread.
_TABLES = {
    "white": {
        "contrast": (0.1424, 3.596),
        "sharpness": (0.3579, 3.058),
        "independence": (0.308, 0.7857),
        "unevenness": (0.8046, 1.196),
        "unevenness_drop": (0.484, 3.927),
        "hue_drop": (0.7526, 3.888),
        "hue_beyond": (1.333, 1.079),
        "clearance": (0.3959, 1.405),
        "inner_rival": (1.14, -1.479),
        "outer_rival": (1.396, 7.397),
        "with_body": (1.707, 3.996),
    },
    "blue": {
        "contrast": (0.1428, 1.752),
        "sharpness": (0.383, 1.831),
        "independence": (0.3263, 0.3004),
        "unevenness": (0.8131, 0.7195),
        "unevenness_drop": (0.5712, 1.595),
        "hue_drop": (0.5163, 0.5925),
        "hue_beyond": (0.82, 0.1416),
        "clearance": (0.3942, -0.241),
        "inner_rival": (1.178, 0.9093),
        "outer_rival": (1.477, 1.704),
        "with_body": (1.629, 1.536),
    },
}

#: Weight of each measure in its own unit, by lamp.
SLOPE = {
    lamp: np.array([weight / spread for spread, weight in table.values()], np.float64)
    for lamp, table in _TABLES.items()
}

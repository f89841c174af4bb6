"""Weights of the measures of a ring, written by benchmarks/train_girdle.py: do not edit."""

import numpy as np

# For each lamp, one row a measure: its spread over all rings, and its weight per spread.
_TABLES = {
    "white": {
        "contrast": (0.1479, 1.798),
        "sharpness": (0.4049, 2.314),
        "independence": (0.3005, 2.051),
        "unevenness": (0.7762, 2.221),
        "unevenness_drop": (0.5715, 2.116),
        "hue_drop": (0.8735, 2.964),
        "hue_beyond": (1.423, 0.04151),
        "clearance": (0.3396, 0.9535),
        "inner_rival": (1.101, -1.273),
        "outer_rival": (1.408, 3.06),
    },
    "blue": {
        "contrast": (0.1999, 2.121),
        "sharpness": (0.3703, 1.419),
        "independence": (0.3233, 1.098),
        "unevenness": (0.7723, 2.659),
        "unevenness_drop": (0.6478, 1.045),
        "hue_drop": (0.6026, 0.9023),
        "hue_beyond": (0.9212, 0.0744),
        "clearance": (0.2923, -0.01048),
        "inner_rival": (1.554, 1.189),
        "outer_rival": (1.403, 2.28),
    },
}

#: Weight of each measure in its own unit, by lamp.
SLOPE = {
    lamp: np.array([weight / spread for spread, weight in table.values()], np.float64)
    for lamp, table in _TABLES.items()
}

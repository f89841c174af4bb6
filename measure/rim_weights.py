"""Weights of the measures of a ring, written by benchmarks/train_girdle.py: do not edit."""

import numpy as np

# For each lamp, one row a measure: its spread over all rings, and its weight per spread.
_TABLES = {
    "white": {
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
    },
    "blue": {
        "contrast": (0.1841, 2.25),
        "sharpness": (0.3505, 1.371),
        "independence": (0.3231, 1.095),
        "unevenness": (0.7723, 2.426),
        "unevenness_drop": (0.6482, 1.146),
        "hue_drop": (0.59, 0.9224),
        "hue_beyond": (0.9081, 0.04657),
        "clearance": (0.2908, -0.009907),
        "inner_rival": (1.486, 1.199),
        "outer_rival": (1.38, 2.43),
    },
}

#: Weight of each measure in its own unit, by lamp.
SLOPE = {
    lamp: np.array([weight / spread for spread, weight in table.values()], np.float64)
    for lamp, table in _TABLES.items()
}

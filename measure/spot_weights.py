"""Weights of the features of a spot, written by benchmarks/train_spot_scores.py: do not edit."""

import numpy as np

#: Features compared by their logarithm, and what is added to them before.
LOGARITHMIC = {
    "size": 0.0001,
    "pixels": 1.0,
    "grey": 5.0,
    "against_grain": 1.0,
    "ring_edges": 0.1,
    "edge_sharpness": 0.2,
    "ring_spread": 0.03,
    "ring_steps": 0.03,
    "body_spread": 0.03,
    "glint_near": 0.05,
    "off_ellipse": 0.01,
}

# One row a feature: its value on the verge of being believed, its spread, its weight.
_TABLE = {
    "size": (-4.581, 0.4757, 0.9341),
    "pixels": (2.444, 0.3555, -0.1498),
    "grey": (4.01, 0.3442, 0.1282),
    "depth": (0.8605, 0.2237, 0.2528),
    "blackness": (0.03007, 0.2193, -0.5775),
    "against_grain": (2.742, 0.2915, 0.1623),
    "ring_spread": (-1.911, 0.3678, -0.5511),
    "ring_steps": (-1.393, 0.5862, -0.2015),
    "weakest_side": (0.9113, 0.1719, -0.299),
    "ring_edges": (0.1355, 0.6043, -0.2011),
    "edge_sharpness": (0.8623, 0.4272, 0.8984),
    "edge_evenness": (0.8237, 0.1671, 0.4088),
    "body_spread": (-1.781, 0.4355, -0.06881),
    "elongation": (1.343, 0.4681, 0.2019),
    "convexity": (1.012, 0.0832, -0.1639),
    "roundness": (0.8728, 0.1503, 0.665),
    "off_ellipse": (-3.282, 0.5003, -1.019),
    "straight": (0.5988, 0.2524, -0.9599),
    "colour_left": (0.4382, 0.1636, -0.8281),
    "centre_distance": (0.09698, 0.007974, 0.1162),
    "rim_distance": (0.1741, 0.111, 0.0357),
    "glint_near": (-1.995, 0.6381, -0.09244),
    "blue_depth": (0.1665, 0.2256, 0.01885),
    "blue_against_grain": (0.3626, 0.1917, 0.3414),
    "crowd": (0.6025, 0.77, -0.6725),
}

MIDDLE, SPREAD, WEIGHT = np.array(list(_TABLE.values()), np.float64).T

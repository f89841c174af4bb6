"""Apply a small convolutional network to planes of a picture.

Its form is a U-Net (Ronneberger, Fischer & Brox 2015, MICCAI:234): each level looks at a copy half as large as the one
above, twice by 3 x 3 pixels, and the way back joins what is seen from afar with what is seen near. The weights
are whole numbers in plain text (`body_weights.py`, `new_places_weights.py`), written by benchmarks/train_body.py and train_new_places.py.
"""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Planes = NDArray[np.float32]

#: Step between the neighbours looked at in the second layer of the last level, so that it sees twice as far.
WIDE = 2
#: Rows taken at a time: as many as a processor's own memory holds.
_ROWS = 16


class Layer(NamedTuple):
    """Weights of one convolution.

    Parameters
    ----------
    kernel : (O, C, K, K) float32 array
        For O planes made from C; K is 1 or 3.
    bias : (O,) float32 array
    """

    kernel: Planes
    bias: Planes


Network = Mapping[str, Layer]


def read_network(text: str) -> Network:
    """Read the weights of a network.

    Parameters
    ----------
    text : str
        Two lines a layer: its name and the four sides of its kernel; then for each plane made its bias, the
        size of one step of its weights, and the weights in steps.

    Returns
    -------
    Network
        Layers by name.
    """
    network = {}
    lines = text.split("\n")
    for heading, numbers in zip(lines[::2], lines[1::2], strict=False):
        name, *sides = heading.split()
        shape = tuple(map(int, sides))
        rows = np.array(numbers.split(), np.float32).reshape(shape[0], -1)
        kernel = (rows[:, 2:] * rows[:, 1:2]).reshape(shape)
        network[name] = Layer(kernel, np.ascontiguousarray(rows[:, 0]))
    return network


def applied(network: Network, planes: Planes) -> Planes:
    """What a network says of every pixel.

    Parameters
    ----------
    network : Network
    planes : (C, H, W) float32 array

    Returns
    -------
    (H, W) float32 array
        Log odds.
    """
    height, width = planes.shape[1:]
    last = max(int(name[len("down_") : -1]) for name in network if name.startswith("down_"))
    side = 2**last
    near = np.pad(planes, ((0, 0), (0, -height % side), (0, -width % side)))
    seen = []
    for level in range(last + 1):
        step = WIDE if level == last else 1
        seen.append(_layer(network[f"down_{level}b"], _layer(network[f"down_{level}a"], near), step))
        near = _halved(seen[-1]) if level < last else seen[-1]
    for level in reversed(range(last)):
        joined = np.concatenate([seen[level], near.repeat(2, 1).repeat(2, 2)])
        near = _layer(network[f"up_{level}b"], _layer(network[f"up_{level}a"], joined))
    return _convolved(network["out"], near)[0, :height, :width]


def _layer(layer: Layer, planes: Planes, step: int = 1) -> Planes:
    out = _convolved(layer, planes, step)
    return np.maximum(out, 0, out=out)


def _convolved(layer: Layer, planes: Planes, step: int = 1) -> Planes:
    """Cross-correlation of all planes with a kernel; beyond the picture there is 0."""
    many, channels, side, _ = layer.kernel.shape
    height, width = planes.shape[1:]
    reach = step * (side // 2)
    padded = np.pad(planes, ((0, 0), (reach, reach), (reach, reach)))
    weights = np.ascontiguousarray(layer.kernel.transpose(0, 2, 3, 1).reshape(many, -1))
    shifts = [(step * dy, step * dx) for dy in range(side) for dx in range(side)]
    around = np.empty((len(shifts), channels, _ROWS, width), np.float32)
    out = np.empty((many, height, width), np.float32)
    for top in range(0, height, _ROWS):
        rows = min(_ROWS, height - top)
        for i, (dy, dx) in enumerate(shifts):
            around[i, :, :rows] = padded[:, top + dy : top + dy + rows, dx : dx + width]
        made = weights @ around[:, :, :rows].reshape(len(weights.T), -1) + layer.bias[:, None]
        out[:, top : top + rows] = made.reshape(many, rows, width)
    return out


def _halved(planes: Planes) -> Planes:
    height, width = planes.shape[1:]
    return np.asarray(
        planes.reshape(-1, height // 2, 2, width // 2, 2).mean(axis=(2, 4), dtype=np.float32), np.float32
    )

"""The networks of measure/network.py as PyTorch has them: built, trained, and written as text.

Needs PyTorch (for training only; it is gigabytes, so no extra of the project asks for it).
"""

import time
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

from setstone.measure.network import WIDE

LEARNING_RATE = 3e-3
#: Weights are written in so many steps on either side of 0.
STEPS = 99

Weights = dict[str, Tensor]


class UNet(nn.Module):
    """The network of `setstone.measure.network`: planes it takes, and planes of each of its levels."""

    def __init__(self, planes: int, channels: Sequence[int]) -> None:
        super().__init__()
        last = len(channels) - 1
        self.last = last
        for level, many in enumerate(channels):
            before = channels[level - 1] if level else planes
            step = WIDE if level == last else 1
            self.add_module(f"down_{level}a", nn.Conv2d(before, many, 3, padding=1))
            self.add_module(f"down_{level}b", nn.Conv2d(many, many, 3, padding=step, dilation=step))
        for level, many in enumerate(channels[:-1]):
            self.add_module(f"up_{level}a", nn.Conv2d(many + channels[level + 1], many, 1))
            self.add_module(f"up_{level}b", nn.Conv2d(many, many, 3, padding=1))
        self.out = nn.Conv2d(channels[0], 1, 1)
        for layer in self.modules():
            if isinstance(layer, nn.Conv2d):
                nn.init.kaiming_normal_(layer.weight, nonlinearity="relu")
                nn.init.zeros_(layer.bias)
        nn.init.normal_(self.out.weight, 0, 0.05)

    def forward(self, planes: Tensor) -> Tensor:
        """Log odds of every pixel, (B, C, H, W) to (B, H, W)."""
        seen = []
        for level in range(self.last + 1):
            near = functional.avg_pool2d(seen[-1], 2) if level else planes
            for part in "ab":
                near = functional.relu(self.get_submodule(f"down_{level}{part}")(near))
            seen.append(near)
        for level in reversed(range(self.last)):
            near = torch.cat([seen[level], functional.interpolate(near, scale_factor=2, mode="nearest")], 1)
            for part in "ab":
                near = functional.relu(self.get_submodule(f"up_{level}{part}")(near))
        return self.out(near)[:, 0].float()


def trained(
    network: UNet, loss: Callable[[UNet], Tensor], minutes: float, begin: Weights | None = None
) -> Weights:
    """Train for some time, from the beginning or, more carefully, from other weights; `loss` is of a new batch each time."""
    if begin:
        network.load_state_dict(begin)
    network.to(memory_format=torch.channels_last)
    best = LEARNING_RATE / (2 if begin else 1)
    descent = torch.optim.AdamW(network.parameters(), best, weight_decay=1e-4)
    start, step, mean = time.monotonic(), 0, 0.0
    while (done := (time.monotonic() - start) / (60 * minutes)) < 1:
        for group in descent.param_groups:
            group["lr"] = best * min(1, (step + 1) / 100) * ((1 + np.cos(np.pi * done)) / 2 + 0.01)
        # Half as many digits: three times as fast on processors that multiply matrices.
        with torch.autocast("cpu", dtype=torch.bfloat16):
            off = loss(network)
        descent.zero_grad()
        off.backward()
        torch.nn.utils.clip_grad_norm_(network.parameters(), 1.0)
        descent.step()
        step += 1
        mean += (off.item() - mean) / min(step, 200)
        if step % 200 == 0:
            print(f"{step} steps, {100 * done:.0f} %, loss {mean:.4f}", flush=True)
    return network.state_dict()


def text(weights: Weights) -> str:
    """Weights as `setstone.measure.network.read_network` reads them."""
    lines = []
    for name in [key.removesuffix(".weight") for key in weights if key.endswith(".weight")]:
        kernel, bias = (weights[f"{name}.{part}"].numpy() for part in ("weight", "bias"))
        lines.append(" ".join([name, *map(str, kernel.shape)]))
        rows = []
        for plane, constant in zip(kernel, bias, strict=True):
            size = max(float(abs(plane).max()) / STEPS, 1e-9)
            whole = np.rint(plane.ravel() / size).astype(int)
            rows.append(" ".join([f"{constant:.5g}", f"{size:.5g}", *map(str, whole)]))
        lines.append(" ".join(rows))
    return "\n".join(lines)


def write(target: Path, what: str, script: str, weights: str) -> None:
    """Write weights as a module."""
    target.write_text(
        f'"""Weights of the network that sees {what}, written by benchmarks/{script}: do not edit."""\n\n'
        f'WEIGHTS = """{weights}"""\n',
        encoding="utf-8",
    )

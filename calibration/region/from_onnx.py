"""Takes trained weights back out of a network file, to go on from: ``python from_onnx.py region FILE.onnx FILE.pt``.

In the file each batch norm is folded into its convolution. It is given back here by running pictures through: its scale
and shift become those with which the normalised output equals the folded one.
"""

from __future__ import annotations

import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
import onnx
import torch
from networks import HideNet, fine_net, region_net
from onnx import numpy_helper
from torch import Tensor, nn


def folded_weights(path: Path) -> list[tuple[np.ndarray, np.ndarray]]:
    """Weights and biases of the convolutions in the order in which they run."""
    graph = onnx.load(str(path)).graph
    values = {t.name: numpy_helper.to_array(t).astype(np.float32) for t in graph.initializer}
    for node in graph.node:
        if node.op_type == "Cast" and node.input[0] in values:
            values[node.output[0]] = values[node.input[0]]
    return [(values[n.input[1]], values[n.input[2]]) for n in graph.node if n.op_type in ("Conv", "ConvTranspose")]


def pour(net: HideNet, folded: list[tuple[np.ndarray, np.ndarray]], pictures: Tensor) -> None:
    """Fill the network; `pictures` (n, inputs, h, w) are like those it will see."""
    convolutions = [m for m in net.modules() if isinstance(m, nn.Conv2d | nn.ConvTranspose2d)]
    convolutions = [m for m in convolutions if m.groups == 1]
    after: dict[nn.Module, nn.BatchNorm2d] = {}
    for block in net.modules():
        if isinstance(block, nn.Sequential):
            parts = list(block)
            after |= {a: b for a, b in pairwise(parts) if isinstance(b, nn.BatchNorm2d)}
    remaining = iter(folded)

    def before_conv(module: nn.Module, _: object) -> None:
        weight, bias = next(remaining)
        assert module.weight.shape == weight.shape, (module, weight.shape)
        module.weight.data.copy_(torch.from_numpy(weight))
        if module in after:
            shifts[after[module]] = torch.from_numpy(bias)
        else:
            module.bias.data.copy_(torch.from_numpy(bias))

    def before_norm(module: nn.Module, inputs: tuple[Tensor]) -> None:
        x = inputs[0]
        mean, var = x.mean((0, 2, 3)), x.var((0, 2, 3), unbiased=False)
        module.running_mean.copy_(mean)
        module.running_var.copy_(var)
        module.weight.data.copy_((var + module.eps).sqrt())
        module.bias.data.copy_(mean + shifts[module])

    shifts: dict[nn.Module, Tensor] = {}
    hooks = [m.register_forward_pre_hook(before_conv) for m in convolutions]
    hooks += [m.register_forward_pre_hook(before_norm) for m in after.values()]
    net.eval()
    with torch.no_grad():
        net(pictures)
    for hook in hooks:
        hook.remove()
    assert next(remaining, None) is None


def main(kind: str, source: Path, target: Path, pictures: Tensor) -> None:
    """Write the weights as `train.py --start` takes them."""
    net = region_net() if kind == "region" else fine_net()
    pour(net, folded_weights(source), pictures)
    torch.save(net.state_dict(), target)


if __name__ == "__main__":
    from train import fixed_set

    held = fixed_set(sys.argv[1], torch.device("cpu"), 32)
    main(sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3]), torch.cat([x for x, _ in held]))

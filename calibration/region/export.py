"""Writes the trained weights as ONNX, stored as float16: ``python export.py FOLDER_WITH_PT FOLDER_FOR_ONNX``.

Each weight is a float16 initialiser followed by a Cast, so that the arithmetic stays float32 in every runtime.
"""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np
import onnx
import onnxruntime
import torch
from networks import HideNet, fine_net, region_net
from onnx import TensorProto, helper, numpy_helper

SIZES = {"region": (5, 480, 640), "fine": (4, 640, 512)}


def load(kind: str, weights: Path) -> HideNet:
    """The network with its weights, ready to run."""
    net = region_net() if kind == "region" else fine_net()
    state = torch.load(weights, map_location="cpu", weights_only=True)
    net.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in state.items()})
    return net.eval()


def export(kind: str, weights: Path, out: Path) -> None:
    """One network: trace, store as float16, compare OpenCV and ONNX Runtime with PyTorch."""
    net = load(kind, weights)
    channels, height, width = SIZES[kind]
    x = torch.rand(1, channels, height, width, generator=torch.Generator().manual_seed(1))
    axes = {2: "height", 3: "width"}
    whole = torch.nn.Sequential(net, torch.nn.Sigmoid()).eval()
    torch.onnx.export(
        whole, (x,), str(out), input_names=["picture"], output_names=["probabilities"], opset_version=17, dynamo=False,
        dynamic_axes={"picture": axes, "probabilities": axes},
    )  # fmt: skip
    model = onnx.load(str(out))
    keep, casts = [], []
    for tensor in model.graph.initializer:
        value = numpy_helper.to_array(tensor)
        if value.dtype == np.float32 and value.size > 64:
            keep.append(numpy_helper.from_array(value.astype(np.float16), tensor.name + "_half"))
            casts.append(helper.make_node("Cast", [tensor.name + "_half"], [tensor.name], to=TensorProto.FLOAT))
        else:
            keep.append(tensor)
    del model.graph.initializer[:]
    model.graph.initializer.extend(keep)
    nodes = [*casts, *model.graph.node]
    del model.graph.node[:]
    model.graph.node.extend(nodes)
    model.doc_string = "hidescan: own weights, trained on own invented scenes, see calibration/region/README.md"
    onnx.checker.check_model(model)
    onnx.save(model, str(out))
    with torch.no_grad():
        ours = whole(x).numpy()
    runtime = onnxruntime.InferenceSession(str(out), providers=["CPUExecutionProvider"]).run(
        None, {"picture": x.numpy()}
    )[0]
    opencv = cv2.dnn.readNetFromONNX(str(out), engine=cv2.dnn.ENGINE_NEW)
    opencv.setInput(x.numpy(), "picture")
    got = opencv.forward()
    print(f"{kind}: {out.stat().st_size / 1e6:.2f} MB, OpenCV against ONNX Runtime {np.abs(got - runtime).max():.1e}, "
          f"against PyTorch with float32 weights {np.abs(got - ours).max():.1e}")  # fmt: skip


if __name__ == "__main__":
    for name in ("region", "fine"):
        export(name, Path(sys.argv[1]) / f"{name}.pt", Path(sys.argv[2]) / f"{name}.onnx")

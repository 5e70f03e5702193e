"""The two small networks, run by OpenCV: made and trained in calibration/region/."""

import functools
import importlib.resources
import threading

import numpy as np
from numpy.typing import NDArray

Maps = NDArray[np.float32]

_ONE_AT_A_TIME = threading.Lock()


def run_network(name: str, picture: Maps) -> Maps:
    """Probabilities of a picture.

    Parameters
    ----------
    name
        "region" or "fine".
    picture
        (channels, H, W) in 0..1; H and W multiples of 32.

    Returns
    -------
    (outputs, H, W), each in 0..1.
    """
    with _ONE_AT_A_TIME:  # an OpenCV network keeps its state between calls
        net = _network(name)
        net.setInput(picture[None], "picture")
        logits = net.forward()[0]
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(logits, -30.0, 30.0))), dtype=np.float32)


@functools.cache
def _network(name: str):  # type: ignore[no-untyped-def]  # OpenCV's Net has no usable stub
    import cv2

    weights = importlib.resources.files("hidescan").joinpath(f"{name}.onnx").read_bytes()
    return cv2.dnn.readNetFromONNX(np.frombuffer(weights, dtype=np.uint8), engine=cv2.dnn.ENGINE_NEW)

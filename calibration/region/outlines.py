"""Outlines of masks as `real.py` reads them: ``python outlines.py MASKS PHOTOS NAMES.json OUT.json``.

NAMES.json lists what a person found right: [{"name": "g003_35f5fecb.jpg", "split": "train", "by": "salient"}, ...].
real_outlines.json was made so. People whose zlib.crc32 of "g" + number, modulo 10, is under 3 are the validation's; of
each no more than 18 photos were looked at. People, not photos, are split: one person's photos share floor and light.
"""

from __future__ import annotations

import hashlib
import json
import sys
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_fill_holes

LEAST_PART = 0.12
"""Smaller parts, of the largest's area, are specks of something else."""
LEAST_GAP = 0.004
"""Enclosed gaps from this share of the area on (between a sleeve and its body) are neither hide nor floor: unknown."""


def parts_of(mask: NDArray[np.bool_], least: float) -> NDArray[np.bool_]:
    """The connected parts of at least so many pixels."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    large = stats[:, 4] >= least
    large[0] = False
    return large[labels]


def rings(mask: NDArray[np.bool_], step: float) -> list[list[int]]:
    """Outer contours, x and y in turn, simplified to within `step` px."""
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return [cv2.approxPolyDP(c, step, True).reshape(-1).tolist() for c in contours if len(c) > 8]


def record(entry: dict[str, str], mask: NDArray[np.bool_], photo: bytes) -> dict[str, object]:
    """One line of the outlines file."""
    whole = np.asarray(binary_fill_holes(mask))
    _, _, stats, _ = cv2.connectedComponentsWithStats(whole.astype(np.uint8), connectivity=4)
    kept = parts_of(whole, LEAST_PART * float(stats[1:, 4].max()))
    gaps = parts_of(kept & ~mask, LEAST_GAP * float(kept.sum()))
    edge = np.concatenate([kept[0], kept[-1], kept[:, 0], kept[:, -1]])
    out: dict[str, object] = {
        **entry,
        "sha256": hashlib.sha256(photo).hexdigest()[:16],
        "at_frame": round(float(edge.mean()), 4),
        "rings": rings(kept, 1.0),
    }
    if gaps.any():
        out["gaps"] = rings(cv2.dilate(gaps.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0, 1.5)
    return out


def main(masks: Path, photos: Path, names: Path, out: Path) -> None:
    """Write the outlines file, a photo a line."""
    lines = []
    for entry in json.loads(names.read_text()):
        path = photos / entry["name"]
        height, width = cv2.imread(str(path)).shape[:2]
        soft = cv2.imread(str(masks / f"{path.stem}.png"), cv2.IMREAD_GRAYSCALE)
        mask = cv2.resize(soft, (width, height)) > 127
        lines.append(json.dumps(record(entry, mask, path.read_bytes()), separators=(",", ":")))
    source = "clothing-dataset (A. Grigorev and contributors, 2020), CC0 1.0; the number after g is the sender"
    out.write_text(f'{{"of": "{source}",\n"photos": [\n' + ",\n".join(lines) + "\n]}\n")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:5]))

"""The map of an invented hide, seen from straight above, for what is laid on a map."""

from dataclasses import replace

import numpy as np

from hidescan.hide_map.model import CameraEntry, HideMap, OutlineEntry, PolygonGeometry, Ring
from tests.samples import rectangle_map
from tests.synthetic.backlit import Array, LitHide

MM_PER_PX, FOCAL_PX = 0.5, 3000.0


def map_of(hide: LitHide) -> HideMap:
    low, high = hide.ring_mm.min(axis=0) - 200, hide.ring_mm.max(axis=0) + 200
    width, height = (int(n) for n in (high - low) / MM_PER_PX)
    middle = (low + high) / 2
    camera = CameraEntry(
        FOCAL_PX, (0.0, 0.0), ((width - 1) / 2, (height - 1) / 2),
        ((1.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, -1.0)),
        (-float(middle[0]), float(middle[1]), FOCAL_PX * MM_PER_PX), 0.0, MM_PER_PX,
    )  # fmt: skip
    base = rectangle_map()
    rings = (_closed(hide.ring_mm), *(_closed(hole[::-1]) for hole in hide.holes_mm))
    return replace(
        base, photo=replace(base.photo, width_px=width, height_px=height), camera=camera, marks=(),
        outline=OutlineEntry(PolygonGeometry(rings), base.outline.photo_px, 0.95, ()),
    )  # fmt: skip


def _closed(ring: Array) -> Ring:
    return tuple((float(x), float(y)) for x, y in np.vstack([ring, ring[:1]]))

"""Whether a map that came from a file can be what it says it is.

A map may come from anybody: what a program that reads it relies on is looked at once, when it is read.
"""

import unicodedata
from collections.abc import Iterator
from typing import TYPE_CHECKING

from hidescan.basics.geometry import FARTHEST_MM
from hidescan.basics.units import THICKEST_MM

if TYPE_CHECKING:
    from hidescan.hide_map.model import HideMap, Inputs, MultiPolygonGeometry, PolygonGeometry, Ring

# Ids become names of files (crops) and of shapes in drawings.
_IN_AN_ID = frozenset(" -_.")
_LONGEST_ID = 80
_MOST_DENSITY = 20_000  # thousandths: of 500 million parts of light one comes through
_FARTHEST_PX = 1e6


def is_file_name(text: str) -> bool:
    """Whether a text is the name of a file, without a folder, that can be shown and stand in a map."""
    plain = all(unicodedata.category(c) not in ("Cc", "Cs") and c not in "/\\" for c in text)
    return plain and text not in ("", ".", "..")


def first_defect(hide_map: "HideMap") -> str | None:
    """What is wrong with a map, in a few words; None where nothing is."""
    return next((fault for found in (_names, _numbers, _light, _in_photo, _rings) for fault in found(hide_map)), None)


def input_defect(inputs: "Inputs") -> str | None:
    """What a person cannot have meant, in a few words; None where there is nothing."""
    thick = [("thickness_mm", inputs.thickness_mm), *(("gauge", reading.thickness_mm) for reading in inputs.gauge)]
    for name, mm in thick:
        if mm is not None and not 0 < mm <= THICKEST_MM:
            return f"{name}: {mm:g} mm is not above zero, or more than any hide has ({THICKEST_MM:g} mm)"
    for scale in inputs.card_scale or ():
        if not 0.9 < scale < 1.1:
            return f"card_scale: no print is {scale:g} times what it should be"
    for tape in inputs.tapes:
        if not (0 <= tape.first <= 9 and 0 <= tape.second <= 9 and 0 < tape.distance_mm <= FARTHEST_MM):
            return "tapes: a distance is that of two cards, 0 to 9, on one floor"
    if inputs.arrow is not None and not 0 <= inputs.arrow <= 9:
        return f"arrow: cards are numbered 0 to 9, not {inputs.arrow}"
    given = [p for p in (inputs.neck_px, inputs.hide_at_px, *(inputs.back_line_px or ())) if p is not None]
    given += [hint.photo_px for hint in inputs.hints] + [reading.photo_px for reading in inputs.gauge]
    if any(not (abs(x) < _FARTHEST_PX and abs(y) < _FARTHEST_PX) for x, y in given):
        return "a photo pixel lies far outside of any photo"
    return None


def _names(hide_map: "HideMap") -> Iterator[str]:
    for key in ("hide_id", "parent_id"):
        name = getattr(hide_map, key)
        # Empty, or no parent: a map of version 0.1.0, or of a whole hide.
        if name and not (len(name) <= _LONGEST_ID and name.isascii() and name.isalnum()):
            yield f"{key} is no plain word"
    for view in (hide_map.photo, *hide_map.photos):
        # A name alone: a path could lead to any file of the person's.
        if not is_file_name(view.file):
            yield "photo.file is no file name"
    for mark in hide_map.marks:
        plain = all(c.isalnum() or c in _IN_AN_ID for c in mark.id)
        if not plain or not mark.id.strip(" .") or len(mark.id) > _LONGEST_ID:
            yield "a mark's id is no plain word"


def _numbers(hide_map: "HideMap") -> Iterator[str]:
    for view in (hide_map.photo, *hide_map.photos):
        if not (0 < view.width_px <= 100_000 and 0 < view.height_px <= 100_000):
            yield "photo has no size"
    for camera in (hide_map.camera, *(view.camera for view in hide_map.photos)):
        if not camera.focal_px > 0:
            yield "camera.focal_px is not above zero"
        rows = camera.rotation
        for i, j in ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)):  # rows at right angles, of length 1
            if not abs(sum(a * b for a, b in zip(rows[i], rows[j], strict=True)) - (i == j)) < 1e-3:
                yield "camera.rotation is no rotation"
    for name in ("area_gross", "area_net", "area_usable", "length", "width", "perimeter"):
        if getattr(hide_map.measures, name).value < 0:
            yield f"measures.{name} is below zero"
    if fault := input_defect(hide_map.inputs):
        yield f"inputs.{fault}"


def _light(hide_map: "HideMap") -> Iterator[str]:
    light = hide_map.inputs.light
    if light is None:
        return
    if not is_file_name(light.file):
        yield "inputs.light.file is no file name"
    if not (light.step_px >= 1 and 0 <= light.u <= 10):
        yield "inputs.light has no scale"
    if len(light.rows) < 2 or len({len(row) for row in light.rows}) != 1 or len(light.rows[0]) < 2:
        yield "inputs.light.rows is no table"
    elif any(value is not None and not 0 <= value <= _MOST_DENSITY for row in light.rows for value in row):
        yield "inputs.light.rows holds a density that cannot be"


def _in_photo(hide_map: "HideMap") -> Iterator[str]:
    """Lines in a photo: of a photo that there is, and enough points to be drawn."""
    for what, photo, rings, least in (
        ("outline.photo_px", 0, hide_map.outline.photo_px.coordinates, 4),
        *((("outline.rim_px", 0, (rim,), 4),) if (rim := hide_map.outline.rim_px) is not None else ()),
        *(("outline.doubtful", s.photo, (s.photo_px.coordinates,), 1) for s in hide_map.outline.doubtful),
        *((mark.id, mark.photo, mark.photo_px.coordinates, 4) for mark in hide_map.marks),
    ):
        if not 0 <= photo < max(1, len(hide_map.photos)):
            yield f"{what} lies in a photo that there is not"
        if not rings or any(len(ring) < least for ring in rings):
            yield f"{what} is no line in the photo"


def _rings(hide_map: "HideMap") -> Iterator[str]:
    """Areas on the hide: plain rings, each with its holes inside it; of zones, which may be slivers, rings at all."""
    from shapely import is_valid_reason
    from shapely.errors import ShapelyError
    from shapely.geometry import Polygon

    from hidescan.hide_map.model import PolygonGeometry

    areas = [
        ("outline", hide_map.outline.hide_mm),
        *((("rim", PolygonGeometry((rim,))),) if (rim := hide_map.outline.rim_mm) is not None else ()),
        *((mark.id, mark.hide_mm) for mark in hide_map.marks),
        *((f"zone {zone.name}", zone.hide_mm) for zone in hide_map.zones),
    ]
    for what, geometry in areas:
        parts = _parts(geometry)
        if not parts or not all(ring for rings in parts for ring in rings):
            yield f"{what}.hide_mm is no ring"
        for rings in parts:
            try:
                polygon = Polygon(rings[0], rings[1:])
                plain = what.startswith("zone ") or (bool(polygon.is_valid) and polygon.area > 0)
                reason = "" if plain else is_valid_reason(polygon)
            except (IndexError, ValueError, ShapelyError):
                yield f"{what}.hide_mm is no ring"
            else:
                if not plain:
                    yield f"{what}.hide_mm is no plain ring ({reason})"
    if hide_map.back_line.source != "none" and len(hide_map.back_line.curve_mm.coordinates) < 2:
        yield "back_line.curve_mm is no line"


def _parts(geometry: "PolygonGeometry | MultiPolygonGeometry") -> "tuple[tuple[Ring, ...], ...]":
    return (geometry.coordinates,) if geometry.type == "Polygon" else geometry.coordinates

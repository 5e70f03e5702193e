"""Whether a map that came from a file can be what it says it is.

A map may come from anybody: what a program that reads it relies on is looked at once, when it is read.
"""

import math
import unicodedata
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from hidescan.basics.geometry import FARTHEST_MM, Points, signed_area
from hidescan.basics.units import THICKEST_MM

if TYPE_CHECKING:
    from hidescan.hide_map.model import XY, HideMap, Inputs, MultiPolygonGeometry, PolygonGeometry, Ring

# Ids become names of files (crops) and of shapes in drawings.
_IN_AN_ID = frozenset(" -_.")
_LONGEST_ID = 80
_MOST_DENSITY = 20_000  # thousandths: of 500 million parts of light one comes through
_FARTHEST_PX = 1e6
# Figures are written to nine digits; what a ring's own area differs by is what mending its crossings changes.
_SAME_AREA, _SAME_PART_AREA, _SAME_LENGTH = 1e-3, 1e-2, 1.02
_SAME_SCALE = 4.0  # between the middle of a hide and its whole, in a steep view
_WIDEST_MM = 30_000.0
_COARSEST_MM_PER_PX = 100.0
_OUT_OF_PHOTO = 1.0  # of its size: the box round an outline reaches beyond the outline


def is_file_name(text: str) -> bool:
    """Whether a text is the name of a file, without a folder, that can be shown and stand in a map."""
    plain = all(unicodedata.category(c) not in ("Cc", "Cs") and c not in "/\\" for c in text)
    return plain and text not in ("", ".", "..")


def first_defect(hide_map: "HideMap") -> str | None:
    """What is wrong with a map, in a few words; None where nothing is."""
    checks = (_names, _numbers, _light, _in_photo, _rings, _figures, _cameras)
    return next((fault for found in checks for fault in found(hide_map)), None)


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
            continue
        view = hide_map.photos[photo] if hide_map.photos else hide_map.photo
        low, high = _extent([point for ring in rings for point in ring])
        sizes = (view.width_px, view.height_px)
        if any(a < -size or b > 2 * size for a, b, size in zip(low, high, sizes, strict=True)):
            yield f"{what} lies far outside of its photo"
        if least == 4 and not _nearly_plain(rings):
            yield f"{what} crosses itself in the photo"


def _rings(hide_map: "HideMap") -> Iterator[str]:
    """Areas on the hide: plain rings, each with its holes inside it; zones may cross themselves by a sliver."""
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
                plain = bool(polygon.is_valid) and polygon.area > 0
                if what.startswith("zone "):
                    plain = plain or _nearly_plain(rings)
                reason = "" if plain else is_valid_reason(polygon)
            except (IndexError, ValueError, ShapelyError):
                yield f"{what}.hide_mm is no ring"
            else:
                if not plain:
                    yield f"{what}.hide_mm is no plain ring ({reason})"
    if hide_map.back_line.source != "none" and len(hide_map.back_line.curve_mm.coordinates) < 2:
        yield "back_line.curve_mm is no line"


def _figures(hide_map: "HideMap") -> Iterator[str]:
    """Stated figures are those of what is drawn: whoever changes one by hand changes what a hide costs."""
    outer, *holes = hide_map.outline.hide_mm.coordinates
    gross = _area([outer])
    net = _area([outer, *holes])
    m = hide_map.measures
    for name, stated, drawn in (("area_gross", m.area_gross.value, gross), ("area_net", m.area_net.value, net)):
        if not abs(stated - drawn) <= _SAME_AREA * drawn:
            yield f"measures.{name} is {stated:.0f} mm2, but its outline has {drawn:.0f}"
    if not m.area_usable.value <= net * (1 + _SAME_AREA):
        yield f"measures.area_usable is {m.area_usable.value:.0f} mm2, more than the outline has ({net:.0f})"
    low, high = _extent(outer)
    reach = math.dist(low, high)
    if not reach <= _WIDEST_MM:
        yield f"outline.hide_mm is {reach / 1000:.0f} m across, no hide is"
    for name in ("length", "width"):
        if not 0 < getattr(m, name).value <= reach * _SAME_LENGTH:
            yield f"measures.{name} is {getattr(m, name).value:.0f} mm, but the outline is {reach:.0f} mm across"
    perimeter = sum(math.dist(a, b) for ring in (outer, *holes) for a, b in pairwise(ring))
    if not m.perimeter.value <= perimeter * _SAME_LENGTH:
        yield f"measures.perimeter is {m.perimeter.value:.0f} mm, but its rings have {perimeter:.0f}"
    for what, part in [(mark.id, mark) for mark in hide_map.marks] + [(zone.name, zone) for zone in hide_map.zones]:
        drawn = sum(_area(rings) for rings in _parts(part.hide_mm))
        if not abs(part.area_mm2 - drawn) <= _SAME_PART_AREA * drawn + 1.0:
            yield f"{what}.area_mm2 is {part.area_mm2:.0f}, but its rings have {drawn:.0f}"


def _cameras(hide_map: "HideMap") -> Iterator[str]:
    """Cameras that saw the hide: above the floor, the outline before them and in their photos or not far out of them.

    Of several photos each may show a part only.
    """
    corners = _box(hide_map.outline.hide_mm.coordinates[0])
    single = len(hide_map.photos) < 2
    views = [(hide_map.photo, hide_map.camera)] if single else [(view, view.camera) for view in hide_map.photos]
    for view, entry in views:
        camera = entry.over_hide()
        if not np.linalg.det(camera.rotation) > 0:
            yield "camera.rotation is no rotation"
        if not camera.centre_mm[2] > 0:
            yield "camera.translation_mm puts the camera below the floor"
        with np.errstate(all="ignore"):
            px = camera.px_from_mm(corners)
        size = np.array([view.width_px, view.height_px])
        near = (px > -_OUT_OF_PHOTO * size) & (px < (1 + _OUT_OF_PHOTO) * size)
        if not (near.all() if single else near.all(axis=1).any()):
            yield "camera does not see the outline where the photo is"
        principal = np.array(entry.principal_point_px)
        if not ((principal > -size) & (principal < 2 * size)).all():
            yield "camera.principal_point_px lies far outside of the photo"
        with np.errstate(all="ignore"):
            seen = camera.mm_per_px((px.mean(axis=0) if single else size / 2.0)[None])[0]
        if single and not seen / _SAME_SCALE < entry.mm_per_px < seen * _SAME_SCALE:
            yield f"camera.mm_per_px is {entry.mm_per_px:g}, but the camera sees {seen:g}"
        if not 0 < entry.mm_per_px < _COARSEST_MM_PER_PX:
            yield f"camera.mm_per_px is {entry.mm_per_px:g}, no photo is that fine or coarse"


def _nearly_plain(rings: "tuple[Ring, ...]") -> bool:
    """Whether rings do not cross themselves, or by slivers only: then the mended area is that of the shoelace."""
    from shapely import make_valid
    from shapely.errors import ShapelyError
    from shapely.geometry import Polygon

    try:
        polygon = Polygon(rings[0], rings[1:])
        if polygon.is_valid:
            return True
        mended = float(make_valid(polygon).area)
    except (IndexError, ValueError, ShapelyError):
        return False
    drawn = _area(rings)
    return abs(mended - drawn) <= _SAME_PART_AREA * drawn + 1.0


def _area(rings: "Sequence[Ring]") -> float:
    """Area of a ring less its holes, by the shoelace formula."""
    first, *others = (abs(signed_area(np.array(ring[:-1] if ring[0] == ring[-1] else ring))) for ring in rings)
    return first - sum(others)


def _extent(points: "Sequence[XY]") -> "tuple[XY, XY]":
    """Smallest and largest x and y."""
    x, y = zip(*points, strict=True)
    return (min(x), min(y)), (max(x), max(y))


def _box(points: "Sequence[XY]") -> Points:
    """The corners of the rectangle round some points, (4, 2)."""
    (x0, y0), (x1, y1) = _extent(points)
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def _parts(geometry: "PolygonGeometry | MultiPolygonGeometry") -> "tuple[tuple[Ring, ...], ...]":
    return (geometry.coordinates,) if geometry.type == "Polygon" else geometry.coordinates

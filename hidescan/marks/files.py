"""Marks drawn elsewhere, read from a file: CSV, GeoJSON, or the map of the hide's other face.

CSV: a column `kind`, and where the mark is: a ring in `hide_mm` or `photo_px` ("12 40, 30 40, 30 70"), or a middle in
`centre_x_mm`, `centre_y_mm` (or `..._px`) with `diameter_mm` (else `length_mm`, as our own table of marks has it).
GeoJSON: a FeatureCollection of polygons (or lines, for scratches) whose properties name the `kind`, in the hide frame
in mm, or in photo pixels where `frame` is "photo_px". Both may give `id` (or `name`), `status` and `confidence`. The
GeoJSON that hidescan exports is read as it is, a mirrored one turned back.
"""

import json
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast, get_args

import numpy as np
from shapely.errors import ShapelyError
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, shape
from shapely.geometry.base import BaseGeometry

from hidescan.basics.errors import BadInput, NotFound, refuse_unknown
from hidescan.basics.geometry import FARTHEST_MM, Points, has_area, without_crossings
from hidescan.basics.reading import read_text
from hidescan.basics.tables import rows_of
from hidescan.basics.vocabulary import MARKS, MarkKind, MarkStatus
from hidescan.hide_map.json_io import from_json
from hidescan.hide_map.model import FORMAT, HideMap
from hidescan.hide_map.revisions import MOST_MAP_BYTES
from hidescan.marks.matching import GivenMark, in_frame_of
from hidescan.marks.other_face import laid_on, marks_of
from hidescan.marks.placement import on_hide
from hidescan.settings import Settings

_LINE_HALF_WIDTH_MM = 1.0  # a scratch drawn as a line
_STATUSES = get_args(MarkStatus)
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")


@dataclass(frozen=True, slots=True, eq=False)
class Given:
    """Marks for a map, and how far their places may be off, mm."""

    marks: tuple[GivenMark, ...]
    slack_mm: float = 0.0


def given_marks(path: Path, hide_map: HideMap, settings: Settings) -> Given:
    """Marks of a file, in the hide frame of the map that they are for.

    Raises
    ------
    BadInput
        The file cannot be read, holds no marks in a form that is known, belongs to another photo, or is the map of a
        hide with another outline.
    """
    text = read_text(path, "Give a CSV, a GeoJSON or a map.", most_bytes=MOST_MAP_BYTES, encoding="utf-8-sig")
    if path.suffix.lower() == ".csv":
        return Given(tuple(_from_table(text, path.name, hide_map)))
    try:
        plain = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise BadInput(f"{path}: is neither a CSV (by its name) nor JSON.") from error
    if isinstance(plain, dict) and plain.get("format") == FORMAT:
        other = from_json(text.encode(), str(path))
        if other.photo.sha256 == hide_map.photo.sha256:
            return Given(tuple(marks_of(other, lambda ring: in_frame_of(hide_map, other, ring))))
        laid = laid_on(hide_map, other, settings.other_face)
        if isinstance(laid, NotFound):
            raise BadInput(f"{path.name}: {laid}")
        return Given(tuple(marks_of(other, laid.on_this)), laid.apart_mm)
    if isinstance(plain, dict) and plain.get("type") == "FeatureCollection":
        return Given(tuple(_from_features(plain, path.name, hide_map)))
    raise BadInput(f"{path}: is neither a FeatureCollection nor a map.")


def _from_table(text: str, name: str, hide_map: HideMap) -> Iterator[GivenMark]:
    names, rows = rows_of(text, name)
    columns = set(names)
    ring = next((column for column in ("hide_mm", "photo_px") if column in columns), None)
    unit = next((u for u in ("mm", "px") if {f"centre_x_{u}", f"centre_y_{u}"} <= columns), None)
    size = next((column for column in ("diameter_mm", "length_mm") if column in columns), None)
    if "kind" not in columns or (ring is None and (unit is None or size is None)):
        raise BadInput(
            f"{name}: needs the column kind, and hide_mm or photo_px (a ring), or centre_x_mm, centre_y_mm and"
            " diameter_mm."
        )
    for number, row in rows:
        where = f"{name}, line {number}"
        if ring is not None:
            numbers = [float(number) for number in _NUMBER.findall(row[ring] or "")]
            if len(numbers) < 6 or len(numbers) % 2:
                raise BadInput(f"{where}: {ring} needs three points or more, as in 12 40, 30 40, 30 70.")
            geometry = Polygon(_in_hide_frame(np.reshape(numbers, (-1, 2)), ring == "photo_px", hide_map))
        else:
            try:
                x, y, across = (float(row[key] or "") for key in (f"centre_x_{unit}", f"centre_y_{unit}", str(size)))
                centre = _on_the_floor(_in_hide_frame(np.array([[x, y]]), unit == "px", hide_map))[0]
                _on_the_floor(np.array([across]))
            except ValueError:
                raise BadInput(f"{where}: the middle and the diameter should be numbers, on the floor.") from None
            geometry = Point(centre).buffer(across / 2)
        yield from _marks(geometry, row, where, hide_map)


def _from_features(plain: dict[str, Any], name: str, hide_map: HideMap) -> Iterator[GivenMark]:
    drawn_on = plain.get("photo_sha256")
    if drawn_on not in (None, hide_map.photo.sha256):
        raise BadInput(f"{name}: was drawn on another photo. Of the hide's other face, merge the map itself.")
    features = plain.get("features")
    for number, feature in enumerate(features if isinstance(features, list) else [], start=1):
        where = f"{name}, feature {number}"
        properties = feature.get("properties") if isinstance(feature, dict) else None
        if not isinstance(properties, dict):
            raise BadInput(f"{where}: has no properties; kind is needed.")
        if properties.get("layer", "marks") not in ("marks", "holes"):
            continue
        frame = properties.get("frame", plain.get("frame", "hide_mm"))
        refuse_unknown(frame, ("hide_mm", "photo_px"), f"{where}, frame")
        try:
            with np.errstate(invalid="ignore"):  # what is no number is refused below
                geometry = shape(feature["geometry"])
            in_px = frame == "photo_px"
            mirrored = -1.0 if plain.get("mirrored") is True and not in_px else 1.0
            geometry = _mapped(geometry, lambda p, px=in_px, m=mirrored: _in_hide_frame(p * (m, 1.0), px, hide_map))
        except (LookupError, TypeError, ValueError, AttributeError, OverflowError, ShapelyError) as error:
            raise BadInput(f"{where}: has no geometry that can be read, or lies off the floor.") from error
        yield from _marks(geometry, properties, where, hide_map)


def _mapped(geometry: BaseGeometry, place: Any) -> BaseGeometry:
    """Outer rings or lines with each point placed anew; a line gets the width of a scratch."""
    if isinstance(geometry, LineString):
        return LineString(_on_the_floor(place(np.array(geometry.coords)[:, :2]))).buffer(_LINE_HALF_WIDTH_MM)
    parts = geometry.geoms if isinstance(geometry, MultiPolygon) else [geometry]
    return MultiPolygon([Polygon(_on_the_floor(place(np.array(part.exterior.coords)[:, :2]))) for part in parts])


def _on_the_floor(points_mm: Points) -> Points:
    """The points, none without end or far off: GEOS ends the whole program over such a one.

    Raises
    ------
    ValueError
        One is.
    """
    if not (np.abs(points_mm) < FARTHEST_MM).all():
        raise ValueError("off the floor")
    return points_mm


def _marks(geometry: BaseGeometry, properties: Mapping[str, Any], where: str, hide_map: HideMap) -> Iterator[GivenMark]:
    """One mark for each part of a geometry in the hide frame."""
    kind, status = properties.get("kind"), properties.get("status") or None
    kind = MARKS.read(str(kind), where=f"{where}, kind:")
    if status is not None:
        refuse_unknown(status, _STATUSES, f"{where}, status")
    given = properties.get("confidence")
    try:
        confidence = 1.0 if given in (None, "") else float(given)
    except (TypeError, ValueError, OverflowError):
        confidence = math.nan
    if not 0 <= confidence <= 1:
        raise BadInput(f"{where}: confidence should be a number from 0 to 1.")
    for part in getattr(geometry, "geoms", [geometry]):
        ring = np.array(part.exterior.coords)[:-1]
        if not (np.abs(ring) < FARTHEST_MM).all() or not has_area(ring):
            raise BadInput(f"{where}: the mark has no area, or lies off the floor.")
        if not on_hide(Polygon(ring), Polygon(hide_map.outline.hide_mm.coordinates[0])):
            raise BadInput(f"{where}: the mark does not lie on the hide; mind the frame, hide_mm or photo_px.")
        yield GivenMark(
            cast(MarkKind, kind),
            without_crossings(ring),
            confidence,
            cast(MarkStatus | None, status),
            str(properties.get("id") or properties.get("name") or "") or None,
        )


def _in_hide_frame(points: Points, in_px: bool, hide_map: HideMap) -> Points:
    """Photo pixels, where they are, on the leather's upper face."""
    return hide_map.camera_over_hide().mm_from_px(points, hide_map.upper_face_mm()) if in_px else points

"""GeoJSON in the structure of RFC 7946, in planar millimetres of the hide frame and not in degrees.

RFC 7946, 4, leaves other coordinates to prior agreement; the foreign member `coordinate_frame` (6.1) states it. For
programs that would take them for degrees, `crs` names a local engineering system in millimetres (GeoJSON format
specification of 2008, 3.1, with the system written out by ISO 19162:2019). Rings are right-handed (3.1.6).
"""

import json
from typing import Any

from shapely.geometry import mapping

from hidescan.exports.formats import ExportOptions
from hidescan.exports.layers import Shape, layers
from hidescan.hide_map.model import HideMap

_FRAME = (
    "Plane millimetres, not longitude and latitude: origin at the tail end of the back line, +y toward the neck,"
    " +x to the right"
)


def to_files(hide_map: HideMap, options: ExportOptions) -> tuple[bytes, ...]:
    """The format's one file."""
    return (to_bytes(hide_map, name=options.name, mirror=options.mirror, pieces=options.pieces),)


_ENGINEERING = (
    'ENGCRS["hide frame",EDATUM["tail end of the back line"],CS[Cartesian,2],AXIS["x",unspecified],'
    'AXIS["y",unspecified],LENGTHUNIT["millimetre",0.001]]'
)


def to_bytes(hide_map: HideMap, *, name: str, mirror: bool = False, pieces: tuple[Shape, ...] = ()) -> bytes:
    """The map as a FeatureCollection: one feature for the outline with its holes, and for each hole, mark, zone ..."""
    drawn = layers(hide_map, mirror=mirror, pieces=pieces)
    net = Shape("outline", "outline with through holes", drawn.net_mm)
    known: dict[str, dict[str, Any]] = {zone.name: {"thickness_mm": zone.thickness_mm} for zone in hide_map.zones}
    for mark in hide_map.marks:
        known[mark.id] = {
            "status": mark.status,
            "confidence": mark.confidence,
            "zone": mark.zone,
            "length_mm": mark.length_mm,
            "width_mm": mark.width_mm,
            "from_back_line_mm": mark.from_back_line_mm,
            "from_rim_mm": mark.from_rim_mm,
        }
    features = [
        _feature(shape, layer, known.get(shape.id, {}))
        for layer, shapes in {**drawn.by_name, "outline": (net,)}.items()
        for shape in shapes
    ]
    collection = {
        "type": "FeatureCollection",
        "name": name,
        "crs": {"type": "name", "properties": {"name": _ENGINEERING}},
        "coordinate_frame": f"{_FRAME} ({drawn.seen_from}).",
        "units": "mm",
        "mirrored": mirror,
        "program": f"hidescan {hide_map.program.version}",
        "photo_sha256": hide_map.photo.sha256,
        "features": features,
    }
    return json.dumps(collection, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode() + b"\n"


def _feature(shape: Shape, layer: str, known: dict[str, Any]) -> dict[str, Any]:
    area = {"area_mm2": round(float(shape.geometry.area), 1)} if shape.geometry.area else {}
    return {
        "type": "Feature",
        "id": f"{layer}.{shape.id}",
        "geometry": _rounded(mapping(shape.geometry)),
        "properties": {"layer": layer, "name": shape.id, "kind": shape.kind, **area, **known},
    }


def _rounded(value: Any) -> Any:
    """Coordinates to a micrometre; GeoJSON has no use for more (RFC 7946, 11.2)."""
    if isinstance(value, dict):
        return {key: _rounded(v) for key, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_rounded(v) for v in value]
    return round(value, 3) + 0.0 if isinstance(value, float) else value

"""What the page draws of a map: photo pixels as flat rounded lists, figures as they are."""

from typing import Any

import numpy as np

from hidescan.basics.geometry import Points
from hidescan.camera.model import Camera
from hidescan.hide_map.model import CameraEntry, HideMap, MarkEntry, MeasureEntry, ZoneEntry
from hidescan.mapping.heights import height_priors
from hidescan.settings import Settings

Flat = list[float]


def view_of(hide_map: HideMap, settings: Settings) -> dict[str, Any]:
    """A plain value, ready for JSON."""
    camera = hide_map.camera_over_hide()
    heights = height_priors(hide_map.inputs.thickness_mm, hide_map.inputs.gauge, settings.measure).means
    m, back = hide_map.measures, hide_map.back_line
    return {
        "camera": _camera(hide_map.camera),
        "heights": {"thickness_mm": heights.thickness_mm, "lift_mm": heights.lift_mm},
        "margins": {"hole": settings.usable.hole_margin_mm, "other": settings.usable.other_margin_mm},
        "rim": _flat(hide_map.outline.photo_px.coordinates[0][:-1]),
        "doubtful": [_flat(stretch.photo_px.coordinates) for stretch in hide_map.outline.doubtful],
        "confidence": hide_map.outline.confidence,
        "back": {
            "tail": back.tail_px,
            "neck": back.neck_px,
            "curve": _on_photo(camera, back.curve_mm.coordinates),
            "source": back.source,
            "confidence": back.end_confidence,
        },
        "form": {"name": hide_map.form.name, "confidence": hide_map.form.confidence},
        "figures": {
            name: _figure(getattr(m, name))
            for name in ("area_gross", "area_net", "area_usable", "length", "width", "perimeter")
        },
        "budget": [[row.source, row.area_percent] for row in hide_map.budget],
        "zones": [_zone(zone, camera) for zone in hide_map.zones],
        "marks": [_mark(mark) for mark in hide_map.marks],
        "cards": [{"number": card.number, "at": _on_photo(camera, [card.center_mm])} for card in hide_map.cards],
        "warnings": [{"code": warning.code, "message": warning.message} for warning in hide_map.warnings],
        "thickness_source": hide_map.thickness_source,
    }


def _camera(camera: CameraEntry) -> dict[str, Any]:
    return {
        "focal_px": camera.focal_px,
        "k1": camera.distortion[0],
        "k2": camera.distortion[1],
        "principal_px": camera.principal_point_px,
        "rotation": camera.rotation,
        "translation_mm": camera.translation_mm,
    }


def _zone(zone: ZoneEntry, camera: Camera) -> dict[str, Any]:
    area = zone.hide_mm
    parts = area.coordinates if area.type == "MultiPolygon" else (area.coordinates,)
    return {
        "name": zone.name,
        "rings": [_on_photo(camera, ring) for part in parts for ring in part],
        "area_mm2": zone.area_mm2,
        "thickness_mm": zone.thickness_mm,
        "thickness_u_mm": zone.thickness_u_mm,
    }


def _mark(mark: MarkEntry) -> dict[str, Any]:
    return {
        "id": mark.id,
        "kind": mark.kind,
        "status": mark.status,
        "ring": _flat(mark.photo_px.coordinates[0][:-1]),
        "area_mm2": mark.area_mm2,
        "length_mm": mark.length_mm,
        "width_mm": mark.width_mm,
        "zone": mark.zone,
        "confidence": mark.confidence,
    }


def _on_photo(camera: Camera, points_mm: Any) -> Flat:
    return _flat(camera.px_from_mm(np.array(points_mm)))


def _figure(figure: MeasureEntry) -> dict[str, float | None]:
    return {"value": figure.value, "u": figure.expanded_uncertainty}


def _flat(points: Points | Any) -> Flat:
    """(N, 2) points as x, y, x, y ..., to a hundredth of a pixel."""
    flat: Flat = np.round(np.asarray(points, dtype=np.float64).reshape(-1), 2).tolist()
    return flat

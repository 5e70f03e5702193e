"""CSV for costing: one row of measures for a hide, and one table of its marks; units in the header (RFC 4180)."""

from hidescan.basics.tables import csv_bytes
from hidescan.basics.units import MM2_PER_DM2, MM2_PER_FT2, format_quarter_foot
from hidescan.exports.formats import ExportOptions
from hidescan.figures.usable import rule_in_words
from hidescan.hide_map.facts import HideFacts, facts_of
from hidescan.hide_map.model import HideMap

_FIGURES = ("area_net", "area_gross", "area_usable")


def to_files(hide_map: HideMap, options: ExportOptions) -> tuple[bytes, ...]:
    """The figures, and the marks."""
    return measures_csv(hide_map, name=options.name), marks_csv(hide_map)


def measures_csv(hide_map: HideMap, *, name: str) -> bytes:
    """One row: every area in ft2 and dm2 with U (k = 2), length, width and perimeter in mm."""
    m = hide_map.measures
    row: dict[str, str] = {"name": name, "form": hide_map.form.name}
    for figure in _FIGURES:
        entry = getattr(m, figure)
        for unit, size, places in (("ft2", MM2_PER_FT2, 3), ("dm2", MM2_PER_DM2, 2)):
            row[f"{figure}_{unit}"] = f"{entry.value / size:.{places}f}"
            row[f"{figure}_U_k2_{unit}"] = _maybe(entry.expanded_uncertainty, size, places)
    row["area_net_quarter_ft2"] = format_quarter_foot(m.area_net.value).removesuffix(" ft²")
    for figure in ("length", "width", "perimeter"):
        entry = getattr(m, figure)
        row[f"{figure}_mm"] = f"{entry.value:.1f}"
        row[f"{figure}_U_k2_mm"] = _maybe(entry.expanded_uncertainty, 1.0, 1)
    row |= {
        "marks": str(sum(mark.status != "rejected" for mark in hide_map.marks)),
        "usable_rule": rule_in_words(hide_map.program.settings.get("usable", {})),
        "species": hide_map.inputs.species or "",
        "state": hide_map.inputs.state or "",
        "conditioning": hide_map.inputs.conditioning or "",
        **_other_facts(hide_map),
        "photo": hide_map.photo.file,
        "photo_sha256": hide_map.photo.sha256,
        "program": f"hidescan {hide_map.program.version}",
    }
    return csv_bytes([list(row), list(row.values())])


def _other_facts(hide_map: HideMap) -> dict[str, str]:
    """The facts that have no column of their own."""
    placed = ("thickness_mm", "form", "species", "state", "conditioning")
    return {name: str(getattr(hide_map.inputs, name) or "") for name in facts_of(HideFacts) if name not in placed}


def marks_csv(hide_map: HideMap) -> bytes:
    """One row a mark, rejected ones too; the centre is in the hide frame (from the tail, y toward the neck)."""
    from shapely.geometry import Polygon

    rows = [
        [
            "id",
            "kind",
            "status",
            "zone",
            "centre_x_mm",
            "centre_y_mm",
            "area_mm2",
            "length_mm",
            "width_mm",
            "confidence",
            "from_back_line_mm",
            "from_rim_mm",
        ]
    ]
    for mark in hide_map.marks:
        centre = Polygon(mark.hide_mm.coordinates[0]).centroid
        rows.append(
            [
                mark.id, mark.kind, mark.status, mark.zone or "", _place(centre.x), _place(centre.y),
                f"{mark.area_mm2:.1f}", f"{mark.length_mm:.1f}", f"{mark.width_mm:.1f}", f"{mark.confidence:.2f}",
                _maybe(mark.from_back_line_mm, 1.0, 1), _maybe(mark.from_rim_mm, 1.0, 1),
            ]
        )  # fmt: skip
    return csv_bytes(rows)


def _place(value_mm: float) -> str:
    return f"{round(value_mm, 1) + 0.0:.1f}"  # no negative zero


def _maybe(value: float | None, size: float, places: int) -> str:
    return "" if value is None else f"{value / size:.{places}f}"

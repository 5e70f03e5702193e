"""A map's marks, figures and grade: as lines of text, and as plain values for JSON."""

from dataclasses import asdict
from typing import Any

from hidescan.basics.units import MM_PER_INCH, format_length
from hidescan.figures.clear import Circle, Rectangle, clear_leather, largest_circle, largest_rectangle
from hidescan.figures.summary import area_with_u
from hidescan.figures.usable import rule_in_words
from hidescan.hide_map.model import HideMap, MarkEntry
from hidescan.marks.grading import Graded, GradeTable, graded
from hidescan.marks.placement import number_of
from hidescan.settings import Settings

_MOST_SOURCES = 3


def marks_lines(name: str, hide_map: HideMap, table: GradeTable | None, units: str, settings: Settings) -> list[str]:
    """The marks by number, usable area with its rule, what comes out in one piece, and the grade."""
    marks, m = sorted(hide_map.marks, key=number_of), hide_map.measures
    rejected = sum(mark.status == "rejected" for mark in marks)
    count = len(marks) - rejected
    lines = [
        f"{name}: {count or 'no'} mark{'s' if count != 1 else ''}"
        + (f", and {rejected} rejected" if rejected else "")
        + (" (size, then distance of the nearest point from the back line and from the rim)" if marks else "")
    ]
    lines += _table([_row(mark, units) for mark in marks])
    most = sorted(hide_map.usable_budget, key=lambda row: -row.area_percent)[:_MOST_SOURCES]
    lines.append(f"  usable  {area_with_u(m.area_usable, units)} of {area_with_u(m.area_net, units)} net")
    lines.append(f"          {rule_in_words(hide_map.program.settings.get('usable', {}))}")
    if most:
        lines.append("  ± from  " + ", ".join(f"{row.source} {2 * row.area_percent:.2f} %" for row in most))
    rectangle, circle = _clear(hide_map, settings)
    if rectangle is not None and circle is not None:
        length, width = (format_length(side, units) for side in (rectangle.length_mm, rectangle.width_mm))
        across = format_length(circle.diameter_mm, units)
        lines.append(f"  clear   rectangle {length} along the back line x {width}; circle {across} across")
    if table is not None:
        lines += _grade_lines(table, graded(hide_map, table, settings.usable))
    return lines


def marks_plain(name: str, hide_map: HideMap, table: GradeTable | None, settings: Settings) -> dict[str, Any]:
    """The same as plain values: mm, mm2 and percent."""
    rectangle, circle = _clear(hide_map, settings)
    plain: dict[str, Any] = {
        "name": name,
        "marks": [asdict(mark) for mark in sorted(hide_map.marks, key=number_of)],
        "area_usable": asdict(hide_map.measures.area_usable),
        "area_net": asdict(hide_map.measures.area_net),
        "usable_rule": rule_in_words(hide_map.program.settings.get("usable", {})),
        "usable_budget": [asdict(row) for row in hide_map.usable_budget],
        "clear_rectangle_mm": None if rectangle is None else asdict(rectangle),
        "clear_circle_mm": None if circle is None else asdict(circle),
    }
    if table is not None:
        plain["grade"] = {
            "table": table.name,
            "source": table.source,
            **asdict(graded(hide_map, table, settings.usable)),
        }
    return plain


def _clear(hide_map: HideMap, settings: Settings) -> tuple[Rectangle | None, Circle | None]:
    clear = clear_leather(hide_map, settings.usable)
    return largest_rectangle(clear, settings.clear), largest_circle(clear, settings.clear)


def _row(mark: MarkEntry, units: str) -> tuple[str, ...]:
    sure = "" if mark.status in ("confirmed", "rejected") else f"sure to {min(99.0, 100 * mark.confidence):.0f} %"
    if mark.status == "added" and mark.confidence == 1:
        sure = ""
    return (
        mark.id,
        mark.kind if mark.kind != mark.id.rpartition("-")[0] else "",
        f"{format_length(mark.length_mm, units)} x {format_length(mark.width_mm, units)}",
        _small_area(mark.area_mm2, units),
        mark.zone or "",
        f"back line {'-' if mark.from_back_line_mm is None else format_length(mark.from_back_line_mm, units)}",
        f"rim {'-' if mark.from_rim_mm is None else format_length(mark.from_rim_mm, units)}",
        mark.status,
        sure,
    )


def _table(rows: list[tuple[str, ...]]) -> list[str]:
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))] if rows else []
    return ["  " + "  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True) if w).rstrip() for row in rows]


def _small_area(area_mm2: float, units: str) -> str:
    """Of a mark: in2 or cm2, to a tenth."""
    return f"{area_mm2 / MM_PER_INCH**2:.1f} in²" if units == "ft" else f"{area_mm2 / 100:.1f} cm²"


def _grade_lines(table: GradeTable, found: Graded) -> list[str]:
    u = "" if found.expanded_percent is None else f" ± {found.expanded_percent:.1f}"
    margins = "margins counted" if table.margins else "marks without margins"
    share = f"usable {found.usable_percent:.1f} %{u} of the whole area ({margins})"
    lines = [
        f"  grade   {found.grade}: {share}; {found.decided}",
        f"          by {table.name}; {table.source}",
    ]
    lines += [f"  ! {remark}" for remark in found.remarks]
    return [*lines, f"  ! {table.note}"] if table.note else lines

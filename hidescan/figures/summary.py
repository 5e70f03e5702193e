"""What a map says in a few lines of text: for the terminal and for the picture."""

from hidescan.basics.units import MM2_PER_DM2, MM2_PER_FT2, format_area, format_length, format_quarter_foot
from hidescan.basics.vocabulary import MARKS
from hidescan.figures.paper_check import SheetCheck
from hidescan.figures.usable import rule_in_words
from hidescan.hide_map.model import HideMap, MeasureEntry

MOST_LINES = 12


def summary_lines(name: str, hide_map: HideMap, units: str) -> list[str]:
    """At most 12 lines: the figures with their ±, what the ± is made of, and what to look at."""
    m, back = hide_map.measures, hide_map.back_line
    cards = ", ".join(str(card.number) for card in hide_map.cards)
    in_trade = f"{format_area(m.area_net.value, 'metric')}, {format_quarter_foot(m.area_net.value)} by the quarter foot"
    also = f"  ({in_trade})" if units == "ft" else ""
    lines = [
        f"{name}: {hide_map.form.name}, measured by card{'s' if len(hide_map.cards) > 1 else ''} {cards}",
        f"  area    {area_with_u(m.area_net, units)}{also}; ± is 95 %",
        f"  usable  {area_with_u(m.area_usable, units)}; with holes {area_with_u(m.area_gross, units)}",
        f"          usable: {rule_in_words(hide_map.program.settings.get('usable', {}))}",
        f"  length  {format_length(m.length.value, units)}, width {format_length(m.width.value, units)},"
        f" round the rim {format_length(m.perimeter.value, units)}",
    ]
    if back.source == "none":
        lines.append("  back line not found: a piece without it has no known stretch direction")
    else:
        check = "" if back.end_confidence >= 0.7 else " - CHECK IT; --neck X,Y settles it"
        x, y = back.neck_px
        lines.append(f"  neck    toward pixel {x:.0f},{y:.0f} (sure to {100 * back.end_confidence:.0f} %){check}")
    counts: dict[str, int] = {}
    for mark in hide_map.marks:
        if mark.status != "rejected":
            counts[mark.kind] = counts.get(mark.kind, 0) + 1
    lines.append(
        "  marks   " + (", ".join(f"{n} {MARKS[k].plural if n > 1 else k}" for k, n in counts.items()) or "none found")
    )
    most = sorted(hide_map.budget, key=lambda row: -row.area_percent)[:3]
    lines.append("  ± from  " + ", ".join(f"{row.source} {2 * row.area_percent:.2f} %" for row in most))
    room = MOST_LINES - len(lines)
    warnings = [f"  ! {w.message}" for w in hide_map.warnings]
    if len(warnings) > room:
        warnings = [*warnings[: room - 1], f"  ! and {len(warnings) - room + 1} more warnings in the map file"]
    return lines + warnings


def check_lines(sheet: str, check: SheetCheck) -> list[str]:
    """The user's own proof in words."""
    m, (short, long) = check.measures, check.true_sides_mm
    expanded = 100 * m.area_net.expanded / check.true_area_mm2
    inside = abs(check.error_percent) <= expanded
    return [
        f"plain {sheet} sheet: {m.length.value:.1f} x {m.width.value:.1f} mm measured, {long:g} x {short:g} mm true",
        f"  area {check.error_percent:+.2f} % off, stated ± {expanded:.2f} %:"
        f" {'inside' if inside else 'OUTSIDE: is the print measured, the sheet flat, the card flat?'}",
    ]


def figure_lines(hide_map: HideMap, units: str) -> list[str]:
    """The figures on the picture."""
    m = hide_map.measures
    lines = [
        f"{area_with_u(m.area_net, units)}",
        f"{format_length(m.length.value, units)} x {format_length(m.width.value, units)}",
    ]
    if hide_map.warnings:
        count = len(hide_map.warnings)
        lines.append(f"{count} warning{'s' if count > 1 else ''}")
    return lines


def area_with_u(area: MeasureEntry, units: str) -> str:
    """An area with its expanded uncertainty, in one unit: `7.30 ft² ± 0.05`.

    Examples
    --------
    >>> area_with_u(MeasureEntry(678000.0, 4600.0, 2.0), "ft")
    '7.30 ft² ± 0.05'
    """
    text = format_area(area.value, units)
    if area.expanded_uncertainty is None:
        return f"{text}, uncertainty unknown"
    per_unit, places = (MM2_PER_FT2, 2) if units == "ft" else ((MM2_PER_DM2, 1) if "dm²" in text else (1e6, 3))
    return f"{text} ± {max(area.expanded_uncertainty / per_unit, 10.0**-places):.{places}f}"

"""The shelf's hides as lines of text."""

from collections.abc import Sequence
from decimal import Decimal

from hidescan.anatomy.care import cautions
from hidescan.basics.units import format_area, format_length, format_thickness
from hidescan.basics.vocabulary import MARKS
from hidescan.shelf.finding import Row
from hidescan.shelf.hides import Hide


def table_lines(rows: Sequence[Row], units: str) -> list[str]:
    """A list of hides as a table."""
    if not rows:
        return ["no hide"]
    cells = [("hide", "species", "tannage", "net area", "usable, left", "length x width", "price", "")]
    for row in rows:
        extra = [*row.notes, *([] if row.delta_e is None else [f"shade {row.delta_e:.1f} away"])]
        cells.append(
            (
                row.label,
                row.species or "-",
                row.tannage or "-",
                _area(row.area_net_mm2, units),
                _area(row.area_left_mm2, units),
                "-"
                if row.length_mm is None or row.width_mm is None
                else f"{format_length(row.length_mm, units)} x {format_length(row.width_mm, units)}",
                _price(row.price, row.currency),
                "; ".join(extra),
            )
        )
    line = "  ".join(f"{{:{max(map(len, column))}}}" for column in zip(*cells, strict=True))
    return [line.format(*row).rstrip() for row in cells]


def hide_lines(hide: Hide, units: str) -> list[str]:
    """Everything about a hide, and what to mind with it."""
    facts = hide.facts
    rows = [
        ("offcut of", hide.offcut_of),
        ("species", facts.species),
        ("tannage", facts.tannage),
        ("state", facts.state),
        ("thickness", None if facts.thickness_mm is None else format_thickness(facts.thickness_mm, units)),
        ("taken", " ".join(part for part in (facts.taken_on, facts.taken_where, facts.taken_by) if part)),
        ("licence", facts.licence),
        ("from", facts.received_from),
        ("seller", facts.seller),
        ("price", None if facts.price is None else _price(facts.price, facts.currency)),
        ("bought", facts.bought_on),
        ("notes", facts.notes),
        ("shade", None if hide.shade is None else "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*hide.shade)),
    ]
    lines = [f"{hide.label}{'' if hide.form is None else f': {hide.form}'}"]
    lines += [f"  {name:<10}{value}" for name, value in rows if value]
    if hide.area_net_mm2 is not None and hide.area_usable_mm2 is not None:
        expanded = hide.area_net_expanded_mm2
        sure = "" if expanded is None else f" ± {100 * expanded / hide.area_net_mm2:.1f} %"
        net, usable = (format_area(area, units) for area in (hide.area_net_mm2, hide.area_usable_mm2))
        lines.append(f"  area      net {net}{sure}, usable {usable}")
    for zone in hide.zones:
        thickness = format_thickness(zone.thickness_mm, units)
        lines.append(f"  {zone.name:<10}{format_area(zone.area_mm2, units)}, {thickness} ({zone.source})")
    if hide.marks:
        lines.append("  marks     " + ", ".join(_counted(kind, count) for kind, count in hide.marks))
    for kept in hide.maps:
        stage = "" if kept.stretching is None else f", {kept.stretching} stretching"
        lines.append(
            f"  map       {kept.photo_file}, revision {kept.revision}, {format_area(kept.area_net_mm2, units)}{stage},"
            f" added {kept.added_at[:10]}"
        )
    for c in hide.cuts:
        shown = "" if c.deducted or hide.area_left_mm2 is None else "; the newest photo shows the hide without it"
        lines.append(f"  cut       {c.cut_on}: {c.count} x {c.what}, {format_area(c.area_mm2, units)}{shown}")
    if hide.offcuts:
        lines.append(f"  offcuts   {', '.join(hide.offcuts)}: hides of their own, no longer part of this one")
    lines.append(f"  left      {left_line(hide, units).removeprefix(f'{hide.label}: ')}")
    return lines + [f"  ! {line}" for line in cautions(facts.tannage, facts.state)]


def left_line(hide: Hide, units: str) -> str:
    """What is left of a hide."""
    if hide.area_left_mm2 is None:
        return f"{hide.label}: not mapped, so what is left is not known"
    return f"{hide.label}: {format_area(hide.area_left_mm2, units)} usable left"


def _counted(kind: str, count: int) -> str:
    mark = MARKS[kind]
    return f"{count} {mark.shown if count == 1 else mark.plural}"


def _area(area: float | None, units: str) -> str:
    return "-" if area is None else format_area(area, units)


def _price(amount: Decimal | None, currency: str | None) -> str:
    return "-" if amount is None else f"{amount:.2f}{'' if currency is None else f' {currency}'}"

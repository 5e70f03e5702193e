"""A placing as text and as a table, with tape distances to take to the leather."""

from hidescan.basics.tables import csv_bytes
from hidescan.placing.file import Placing

_HEAD = (
    "id", "hide", "zone", "x_mm", "y_mm", "angle_deg", "mirrored", "area_cm2", "least_thickness_mm", "thickness_u_mm",
    "rim_mm", "nearest_mark", "mark_mm", "end1_from_tail_mm", "end1_from_neck_mm", "end2_from_tail_mm",
    "end2_from_neck_mm", "mate_apart_mm", "kept",
)  # fmt: skip


def table_csv(placing: Placing) -> bytes:
    """One row a piece (RFC 4180). `end1` is the end of the piece that its grain line points to, `end2` the other."""
    rows: list[tuple[str, ...]] = [_HEAD]
    for p in placing.placed:
        tape = ("", "", "", "") if p.tape_mm is None else tuple(f"{d:.0f}" for pair in p.tape_mm for d in pair)
        mark = ("", "") if p.nearest_mark is None else (p.nearest_mark.id, f"{p.nearest_mark.distance_mm:.1f}")
        rows.append(
            (
                p.id, p.hide, p.zone, f"{p.at_mm[0]:.1f}", f"{p.at_mm[1]:.1f}", f"{p.angle_deg:.1f}",
                "yes" if p.mirrored else "no", f"{p.area_mm2 / 100:.1f}", f"{p.least_thickness_mm:.2f}",
                f"{p.thickness_u_mm:.2f}", f"{p.rim_mm:.1f}", *mark, *tape,
                "" if p.mate_apart_mm is None else f"{p.mate_apart_mm:.1f}", "yes" if p.kept else "no",
            )
        )  # fmt: skip
    return csv_bytes(rows)


def summary(placing: Placing) -> list[str]:
    """What came of it, in lines."""
    lines = []
    for hide in placing.hides:
        count = sum(p.hide == hide.name for p in placing.placed)
        lines.append(
            f"{hide.name}: {count} pieces, {hide.used_mm2 / 1e4:.1f} of {hide.usable_mm2 / 1e4:.1f} dm² usable,"
            f" yield {100 * hide.used_share:.1f} %"
        )
    for kind in placing.pieces:
        more = f", {kind.asked} asked for" if kind.placed != kind.asked else ""
        lines.append(f"  {kind.id}: {kind.placed} placed{more}")
    head = f"  {'piece':<18}{'angle':>7}{'thinnest':>10}{'mark':>8}   from tail/neck: one end, the other (mm)"
    lines.append(head)
    for p in placing.placed:
        mark = "none" if p.nearest_mark is None else f"{p.nearest_mark.distance_mm:.0f} mm"
        tape = "" if p.tape_mm is None else ", ".join(f"{a:.0f}/{b:.0f}" for a, b in p.tape_mm)
        lines.append(f"  {p.id:<18}{p.angle_deg:>6.1f}°{p.least_thickness_mm:>7.1f} mm{mark:>8}   {tape}")
    lines += [f"  {m.id}: not placed: {m.reason}" for m in placing.missed]
    lines += [f"  note: {warning}" for warning in placing.warnings]
    return lines

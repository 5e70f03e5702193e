"""One page that sets hides side by side, all at one scale."""

from collections.abc import Sequence
from io import BytesIO

from hidescan.basics.errors import BadInput
from hidescan.basics.units import format_area, format_length, format_quarter_foot, format_thickness
from hidescan.exports.layers import layers
from hidescan.exports.pdf.canvas import new_canvas
from hidescan.figures.summary import area_with_u
from hidescan.hide_map.model import HideMap
from hidescan.record.typesetting import NOT_AN_INSTRUMENT, PAPERS_MM, SOFT, draw_hide, fitted, new_page, scale_bar

MARGIN_MM = 14.0
MOST_HIDES = 5  # more columns cannot be read on one page
_LABELS_MM, _PICTURE_MM = 26.0, 90.0


def to_bytes(maps: Sequence[tuple[str, HideMap]], *, units: str = "ft", paper: str = "a4") -> bytes:
    """Two or more hides compared: drawn at one scale, with their figures below.

    Parameters
    ----------
    maps
        Names and maps, left to right.

    Raises
    ------
    BadInput
        More hides than fit on a page.
    """
    if len(maps) > MOST_HIDES:
        raise BadInput(f"sheet: {len(maps)} hides do not fit on one page; compare up to {MOST_HIDES} at a time.")
    size = PAPERS_MM[paper]
    buffer = BytesIO()
    canvas = new_canvas(buffer, size, "Hides compared: " + ", ".join(name for name, _ in maps))
    page = new_page(canvas, size)
    page.text(MARGIN_MM, MARGIN_MM + 5.0, "Hides compared", 6.0, bold=True)
    page.rule(MARGIN_MM, page.width - MARGIN_MM, MARGIN_MM + 9.0)
    left = MARGIN_MM + _LABELS_MM
    width = (page.width - MARGIN_MM - left) / len(maps)
    drawn = [layers(hide_map) for _, hide_map in maps]
    top = MARGIN_MM + 14.0
    scale = min(fitted(d, 0.0, 0.0, width - 4.0, _PICTURE_MM).scale for d in drawn)
    for n, d in enumerate(drawn):
        small = fitted(d, left + n * width, top, width - 4.0, _PICTURE_MM, scale)
        draw_hide(page, d, small, ("back-line", "marks", "holes", "outline"), filled=True)
    scale_bar(page, small, MARGIN_MM, top + _PICTURE_MM, units)
    y = top + _PICTURE_MM + 10.0
    columns = [_rows(name, hide_map, units) for name, hide_map in maps]
    for row, label in enumerate(columns[0]):
        page.text(MARGIN_MM, y, label, 2.9, grey=SOFT)
        ends = [
            page.wrapped(left + n * width, y, rows[label], width - 3.0, size=2.9, most=3)
            for n, rows in enumerate(columns)
        ]
        y = max(*ends, y + 4.0) + 1.5
        if row == 0:
            page.rule(MARGIN_MM, page.width - MARGIN_MM, y - 4.0)
    y = page.wrapped(MARGIN_MM, y + 3.0, _apart(maps, units), page.width - 2 * MARGIN_MM, size=2.9)
    page.wrapped(
        MARGIN_MM,
        y + 1.0,
        "± is for 95 % (k = 2). All hides are drawn at the same scale. A hide gains or loses up to a quarter with"
        " moisture and stretch: compare only in the same state.",
        page.width - 2 * MARGIN_MM,
        size=2.6,
        grey=SOFT,
    )
    page.text(MARGIN_MM, page.height - MARGIN_MM, NOT_AN_INSTRUMENT, 2.9, bold=True)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _rows(name: str, hide_map: HideMap, units: str) -> dict[str, str]:
    m, given = hide_map.measures, hide_map.inputs
    trade = {"": area_with_u(m.area_net, "metric"), "Quarter foot": format_quarter_foot(m.area_net.value)}
    kept = [mark for mark in hide_map.marks if mark.status != "rejected"]
    zones = [zone.thickness_mm for zone in hide_map.zones]
    return {
        "Hide": name,
        "Area": area_with_u(m.area_net, units),
        **(trade if units == "ft" else {}),
        "Usable": area_with_u(m.area_usable, units),
        "Share usable": f"{100 * m.area_usable.value / m.area_net.value:.1f} %",
        "Length": format_length(m.length.value, units),
        "Width": format_length(m.width.value, units),
        "Thickness": f"{format_thickness(min(zones), units)} to {format_thickness(max(zones), units)}"
        if zones
        else "-",
        "Marks": str(len(kept)),
        "Form": hide_map.form.name,
        "Species": given.species or "not stated",
        "Tannage": given.tannage or "not stated",
        "State": given.state or "not stated",
        "To look at": str(len(hide_map.warnings) or "nothing"),
        "Photo": hide_map.photo.file,
    }


def _apart(maps: Sequence[tuple[str, HideMap]], units: str) -> str:
    """Largest against smallest, and whether their difference is more than the two ± together."""
    ordered = sorted(maps, key=lambda item: item[1].measures.area_net.value)
    (small_name, small), (large_name, large) = ordered[0], ordered[-1]
    a, b = small.measures.area_net, large.measures.area_net
    apart = b.value - a.value
    text = f"Largest against smallest: {large_name} has {format_area(apart, units)} more than {small_name}"
    if a.expanded_uncertainty is None or b.expanded_uncertainty is None:
        return text + "; without both ± nothing more can be said."
    # Independent photos: the uncertainties add as squares (JCGM 100, 5.1.2).
    both = float((a.expanded_uncertainty**2 + b.expanded_uncertainty**2) ** 0.5)
    size = "more than" if apart > both else "no more than"
    return f"{text}, {size} the two ± together ({format_area(both, units)})."

"""The one-page record of a hide: all that a seller, a buyer or a file needs on one sheet."""

import hashlib
import json
from dataclasses import dataclass
from io import BytesIO

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.units import format_area, format_length, format_quarter_foot, format_thickness
from hidescan.basics.vocabulary import FACES
from hidescan.exports.layers import Layers, layers
from hidescan.exports.pdf.canvas import new_canvas
from hidescan.exports.rectified import raster_of, rectified
from hidescan.figures.clear import clear_leather, largest_circle, largest_rectangle
from hidescan.figures.marked_area import MarkedArea, compared
from hidescan.figures.summary import area_with_u
from hidescan.figures.usable import rule_in_words
from hidescan.hide_map.facts import HideFacts, facts_of
from hidescan.hide_map.model import HideMap, MarkEntry
from hidescan.marks.placement import number_of
from hidescan.pictures.crops import mark_crop
from hidescan.pictures.numbered_marks import Spot, place_numbers
from hidescan.record.typesetting import (
    NOT_AN_INSTRUMENT,
    PAPERS_MM,
    SOFT,
    SOURCES_SHOWN,
    Page,
    Small,
    draw_hide,
    fitted,
    new_page,
    scale_bar,
    without_commands,
)
from hidescan.settings import Settings

MARGIN_MM = 14.0
_TOP_MM = MARGIN_MM + 19.0
_PICTURE_MM = (108.0, 126.0)
_PX_PER_PAGE_MM = 7.0  # about 180 dots an inch on paper
_FOOT_MM = 15.0
_CROP_MM, _CROP_PX, _MOST_MARKS = 13.0, 200, 8
# Discs of the numbers; and how finely places for them are sought, steps a mm.
_DISC_MM, _PLACE_PX = 2.0, 8.0
# Facts that have their place elsewhere on the page; any other has a line of its own.
_PLACED = ("thickness_mm", "species", "tannage", "form", "face")


@dataclass(frozen=True, slots=True)
class Deal:
    """What a person adds that the map does not hold; left out of a sheet that is made for a buyer."""

    seller: str = ""
    price: str = ""
    licence: str = ""
    place: str = ""


def to_bytes(
    hide_map: HideMap,
    *,
    name: str,
    units: str = "ft",
    paper: str = "a4",
    rgb: NDArray[np.uint8] | None = None,
    marked: MarkedArea | None = None,
    deal: Deal | None = None,
) -> bytes:
    """The record as PDF; the same input gives the same bytes.

    Parameters
    ----------
    units
        "ft" or "metric": which figures come first.
    rgb
        The map's photo, upright; without it the hide is drawn from its lines, and a line on the sheet states it.
    marked
        What the seller wrote on the hide.
    deal
        Seller, price, licence, place; None leaves them out.
    """
    size, drawn = PAPERS_MM[paper], layers(hide_map)
    buffer = BytesIO()
    canvas = new_canvas(buffer, size, f"{name}: record of a hide")
    page = new_page(canvas, size)
    numbered = _numbered(hide_map)
    _head(page, hide_map, name)
    _picture(page, hide_map, drawn, rgb, numbered, units)
    _figures(page, hide_map, units, marked, deal)
    below = _TOP_MM + _PICTURE_MM[1] + 13.0
    _marks(page, hide_map, rgb, numbered, units, below)
    _budget(page, hide_map, below)
    _foot(page, hide_map)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _numbered(hide_map: HideMap) -> list[tuple[int, MarkEntry]]:
    """Marks not rejected, largest first, each with the number of its id."""
    kept = [mark for mark in hide_map.marks if mark.status != "rejected"]
    return [(number_of(mark), mark) for mark in sorted(kept, key=lambda mark: -mark.area_mm2)]


def _head(page: Page, hide_map: HideMap, name: str) -> None:
    y = MARGIN_MM + 5.0
    page.text(MARGIN_MM, y, name, 6.0, bold=True)
    page.right(page.width - MARGIN_MM, y, "Record of a hide", 3.4, grey=SOFT)
    words = [hide_map.inputs.species or "", hide_map.form.name + (" hide" if hide_map.form.name == "whole" else "")]
    face = FACES[hide_map.inputs.face]
    words += ["face not stated" if face.name == "unknown" else f"{face.shown} side up"]
    words += [hide_map.inputs.tannage or "tannage not stated"]
    page.text(MARGIN_MM, y + 6.0, ", ".join(word for word in words if word), 3.4, grey=SOFT)
    page.rule(MARGIN_MM, page.width - MARGIN_MM, y + 8.5)


def _picture(
    page: Page,
    hide_map: HideMap,
    drawn: Layers,
    rgb: NDArray[np.uint8] | None,
    numbered: list[tuple[int, MarkEntry]],
    units: str,
) -> None:
    small = fitted(drawn, MARGIN_MM, _TOP_MM, *_PICTURE_MM)
    if rgb is not None:
        _paste(page, hide_map, small, rgb)
    draw_hide(page, drawn, small, ("back-line", "marks", "holes", "outline"), filled=rgb is None)
    if hide_map.back_line.source != "none":
        x, y = small.at((hide_map.back_line.neck_mm[0], drawn.net_mm.bounds[3]))
        page.centred(x, y - 1.2, "neck", 2.8, bold=True)
    rings = [_PLACE_PX * np.array([small.at(p) for p in mark.hide_mm.coordinates[0]]) for _, mark in numbered]
    area = (round(_PLACE_PX * (MARGIN_MM + _PICTURE_MM[0])), round(_PLACE_PX * (_TOP_MM + _PICTURE_MM[1])))
    spots = place_numbers(rings, _MOST_MARKS, area, _PLACE_PX * _DISC_MM)
    for (number, _), spot in zip(numbered, spots, strict=False):
        _number(page, spot, number)
    y = _TOP_MM + _PICTURE_MM[1] + 4.0
    scale_bar(page, small, MARGIN_MM, y, units)
    note = "dashed: back line" if rgb is not None else "drawn without the photo"
    page.right(MARGIN_MM + _PICTURE_MM[0], y + 1.0, f"{drawn.seen_from}; {note}", 2.6, grey=SOFT)


def _paste(page: Page, hide_map: HideMap, small: Small, rgb: NDArray[np.uint8]) -> None:
    """The rectified hide on white, at the picture's scale."""
    raster = raster_of(hide_map, px_per_m=max(1, round(1000 * _PX_PER_PAGE_MM * small.scale)))
    picture = rectified(rgb, hide_map, raster)
    share = picture[..., 3:].astype(np.float32) / 255.0
    flat = np.rint(picture[..., :3] * share + 255.0 * (1.0 - share)).astype(np.uint8)
    half = raster.mm_per_px / 2
    left, top = small.at((raster.left_mm - half, raster.top_mm + half))
    across, down = (n * raster.mm_per_px * small.scale for n in (raster.width_px, raster.height_px))
    page.picture(left, top, across, down, flat)


def _number(page: Page, spot: Spot, number: int) -> None:
    (x, y), foot = ((px / _PLACE_PX, py / _PLACE_PX) for px, py in (spot.at, spot.foot))
    page.canvas.setFillGray(1.0)
    page.canvas.setStrokeGray(0.1)
    page.canvas.setLineWidth(0.25)
    page.canvas.line(x, page.height - y, foot[0], page.height - foot[1])
    page.canvas.circle(x, page.height - y, _DISC_MM, stroke=1, fill=1)
    page.centred(x, y + 1.0, str(number), 2.8, bold=True)


def _figures(page: Page, hide_map: HideMap, units: str, marked: MarkedArea | None, deal: Deal | None) -> None:
    m = hide_map.measures
    x, end = MARGIN_MM + _PICTURE_MM[0] + 8.0, page.width - MARGIN_MM
    y = MARGIN_MM + 20.0
    page.text(x, y, "Area (leather, holes taken off)", 3.1, grey=SOFT)
    page.text(x, y + 8.0, area_with_u(m.area_net, units), 6.4, bold=True)
    if units == "ft":
        page.text(x, y + 13.5, area_with_u(m.area_net, "metric"), 3.6)
        page.text(x, y + 18.5, f"{format_quarter_foot(m.area_net.value)} by the quarter foot", 3.6)
    page.text(x, y + 23.0, f"± is for 95 % (coverage factor k = {m.area_net.coverage_factor:g})", 2.8, grey=SOFT)
    y += 29.0
    if marked is not None:
        page.text(x, y, f"Marked on the hide: {marked.words} = {format_area(marked.area_mm2, units)}", 3.1, bold=True)
        y = page.wrapped(x, y + 4.5, compared(marked, m.area_net, units), end - x, grey=SOFT) + 2.0
    rule = hide_map.program.settings.get("usable", {})
    rows = [
        ("Usable", area_with_u(m.area_usable, units)),
        ("With holes", area_with_u(m.area_gross, units)),
        ("Length", _length(m.length.value, m.length.expanded_uncertainty, units)),
        ("Width", _length(m.width.value, m.width.expanded_uncertainty, units)),
        ("Round the rim", format_length(m.perimeter.value, units)),
        ("Clear pieces", _clear_pieces(hide_map, units)),
        ("Thickness", _thickness(hide_map, units)),
        *(
            (fact.label, str(getattr(hide_map.inputs, name) or "not stated"))
            for name, fact in facts_of(HideFacts).items()
            if name not in _PLACED
        ),
        *((label, value) for label, value in _deal_rows(deal) if value),
    ]
    for label, value in rows:
        page.text(x, y, label, 3.1, grey=SOFT)
        y = max(page.wrapped(x + 24.0, y, value, end - x - 24.0, most=2), y + 4.6)
    y = page.wrapped(x, y + 1.0, f"Usable: {rule_in_words(rule)}.", end - x, size=2.6, grey=SOFT)
    words = "A hide gains or loses up to a quarter with moisture and stretch: compare only in the same state."
    page.wrapped(x, y + 1.0, words, end - x, size=2.6, grey=SOFT)


def _clear_pieces(hide_map: HideMap, units: str) -> str:
    """The largest clear rectangle along the back line, and the largest clear circle."""
    settings = Settings()
    clear = clear_leather(hide_map, settings.usable)
    rectangle, circle = largest_rectangle(clear, settings.clear), largest_circle(clear, settings.clear)
    if rectangle is None or circle is None:
        return "none"
    length, width = (format_length(side, units) for side in (rectangle.length_mm, rectangle.width_mm))
    return f"{length} along the back x {width}; circle {format_length(circle.diameter_mm, units)}"


def _deal_rows(deal: Deal | None) -> tuple[tuple[str, str], ...]:
    if deal is None:
        return ()
    return ("Seller", deal.seller), ("Price", deal.price), ("Licence", deal.licence), ("Place", deal.place)


def _length(value_mm: float, expanded_mm: float | None, units: str) -> str:
    words = format_length(value_mm, units)
    return words if expanded_mm is None else f"{words} ± {format_length(expanded_mm, units)}"


def _thickness(hide_map: HideMap, units: str) -> str:
    found = [zone.thickness_mm for zone in hide_map.zones]
    if not found:
        return "not stated"
    low, high = format_thickness(min(found), units), format_thickness(max(found), units)
    return f"{low if low == high else f'{low} to {high}'} ({hide_map.thickness_source or 'by zone'})"


def _marks(
    page: Page,
    hide_map: HideMap,
    rgb: NDArray[np.uint8] | None,
    numbered: list[tuple[int, MarkEntry]],
    units: str,
    y: float,
) -> None:
    x, end = MARGIN_MM, MARGIN_MM + _PICTURE_MM[0]
    y = page.heading(x, end, y, "Marks" if numbered else "Marks: none found")
    for place, (number, mark) in enumerate(numbered[:_MOST_MARKS]):
        column, row = divmod(place, _MOST_MARKS // 2)
        left, top = x + column * (_PICTURE_MM[0] / 2 + 1.0), y - 3.5 + row * (_CROP_MM + 2.0)
        if rgb is not None:
            page.picture(left, top, _CROP_MM, _CROP_MM, mark_crop(rgb, hide_map, mark, _CROP_PX))
        text = left + (_CROP_MM + 2.0 if rgb is not None else 0.0)
        page.text(text, top + 3.2, f"{number}  {mark.kind}", 3.1, bold=True)
        size = f"{format_length(mark.length_mm, units)} x {format_length(mark.width_mm, units)}"
        page.text(text, top + 7.2, size, 2.8)
        sure = f", sure to {min(99.0, 100 * mark.confidence):.0f} %" if mark.status == "found" else ""
        where = f"{mark.zone or 'no zone'}; {mark.status}{sure}"
        page.text(text, top + 11.0, where, 2.6, grey=SOFT)
    if len(numbered) > _MOST_MARKS:
        words = f"and {len(numbered) - _MOST_MARKS} smaller marks, listed in the map file"
        page.text(x, y - 1.5 + (_MOST_MARKS // 2) * (_CROP_MM + 2.0), words, 2.6, grey=SOFT)


def _budget(page: Page, hide_map: HideMap, y: float) -> None:
    x, end = MARGIN_MM + _PICTURE_MM[0] + 8.0, page.width - MARGIN_MM
    y = page.heading(x, end, y, "What the ± is made of")
    for row in sorted(hide_map.budget, key=lambda row: -row.area_percent):
        page.text(x, y, SOURCES_SHOWN.get(row.source, row.source), 2.9)
        page.right(end, y, f"{2 * row.area_percent:.2f} %", 2.9)
        y += 4.2
    area = hide_map.measures.area_net
    if area.expanded_uncertainty is not None:
        page.rule(x, end, y - 2.6)
        page.text(x, y + 1.0, "together", 2.9, bold=True)
        page.right(end, y + 1.0, f"{100 * area.expanded_uncertainty / area.value:.2f} %", 2.9, bold=True)
        y += 6.0
    page.text(x, y, "of the area, for 95 % (k = 2)", 2.6, grey=SOFT)
    y += 6.0
    last = page.height - MARGIN_MM - _FOOT_MM - 8.0
    for n, warning in enumerate(hide_map.warnings):
        if y > last - 7.0 and n < len(hide_map.warnings) - 1:
            page.text(x, y, f"! and {len(hide_map.warnings) - n} more warnings in the map file", 2.6)
            break
        y = page.wrapped(x, y, f"! {without_commands(warning.message)}", end - x, size=2.6, most=3) + 0.8


def _foot(page: Page, hide_map: HideMap) -> None:
    p, c = hide_map.photo, hide_map.camera
    y = page.height - MARGIN_MM - _FOOT_MM
    page.rule(MARGIN_MM, page.width - MARGIN_MM, y - 4.0)
    page.text(MARGIN_MM, y, NOT_AN_INSTRUMENT, 2.9, bold=True)
    saved = json.dumps(hide_map.program.settings, sort_keys=True, separators=(",", ":"))
    cards = ", ".join(str(card.number) for card in hide_map.cards)
    lines = (
        f"Photo {p.file}, taken {_day(p.taken)}, {p.width_px} x {p.height_px} px; camera tilted {c.tilt_deg:.0f}°,"
        f" cards {cards}",
        f"Fingerprint of the photo {p.sha256}",
        f"hidescan {hide_map.program.version}, kept {hide_map.revision}, settings"
        f" {hashlib.sha256(saved.encode()).hexdigest()[:16]}; every setting is in the map file",
    )
    for n, line in enumerate(lines):
        page.text(MARGIN_MM, y + 4.6 + 4.0 * n, line, 2.6, grey=SOFT)


def _day(taken: str | None) -> str:
    """EXIF writes 2026:05:05 10:20:30."""
    return "at an unknown time" if taken is None else taken[:10].replace(":", "-") + taken[10:16]

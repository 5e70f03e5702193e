import ctypes
import io
from dataclasses import replace

import cv2
import numpy as np
import pypdfium2
import pypdfium2.raw as pdfium
import pytest
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import Point, Polygon, box
from shapely.ops import unary_union

from hidescan.basics.errors import BadInput
from hidescan.exports.layers import layers
from hidescan.exports.pdf import full_size as pdf_full
from hidescan.exports.pdf import tiles as pdf_tiles
from hidescan.hide_map.model import HideMap, PolygonGeometry
from tests.exported import check_rings, invented_map, net_polygon, old_map
from tests.samples import rectangle_map

MM_PER_POINT = 25.4 / 72
PX_PER_MM = 10


def raster(data: bytes, page: int, px_per_mm: float = PX_PER_MM) -> NDArray[np.float64]:
    """A page in grey, rendered by PDFium, 0 black to 255 white."""
    document = pypdfium2.PdfDocument(data)
    rendered = document[page].render(scale=px_per_mm * MM_PER_POINT, grayscale=True).to_numpy()
    return np.asarray(rendered, dtype=np.float64).reshape(rendered.shape[:2])


def rings(data: bytes, red: int) -> list[list[tuple[float, float]]]:
    """Closed paths of a one-page PDF whose pen has that much red and nothing else, in page mm, by PDFium's parser."""
    document = pypdfium2.PdfDocument(data)
    found = []
    for item in document[0].get_objects(filter=[pdfium.FPDF_PAGEOBJ_PATH]):
        colour = [ctypes.c_uint() for _ in range(4)]
        pdfium.FPDFPageObj_GetStrokeColor(item, *colour)
        matrix, points, closed = item.get_matrix(), [], False
        for n in range(pdfium.FPDFPath_CountSegments(item)):
            segment = pdfium.FPDFPath_GetPathSegment(item, n)
            x, y = ctypes.c_float(), ctypes.c_float()
            pdfium.FPDFPathSegment_GetPoint(segment, x, y)
            points.append(matrix.on_point(x.value, y.value))
            closed |= bool(pdfium.FPDFPathSegment_GetClose(segment))
        if closed and [c.value for c in colour[:3]] == [red, 0, 0]:
            found.append([(px * MM_PER_POINT, py * MM_PER_POINT) for px, py in points])
    return found


def bar_length_mm(page: NDArray[np.float64], x_mm: float, y_mm: float) -> float:
    """Distance between the middles of the bar's end ticks, from a raster alone: darkness above the 10 mm ticks."""
    height = page.shape[0] / PX_PER_MM
    rows = slice(round((height - y_mm - 3.8) * PX_PER_MM), round((height - y_mm - 2.0) * PX_PER_MM))
    across = 255.0 - page[rows, : round((x_mm + 103) * PX_PER_MM)].min(axis=0)
    across[round((x_mm + 5) * PX_PER_MM) : round((x_mm + 95) * PX_PER_MM)] = 0  # words
    ends = []
    for at in (x_mm, x_mm + 100.0):
        span = np.arange(round((at - 2) * PX_PER_MM), round((at + 2) * PX_PER_MM))
        ends.append(float(np.sum(span * across[span]) / np.sum(across[span])))
    return (ends[1] - ends[0]) / PX_PER_MM


@pytest.mark.parametrize("mirror", [False, True], ids=["as photographed", "mirrored"])
@pytest.mark.parametrize(
    "hide_map", [rectangle_map(), old_map(), invented_map(3)], ids=["rectangle", "old map", "whole"]
)
def test_one_page_gives_back_the_hide(hide_map: HideMap, mirror: bool) -> None:
    data = pdf_full.to_bytes(hide_map, name="a hide", mirror=mirror)
    truth = net_polygon(hide_map, mirror=mirror)
    (outer,), holes = rings(data, 0), rings(data, 191)  # black outline, red holes
    x0, y0, *_ = truth.bounds
    moved = affinity.translate(truth, pdf_full.MARGIN_MM - x0, pdf_full.MARGIN_MM + pdf_full.FOOT_MM - y0)
    read = Polygon(outer, holes)
    check_rings(read, moved)
    assert read.area == pytest.approx(hide_map.measures.area_net.value, rel=5e-4)


def test_the_page_is_as_large_as_the_hide_and_its_bar_is_100_mm() -> None:
    data = pdf_full.to_bytes(rectangle_map(), name="a hide")
    page = pypdfium2.PdfDocument(data)[0]
    assert page.get_width() * MM_PER_POINT == pytest.approx(620.0, abs=0.01)
    assert page.get_height() * MM_PER_POINT == pytest.approx(1036.0, abs=0.01)
    assert bar_length_mm(raster(data, 0), pdf_full.MARGIN_MM, pdf_full.MARGIN_MM) == pytest.approx(100.0, abs=0.1)


def test_a_hide_longer_than_a_page_can_be_is_refused_with_advice() -> None:
    ring = tuple((9.0 * x, 9.0 * y) for x, y in rectangle_map().outline.hide_mm.coordinates[0])
    long = rectangle_map(outline=replace(rectangle_map().outline, hide_mm=PolygonGeometry((ring,))))
    with pytest.raises(BadInput, match="--paper"):
        pdf_full.to_bytes(long, name="x")


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_every_tile_has_its_paper_and_a_true_bar(paper: str, size_mm: tuple[float, float]) -> None:
    # ISO 216 (A4) and ANSI/ASME Y14.1 (size A).
    data = pdf_tiles.to_bytes(old_map(), name="a hide", paper=paper)
    document = pypdfium2.PdfDocument(data)
    for page in document:
        assert (page.get_width() * MM_PER_POINT, page.get_height() * MM_PER_POINT) == pytest.approx(size_mm, abs=0.01)
    for number in (0, 1, len(document) - 1):
        image = raster(data, number)
        assert bar_length_mm(image, pdf_tiles.MARGIN_MM, pdf_tiles.MARGIN_MM + 2.0) == pytest.approx(100.0, abs=0.1)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_tiles_overlap_to_a_tenth_of_a_millimetre(paper: str) -> None:
    hide_map = old_map()
    data = pdf_tiles.to_bytes(hide_map, name="a hide", paper=paper)
    grid = pdf_tiles.grid_over(layers(hide_map), paper)
    text = [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(data)]
    at = {label: next(n for n, words in enumerate(text) if f"sheet {label}," in words) for label in ("C2", "C3", "D2")}
    (w, h), o = grid.window, pdf_tiles.OVERLAP_MM
    pages = {label: window(raster(data, n), w, h) for label, n in at.items()}
    right, left = pages["C2"][:, -mm(o - 1) : -mm(1)], pages["C3"][:, mm(1) : mm(o - 1)]
    below, above = pages["C2"][-mm(o - 1) : -mm(1)], pages["D2"][mm(1) : mm(o - 1)]
    for a, b in ((right, left), (below, above)):
        a, b = (
            np.ascontiguousarray(part[: min(a.shape[0], b.shape[0]), : min(a.shape[1], b.shape[1])]) for part in (a, b)
        )
        assert a.min() < 100  # something is drawn there
        shift, response = cv2.phaseCorrelate(255.0 - a, 255.0 - b)
        assert response > 0.3
        assert np.hypot(shift[0], shift[1]) / PX_PER_MM < 0.1


def mm(length: float) -> int:
    return round(length * PX_PER_MM)


def window(page: NDArray[np.float64], w: float, h: float) -> NDArray[np.float64]:
    """The tile's window out of its sheet."""
    top = page.shape[0] - mm(pdf_tiles.MARGIN_MM + pdf_tiles.FOOT_MM + h)
    return page[top : top + mm(h), mm(pdf_tiles.MARGIN_MM) : mm(pdf_tiles.MARGIN_MM + w)]


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("seed", [1, 5, 9])
def test_the_sheets_printed_hold_all_of_the_hide(paper: str, seed: int) -> None:
    hide_map = invented_map(seed)
    drawn = layers(hide_map)
    grid = pdf_tiles.grid_over(drawn, paper)
    words = "".join(
        p.get_textpage().get_text_range()
        for p in pypdfium2.PdfDocument(pdf_tiles.to_bytes(hide_map, name="x", paper=paper))
    )
    printed = [
        box(x, y, x + grid.window[0], y + grid.window[1])
        for row in range(grid.rows)
        for column in range(grid.columns)
        if f"sheet {chr(65 + row)}{column + 1}," in words
        for x, y in [grid.corner(row, column)]
    ]
    assert unary_union(printed).buffer(-pdf_tiles.OVERLAP_MM / 2 + 0.01).contains(drawn.net_mm)


def test_every_match_mark_stands_on_two_sheets() -> None:
    grid = pdf_tiles.grid_over(layers(old_map()), "a4")
    w, h = grid.window
    windows = [
        box(x, y, x + w, y + h) for r in range(grid.rows) for c in range(grid.columns) for x, y in [grid.corner(r, c)]
    ]
    for x, y, _ in grid.crosses():
        assert sum(tile.contains(Point(x, y).buffer(2.5)) for tile in windows) == 2


def test_the_same_map_gives_the_same_bytes_and_the_sheet_says_which_face_it_shows() -> None:
    hide_map = rectangle_map(inputs=replace(rectangle_map().inputs, face="grain"))
    for make in (
        lambda mirror: pdf_full.to_bytes(hide_map, name="x", mirror=mirror),
        lambda mirror: pdf_tiles.to_bytes(hide_map, name="x", paper="a4", mirror=mirror),
    ):
        assert make(False) == make(False) != make(True)
        document = pypdfium2.PdfDocument(io.BytesIO(make(True)))
        assert all("seen from the flesh side" in page.get_textpage().get_text_range() for page in document)


def test_rows_beyond_z_are_named_as_in_a_table() -> None:
    assert [pdf_tiles.label(row, 0) for row in (0, 25, 26, 51, 52)] == ["A1", "Z1", "AA1", "AZ1", "BA1"]

"""Pieces from SVG and DXF: true scale whatever the unit and transform, rules checked."""

import io
import math

import numpy as np
import pytest
from ezdxf import units
from ezdxf.filemanagement import new
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Polygon

from hidescan.basics.errors import BadInput
from hidescan.pieces.file import Piece, PieceRules, pieces_from
from hidescan.settings.uses import PieceSettings

SETTINGS = PieceSettings()


def svg(body: str, size: str = 'width="200mm" height="100mm" viewBox="0 0 200 100"') -> bytes:
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{body}</svg>'.encode()


def read(drawing: bytes, rules: str | None = None, name: str = "uppers.svg") -> dict[str, Piece]:
    return {piece.id: piece for piece in pieces_from(drawing, name, rules, "uppers.toml", SETTINGS)}


# SVG 1.1, 7.10 and CSS Values 3, 6.2: 1 in = 25.4 mm = 96 px = 72 pt = 6 pc; the viewBox scales user units to the size.
@pytest.mark.parametrize(
    ("size", "mm_per_unit"),
    [
        ('width="200mm" height="100mm" viewBox="0 0 200 100"', 1.0),
        ('width="20cm" height="10cm" viewBox="0 0 400 200"', 0.5),
        ('width="4in" height="2in" viewBox="0 0 4 2"', 25.4),
        ('width="72pt" height="72pt" viewBox="0 0 254 254"', 0.1),
        ('width="6pc" height="6pc" viewBox="10 20 254 254"', 0.1),
        ('width="200mm" height="100mm"', 25.4 / 96),
    ],
)
def test_svg_units_are_physical(size: str, mm_per_unit: float) -> None:
    piece = read(svg('<rect id="patch" x="0.5" y="0.5" width="90" height="40"/>', size))["patch"]
    w, h = np.ptp(piece.ring_mm, axis=0)
    assert (w, h) == pytest.approx((90 * mm_per_unit, 40 * mm_per_unit), rel=1e-5)


def test_nested_transforms_and_group_ids() -> None:
    body = """<g id="all" transform="translate(20,10) rotate(30)"><g id="tongue" transform="scale(2)">
    <path d="M0,0 h20 v10 h-20 z"/></g><polygon id="tab" points="0,0 30,0 0,30"/></g>"""
    pieces = read(svg(body))
    assert set(pieces) == {"tongue", "tab"}
    assert pieces["tongue"].area_mm2 == pytest.approx(800, rel=1e-5)
    corner = pieces["tab"].ring_mm - (20, -10)  # y is up in a piece, down in SVG
    assert np.min(np.linalg.norm(corner - (30 * math.cos(-math.pi / 6), 30 * math.sin(-math.pi / 6)), axis=1)) < 1e-3


# Closed forms: a circle's area, and a cubic Bezier region's (Green's theorem over its polynomial).
def test_curves_are_followed_closely() -> None:
    body = '<circle id="disc" cx="50" cy="50" r="40"/><path id="leaf" d="M0,0 C0,60 90,60 90,0 Z"/>'
    pieces = read(svg(body))
    assert pieces["disc"].area_mm2 == pytest.approx(math.pi * 1600, rel=6e-4)
    assert pieces["leaf"].area_mm2 == pytest.approx(0.6 * 90 * 60 + 0.0, rel=1e-3)  # 3/20 |terms| = 3240


def test_grain_line_spots_and_rules() -> None:
    body = """<path id="vamp" d="M10,10 h60 v40 h-60 z"/><path id="vamp-grain" d="M40,45 L60,25 l-3,0 m3,0 l0,3"/>
    <circle id="vamp-toe" cx="60" cy="20" r="1"/><circle id="other" cx="150" cy="50" r="20"/>"""
    rules = """[pieces.vamp]
    count = 2
    pair = true
    turn_deg = "any"
    min_thickness_mm = 1.2
    thick_parts = ["toe"]
    zones = ["butt", "shoulder"]
    margin_mm = 0
    may_cover = ["stain"]
    """
    pieces = read(svg(body), rules)
    assert set(pieces) == {"vamp"}  # the rest of the drawing was not asked for
    vamp = pieces["vamp"]
    assert vamp.grain_deg == pytest.approx(45.0, abs=1e-4)
    assert vamp.spots_mm[0] == pytest.approx((60.0, -20.0), abs=1e-4)
    assert vamp.rules == PieceRules(2, True, None, 1.2, ("toe",), ("butt", "shoulder"), 0.0, ("stain",))
    assert vamp.pieces == 4
    assert read(svg(body))["other"].grain_deg == 90.0  # without a line, the drawing's +y


@pytest.mark.parametrize(
    ("body", "rules", "words"),
    [
        ('<path id="a" d="M0 0 L 10 0 L10 10"/>', "[pieces.a]", "14.1 mm apart"),
        ('<path id="a" d="M0 0 L 10 0 L10 10"/>', None, "14.1 mm apart"),
        ('<path id="a" d="M0 0 L 10 10 L10 0 L0 9 z"/>', None, "crosses itself"),
        ('<path id="a" d="M0 0 h10 v10 z M50 0 h10 v10 z"/>', None, "more than one outline"),
        ('<rect id="a" width="9" height="9"/>', "[pieces.a]\nturn = 3", "'turn_deg'"),
        ('<rect id="a" width="9" height="9"/>', "[pieces.a]\nzones = ['sholder']", "'shoulder'"),
        ('<rect id="a" width="9" height="9"/>', "[pieces.a]\nmay_cover = ['hole']", "no word 'hole'"),
        ('<rect id="a" width="9" height="9"/>', "[pieces.a]\nturn_deg = 'all'", '"any"'),
        ('<rect id="a" width="9" height="9"/>', "[pieces.a]\ncount = 0", "whole number"),
        ('<rect id="a" width="9" height="9"/>', "[piece.a]", "'pieces'"),
        ('<rect id="vamp" width="9" height="9"/>', "[pieces.vam]", "'vamp'"),
        ('<rect id="a" width="9" height="9"/>', "[pieces.a]\nthick_parts = ['toe']", "'a-toe'"),
        ('<rect id="a" width="9" height="9"/>', "[pieces.a", "not TOML"),
        ('<rect id="a" width=".9" height=".9"/>', "[pieces.a]", "unit right"),
        ('<rect width="9" height="9"/>', None, "no closed outline"),
        ("<rect", None, "not an SVG"),
    ],
)
def test_what_cannot_be_used_is_said(body: str, rules: str | None, words: str) -> None:
    with pytest.raises(BadInput, match=words) as caught:
        read(svg(body), rules)
    assert "\n" not in str(caught.value)


def test_a_drawing_without_a_unit_needs_one() -> None:
    drawing = svg('<rect id="a" width="90" height="20"/>', 'width="500" height="500" viewBox="0 0 1000 1000"')
    with pytest.raises(BadInput, match='unit = "mm"'):
        read(drawing)
    assert read(drawing, 'unit = "mm"\n[pieces.a]')["a"].area_mm2 == pytest.approx(1800, rel=1e-5)
    assert read(drawing, 'unit = "in"\n[pieces.a]')["a"].area_mm2 == pytest.approx(1800 * 25.4**2, rel=1e-5)


def dxf(unit: int) -> bytes:
    document = new("R2010", units=unit)
    space = document.modelspace()
    space.add_lwpolyline([(0, 0), (2, 0), (2, 1), (0, 1)], close=True, dxfattribs={"layer": "sole"})
    space.add_line((0, 0), (1, 0), dxfattribs={"layer": "sole-grain"})
    for start, end in (((3, 0), (4, 0)), ((4, 1), (4, 0)), ((4, 1), (3, 0))):  # loose lines, one the wrong way round
        space.add_line(start, end, dxfattribs={"layer": "wedge"})
    block = document.blocks.new("B")
    block.add_circle((0, 0), 0.5, dxfattribs={"layer": "disc"})
    space.add_blockref("B", (10, 10), dxfattribs={"xscale": 2, "yscale": 2, "zscale": 2})
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


# DXF Reference, HEADER, $INSUNITS: 1 inches, 4 millimetres, 5 centimetres.
@pytest.mark.parametrize(("unit", "mm"), [(units.IN, 25.4), (units.CM, 10.0), (units.MM, 1.0)])
def test_dxf_layers_units_and_blocks(unit: int, mm: float) -> None:
    small = "[pieces.sole]\n[pieces.wedge]\n[pieces.disc]" if mm > 1 else None
    if small is None:
        with pytest.raises(BadInput, match="unit right"):
            read(dxf(unit), "[pieces.sole]", "soles.dxf")
        return
    pieces = read(dxf(unit), small, "soles.dxf")
    assert pieces["sole"].area_mm2 == pytest.approx(2 * mm**2)
    assert pieces["sole"].grain_deg == 0.0
    assert pieces["wedge"].area_mm2 == pytest.approx(0.5 * mm**2)
    assert pieces["disc"].area_mm2 == pytest.approx(math.pi * mm**2, rel=0.01)


def test_dxf_without_a_unit_needs_one() -> None:
    with pytest.raises(BadInput, match="INSUNITS"):
        read(dxf(0), None, "soles.dxf")
    assert read(dxf(0), 'unit = "ft"\n[pieces.sole]', "soles.dxf")["sole"].area_mm2 == pytest.approx(2 * 304.8**2)
    with pytest.raises(BadInput, match="not a DXF"):
        read(b"\x00\x01 nothing", None, "soles.dxf")
    with pytest.raises(BadInput, match=r"\.svg or \.dxf"):
        read(b"", None, "soles.pdf")


@given(st.floats(0.3, 3.0), st.floats(-180, 180), st.integers(3, 9))
def test_a_ring_survives_any_transform(scale: float, angle: float, corners: int) -> None:
    """The reference is Shapely's own affine transform."""
    at = 2 * np.pi * np.arange(corners) / corners
    ring = Polygon(np.column_stack([40 * np.cos(at), 25 * np.sin(at)]))
    points = " ".join(f"{x:.6f},{y:.6f}" for x, y in ring.exterior.coords)
    body = f'<g transform="rotate({angle})"><polygon id="p" transform="scale({scale})" points="{points}"/></g>'
    got = Polygon(read(svg(body))["p"].ring_mm)
    truth = affinity.scale(
        affinity.rotate(affinity.scale(ring, scale, scale, origin=(0, 0)), angle, origin=(0, 0)), 1, -1, origin=(0, 0)
    )
    assert got.symmetric_difference(truth).area < 1e-3 * truth.area


def test_a_part_of_a_piece_is_no_piece_of_its_own_where_there_are_no_rules() -> None:
    """`vamp-toe` within `vamp` is the spot that needs thickness; `vamp-lining` beside it is a piece."""
    drawn = svg(
        '<rect id="vamp" x="0" y="0" width="200" height="300"/><circle id="vamp-toe" cx="100" cy="40" r="20"/>'
        '<rect id="vamp-lining" x="300" y="0" width="90" height="90"/>'
    )
    assert sorted(read(drawn)) == ["vamp", "vamp-lining"]

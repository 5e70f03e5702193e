"""Small whole files of each kind that a fuzzer starts from."""

import json
from dataclasses import replace
from io import BytesIO

import numpy as np
from PIL import Image, ImageSequence
from PIL.ExifTags import IFD, Base

from hidescan.advice.advise import shipped
from hidescan.exports.formats import contents
from hidescan.hide_map.json_io import to_json
from hidescan.hide_map.model import (
    GaugeInput,
    HideMap,
    HintInput,
    Inputs,
    PolygonGeometry,
    TapeInput,
)
from hidescan.marks.grading import shipped_grades
from hidescan.pieces.file import PieceRules
from hidescan.placing import file as placing_file
from hidescan.placing.file import (
    MissedPiece,
    NearestMark,
    NearestMiss,
    PieceKind,
    PlacedOn,
    PlacedPiece,
    Placing,
)
from tests.fuzz.targets import BETWEEN
from tests.samples import rectangle_map

RULES = b"""unit = "mm"
[pieces.vamp]
count = 2
pair = true
turn_deg = 5
min_thickness_mm = 1.2
thick_parts = ["toe"]
zones = ["butt", "shoulder"]
margin_mm = 2
may_cover = ["stain"]
"""
SVG = b"""<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="200mm" height="200mm"
 viewBox="0 0 200 200"><defs><g id="s"><rect width="9" height="9"/></g></defs><g transform="rotate(20) scale(1.1)">
<path id="vamp" d="M10,10 h60 v50 q-9,9 -20,0 c1,2 3,4 -9,9 A5,5 0 0 1 10,60 Z"/><circle id="vamp-toe" cx="30" cy="30" r="3"/>
<line id="vamp-grain" x1="20" y1="20" x2="20" y2="60"/><polygon id="strap" points="80,10 90,10 90,90 80,90"/>
<use xlink:href="#s" x="120" y="9"/><ellipse id="e" cx="100" cy="150" rx="20" ry="9"/></g></svg>"""
MARKS_CSV = b"""id,kind,hide_mm,status,confidence
a,stain,"10 40, 30 40, 30 70",confirmed,0.5
,cut,"-100 300, -80 300, -80 330",,
"""
CENTRES_CSV = b"""kind,centre_x_mm,centre_y_mm,diameter_mm
hole,20,300,12
"""
LENS = b"""camera = "Invented Phone One"
focal_mm = 4.2
size_px = [4000, 3000]
focal_px = 3000.5
k1 = 0.01
k2 = -0.02
covariance = [[1e-6, 0, 0], [0, 1e-6, 0], [0, 0, 1e-6]]
photos = 6
rms_px = 0.2
"""


def seeds(name: str) -> list[bytes]:
    """Files that the target of this name reads."""
    return {
        "photo": _photos,
        "hide_map": lambda: [to_json(rectangle_map()), to_json(_full_map())],
        "svg": lambda: [SVG, SVG + BETWEEN + RULES, SVG.replace(b"mm", b"") + BETWEEN + RULES],
        "dxf": _drawings,
        "marks_csv": lambda: [MARKS_CSV, CENTRES_CSV, contents("csv", rectangle_map(), name="m")[1]],
        "marks_geojson": lambda: [contents("geojson", rectangle_map(), name="m")[0], to_json(rectangle_map()), _features()],
        "gauge_csv": lambda: [b"x_px,y_px,value,unit\n10,20,1.8,mm\n30,40,4.5,oz\n5,5,5/64,in\n"],
        "grades_toml": lambda: [text.encode() for text in shipped_grades().values()],
        "extras_toml": lambda: [b"rate = 18.00\n[materials]\nthread = 2.50\n[hours]\ncutting = 1.5\n"],
        "project_toml": lambda: [text.encode() for text in list(shipped().values())[:4]],
        "lens_toml": lambda: [LENS],
        "placed_geojson": lambda: [_features(), _polygon()],
        "placing_json": lambda: [placing_file.to_json(_placing())],
    }[name]()  # fmt: skip


def _full_map() -> HideMap:
    inputs = Inputs(
        thickness_mm=1.8, card_scale=(0.99, 1.01), tapes=(TapeInput(1, 2, 500.0),), neck_px=(400.0, 90.0), species="deer",
        hints=(HintInput((3.0, 4.0), True),), gauge=(GaugeInput((9.0, 9.0), 1.8, 0.05, (1.0, 2.0)),),
    )  # fmt: skip
    return replace(rectangle_map(), inputs=inputs, sampling_mm=(0.5, 0.5), thickness_source="given")


def _polygon() -> bytes:
    return json.dumps({"type": "MultiPolygon", "coordinates": [[[[10, 40], [30, 40], [30, 70], [10, 40]]]]}).encode()


def _placing() -> Placing:
    """A pair of pieces on a hide, and one that has no place."""
    ring = PolygonGeometry((((0.0, 0.0), (90.0, 0.0), (90.0, 99.0), (0.0, 0.0)),))
    laid = PlacedPiece(
        "sole-1-left", "sole", 1, "left", "deer", (60.0, 33.0), 5.0, 5.0, False, ring, 4455.0, "butt", 1.8, 0.2, (1.9,),
        12.0, NearestMark("hole-1", "hole", 30.0), ((60.0, 0.0), (60.0, 99.0)), ((60.0, 900.0), (99.0, 800.0)), 3.0,
    )  # fmt: skip
    missed = MissedPiece("sole-1-right", "sole", "no room", NearestMiss("deer", (1.0, 2.0), 3.0, "the rim", 4.0, "mm"))
    return Placing(
        "0.1.0", 1, 1, (PlacedOn("deer", "00", "ab" * 32, 599_600.0, 598_700.0, 4455.0, 0.0074),),
        (PieceKind("sole", 4455.0, PieceRules(pair=True), 2, 1),), (laid,), (missed,), 4455.0, 598_700.0, 0.0074, ("a",),
    )  # fmt: skip


def _features() -> bytes:
    ring = [[10, 40], [30, 40], [30, 70], [10, 40]]
    line = [[-50, 200], [-20, 230]]
    made = [
        {
            "type": "Feature",
            "properties": {"kind": "stain", "id": "a"},
            "geometry": {"type": "Polygon", "coordinates": [ring]},
        },
        {"type": "Feature", "properties": {"kind": "scratch"}, "geometry": {"type": "LineString", "coordinates": line}},
    ]
    return json.dumps({"type": "FeatureCollection", "frame": "hide_mm", "features": made}).encode()


def _drawings() -> list[bytes]:
    import ezdxf

    document = ezdxf.new("R12")  # type: ignore[attr-defined]
    space = document.modelspace()
    corners = [(0, 0), (60, 0), (60, 50, 0.5), (0, 50)]
    space.add_polyline2d(corners, format="xyb", close=True, dxfattribs={"layer": "vamp"})
    space.add_circle((30, 20), 3, dxfattribs={"layer": "vamp-toe"})
    space.add_line((20, 5), (20, 45), dxfattribs={"layer": "vamp-grain"})
    space.add_arc((90, 0), 20, 0, 180, dxfattribs={"layer": "strap"})
    space.add_line((70, 0), (110, 0), dxfattribs={"layer": "strap"})
    block = document.blocks.new("B")
    block.add_circle((0, 0), 9, dxfattribs={"layer": "oval"})
    space.add_blockref("B", (150, 50), dxfattribs={"xscale": 2})
    from io import StringIO

    text = StringIO()
    document.write(text)
    whole = text.getvalue().encode()
    entities = whole[whole.index(b"  2\nENTITIES") - 12 :]
    blocks = b"  0\nSECTION\n  2\nBLOCKS\n  0\nBLOCK\n  8\n0\n  2\nB\n 70\n0\n 10\n0\n 20\n0\n  3\nB\n"
    blocks += b"  0\nCIRCLE\n  8\noval\n 10\n0\n 20\n0\n 40\n9\n  0\nENDBLK\n  8\n0\n  0\nENDSEC\n"
    small = b"  0\nSECTION\n  2\nHEADER\n  9\n$INSUNITS\n 70\n4\n  0\nENDSEC\n" + blocks + entities
    return [small, small + BETWEEN + RULES, contents("dxf", rectangle_map(), name="m")[0]]


def _photos() -> list[bytes]:
    rng = np.random.default_rng(1)
    a = rng.integers(0, 255, (12, 16, 3), np.uint8).repeat(4, 0).repeat(4, 1)
    image = Image.fromarray(a)
    exif = Image.Exif()
    exif[Base.Orientation], exif[Base.Make] = 6, "Invented"
    details = exif.get_ifd(IFD.Exif)
    details[Base.FocalLengthIn35mmFilm], details[Base.FocalLength] = 26, 4.2
    details[Base.DateTimeOriginal] = "2026:05:05 10:20:30"
    exif.get_ifd(IFD.GPSInfo)[1] = "N"
    ways: list[tuple[str, Image.Image, dict[str, object]]] = [
        ("JPEG", image, {"exif": exif, "progressive": True}),
        ("JPEG", image.convert("CMYK"), {}),
        ("JPEG", image.convert("L"), {"exif": exif}),
        ("PNG", image, {"exif": exif}),
        ("PNG", image.convert("P"), {"transparency": 3}),
        ("PNG", Image.fromarray(a[..., 0].astype(np.uint16) * 250), {}),
        ("TIFF", image, {"exif": exif}),
        ("TIFF", image.convert("P"), {"compression": "tiff_lzw"}),
        ("TIFF", Image.fromarray(a[..., 0].astype(np.float32)), {}),
        ("TIFF", image, {"compression": "jpeg"}),
        ("WEBP", image, {"exif": exif}),
        ("WEBP", image, {"lossless": True, "save_all": True, "append_images": list(ImageSequence.Iterator(image.rotate(90)))}),
        ("MPO", image, {"save_all": True, "append_images": [image.rotate(90)]}),
    ]  # fmt: skip
    made = []
    for fmt, one, extra in ways:
        buffer = BytesIO()
        one.save(buffer, fmt, **extra)
        made.append(buffer.getvalue())
    import pillow_heif

    buffer = BytesIO()
    pillow_heif.from_pillow(image).save(buffer, quality=50)
    return [*made, buffer.getvalue()]

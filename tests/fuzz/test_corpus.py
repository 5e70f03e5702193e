"""Inputs that once broke a reader, found by fuzzing or thought up: each gives a value or one clear line."""

import json
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hidescan.basics.errors import BadInput
from hidescan.hide_map.json_io import from_json, to_json
from hidescan.marks.files import given_marks
from hidescan.settings import Settings
from tests.fuzz.seeds import RULES, SVG, seeds
from tests.fuzz.targets import BETWEEN, TARGETS, one
from tests.samples import rectangle_map

CORPUS = Path(__file__).parent / "corpus"
HEAD = b'<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm">'


@pytest.mark.parametrize("path", sorted(CORPUS.iterdir()), ids=lambda path: path.name)
def test_what_once_broke_a_reader_breaks_it_no_more(path: Path) -> None:
    one(path.name.partition("-")[0], path.read_bytes())


@pytest.mark.parametrize("name", TARGETS)
def test_the_seeds_are_read(name: str) -> None:
    """A fuzzer that starts from refused files finds nothing."""
    assert [one(name, data) for data in seeds(name)] == [None] * len(seeds(name))


def uses(levels: int) -> bytes:
    """A drawing in which each group copies the one before it twice."""
    groups = [f'<g id="g{n}"><use href="#g{n - 1}"/><use href="#g{n - 1}"/></g>'.encode() for n in range(1, levels)]
    return HEAD + b'<g id="g0"><rect width="9" height="9"/></g>' + b"".join(groups) + b"</svg>"


def block_in_itself(levels: int) -> bytes:
    """A DXF whose blocks each hold the next one ten times, the last one the first."""
    lines = ["0", "SECTION", "2", "HEADER", "9", "$INSUNITS", "70", "4", "0", "ENDSEC", "0", "SECTION", "2", "BLOCKS"]
    insert = ["0", "INSERT", "8", "a", "2", "{}", "10", "0", "20", "0"]
    for n in range(levels):
        lines += ["0", "BLOCK", "8", "0", "2", f"B{n}", "70", "0", "10", "0", "20", "0", "3", f"B{n}", "1", ""]
        lines += [word.format(f"B{(n + 1) % levels}") for word in insert] * 10 + ["0", "ENDBLK", "8", "0"]
    lines += ["0", "ENDSEC", "0", "SECTION", "2", "ENTITIES", *(word.format("B0") for word in insert), "0", "ENDSEC"]
    return "\n".join([*lines, "0", "EOF", ""]).encode()


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("svg", uses(60), "5764607523034234880 shapes, over 20000"),
        ("svg", HEAD + b'<g id="a"><use href="#a"/></g></svg>', "shapes without end"),
        ("svg", HEAD + b"<g>" * 3000 + b"</g>" * 3000 + b"</svg>", "cannot be read|not an SVG"),
        ("svg", SVG.replace(b"h60", b"h6e30"), "reaches beyond 100 m"),
        ("svg", SVG.replace(b"h60", b"h1e400"), "cannot be read"),
        ("svg", SVG.replace(b"h60", b"h-1e308h1e308h1e308"), "cannot be read"),
        ("svg", SVG.replace(b"scale(1.1)", b"scale(1e308)"), "cannot be read|beyond 100 m"),
        ("svg", b'<?xml version="1.0" encoding="none-such"?>' + SVG, "not an SVG"),
        ("svg", SVG + BETWEEN + b"a = " + b"[" * 5000, "not TOML"),
        ("svg", SVG + BETWEEN + RULES + b"\nx = " + b"9" * 5000, "not TOML"),
        ("dxf", block_in_itself(9), "shapes without end"),
        ("marks_geojson", b"[" * 100_000, "neither a CSV"),
        ("marks_geojson", seeds("marks_geojson")[2].replace(b'"id": "a"', b'"confidence": 1' + b"0" * 400), "from 0 to 1"),
        ("placed_geojson", b'{"features": [{"geometry": {"type": "Polygon", "coordinates": ""}}]}', "not GeoJSON"),
        ("placed_geojson", b"[" * 100_000, "not GeoJSON"),
        ("placed_geojson", b'{"type": "Polygon", "coordinates": [[[0, 0], [NaN, 0], [9, 9], [0, 0]]]}', "no sound polygon"),
        ("placed_geojson", b'{"type": "Polygon", "coordinates": [[[0, 0], [1e999, 0], [9, 9], [0, 0]]]}', "no sound polygon"),
        ("placed_geojson", b'{"type": "Polygon", "coordinates": [[[0, 0], [1e9, 0], [9, 9e9], [0, 0]]]}', "no sound polygon"),
        ("placing_json", b"[" * 100_000, "not JSON"),
        ("grades_toml", b"a = " + b"[" * 5000, "not TOML"),
        ("extras_toml", b"rate = " + b"9" * 5000, "not TOML"),
        ("project_toml", b"a = " + b"{a=" * 5000, "not TOML"),
        ("lens_toml", seeds("lens_toml")[0].replace(b"3000.5", b"inf"), "focal length"),
        ("lens_toml", seeds("lens_toml")[0].replace(b"photos = 6", b"photos = inf"), "not a lens profile"),
    ],
)  # fmt: skip
def test_an_attack_gets_one_line(name: str, data: bytes, says: str) -> None:
    with warnings.catch_warnings(record=True) as warned:  # which the person would see beside the line
        warnings.simplefilter("always")
        line = one(name, data)
    assert line is not None and not warned
    with pytest.raises(BadInput, match=says):
        raise BadInput(line)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda p: p["photo"].update(file="../../other/secret.jpg"), "no file name"),
        (lambda p: p["photo"].update(file="..\\secret.jpg"), "photo.file is no file name"),
        (lambda p: p["photo"].update(file=""), "is no file name"),
        (lambda p: p["photo"].update(width_px=0), "no size"),
        (lambda p: p["marks"][0].update(id="../../../tmp/x"), "no plain word"),
        (lambda p: p["marks"][0].update(id="a\nb"), "is no plain word"),
        (lambda p: p["marks"][0].update(photo=3), "a photo that there is not"),
        (lambda p: p["marks"][0]["photo_px"].update(coordinates=[[]]), "no line in the photo"),
        (lambda p: p["zones"][0]["hide_mm"].update(coordinates=[]), "zone butt.hide_mm is no ring"),
        (lambda p: p["outline"]["hide_mm"]["coordinates"][0][0].insert(0, 1e300), "outline.hide_mm"),
        (lambda p: p["back_line"]["curve_mm"].update(coordinates=[[0, 0]]), "curve_mm is no line"),
        (lambda p: p["camera"].update(focal_px=0), "focal_px"),
        (lambda p: p["camera"].update(rotation=[[1, 0, 0]]), "camera.rotation"),
        (
            lambda p: p["camera"].update(rotation=[[1, 0, 0], [0, -1, 0], [0, 0.1, -1]]),
            "camera.rotation is no rotation",
        ),
        (lambda p: p["measures"]["area_net"].update(value=-1), "below zero"),
        (lambda p: p["measures"]["area_net"].update(value=1e999), "area_net"),
        (lambda p: p["inputs"].update(thickness_mm=-1), "thickness_mm"),
        (lambda p: p["inputs"].update(species="\ud800"), "not JSON"),
    ],
)
def test_a_map_from_anybody_cannot_name_files_or_break_what_reads_it(change: Callable[[Any], None], says: str) -> None:
    plain = json.loads(to_json(rectangle_map()))
    change(plain)
    with pytest.raises(BadInput, match=says) as caught:
        from_json(json.dumps(plain).encode(), "m.hide.json")
    assert "\n" not in str(caught.value)


def test_marks_that_a_map_s_camera_does_not_see_get_one_line(tmp_path: Path) -> None:
    """A map whose camera was turned by hand to look along the floor, given marks of another map of its photo."""
    path, plain = tmp_path / "b.hide.json", json.loads(to_json(rectangle_map()))
    path.write_text(json.dumps(plain))
    plain["camera"]["rotation"] = [[1, 0, 0], [0, 0, -1], [0, 1, 0]]
    with pytest.raises(BadInput, match="below the floor"):
        given_marks(path, from_json(json.dumps(plain).encode(), "a"), Settings())


def test_a_line_quotes_only_what_can_be_printed_and_not_much() -> None:
    """Words of a file could move the cursor or recolour the terminal (ECMA-48 control functions start with ESC)."""
    assert str(BadInput("x: a\nb\x1b[2J\ud800 is unknown")) == "x: a b?[2J? is unknown"
    assert len(str(BadInput("x" * 100_000))) < 700

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shapely import affinity
from shapely.geometry import Polygon, box, mapping

from hidescan.basics.errors import BadInput
from hidescan.exports import csv_tables, geojson
from hidescan.hide_map.json_io import to_json
from hidescan.marks.corrections import with_corrections
from hidescan.marks.files import given_marks
from hidescan.marks.matching import with_given
from hidescan.settings import Settings
from tests.marked import bare_map, some_marks

S = Settings()


def kept(folder: Path, name: str, data: str | bytes) -> Path:
    path = folder / name
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    return path


@pytest.mark.parametrize("mirror", [False, True])
def test_our_own_geojson_comes_back_as_it_went(tmp_path: Path, mirror: bool) -> None:
    """Onto the same map it changes nothing; onto the bare map it brings every mark, to a micrometre."""
    made = some_marks()
    path = kept(tmp_path, "deer.geojson", geojson.to_bytes(made, name="deer", mirror=mirror))
    given = given_marks(path, made, S).marks
    assert with_given(made, given, S) == made
    onto_bare = with_given(bare_map(), given, S)
    assert len(onto_bare.marks) == 4
    for was in made.marks:
        here = next(m for m in onto_bare.marks if m.kind == was.kind)
        old, new = (Polygon(m.hide_mm.coordinates[0]) for m in (was, here))
        assert old.symmetric_difference(new).area < 0.01 * old.length
        assert (here.status, here.confidence) == ("added", was.confidence)


def test_a_word_given_in_a_geographic_program_comes_back(tmp_path: Path) -> None:
    made = some_marks()
    plain = json.loads(geojson.to_bytes(made, name="deer"))
    for feature in plain["features"]:
        if feature["properties"]["name"] == "stain-3":
            feature["properties"] |= {"status": "confirmed", "kind": "thin"}
    merged = with_given(made, given_marks(kept(tmp_path, "e.geojson", json.dumps(plain)), made, S).marks, S)
    assert {m.id: (m.kind, m.status) for m in merged.marks}["stain-3"] == ("thin", "confirmed")
    assert len(merged.marks) == 4


def test_our_own_table_edited_in_a_spreadsheet(tmp_path: Path) -> None:
    made = some_marks()
    text = csv_tables.marks_csv(made).decode().replace("brand-4,brand,found", "brand-4,brand,rejected")
    merged = with_given(made, given_marks(kept(tmp_path, "m.csv", text), made, S).marks, S)
    assert {m.id: m.status for m in merged.marks} == {
        "hole-1": "found", "cut-2": "found", "stain-3": "found", "brand-4": "rejected",
    }  # fmt: skip


def test_rings_in_mm_and_in_photo_pixels_are_the_same_mark(tmp_path: Path) -> None:
    """The sample's camera looks straight down from 1500 mm with f = 3000 px: 2 px a mm on the floor, y down."""
    base = bare_map()
    z = base.upper_face_mm()
    ring = np.array(box(100, 200, 140, 260).exterior.coords)[:-1]
    px = np.column_stack([1999.5 + 3000 * ring[:, 0] / (1500 - z), 1499.5 - 3000 * ring[:, 1] / (1500 - z)])
    words = {"mm": ", ".join(f"{x} {y}" for x, y in ring), "px": "; ".join(f"{x:.6f} {y:.6f}" for x, y in px)}
    by_mm = given_marks(kept(tmp_path, "a.csv", f'kind,hide_mm\nstain,"{words["mm"]}"\n'), base, S).marks[0]
    by_px = given_marks(kept(tmp_path, "b.csv", f'kind,photo_px\nstain,"{words["px"]}"\n'), base, S).marks[0]
    assert Polygon(by_mm.ring_mm).equals(box(100, 200, 140, 260))
    assert Polygon(by_px.ring_mm).symmetric_difference(Polygon(by_mm.ring_mm)).area < 0.01
    assert by_mm.status is None
    drawn = {"type": "FeatureCollection", "frame": "photo_px", "features": [
        {"type": "Feature", "properties": {"kind": "stain"}, "geometry": mapping(Polygon(px))},
        {"type": "Feature", "properties": {"kind": "scratch"}, "geometry": {"type": "LineString", "coordinates": px[:2].tolist()}},
    ]}  # fmt: skip
    stain, scratch = given_marks(kept(tmp_path, "c.geojson", json.dumps(drawn)), base, S).marks
    assert Polygon(stain.ring_mm).symmetric_difference(Polygon(by_mm.ring_mm)).area < 0.01
    assert Polygon(scratch.ring_mm).area == pytest.approx(60 * 2, rel=0.1)  # 60 mm long, 2 mm wide


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("a.csv", "kind,x\nstain,4\n", "needs the column kind"),
        ("b.csv", 'kind,hide_mm\nstane,"0 0, 9 0, 9 9"\n', "line 2, kind: stane: not a kind of mark known here; did you mean stain?"),
        ("c.csv", 'kind,hide_mm\nstain,"0 0, 9 0"\n', "three points"),
        ("d.csv", 'kind,hide_mm\nstain,"5000 0, 5009 0, 5009 9"\n', "does not lie on the hide"),
        ("e.csv", "kind,centre_x_mm,centre_y_mm,diameter_mm\nstain,1,two,3\n", "should be numbers"),
        ("e.csv", "kind,centre_x_mm,centre_y_mm,diameter_mm\nstain,1,inf,3\n", "on the floor"),
        ("e.csv", "kind,centre_x_mm,centre_y_mm,diameter_mm\nstain,1,2,nan\n", "on the floor"),
        ("e.csv", "kind,centre_x_px,centre_y_px,diameter_mm\nstain,1,2,1e99\n", "on the floor"),
        ("f.csv", 'kind,hide_mm,status\nstain,"0 0, 9 0, 9 9",seen\n', "status: seen is not known"),
        ("g.csv", 'kind,hide_mm,confidence\nstain,"0 0, 9 0, 9 9",1.5\n', "from 0 to 1"),
        ("h.json", "[]", "neither a FeatureCollection nor a map"),
        ("i.json", "{", "neither a CSV"),
        ("j.geojson", '{"type":"FeatureCollection","features":[{"properties":{"kind":"hole"},"geometry":{"type":"Polygon"}}]}', "no geometry"),
        ("k.geojson", '{"type":"FeatureCollection","features":[7]}', "no properties"),
        ("l.geojson", '{"type":"FeatureCollection","photo_sha256":"00","features":[]}', "another photo"),
        ("m.csv", b"\xff\xfe\x00", "cannot be read as text"),
    ],
    ids=range(16),
)  # fmt: skip
def test_what_cannot_be_used_gets_one_clear_line(tmp_path: Path, name: str, data: str | bytes, says: str) -> None:
    with pytest.raises(BadInput) as caught:
        given_marks(kept(tmp_path, name, data), bare_map(), S)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_colleagues_map_of_the_same_photo(tmp_path: Path) -> None:
    theirs = with_corrections(some_marks(), {"stain-3": "confirmed", "brand-4": "rejected"}, S)
    path = kept(tmp_path, "theirs.hide.json", to_json(theirs))
    merged = with_given(some_marks(), given_marks(path, some_marks(), S).marks, S)
    assert {m.id: m.status for m in merged.marks}["stain-3"] == "confirmed"
    assert len(merged.marks) == 4


def test_the_same_hide_as_another_photo_of_the_other_face(tmp_path: Path) -> None:
    """A rectangle is its own mirror image: what lies right on one face lies left on the other, once faces are named."""
    unknown, marked = bare_map(), some_marks()
    base = replace(unknown, inputs=replace(unknown.inputs, face="grain"))
    other = replace(marked, photo=replace(base.photo, sha256="cd" * 32))
    with pytest.raises(BadInput, match="Say which face each photo shows"):
        given_marks(kept(tmp_path, "other.hide.json", to_json(other)), base, S)
    flesh = replace(other, inputs=replace(other.inputs, face="flesh"))
    given = given_marks(kept(tmp_path, "flesh.hide.json", to_json(flesh)), base, S)
    merged = with_given(base, given.marks, S, slack_mm=given.slack_mm)
    brand = next(m for m in merged.marks if m.kind == "brand")
    there = affinity.scale(box(-200, 650, -100, 730), -1, 1, origin=(0, 0))
    assert Polygon(brand.hide_mm.coordinates[0]).symmetric_difference(there).area < 200

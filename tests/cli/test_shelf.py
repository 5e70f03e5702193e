from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from hidescan.anatomy.care import cautions, may_be_soaked
from hidescan.basics.errors import BadInput
from hidescan.basics.vocabulary import STATES, TANNAGES
from hidescan.cli.app import app
from hidescan.hide_map.json_io import to_json
from hidescan.shelf import parsing
from hidescan.shelf.facts import day, read_price
from tests.samples import rectangle_map


def said(tmp_path: Path, *arguments: object) -> str:
    result = CliRunner().invoke(app, ["shelf", *(str(a) for a in arguments), "--shelf", str(tmp_path / "s.sqlite")])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.stdout


def test_a_hide_from_map_to_last_scrap(tmp_path: Path) -> None:
    (tmp_path / "buck.hide.json").write_bytes(to_json(rectangle_map()))
    added = said(tmp_path, "add", tmp_path / "buck.hide.json", "--species", "deer", "--tannage", "brain-tanned unsmoked",
                 "--price", "80.50 EUR", "--licence", "T-12", "--taken-on", "2026-11-02")  # fmt: skip
    assert "shade not measured" in added
    said(tmp_path, "add", "--label", "old elk", "--species", "elk")
    listed = said(tmp_path, "list").splitlines()
    assert [line.split("  ")[0] for line in listed] == ["hide", "buck", "old elk"]
    assert "6.45 ft²" in listed[1]
    said(tmp_path, "edit", "buck", "--reading", "butt:2mm", "--notes", "soft")
    shown = said(tmp_path, "show", "buck", "--units", "metric")
    assert "Do not soak" in shown
    assert "No heat on wet leather" in shown
    assert "2.0 mm (read)" in shown
    assert "T-12" in shown
    assert "buck" in said(
        tmp_path, "find", "--fits", "900mm x 10in", "--thickness", "butt:1.5mm-2.5mm", "--price", "100"
    )
    none_fits = said(tmp_path, "find", "--fits", "900mmx600mm", "--allow", "none").splitlines()
    assert none_fits == ["no hide", "nearest: buck meets all but --fits and --allow"]
    assert "buck: 5.45 ft² usable left" in said(
        tmp_path, "cut", "buck", "--what", "vamp", "--count", 2, "--area", "1ft2"
    )
    assert "2 x vamp, 1.00 ft²" in said(tmp_path, "show", "buck")
    said(tmp_path, "cut", "buck", "--undo")
    said(tmp_path, "remove", "buck")
    assert "buck" not in said(tmp_path, "list")
    said(tmp_path, "remove", "buck", "--undo")
    said(tmp_path, "export", "-o", tmp_path / "all.csv")
    assert "2 hides, checked" in said(tmp_path, "backup", "-o", tmp_path / "b.sqlite")
    with pytest.raises(BadInput, match="already there"):
        said(tmp_path, "backup", "-o", tmp_path / "b.sqlite")


def test_pieces_cut_where_they_were_placed(tmp_path: Path) -> None:
    (tmp_path / "buck.hide.json").write_bytes(to_json(rectangle_map()))
    said(tmp_path, "add", tmp_path / "buck.hide.json")
    ring = [[-300, 0], [0, 0], [0, 450], [-300, 450], [-300, 0]]
    feature = {"type": "Feature", "properties": {}, "geometry": {"type": "Polygon", "coordinates": [ring]}}
    (tmp_path / "p.geojson").write_text(str({"type": "FeatureCollection", "features": [feature]}).replace("'", '"'))
    said(tmp_path, "cut", "buck", "--what", "leg", "--placed", tmp_path / "p.geojson")
    none_fits = said(tmp_path, "find", "--fits", "900mmx400mm").splitlines()
    assert none_fits == ["no hide", "nearest: buck meets all but --fits"]
    assert "buck" in said(tmp_path, "find", "--fits", "450mmx500mm")
    with pytest.raises(BadInput, match="GeoJSON"):
        parsing.placed_pieces(b"{", "x")
    with pytest.raises(BadInput, match="no sound polygon"):
        parsing.placed_pieces(b'{"features": []}', "x")


@pytest.mark.parametrize(
    ("reader", "text"),
    [
        (read_price, "12,500"),
        (read_price, "-3"),
        (read_price, "EUR 3 EUR"),
        (day, "2026-13-01"),
        (day, "yesterday"),
        (parsing.rectangle_mm, "800x400"),
        (parsing.rectangle_mm, "800mm"),
        (parsing.thickness_wanted, "butt"),
        (parsing.thickness_wanted, "butt:2mm-1mm"),
        (parsing.reading, ":1mm"),
        (parsing.mark_kinds, "hole,blot"),
    ],
)
def test_words_that_cannot_be_read_are_refused_in_one_line(reader: object, text: str) -> None:
    with pytest.raises(BadInput) as caught:
        reader(text)  # type: ignore[operator]
    assert "\n" not in str(caught.value)


def test_care_says_what_must_not_be_done() -> None:
    """Common practice, no source: who may be soaked, and no heat on wet leather whatever it is."""
    soakable = {name for name in TANNAGES.names if may_be_soaked(name)}
    assert soakable == {"brain-tanned smoked", "commercial", "chrome"}
    assert may_be_soaked("fish oil") is None
    for tannage in (*TANNAGES.names, "fish oil", None):
        for state in (*STATES.names, None):
            lines = cautions(tannage, state)
            assert any("No heat" in line for line in lines)
            assert (may_be_soaked(tannage) is True) == lines[0].startswith("May be soaked")
            assert any("dried slack it can lose" in line for line in lines) == (state in ("fresh", "salted", "wet"))


def test_a_map_of_another_photo_needs_its_own_hide_or_shelf_edit(tmp_path: Path) -> None:
    (tmp_path / "buck.hide.json").write_bytes(to_json(rectangle_map()))
    said(tmp_path, "add", tmp_path / "buck.hide.json", "--stretching", "before")
    other = rectangle_map(photo=replace(rectangle_map().photo, sha256="cd" * 32))
    (tmp_path / "after.hide.json").write_bytes(to_json(other))
    said(tmp_path, "edit", "buck", "--map", tmp_path / "after.hide.json", "--stretching", "after")
    shown = said(tmp_path, "show", "buck")
    assert "before stretching" in shown
    assert "after stretching" in shown

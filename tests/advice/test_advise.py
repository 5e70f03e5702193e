"""Advice on leather: the shipped projects are whole, and the shelf is searched by them."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest

from hidescan.advice.advise import FIRST_HAND, HEAT, KNIFE, SOAK, advice_lines, chosen, on_shelf, project_from, shipped
from hidescan.basics.errors import BadInput
from hidescan.basics.vocabulary import SPECIES, TANNAGES, ZONES
from hidescan.cli.app import main
from hidescan.hide_map.json_io import to_json
from hidescan.hide_map.model import Inputs
from hidescan.shelf.database import open_shelf
from hidescan.shelf.register import shelve_map
from tests.samples import rectangle_map

OWN = """
title = "Drumhead"
[[parts]]
name = "head"
leathers = ["goat"]
thickness_mm = [0.5, 1.0]
zones = ["butt"]
area_ft2 = 4.0
stretch = "no"
why = "It is stretched wet on the drum."
lay = "Back line across the middle."
"""


@pytest.mark.parametrize("name", sorted(shipped()))
def test_every_shipped_project_is_whole_and_owns_that_it_has_no_source(name: str) -> None:
    project = chosen(name, shipped())
    assert project.source == "common practice, no source"
    assert project.doubts
    for part in project.parts:
        assert part.tannages and part.leathers and set(part.zones) <= set(ZONES.names)
        assert set(part.species) <= set(SPECIES.names) and set(part.tannages) <= set(TANNAGES.names)
        # Leather is sold from about 0.4 to 8 mm: common practice, no source.
        assert 0.4 <= part.thickness_mm[0] < part.thickness_mm[1] <= 8.0
    assert "common practice, no source" in advice_lines(project, None, "ft")[0]


def test_uppers_soles_garments_and_bags_are_all_spoken_of() -> None:
    parts = {part.name for text in shipped().values() for part in project_from(text, "x").parts}
    assert {"uppers", "soles", "outsoles", "body and flap", "body and sleeves"} <= parts


def test_projects_are_found_by_their_other_names_and_the_nearest_is_named() -> None:
    assert chosen("Shirt", shipped()).title.startswith("Shirts")
    with pytest.raises(BadInput, match=r"Did you mean moccasins\?"):
        chosen("mocassin", shipped())
    names = [other for text in shipped().values() for other in project_from(text, "x").also]
    assert len(names) == len(set(names))


def test_cautions_stand_where_they_matter() -> None:
    moccasins = advice_lines(chosen("moccasins", shipped()), None, "ft")
    assert {f"mind: {SOAK}", f"mind: {HEAT}", f"mind: {KNIFE}", FIRST_HAND} <= set(moccasins)
    plain = "\n".join(advice_lines(project_from(OWN, "own.toml"), None, "metric"))
    assert SOAK not in plain and HEAT not in plain and FIRST_HAND not in plain
    assert KNIFE in plain and "0.5 mm to 1.0 mm" in plain


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("title", "titel"), "Did you mean 'title'"),
        (("zones", "zone"), "part 1: there is no key 'zone'"),
        (('"no"', '"never"'), "stretch"),
        (("[0.5, 1.0]", "[1.0, 0.5]"), "least, most"),
        (("4.0", "-4.0"), "area_ft2"),
        (("[[parts]]", "["), "not TOML"),
    ],
)
def test_a_project_of_ones_own_is_checked(change: tuple[str, str], said: str) -> None:
    assert project_from(OWN, "own.toml").title == "Drumhead"
    with pytest.raises(BadInput, match="own"):
        project_from(OWN.replace(*change, 1), "own.toml")
    try:
        project_from(OWN.replace(*change, 1), "own.toml")
    except BadInput as error:
        assert said in str(error)


def shelve(path: Path, label: str, thickness_mm: float = 1.8, **inputs: str) -> None:
    made = rectangle_map()
    zones = (replace(made.zones[0], name="butt", thickness_mm=thickness_mm),)
    photo = replace(made.photo, sha256=label.encode().hex().zfill(64))
    given = Inputs(thickness_mm=thickness_mm, **inputs)  # type: ignore[arg-type]
    db = open_shelf(path)
    shelve_map(db, label, to_json(rectangle_map(zones=zones, inputs=given, photo=photo)))
    db.close()


def test_the_shelf_is_searched_and_what_is_not_known_is_said(tmp_path: Path) -> None:
    path = tmp_path / "hides.shelf"
    shelve(path, "right", species="deer", tannage="brain-tanned, smoked")
    shelve(path, "unsmoked", species="deer", tannage="brain-tanned unsmoked")
    shelve(path, "thick", 4.0, species="deer", tannage="brain-tanned smoked")
    shelve(path, "pig", species="pig", tannage="brain-tanned smoked")
    shelve(path, "unsaid", species="deer")
    db = open_shelf(path)
    part = chosen("moccasins", shipped()).parts[0]  # 1.2 to 2.4 mm, 2.5 ft2; each hide has 6.4 ft2
    found = on_shelf(db, part)
    assert [row.label for row in found.fit] == ["right"]
    assert [(row.label, why) for row, why in found.perhaps] == [("unsaid", "tannage")]
    large = on_shelf(db, replace(part, area_ft2=7.0))
    db.close()
    assert not large.fit and not large.perhaps
    text = "\n".join(advice_lines(chosen("moccasins", shipped()), (found, large), "ft"))
    assert "on the shelf: right (deer, brain-tanned, smoked" in text and "its tannage is not known" in text
    assert "nothing that suits" in text


def test_the_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    shelf, own = tmp_path / "hides.shelf", tmp_path / "drum.toml"
    own.write_text(OWN)
    for words, code, said in (
        ([str(own), "--shelf", str(shelf)], 2, "there is no shelf"),
        (["hovercraft"], 2, "There are: bags"),
        ([str(tmp_path / "none.toml")], 2, "cannot be read"),
    ):
        monkeypatch.setattr(sys, "argv", ["hidescan", "advise", *words])
        with pytest.raises(SystemExit) as stop:
            main()
        captured = capsys.readouterr()
        assert stop.value.code == code and said in captured.out + captured.err
    assert not shelf.exists()
    shelve(shelf, "deer one", species="deer", tannage="brain-tanned smoked")
    monkeypatch.setattr(sys, "argv", ["hidescan", "advise", "moccasins", "--shelf", str(shelf)])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == 0 and "on the shelf: deer one" in capsys.readouterr().out

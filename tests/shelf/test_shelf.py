import json
import multiprocessing
import sqlite3
from contextlib import closing
from dataclasses import asdict, replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from shapely.geometry import box

from hidescan.basics.errors import BadInput
from hidescan.hide_map.json_io import to_json
from hidescan.hide_map.model import Inputs, PolygonGeometry
from hidescan.shelf import cutting, database, exporting, register
from hidescan.shelf.facts import Facts
from hidescan.shelf.finding import Criteria, ThicknessWanted, find
from hidescan.shelf.hides import hide, map_bytes
from hidescan.shelf.parsing import PlacedPieces
from hidescan.shelf.schema import STEPS
from tests.samples import HOLE, SQUARE, figure, rectangle_map


def shelf(tmp_path: Path) -> sqlite3.Connection:
    return database.open_shelf(tmp_path / "shelf.sqlite")


def file_of(photo: str, **changes: object) -> bytes:
    """A map's file, as if made from another photo."""
    return to_json(rectangle_map(photo=replace(rectangle_map().photo, sha256=photo * 32), **changes))


def labels(db: sqlite3.Connection, **criteria: object) -> list[str]:
    return [row.label for row in find(db, Criteria(**criteria))]  # type: ignore[arg-type]


def test_what_is_said_of_a_hide_is_kept_exactly(tmp_path: Path) -> None:
    said = Facts("deer", "brain-tanned smoked", "finished", 1.3, "2026-11", "north wood", "A. Hunter", "T-12", "a friend",
                 "a merchant", Decimal("0.1"), "EUR", "2026-11-20", "soft")  # fmt: skip
    with closing(shelf(tmp_path)) as db:
        register.add_hide(db, "first", said)
    with closing(shelf(tmp_path)) as db:
        assert hide(db, "first").facts == said
        assert hide(db, "FIRST ").label == "first"
        register.edit(db, "first", Facts(price=Decimal("12.3456")), "best")
        assert hide(db, "best").facts == replace(said, price=Decimal("12.3456"))
        with pytest.raises(BadInput, match="no hide"):
            hide(db, "first")
        with pytest.raises(BadInput, match="four decimals"):
            register.edit(db, "best", Facts(price=Decimal("0.00001")))


def test_a_map_brings_its_figures_and_what_was_given(tmp_path: Path) -> None:
    data = file_of("ab", inputs=Inputs(species="deer", thickness_mm=1.8))
    with closing(shelf(tmp_path)) as db:
        assert register.shelve_map(db, "buck", data) == ("buck", True)
        found = hide(db, "buck")
        assert (found.facts.species, found.facts.thickness_mm, found.form) == ("deer", 1.8, "whole")
        # 600 x 1000 less a hole of 20 x 20 grown by 5 mm all round (its corners are round: 2 r2 (4 - pi) / 2 less)
        assert found.area_usable_mm2 == pytest.approx(600_000 - 400 - 4 * 20 * 5 - 3.1416 * 25, abs=1.0)
        assert found.area_left_mm2 == found.area_usable_mm2
        assert found.marks == (("hole", 1),)
        assert map_bytes(db, found.maps[0].id) == data


def test_a_photo_on_the_shelf_gets_a_further_map_and_no_second_hide(tmp_path: Path) -> None:
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(db, "buck", file_of("ab"))
        assert register.shelve_map(db, "buck", file_of("ab")) == ("buck", False)
        assert register.shelve_map(db, "again", file_of("ab", revision=2)) == ("buck", True)
        assert register.shelve_map(db, "buck", file_of("cd")) == ("buck (2)", True)
        assert [m.revision for m in hide(db, "buck").maps] == [1, 2]
        register.remove(db, "buck")
        assert register.shelve_map(db, "other", file_of("ab")) == ("buck", False)  # it is the hide that was removed
        assert labels(db) == ["buck (2)"]
        assert register.shelve_map(db, "other", file_of("ab"), bring_back=True) == ("buck", True)
        assert labels(db) == ["buck", "buck (2)"]


def test_maps_before_and_after_stretching_stand_side_by_side(tmp_path: Path) -> None:
    base = rectangle_map()
    wide = tuple((x * 13 / 12, y) for x, y in SQUARE)  # 650 mm
    outline = replace(base.outline, hide_mm=PolygonGeometry((wide, HOLE)))
    larger = replace(base.measures, area_gross=figure(650_000.0), area_net=figure(649_600.0))
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(db, "buck", file_of("ab"), details=register.MapDetails(stretching="before"))
        wider = file_of("cd", measures=larger, outline=outline)
        register.add_map(db, "buck", wider, details=register.MapDetails(stretching="after"))
        found = hide(db, "buck")
    assert [(m.stretching, m.area_net_mm2) for m in found.maps] == [("before", 599_600.0), ("after", 649_600.0)]
    assert found.area_net_mm2 == 649_600.0


def test_a_cut_with_its_place_changes_what_fits(tmp_path: Path) -> None:
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(db, "buck", file_of("ab"))
        assert labels(db, fits_mm=(950.0, 250.0)) == ["buck"]
        cutting.cut(db, "buck", "strip", leather=PlacedPieces(box(-300, 0, -50, 1000)), cut_on=date(2026, 11, 20))
        assert labels(db, fits_mm=(950.0, 250.0)) == ["buck"]  # right of the hole there is room still
        assert labels(db, fits_mm=(950.0, 320.0)) == []
        cutting.cut(db, "buck", "vamps", count=2, leather=50_000.0)
        found = hide(db, "buck")
        assert found.area_usable_mm2 is not None
        assert found.area_left_mm2 == pytest.approx(found.area_usable_mm2 - 300_000, abs=1.0)
        assert cutting.undo_cut(db, "buck") == "vamps"
        assert hide(db, "buck").area_left_mm2 == pytest.approx(found.area_usable_mm2 - 250_000, abs=1.0)
        with pytest.raises(BadInput, match="only"):
            cutting.cut(db, "buck", "coat", leather=1e6)


def test_a_placed_cut_follows_the_map_when_the_neck_is_turned_round(tmp_path: Path) -> None:
    made = rectangle_map()
    # The same photo, the hide frame turned by 180 degrees about the middle of the hide (0, 500).
    turned = replace(
        made.camera,
        rotation=tuple((-a, -b, c) for a, b, c in made.camera.rotation),
        translation_mm=(0.0, -1000.0, 1500.0),
    )
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(db, "buck", to_json(made))
        cutting.cut(db, "buck", "strip", leather=PlacedPieces(box(-300, 0, 300, 470)))  # the tail end
        register.shelve_map(db, "buck", to_json(replace(made, camera=turned, revision=2)))
        left = hide(db, "buck").area_left_mm2
        assert left == pytest.approx(599_121.0 - 282_000, abs=20.0)
        cutting.cut(db, "buck", "more", leather=PlacedPieces(box(-300, 0, 300, 470)))  # now the other end
        assert hide(db, "buck").area_left_mm2 == pytest.approx(599_121.0 - 564_000, abs=20.0)


def test_a_map_of_a_later_photo_shows_the_hide_without_what_was_cut(tmp_path: Path) -> None:
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(db, "buck", file_of("ab"))
        cutting.cut(db, "buck", "strip", leather=100_000.0)
        assert hide(db, "buck").cuts[0].deducted
        later = replace(rectangle_map().photo, sha256="cd" * 32, taken="2999:01:01 08:00:00")
        register.add_map(db, "buck", to_json(rectangle_map(photo=later)))
        found = hide(db, "buck")
        assert found.area_left_mm2 == found.area_usable_mm2
        assert len(found.cuts) == 1 and not found.cuts[0].deducted


def test_what_cannot_be_is_refused_and_changes_nothing(tmp_path: Path) -> None:
    with closing(shelf(tmp_path)) as db:
        register.add_hide(db, "first", Facts())
        register.add_hide(db, "second", Facts())
        before = asdict(hide(db, "first"))
        for said, what in (
            ("on one line", lambda: register.add_hide(db, " \n", Facts())),
            ("on one line", lambda: register.edit(db, "first", Facts(), "a\nb")),
            ("of that label already", lambda: register.add_hide(db, "First", Facts())),
            ("another hide of that label", lambda: register.edit(db, "first", Facts(), "second")),
            ("how much was cut", lambda: cutting.cut(db, "first", "sole", leather=0.0)),
            ("how much was cut", lambda: cutting.cut(db, "first", "sole", -1.0)),
            (
                "no map to place pieces on",
                lambda: cutting.cut(db, "first", "sole", leather=PlacedPieces(box(0, 0, 9, 9))),
            ),
            ("nothing was cut", lambda: cutting.undo_cut(db, "first")),
        ):
            with pytest.raises(BadInput, match=said):
                what()
        assert asdict(hide(db, "first")) == before


def test_removing_is_undone(tmp_path: Path) -> None:
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(db, "buck", file_of("ab"))
        before = hide(db, "buck").maps
        register.remove(db, "buck")
        assert labels(db) == []
        with pytest.raises(BadInput, match="--undo"):
            register.add_hide(db, "buck", Facts())
        register.bring_back(db, "buck")
        assert hide(db, "buck").maps == before
        with pytest.raises(BadInput, match="was removed"):
            register.bring_back(db, "buck")


def test_hides_are_found_by_what_is_asked(tmp_path: Path) -> None:
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(
            db,
            "holed",
            file_of("aa"),
            Facts("Deer", price=Decimal(50), currency="EUR"),
            register.MapDetails((50.0, 10.0, 20.0)),
        )
        outline = replace(rectangle_map().outline, hide_mm=PolygonGeometry((SQUARE,)))
        whole = rectangle_map(marks=(), outline=outline, photo=replace(rectangle_map().photo, sha256="cc" * 32))
        branded = rectangle_map(
            marks=(replace(rectangle_map().marks[0], kind="brand"),),
            photo=replace(rectangle_map().photo, sha256="bb" * 32),
        )
        register.shelve_map(
            db,
            "branded",
            to_json(branded),
            Facts("elk", "commercial", price=Decimal(90)),
            register.MapDetails((51.0, 10.0, 20.0)),
        )
        register.shelve_map(db, "clean", to_json(whole), Facts("deer"), register.MapDetails((70.0, 10.0, 20.0)))
        register.add_hide(db, "unmapped", Facts("deer"))
        assert labels(db, species="deer") == ["clean", "holed", "unmapped"]
        assert labels(db, tannage="Commercial") == ["branded"]
        assert labels(db, marks_allowed=()) == ["clean"]
        assert labels(db, marks_allowed=("brand", "scratch")) == ["clean", "branded"]
        assert labels(db, price_most=Decimal(60)) == ["holed"]
        assert labels(db, price_most=Decimal(100), currency="EUR") == ["holed"]
        assert labels(db, least_area_mm2=599_700.0) == ["clean"]
        assert labels(db, fits_mm=(985.0, 585.0)) == ["clean"]
        assert labels(db, fits_mm=(585.0, 985.0)) == []  # along the back first
        assert labels(db, shade_of="holed", within_delta_e=2.0) == ["branded"]
        with pytest.raises(BadInput, match="not measured"):
            labels(db, shade_of="unmapped")
        wanted = ThicknessWanted("Butt", 1.5, 2.0)
        assert set(labels(db, thickness=(wanted,))) == {"clean", "branded", "holed"}
        register.read_thickness(db, "clean", "butt", 2.4)
        rows = find(db, Criteria(thickness=(replace(wanted, most_mm=3.0),)))
        assert dict((row.label, row.notes) for row in rows) == {
            "clean": ("Butt 2.4 mm, read",),
            "branded": ("Butt 1.8 mm, typical, not measured",),
            "holed": ("Butt 1.8 mm, typical, not measured",),
        }
        with pytest.raises(BadInput, match="Its zones: butt"):
            register.read_thickness(db, "clean", "shoulder", 2.4)


def _add_many(path: Path, name: str, count: int) -> None:
    with closing(database.open_shelf(path)) as db:
        for number in range(count):
            register.add_hide(db, f"{name}-{number}", Facts("deer"))


def test_several_programs_write_at_once(tmp_path: Path) -> None:
    path = tmp_path / "shelf.sqlite"  # not there yet: they also race to make it
    start = multiprocessing.get_context("spawn")
    writers = [start.Process(target=_add_many, args=(path, name, 40)) for name in "abc"]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert [writer.exitcode for writer in writers] == [0, 0, 0]
    with closing(database.open_shelf(path)) as db:
        assert len(labels(db)) == 120
        assert database.problems(db) == []


def test_a_shelf_of_a_newer_program_is_refused_and_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "shelf.sqlite"
    with closing(database.open_shelf(path, steps=(*STEPS, ("CREATE TABLE further (a INTEGER) STRICT",)))) as db:
        register.add_hide(db, "buck", Facts())
    before = path.read_bytes()
    with pytest.raises(BadInput, match="newer"):
        database.open_shelf(path)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["shelf.sqlite"]


def test_an_older_shelf_is_brought_up_to_date_with_its_hides(tmp_path: Path) -> None:
    path = tmp_path / "shelf.sqlite"
    with closing(database.open_shelf(path)) as db:
        register.add_hide(db, "buck", Facts("deer"))
    step = ("ALTER TABLE hide ADD COLUMN humidity_percent REAL",)
    with closing(database.open_shelf(path, steps=(*STEPS, step))) as db:
        assert db.execute("SELECT label, humidity_percent FROM hide").fetchall() == [("buck", None)]


def test_a_step_that_fails_leaves_the_shelf_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "shelf.sqlite"
    with closing(database.open_shelf(path)) as db:
        register.add_hide(db, "buck", Facts("deer"))
    step = ("ALTER TABLE hide ADD COLUMN humidity_percent REAL", "CREATE NONSENSE")
    with pytest.raises(BadInput, match="cannot be used"):
        database.open_shelf(path, steps=(*STEPS, step))
    with closing(database.open_shelf(path)) as db:
        assert labels(db) == ["buck"]
        assert "humidity_percent" not in {row[1] for row in db.execute("PRAGMA table_info(hide)")}


@pytest.mark.parametrize("content", [b"my notes, and more of them" * 10, b"SQLite format 3\0" + bytes(84)])
def test_what_is_no_shelf_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "notes").write_bytes(content)
    with pytest.raises(BadInput):
        database.open_shelf(tmp_path / "notes")
    assert (tmp_path / "notes").read_bytes() == content


@pytest.mark.parametrize("version", [0, 7])
def test_another_programs_database_is_refused_and_not_touched(tmp_path: Path, version: int) -> None:
    path = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE song (title TEXT)")
        db.execute(f"PRAGMA user_version = {version}")
    before = path.read_bytes()
    with pytest.raises(BadInput, match="not a shelf"):
        database.open_shelf(path)
    assert path.read_bytes() == before


def test_a_backup_is_a_live_whole_copy(tmp_path: Path) -> None:
    with closing(shelf(tmp_path)) as db, closing(shelf(tmp_path)) as other:
        register.shelve_map(db, "buck", file_of("ab"))
        with database.writing(other):
            other.execute("UPDATE hide SET notes = 'not yet'")
            assert database.backup(db, tmp_path / "copy" / "b.sqlite") == 1
    assert [p.name for p in (tmp_path / "copy").iterdir()] == ["b.sqlite"]
    with closing(database.open_shelf(tmp_path / "copy" / "b.sqlite")) as copy:
        assert hide(copy, "buck").facts.notes is None
        assert map_bytes(copy, 1) == file_of("ab")


def test_a_damaged_shelf_gives_no_backup(tmp_path: Path) -> None:
    with closing(shelf(tmp_path)) as db:
        for number in range(400):
            register.add_hide(db, f"hide {number}", Facts(notes="x" * 200))
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    data = bytearray((tmp_path / "shelf.sqlite").read_bytes())
    data[-4096 * 3 : -4096 * 2] = b"\xff" * 4096
    (tmp_path / "shelf.sqlite").write_bytes(data)
    with closing(shelf(tmp_path)) as db, pytest.raises(BadInput):
        database.backup(db, tmp_path / "b.sqlite")
    assert not (tmp_path / "b.sqlite").exists()


def test_the_shelf_is_exported(tmp_path: Path) -> None:
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(db, "buck", file_of("ab"), Facts("deer", price=Decimal("80.10")))
        cutting.cut(db, "buck", "strip", leather=PlacedPieces(box(-300, 0, -200, 1000)), cut_on=date(2026, 11, 20))
        plain = json.loads(exporting.to_json(db))["hides"]
        table = exporting.to_csv(db).decode().splitlines()
    assert plain[0]["price"] == "80.1"
    assert plain[0]["maps"][0]["map"] == json.loads(file_of("ab"))
    assert plain[0]["cuts"][0]["hide_mm"]["type"] == "Polygon"
    assert table[0].startswith("label,species,tannage")
    assert table[1].startswith("buck,deer,")
    assert ",80.1," in table[1]

"""Which hide on the shelf a map, an offcut or a cut belongs to; areas by Shapely."""

import hashlib
import itertools
import json
import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from shapely import union_all
from shapely.geometry import Polygon, box, mapping
from typer.testing import CliRunner

from hidescan.basics.errors import BadInput
from hidescan.cli.app import app
from hidescan.exports import geojson
from hidescan.hide_map.identity import with_identity
from hidescan.hide_map.json_io import from_json, to_json
from hidescan.hide_map.model import HideMap, Inputs, MultiPolygonGeometry, PolygonGeometry, Ring, ZoneEntry
from hidescan.placing import file as placing_file
from hidescan.placing.file import Placing
from hidescan.placing.layout import place_pieces
from hidescan.placing.leather import leather_of
from hidescan.placing.offcuts import with_offcuts
from hidescan.placing.picture import shapes_of
from hidescan.placing.search import Effort
from hidescan.settings import Settings
from hidescan.settings.uses import OffcutSettings, PlaceSettings
from hidescan.shelf import cutting, database, exporting, register
from hidescan.shelf.facts import Facts
from hidescan.shelf.finding import Criteria, find
from hidescan.shelf.hides import hide, map_bytes
from hidescan.shelf.parsing import PlacedPieces, placed_pieces
from tests.placing.hides import laid_out, uppers
from tests.samples import HOLE, SQUARE, SQUARE_PX, figure, rectangle_map

DATA = Path(__file__).parents[1] / "data"


def shelf(tmp_path: Path) -> sqlite3.Connection:
    return database.open_shelf(tmp_path / "shelf.sqlite")


def of_photo(m: HideMap, photo: str, taken: str | None = None, **changes: object) -> HideMap:
    """The map as if made from another photo, of a hide that is new."""
    info = replace(m.photo, sha256=photo * 32, taken=taken)
    return with_identity(replace(m, photo=info, hide_id="", **changes))  # type: ignore[arg-type]


def cut_up(seed: int = 40) -> tuple[HideMap, Placing, dict[str, HideMap]]:
    """A hide, pieces placed on it by a map that has a file, and its offcuts."""
    m = of_photo(laid_out(seed, marks=5, species="deer"), "ab")
    leather = leather_of("deer", m, Settings())
    digest = hashlib.sha256(to_json(m)).hexdigest()
    made = place_pieces((leather,), (digest,), uppers(1), PlaceSettings(), effort=Effort(rounds=0))
    cramped = OffcutSettings(bridge_mm=90.0)  # narrow parts are parted, so that there are several
    return m, *with_offcuts(made, leather, Settings(), cramped)


def left(db: sqlite3.Connection) -> dict[str, float]:
    return {row.label: row.area_left_mm2 or 0.0 for row in find(db, Criteria())}


def usable_of(m: HideMap) -> float:
    """Net less the marks grown by their margins, 5 mm of holes and cuts and 3 mm of others: by Shapely."""
    net = Polygon(m.outline.hide_mm.coordinates[0], m.outline.hide_mm.coordinates[1:])
    grown = [
        Polygon(k.hide_mm.coordinates[0]).buffer(5.0 if k.kind in ("hole", "cut") else 3.0)
        for k in m.marks
        if k.status != "rejected"
    ]
    return float(net.difference(union_all(grown)).area)


def test_offcuts_are_hides_of_their_own_and_no_leather_is_lost_or_found(tmp_path: Path) -> None:
    m, _, offcuts = cut_up()
    assert len(offcuts) >= 2
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(db, "deer", to_json(m))
        for n, (name, offcut) in enumerate(offcuts.items(), start=1):
            assert register.shelve_map(db, name, to_json(offcut), label=f"strap {n}") == (f"strap {n}", True)
        assert hide(db, "deer").form == "whole" and hide(db, "deer").area_net_mm2 == pytest.approx(
            m.measures.area_net.value
        )
        found = left(db)
        for n, offcut in enumerate(offcuts.values(), start=1):
            assert hide(db, f"strap {n}").offcut_of == "deer"
            assert found[f"strap {n}"] == pytest.approx(usable_of(offcut), rel=1e-6)
        # What the parent has left is its usable leather outside the offcuts, in its own frame (Shapely).
        leather = leather_of("deer", m, Settings())
        net = Polygon(m.outline.hide_mm.coordinates[0], m.outline.hide_mm.coordinates[1:])
        regions = []
        for offcut in offcuts.values():
            own = Polygon(offcut.outline.hide_mm.coordinates[0], offcut.outline.hide_mm.coordinates[1:])
            here, there = m.camera_over_hide(), offcut.camera_over_hide()
            shift = here.mm_from_px(there.px_from_mm(np.zeros((1, 2))))[0]
            regions.append(
                Polygon(np.array(own.exterior.coords) + shift, [np.array(r.coords) + shift for r in own.interiors])
            )
        gone = union_all(regions)
        assert found["deer"] == pytest.approx(leather.usable.difference(gone).area, rel=1e-6)
        total_net = net.difference(gone).area + sum(o.measures.area_net.value for o in offcuts.values())
        assert total_net == pytest.approx(net.area, rel=1e-6)


def test_the_order_in_which_hides_are_added_does_not_matter(tmp_path: Path) -> None:
    m, _, offcuts = cut_up()
    first, second, *_ = offcuts.items()
    newer = replace(m, revision=2, inputs=replace(m.inputs, species="deer"))
    files = {"deer": m, first[0]: first[1], second[0]: second[1], "deer again": newer}
    seen = []
    for n, order in enumerate(itertools.islice(itertools.permutations(files), 0, 24, 5)):
        with closing(database.open_shelf(tmp_path / f"{n}.sqlite")) as db:
            for name in order:
                register.shelve_map(db, "deer" if name == "deer again" else name, to_json(files[name]))
            rows = {row.label: (round(row.area_left_mm2 or 0.0, 3), row.species) for row in find(db, Criteria())}
            assert [kept.revision for kept in hide(db, "deer").maps] == [1, 2]
        seen.append(rows)
    assert len(seen) == 5 and all(rows == seen[0] for rows in seen)
    assert set(seen[0]) == {"deer", first[0], second[0]}


def test_a_second_hide_of_a_photo_does_not_take_the_place_of_the_first(tmp_path: Path) -> None:
    aside: Ring = tuple((x + 700.0, y) for x, y in SQUARE_PX)
    one = rectangle_map()
    two = rectangle_map(
        inputs=Inputs(hide_at_px=(1100.0, 500.0)),
        revision=2,
        outline=replace(one.outline, photo_px=PolygonGeometry((aside,))),
    )
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(db, "left", to_json(one), Facts(price=Decimal(60)))
        assert register.shelve_map(db, "right", to_json(two)) == ("right", True)
        assert [kept.revision for kept in hide(db, "left").maps] == [1]
        # The first hide mapped again, pointed at this time: by its outline it is known.
        again = rectangle_map(inputs=Inputs(hide_at_px=(300.0, 500.0)), revision=2)
        assert register.shelve_map(db, "third", to_json(again)) == ("left", True)


def test_a_map_of_an_older_photo_does_not_take_the_hide_back_in_time(tmp_path: Path) -> None:
    before = of_photo(rectangle_map(), "aa", "2026:03:01 08:00:00", measures=rectangle_map().measures)
    after = of_photo(rectangle_map(), "bb", "2026:06:01 08:00:00")
    longer: Ring = tuple((x, 1084.0 if y else 0.0) for x, y in SQUARE)  # 600 x 1084 mm, less the hole of 400 mm2
    after = replace(
        after,
        outline=replace(after.outline, hide_mm=PolygonGeometry((longer, HOLE))),
        measures=replace(after.measures, area_gross=figure(650_400.0, 1500.0), area_net=figure(650_000.0, 1500.0)),
    )
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(db, "buck", to_json(after))
        cutting.cut(db, "buck", "strap", leather=50_000.0, cut_on=date(2026, 7, 1))
        kept = hide(db, "buck").area_left_mm2
        register.add_map(db, "buck", to_json(before))
        found = hide(db, "buck")
        assert [m.area_net_mm2 for m in found.maps] == [599_600.0, 650_000.0]
        assert found.area_net_mm2 == 650_000.0 and found.area_left_mm2 == kept and found.cuts[0].deducted
        # A revision that was made earlier is older, whenever it is added.
        register.add_map(
            db, "buck", to_json(replace(after, revision=3, outline=before.outline, measures=before.measures))
        )
        register.add_map(db, "buck", to_json(replace(after, revision=2)))
        assert hide(db, "buck").area_net_mm2 == 599_600.0


def test_a_photo_taken_before_a_cut_does_not_show_the_hide_without_it(tmp_path: Path) -> None:
    first, second, third = (
        of_photo(rectangle_map(), name, f"2026:0{month}:01 08:00:00")
        for name, month in (("aa", 3), ("bb", 5), ("cc", 8))
    )
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(db, "buck", to_json(first))
        cutting.cut(db, "buck", "strap", leather=50_000.0, cut_on=date(2026, 7, 1))
        usable = hide(db, "buck").area_usable_mm2
        assert usable is not None
        for m, gone in ((second, 50_000.0), (third, 0.0)):
            register.add_map(db, "buck", to_json(m))
            assert hide(db, "buck").area_left_mm2 == pytest.approx(usable - gone)
            assert hide(db, "buck").cuts[0].deducted is bool(gone)


def test_what_is_said_when_a_map_is_added_again_is_not_lost(tmp_path: Path) -> None:
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(db, "buck", to_json(rectangle_map()), Facts(species="deer", notes="soft"))
        said = Facts(species="elk", tannage="smoked", price=Decimal("60.00"), currency="EUR")
        assert register.shelve_map(db, "buck", to_json(rectangle_map()), said, label="river elk") == ("river elk", True)
        facts = hide(db, "river elk").facts
        assert (facts.species, facts.tannage, facts.price, facts.notes) == ("elk", "smoked", Decimal(60), "soft")
        assert register.shelve_map(db, "buck", to_json(rectangle_map()), said, label="river elk") == (
            "river elk",
            False,
        )
        register.add_hide(db, "other", Facts())
        with pytest.raises(BadInput, match="another hide of that label"):
            register.shelve_map(db, "buck", to_json(rectangle_map()), label="other")
        # What was said of the hide when it was mapped again comes last, what stayed as it was does not come back.
        register.shelve_map(db, "buck", to_json(rectangle_map(revision=2, inputs=Inputs(species="deer"))))
        assert hide(db, "river elk").facts.species == "elk"
        register.shelve_map(db, "buck", to_json(rectangle_map(revision=3, inputs=Inputs(species="goat"))))
        assert hide(db, "river elk").facts.species == "goat"


def test_a_thickness_given_is_never_called_typical(tmp_path: Path) -> None:
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(db, "buck", to_json(rectangle_map()))
        assert hide(db, "buck").zones[0].source == "typical, not measured"
        register.shelve_map(db, "buck", to_json(rectangle_map(revision=2, inputs=Inputs(thickness_mm=1.8))))
        assert hide(db, "buck").zones[0].source == "given for the whole hide"


def flank() -> ZoneEntry:
    """A zone that touches itself, as those of a ragged rim may: unsound to Shapely, and allowed in a map."""
    bow = ((0.0, 0.0), (50.0, 50.0), (50.0, 0.0), (0.0, 50.0), (0.0, 0.0))
    return ZoneEntry("flank", MultiPolygonGeometry(((bow,),)), 1.0, 1.0, 0.3)


def test_pieces_are_cut_where_place_wrote_them(tmp_path: Path) -> None:
    m, made, _ = cut_up()
    m = replace(m, zones=(*m.zones, flank()))
    area = union_all([Polygon(p.hide_mm.coordinates[0]) for p in made.placed]).area
    files = {
        name: geojson.to_bytes(m, name="deer, pieces", mirror=mirror, pieces=shapes_of(made, "deer"))
        if not mirror
        else _mirrored(geojson.to_bytes(m, name="deer, pieces", pieces=shapes_of(made, "deer")))
        for name, mirror in (("straight", False), ("mirrored", True))
    }
    plain = to_json(replace(m, zones=m.zones[:-1]))
    files["placing"] = placing_file.to_json(made)
    for n, (name, data) in enumerate(files.items()):
        with closing(database.open_shelf(tmp_path / f"{n}.sqlite")) as db:
            register.shelve_map(db, "deer", plain)
            before = hide(db, "deer").area_left_mm2 or 0.0
            pieces = cutting.pieces_on(db, "deer", placed_pieces(data, name))
            assert pieces.hide_mm.area == pytest.approx(area, rel=1e-5)
            cutting.cut(db, "deer", "uppers", count=6, leather=pieces)
            found = hide(db, "deer")
            assert found.cuts[0].area_mm2 == pytest.approx(area, rel=1e-5)
            assert found.area_left_mm2 == pytest.approx(before - area, rel=1e-4)
            with pytest.raises(BadInput, match="cut there already"):
                cutting.cut(db, "deer", "uppers", leather=pieces)
            with pytest.raises(BadInput, match="off the hide"):
                cutting.cut(db, "deer", "coat", leather=PlacedPieces(box(2000, 0, 2100, 100)))
            assert len(hide(db, "deer").cuts) == 1


def _mirrored(data: bytes) -> bytes:
    """The same drawing as seen from the other face: every x with its sign changed."""
    plain = json.loads(data)
    for feature in plain["features"]:
        if feature["properties"]["layer"] == "pieces":
            shape = Polygon(feature["geometry"]["coordinates"][0])
            feature["geometry"] = mapping(Polygon([(-x, y) for x, y in shape.exterior.coords]))
    return json.dumps({**plain, "mirrored": True}).encode()


def test_pieces_placed_on_another_hide_or_map_are_not_cut_from_this(tmp_path: Path) -> None:
    m, made, offcuts = cut_up()
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(db, "other", to_json(of_photo(m, "cd")))
        register.shelve_map(db, "strap", to_json(next(iter(offcuts.values()))))
        for label in ("other", "strap"):
            with pytest.raises(BadInput, match="another hide, or on a map that is not on the shelf"):
                cutting.pieces_on(db, label, placed_pieces(placing_file.to_json(made), "placing.json"))
        drawn = geojson.to_bytes(m, name="deer", pieces=shapes_of(made, "deer"))
        with pytest.raises(BadInput, match="not placed on any of its maps"):
            cutting.cut(db, "other", "uppers", leather=placed_pieces(drawn, "x")[0])
        # On an earlier map of the hide that was turned since, they lie where they lay on the leather.
        register.shelve_map(db, "deer", to_json(m))
        turned = tuple((-a, -b, c) for a, b, c in m.camera.rotation)
        rings = [[(-x, -y) for x, y in ring] for ring in m.outline.hide_mm.coordinates]
        later = replace(
            m, revision=2, marks=(), camera=replace(m.camera, rotation=turned),
            outline=replace(m.outline, hide_mm=PolygonGeometry(tuple(tuple(ring) for ring in rings))),
        )  # fmt: skip
        register.shelve_map(db, "deer", to_json(later))
        cutting.cut(
            db, "deer", "uppers", leather=cutting.pieces_on(db, "deer", placed_pieces(placing_file.to_json(made), "p"))
        )
        area = union_all([Polygon(p.hide_mm.coordinates[0]) for p in made.placed]).area
        assert hide(db, "deer").area_left_mm2 == pytest.approx(
            Polygon(rings[0], rings[1:]).area - area - _before(db, offcuts, m), rel=1e-6
        )


def _before(db: sqlite3.Connection, offcuts: dict[str, HideMap], m: HideMap) -> float:
    """What had gone from the hide already: the one offcut that is on the shelf."""
    return next(iter(offcuts.values())).measures.area_net.value


def test_a_cut_is_carried_on_the_upper_face_as_marks_are(tmp_path: Path) -> None:
    """The camera looks from aside: 20 mm of leather move a point by 20 tan(angle) between the two maps' floors."""
    lean = np.deg2rad(40.0)
    c, s = float(np.cos(lean)), float(np.sin(lean))
    rotation = ((1.0, 0.0, 0.0), (0.0, -c, -s), (0.0, s, -c))
    base = rectangle_map(marks=(), zones=())
    tilted = replace(base.camera, rotation=rotation, translation_mm=(0.0, 300.0, 1800.0))
    thick = rectangle_map(marks=(), zones=(), camera=tilted, inputs=Inputs(thickness_mm=20.0))
    turned = rectangle_map(
        marks=(), zones=(), revision=2, inputs=Inputs(thickness_mm=20.0),
        camera=replace(tilted, rotation=tuple((-a, -b, c) for a, b, c in tilted.rotation), translation_mm=tilted.translation_mm),
    )  # fmt: skip
    outer = ((-800.0, -800.0), (800.0, -800.0), (800.0, 800.0), (-800.0, 800.0), (-800.0, -800.0))
    wide = replace(base.outline, hide_mm=PolygonGeometry((outer,)))
    area = figure(1600.0 * 1600.0)
    large = replace(base.measures, area_gross=area, area_net=area, area_usable=area)
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(db, "buck", to_json(replace(thick, outline=wide, measures=large)))
        cutting.cut(db, "buck", "patch", leather=PlacedPieces(box(100, 200, 300, 500)))
        register.shelve_map(db, "buck", to_json(replace(turned, outline=wide, measures=large)))
        # Turned by 180 degrees about the origin; a second patch beside the first, to 1 mm, is no second cut there.
        with pytest.raises(BadInput, match="cut there already"):
            cutting.cut(db, "buck", "other", leather=PlacedPieces(box(-299, -499, -101, -201)))
        cutting.cut(db, "buck", "beside", leather=PlacedPieces(box(-98.0, -500, 100, -200)))
        cutting.cut(db, "buck", "below", leather=PlacedPieces(box(-300, -700, -100, -502)))


def test_a_rectangle_larger_than_what_is_left_is_not_promised(tmp_path: Path) -> None:
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(db, "buck", to_json(rectangle_map()))
        most = hide(db, "buck").area_left_mm2 or 0.0
        cutting.cut(db, "buck", "a coat", leather=most - 4000.0)
        assert find(db, Criteria(fits_mm=(400.0, 300.0))) == ()
        assert [row.label for row in find(db, Criteria(fits_mm=(60.0, 60.0)))] == ["buck"]


def test_prices_are_written_without_an_exponent(tmp_path: Path) -> None:
    with closing(shelf(tmp_path)) as db:
        for n, price in enumerate(("60", "100.00", "0.5", "80.10", "1200000")):
            register.add_hide(db, f"hide {n}", Facts(price=Decimal(price), currency="EUR"))
        plain = [h["price"] for h in json.loads(exporting.to_json(db))["hides"]]
        table = exporting.to_csv(db).decode()
    assert plain == ["60", "100", "0.5", "80.1", "1200000"]
    assert "E+" not in table and ",60,EUR" in table


def test_one_clock_tells_all_days_of_a_hide(tmp_path: Path) -> None:
    """A shelf of the first version kept when a map was added by the clock of Greenwich, cuts by the local calendar."""
    with closing(shelf(tmp_path)) as db:
        register.shelve_map(db, "buck", to_json(rectangle_map()))
        cutting.cut(db, "buck", "strap", leather=100.0)
        db.execute("UPDATE map SET added_at = '2026-11-28T23:30:00+00:00'")
        found = hide(db, "buck")
        local = datetime.fromisoformat("2026-11-28T23:30:00+00:00").astimezone()
        assert found.maps[0].added_at == local.isoformat(timespec="seconds")
        assert found.cuts[0].cut_on == datetime.now().astimezone().date().isoformat()


def test_a_shelf_of_the_first_version_opens_with_its_content_whole(tmp_path: Path) -> None:
    """Written by version 0.1.0: two hides and a removed one; an offcut had been taken for its parent's newest map."""
    path = tmp_path / "old.sqlite"
    shutil.copy(DATA / "shelf_of_0.1.0.sqlite", path)
    with closing(sqlite3.connect(path)) as old:
        maps = old.execute("SELECT sha256, json_zlib, added_at FROM map ORDER BY id").fetchall()
        hides = old.execute(
            "SELECT label, species, tannage, price_e4, licence, taken_on, seller, notes FROM hide ORDER BY id"
        ).fetchall()
        cuts = old.execute("SELECT what, count, area_mm2, cut_on FROM cut").fetchall()
        readings = old.execute("SELECT zone, thickness_mm FROM reading").fetchall()
    with closing(database.open_shelf(path)) as db:
        assert database.problems(db) == []
        assert db.execute("SELECT sha256, json_zlib, added_at FROM map ORDER BY id").fetchall() == maps
        now = db.execute(
            "SELECT label, species, tannage, price_e4, licence, taken_on, seller, notes FROM hide ORDER BY id"
        ).fetchall()
        assert now[:3] == hides and len(now) == 4
        assert db.execute("SELECT what, count, area_mm2, cut_on FROM cut").fetchall() == cuts
        assert db.execute("SELECT zone, thickness_mm FROM reading").fetchall() == readings
        deer, offcut = hide(db, "river deer"), hide(db, now[3][0])
        assert deer.form == "whole" and offcut.form == "piece" and offcut.offcut_of == "river deer"
        # What the parent has left is what is outside the offcut, less the strap of 0.5 ft2 (Shapely).
        parent, own = (from_json(map_bytes(db, h.maps[0].id), "m") for h in (deer, offcut))
        assert deer.area_usable_mm2 == pytest.approx(usable_of(parent), rel=1e-6)
        rim = own.outline.hide_mm.coordinates
        gone = Polygon(rim[0], rim[1:]).area
        assert (deer.area_left_mm2 or 0.0) <= max(
            (deer.area_usable_mm2 or 0.0) - 0.98 * gone - 0.5 * 92903.04, 0.0
        ) + 1.0
        assert hide(db, "old elk").facts.price == Decimal("80.5")
        register.bring_back(db, "gone goat")
        assert hide(db, "gone goat").facts.species == "goat"


def test_the_commands_say_whose_leather_it_is(tmp_path: Path) -> None:
    m, made, offcuts = cut_up()
    (tmp_path / "deer.hide.json").write_bytes(to_json(m))
    name, offcut = next(iter(offcuts.items()))
    (tmp_path / name).write_bytes(to_json(offcut))
    (tmp_path / "placing.json").write_bytes(placing_file.to_json(made))

    def said(*words: object) -> str:
        result = CliRunner().invoke(app, ["shelf", *map(str, words), "--shelf", str(tmp_path / "s.sqlite")])
        if isinstance(result.exception, BadInput):
            return str(result.exception)
        assert result.exit_code == 0, result.output
        return result.stdout

    said("add", tmp_path / "deer.hide.json")
    said("cut", "deer", "--what", "uppers", "--placed", tmp_path / "placing.json")
    assert "cut there already" in said("cut", "deer", "--what", "uppers", "--placed", tmp_path / "placing.json")
    assert said("add", tmp_path / name, "--label", "strap").startswith("strap: on the shelf")
    assert "offcut of deer" in said("show", "strap") and "strap: hides of their own" in said("show", "deer")
    metric = said("cut", "strap", "--what", "a coat", "--area", "3m2", "--units", "metric")
    assert "dm²" in metric and "ft²" not in metric

from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import box

from hidescan.hide_map.json_io import to_json
from hidescan.hide_map.model import BackLineEntry
from hidescan.pieces.file import Piece, PieceRules
from hidescan.placing.hides_that_fit import hides_that_fit, may_hold
from hidescan.settings.uses import EnoughSettings
from hidescan.shelf import cutting, database, register
from hidescan.shelf.facts import Facts
from hidescan.shelf.finding import Criteria, find
from hidescan.shelf.parsing import PlacedPieces
from hidescan.shelf.remaining import remaining
from tests.samples import rectangle_map

SETTINGS = EnoughSettings(rounds_each=3)


def piece(length: float, width: float, **rules: object) -> Piece:
    """A rectangle whose grain runs along its length."""
    ring = np.array([[0.0, 0.0], [width, 0.0], [width, length], [0.0, length]])
    return Piece("leg", ring, 90.0, PieceRules(**rules))  # type: ignore[arg-type]


def shelved(tmp_path: Path, name: str, **changes: object) -> str:
    with closing(database.open_shelf(tmp_path / "s.sqlite")) as db:
        sha = f"{len(find(db, Criteria())):064d}"
        made = rectangle_map(photo=replace(rectangle_map().photo, sha256=sha), **changes)
        return register.shelve_map(db, name, to_json(made))[0]


def holding(tmp_path: Path, *pieces: Piece, settings: EnoughSettings = SETTINGS) -> dict[str, tuple[str, ...]]:
    with closing(database.open_shelf(tmp_path / "s.sqlite")) as db:
        return {row.label: row.notes for row in hides_that_fit(db, find(db, Criteria()), pieces, settings)}


@pytest.mark.parametrize(
    ("wanted", "fits"),
    [
        (piece(900, 500), True),
        (piece(1300, 300), False),  # longer than the hide, whatever its rim does
        (piece(500, 900), False),  # across the back it is too wide
        (piece(500, 900, turn_deg=None), True),  # this one may lie either way
        (piece(400, 300, count=6), False),  # too much leather in all
    ],
)
def test_size_alone_never_says_no_to_a_hide_that_would_do(tmp_path: Path, wanted: Piece, fits: bool) -> None:
    shelved(tmp_path, "buck")
    with closing(database.open_shelf(tmp_path / "s.sqlite")) as db:
        assert may_hold(find(db, Criteria())[0], (wanted,), SETTINGS) is fits


def test_pieces_are_placed_on_what_is_left(tmp_path: Path) -> None:
    """The hole in the middle leaves two strips 290 mm wide; once one is cut, a second leg finds no room."""
    shelved(tmp_path, "buck")
    leg = piece(900, 200)
    assert holding(tmp_path, leg, replace(leg, id="other"))["buck"][0].startswith("all 2 pieces placed on")
    with closing(database.open_shelf(tmp_path / "s.sqlite")) as db:
        cutting.cut(db, "buck", "leg", leather=PlacedPieces(box(-300, 0, -60, 1000)))
    assert list(holding(tmp_path, leg)) == ["buck"]
    assert holding(tmp_path, leg, replace(leg, id="other")) == {}


def test_thickness_read_on_the_shelf_counts(tmp_path: Path) -> None:
    shelved(tmp_path, "buck")
    sole = piece(250, 100, min_thickness_mm=2.5)
    assert holding(tmp_path, sole) == {}
    with closing(database.open_shelf(tmp_path / "s.sqlite")) as db:
        register.read_thickness(db, "buck", "butt", 2.8)
    assert list(holding(tmp_path, sole)) == ["buck"]


def test_what_an_answer_rests_on_is_said(tmp_path: Path) -> None:
    made = rectangle_map().back_line
    none = BackLineEntry(made.tail_mm, made.neck_mm, made.tail_px, made.neck_px, made.curve_mm, None, 0.0, "none")
    shelved(tmp_path, "a scrap", back_line=none)
    shelved(tmp_path, "buck")
    few = replace(SETTINGS, most_placed=0)
    assert holding(tmp_path, piece(300, 200), settings=few)["buck"] == ("large enough, pieces not placed",)
    assert "back line" in holding(tmp_path, piece(300, 200))["a scrap"][0]


def test_what_was_cut_is_a_hole_in_what_remains(tmp_path: Path) -> None:
    shelved(tmp_path, "buck")
    with closing(database.open_shelf(tmp_path / "s.sqlite")) as db:
        register.add_hide(db, "unmapped", Facts())
        rows = {row.label: row.id for row in find(db, Criteria())}
        assert remaining(db, rows["unmapped"]) is None
        assert remaining(db, rows["buck"]) == rectangle_map(photo=replace(rectangle_map().photo, sha256="0" * 64))
        cutting.cut(db, "buck", "leg", leather=PlacedPieces(box(-300, 0, -60, 1000)))
        left = remaining(db, rows["buck"])
        assert left is not None
        assert [(mark.id, mark.area_mm2) for mark in left.marks[1:]] == [("cut-out-1", 240_000.0)]

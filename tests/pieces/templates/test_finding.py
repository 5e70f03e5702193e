"""Pieces from a photo of card templates, against what was drawn."""

import re
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from shapely.geometry import Polygon

from hidescan.basics.errors import BadInput
from hidescan.basics.uncertainty import Measured
from hidescan.cli.app import main
from hidescan.figures.measures import Measures
from hidescan.pieces.file import Piece, pieces_from, read_pieces
from hidescan.pieces.templates.files import lines_of, to_svg, to_toml
from hidescan.pieces.templates.finding import Template
from hidescan.pieces.templates.grain import Grain
from hidescan.settings.uses import PieceSettings
from tests.synthetic.cards_on_table import aligned, farthest, smooth, table
from tests.synthetic.scenes import Array, rectangle

FIGURE = Measured(200.0, 0.2)
MEASURES = Measures(FIGURE, FIGURE, FIGURE, FIGURE, FIGURE, ())


def template(name: str, ring: Array, arrow_deg: float | None, *, doubt: str = "") -> Template:
    middle, grain = ring.mean(axis=0), None
    if arrow_deg is not None:
        way = 30 * np.array([np.cos(np.deg2rad(arrow_deg)), np.sin(np.deg2rad(arrow_deg))])
        grain = Grain(middle - way, middle + way)
    return Template(name, ring, ring, grain, MEASURES, doubt)


TWO = (
    template("piece-1", smooth([60, 52, 48, 56, 64, 58, 40, 50], (255.0, -60.0), 1.5), 63.0),
    template("piece-2", rectangle(190.0, 120.0, 20.0, (-50.0, 80.0)), None, doubt="far away"),
)


def run(monkeypatch: pytest.MonkeyPatch, *words: object) -> int:
    monkeypatch.setattr(sys, "argv", ["hidescan", "pieces", *map(str, words)])
    with pytest.raises(SystemExit) as stop:
        main()
    return int(stop.value.code or 0)


def extents(piece: Piece) -> tuple[float, float]:
    """How far a piece reaches along its grain and across it, mm."""
    along = np.array([np.cos(np.deg2rad(piece.grain_deg)), np.sin(np.deg2rad(piece.grain_deg))])
    across = np.array([-along[1], along[0]])
    return float(np.ptp(piece.ring_mm @ along)), float(np.ptp(piece.ring_mm @ across))


def test_a_photo_of_templates_becomes_pieces(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    rgb, drawn = table(np.random.default_rng(3), "kraft on white", size_px=(2400, 1800))
    exif = Image.Exif()
    exif.get_ifd(0x8769)[41989] = 27  # focal length in 35 mm film
    Image.fromarray(rgb).save(tmp_path / "table.jpg", quality=95, exif=exif)
    out = tmp_path / "pieces.svg"
    words = (tmp_path / "table.jpg", "-o", out, "--card-scale", "1,1", "--thickness", "0.02mm")
    assert run(monkeypatch, *words) == 0
    said = capsys.readouterr().out
    assert "4 templates" in said and said.count("grain from its arrow") == 3 and said.count("no arrow found") == 1
    pieces = read_pieces(out, PieceSettings())
    printed = [[float(n) for n in re.findall(r"([0-9.]+) ±", line)] for line in said.splitlines() if "  piece-" in line]
    for piece, (length, width) in zip(pieces, printed, strict=True):  # what is said is what is drawn, tips included
        if piece.rules.turn_deg is not None:
            assert (length, width) == pytest.approx(extents(piece), abs=0.6)
    assert [piece.id for piece in pieces] == ["piece-1", "piece-2", "piece-3", "piece-4"]
    for piece in pieces:
        true = min(drawn, key=lambda d: abs(float(Polygon(d.ring).area) - piece.area_mm2))
        assert farthest(aligned(piece.ring_mm, true.ring), true.ring) < 0.5
        if true.arrow_deg is None:
            assert piece.rules.turn_deg is None
        else:
            assert abs((piece.grain_deg - true.arrow_deg + 90) % 180 - 90) < 1.0
    assert run(monkeypatch, *words) == 2  # what was filled in is not written over
    assert "already there" in capsys.readouterr().err


def test_the_svg_holds_the_outlines_to_a_micrometre() -> None:
    pieces = pieces_from(to_svg(TWO, "x.jpg"), "p.svg", to_toml(TWO).decode(), "p.toml", PieceSettings())
    for piece, made in zip(pieces, TWO, strict=True):
        assert piece.id == made.id
        assert piece.area_mm2 == pytest.approx(Polygon(made.ring_mm).area, rel=1e-3)
        assert np.ptp(piece.ring_mm, axis=0) == pytest.approx(np.ptp(made.ring_mm, axis=0), abs=0.03)
    assert pieces[0].grain_deg == pytest.approx(63.0, abs=0.01)
    gap = pieces[1].ring_mm.min(axis=0) - pieces[0].ring_mm.min(axis=0)
    assert gap == pytest.approx(TWO[1].ring_mm.min(axis=0) - TWO[0].ring_mm.min(axis=0), abs=0.03)


def test_the_toml_is_ready_to_fill_in_and_its_examples_are_valid() -> None:
    text = to_toml(TWO).decode()
    plain = tomllib.loads(text)["pieces"]
    assert plain["piece-1"] == {"count": 1, "pair": False, "turn_deg": 5}
    assert plain["piece-2"]["turn_deg"] == "any"
    every = "\n".join(
        line.removeprefix("#   ") if " = " in line and "thick_parts" not in line else line for line in text.splitlines()
    )
    pieces = pieces_from(to_svg(TWO, "x.jpg"), "p.svg", every, "p.toml", PieceSettings())
    assert pieces[0].rules.zones == ("butt", "shoulder") and pieces[0].rules.min_thickness_mm == 1.2


def test_a_doubtful_template_is_said() -> None:
    first, second, doubt = lines_of(TWO)  # a reason that several share is said once
    assert "200.0 ± 0.4" in first and "no arrow" in second and doubt == "  ! piece-2: far away"


def test_no_card_and_other_names_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    Image.fromarray(np.full((1000, 1400, 3), 200, np.uint8)).save(tmp_path / "bare.png")
    assert run(monkeypatch, tmp_path / "bare.png", "-o", tmp_path / "p.svg") == 2
    assert "No reference card" in capsys.readouterr().err
    assert run(monkeypatch, tmp_path / "bare.png", "-o", tmp_path / "p.pdf") == 2
    assert "p.svg" in capsys.readouterr().err


def test_rules_that_were_filled_in_stay() -> None:
    """What a person wrote stays to the letter; a piece that has come since gets its table after it."""
    mine = "# for the blue boots\n[pieces.piece-1]\ncount = 3\npair = true\nmargin_mm = 4\n"
    text = to_toml(TWO, mine, "p.toml").decode()
    assert text.startswith(mine) and list(tomllib.loads(text)["pieces"]) == ["piece-1", "piece-2"]
    assert to_toml(TWO, text, "p.toml").decode() == text
    with pytest.raises(BadInput, match=r"p\.toml: is not TOML"):
        to_toml(TWO, "[pieces.piece-1", "p.toml")

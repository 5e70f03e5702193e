"""Money, against sums done by hand."""

import hashlib
import json
import re
import sys
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from hidescan.basics.errors import BadInput
from hidescan.cli.app import main
from hidescan.costing.cost import Cost, Extras, cost, extras_from, price_from
from hidescan.costing.report import cost_lines, shown
from hidescan.figures.marked_area import marked_area
from hidescan.hide_map.json_io import from_json, to_json
from hidescan.hide_map.model import HideMap
from hidescan.pieces.file import PieceRules
from hidescan.placing import file as placing_file
from hidescan.placing.file import PieceKind, PlacedOn, Placing
from tests.samples import figure, rectangle_map

FT2 = 92903.04
COST_PAGE = Path(__file__).parents[2] / "hidescan" / "manual" / "cost.md"


def hide(net_ft2: float, usable_ft2: float, u_ft2: float = 0.05) -> HideMap:
    made = rectangle_map()
    measures = replace(
        made.measures, area_net=figure(net_ft2 * FT2, u_ft2 * FT2), area_usable=figure(usable_ft2 * FT2, u_ft2 * FT2)
    )
    return replace(made, measures=measures)


DIGEST = "00" * 32


def placed(
    *kinds: tuple[str, float, PieceRules, int], usable_ft2: float = 10.0, kept_ft2: tuple[float, float] | None = None
) -> Placing:
    """A placing on 11 ft2 net; `kept_ft2` is the net and the usable area of one offcut."""
    used = sum(area * count for _, area, _, count in kinds) * FT2
    hide = PlacedOn("deer", DIGEST, "ab" * 32, 11 * FT2, usable_ft2 * FT2, used, used / usable_ft2 / FT2)
    if kept_ft2 is not None:
        net, usable = (area * FT2 for area in kept_ft2)
        hide = replace(hide, offcuts=("deer-offcut-1.hide.json",), offcuts_mm2=net, offcuts_usable_mm2=usable)
    return Placing(
        "0.1.0", 1, 1, (hide,),
        tuple(PieceKind(name, area * FT2, rules, count, count) for name, area, rules, count in kinds),
        (), (), used, usable_ft2 * FT2, used / usable_ft2 / FT2,
    )  # fmt: skip


def worked() -> Cost:
    """By hand: marked 11 2/4 = 11.5 ft2 at 9.50 is 109.25. Measured 11.00: 9.93 a foot; usable 10.00: 10.925.

    Measured less marked: -0.50 ft2 x 9.50 = -4.75; U = 0.10 ft2, 0.95. Quarters add 0.125: 0.5 is more than 0.225.
    Uppers 2.00 ft2 each, 4 of them: 8 ft2 used of 10, so 10 / 8 - 1 = 25 % waste: 13.65625 a foot of pieces; 27.3125
    each; a pair 54.625. Thread 1.20, 2.5 h at 18.00 = 45.00: 100.825 in all.
    """
    extras = extras_from("rate = 18.00\n[materials]\nthread = 1.20\n[hours]\nsewing = 2.5", "x.toml")
    pieces = placed(("upper", 2.0, PieceRules(pair=True), 4))
    price, marked = price_from("9.50 EUR/ft2"), (marked_area("11 2/4"),)
    return cost((hide(11.0, 10.0),), price, marked=marked, placing=pieces, digests=(DIGEST,), extras=extras)


def test_the_worked_example_is_exact() -> None:
    made = worked()
    lines = cost_lines(made)
    for figure_by_hand in (
        "109.25 EUR",
        "9.93 EUR",
        "10.93 EUR",
        "4.75 EUR ± 0.95",
        "13.66 EUR",
        "54.63 EUR",
        "100.83 EUR",
    ):
        assert figure_by_hand in "\n".join(lines)
    assert "\n".join(lines) in COST_PAGE.read_text("utf-8")


@settings(max_examples=40, deadline=None)
@given(
    st.decimals("0.01", "9999", places=2), st.integers(1, 400), st.integers(1, 60),
    st.dictionaries(st.text("abc", min_size=1), st.decimals("0", "999", places=2), max_size=4),
)  # fmt: skip
def test_nothing_is_lost_between_hide_and_pieces(
    amount: Decimal, quarters: int, count: int, materials: dict[str, Decimal]
) -> None:
    area = quarters / 4
    kind = ("x", area / count, PieceRules(), count)
    made = cost(
        (hide(area, area),), price_from(f"{amount}"), placing=placed(kind, usable_ft2=area), digests=(DIGEST,),
        extras=Extras(tuple(materials.items())),
    )  # fmt: skip
    # Areas stand to a millionth of a foot; so do sums of money that come from them.
    tolerance = Decimal(count) * Decimal("0.000001") / made.usable.ft2 * amount + Decimal("1e-9")
    assert abs(made.pieces[0].each * count - amount) <= tolerance
    assert made.set_total is not None and made.set_leather is not None
    assert made.extras.total == sum(materials.values(), Decimal(0))
    assert abs(made.set_total - made.set_leather - made.extras.total) < Decimal("1e-20")  # of 28 digits


def test_a_decimal_is_never_a_binary_fraction() -> None:
    # 0.1 + 0.2: the sum that binary fractions miss.
    extra = extras_from("[materials]\na = 0.1\nb = 0.2", "x")
    assert extra.total == Decimal("0.3")
    assert shown(Decimal("0.005")) == "0.01" and shown(Decimal("-0.005")) == "-0.01"


def test_the_area_that_the_price_is_of_is_said() -> None:
    of_marked = cost((hide(11.0, 10.0),), price_from("2/ft2"), marked=(marked_area("11 2/4"),))
    of_measured = cost((hide(11.0, 10.0),), price_from("2/ft2"))
    assert "for 11.50 ft² marked" in cost_lines(of_marked)[0] and of_marked.paid == 23
    assert "for 11.00 ± 0.10 ft² measured" in cost_lines(of_measured)[0] and of_measured.paid == 22
    assert of_measured.difference is None


def test_quarters_and_the_uncertainty_explain_a_difference() -> None:
    def explained(text: str) -> bool:
        made = cost((hide(11.0, 10.0),), price_from("2/ft2"), marked=(marked_area(text),))
        return made.difference is not None and made.difference.explained

    assert explained("11.1ft2") and not explained("11.2ft2")  # U is 0.1 ft2
    assert explained("10 3/4") is False and explained("11 0/4")
    unknown = replace(hide(11.0, 10.0).measures.area_net, expanded_uncertainty=None)
    bare = hide(11.0, 10.0)
    bare = replace(bare, measures=replace(bare.measures, area_net=unknown))
    made = cost((bare,), price_from("2/ft2"), marked=(marked_area("11 0/4"),))
    assert made.difference is not None and made.difference.worth_expanded is None and not made.difference.explained


def test_several_hides_add_up_and_their_uncertainties_by_squares() -> None:
    # JCGM 100, 5.1.2, equation 10: independent components add by squares: 0.06 and 0.08 give 0.10.
    made = cost((hide(3.0, 3.0, 0.03), hide(4.0, 4.0, 0.04)), price_from("70"))
    assert made.measured.ft2 == 7 and made.measured.expanded == Decimal("0.1")
    assert made.paid / made.measured.ft2 == 10


def test_a_percentage_of_waste_wins_over_the_placing() -> None:
    pieces = placed(("sole", 0.5, PieceRules(count=2), 2))
    made = cost((hide(11.0, 10.0),), price_from("100"), placing=pieces, digests=(DIGEST,), waste_percent=Decimal(25))
    assert made.pieces[0].each == Decimal("6.25") and made.set_leather == Decimal("12.50")
    assert "a set (2 sole)" in "\n".join(cost_lines(made)) and "25.0 % waste (given)" in "\n".join(cost_lines(made))


@pytest.mark.parametrize(
    ("text", "amount", "currency", "a_foot"),
    [
        ("120", "120", "", False),
        ("120.50 EUR", "120.50", "EUR", False),
        ("€9.50/ft2", "9.50", "€", True),
        ("9.50 kr / foot", "9.50", "kr", True),
        ("1/dm2", "9.290304", "", True),  # 1 ft2 = 9.290304 dm2 exactly
        ("100/m2", "9.290304", "", True),
    ],
)
def test_prices_are_read(text: str, amount: str, currency: str, a_foot: bool) -> None:
    price = price_from(text)
    assert (price.amount, price.currency, price.a_foot) == (Decimal(amount), currency, a_foot)


def test_a_price_is_read_with_a_decimal_comma_but_never_guessed() -> None:
    assert price_from("9,50 EUR/ft2") == price_from("9.50 EUR/ft2")
    with pytest.raises(BadInput, match="may be 1250"):
        price_from("1,250 EUR")


@pytest.mark.parametrize("text", ["", "EUR", "-5", "0", "9.50/yard", "9" * 6000, "1e3", "nan", "$5 EUR"])
def test_other_prices_are_refused(text: str) -> None:
    with pytest.raises(BadInput, match="--price"):
        price_from(text)


@pytest.mark.parametrize(
    "text", ["x", "thread = 1", "[materials]\na = 'x'", "[materials]\na = -1", "[materials]\na = nan", "materials = 3",
             "[hours]\na = 1", "rate = true"]
)  # fmt: skip
def test_other_extras_are_refused(text: str) -> None:
    with pytest.raises(BadInput, match=r"x\.toml"):
        extras_from(text, "x.toml")


def test_leather_that_marks_cover_wholly_has_no_price() -> None:
    with pytest.raises(BadInput, match="leave nothing"):
        cost((hide(10, 0),), price_from("100 EUR"))


def test_marks_and_placings_of_other_hides_are_refused() -> None:
    with pytest.raises(BadInput, match="once for each"):
        cost((hide(1, 1), hide(1, 1)), price_from("1"), marked=(marked_area("11 2/4"),))
    with pytest.raises(BadInput, match="deer"):
        cost(
            (hide(1, 1),),
            price_from("1"),
            placing=placed(("upper", 2.0, PieceRules(pair=True), 4)),
            digests=("11" * 32,),
        )


def test_only_the_very_map_that_was_placed_is_charged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The photo is the same in the map of an offcut, and in a map that a word has changed: the pieces lie on neither."""
    maps = {
        "deer": rectangle_map(),
        "offcut": rectangle_map(hide_id="1", parent_id="2"),
        "changed": rectangle_map(revision=2),
    }
    for name, made in maps.items():
        (tmp_path / f"{name}.hide.json").write_bytes(to_json(made))
    on = placed(("upper", 1.0, PieceRules(pair=True), 2))
    digest = hashlib.sha256((tmp_path / "deer.hide.json").read_bytes()).hexdigest()
    on = replace(on, hides=(replace(on.hides[0], map_sha256=digest),))
    (tmp_path / "placing.json").write_bytes(placing_file.to_json(on))
    for name, code in (("deer", 0), ("offcut", 2), ("changed", 2)):
        words = [
            "cost",
            str(tmp_path / f"{name}.hide.json"),
            "--price",
            "60",
            "--placing",
            str(tmp_path / "placing.json"),
        ]
        monkeypatch.setattr(sys, "argv", ["hidescan", *words])
        with pytest.raises(SystemExit) as stop:
            main()
        said = capsys.readouterr()
        assert stop.value.code == code and (code == 0 or "place again" in said.err)


def test_leather_worth_keeping_is_not_charged_to_the_pieces() -> None:
    """One pair of 0.5 ft2 on a hide of 10 usable ft2 for 100: 9 of them kept. The pair bears 10, not 100 (Fractions)."""
    one = placed(("upper", 0.5, PieceRules(pair=True), 2), kept_ft2=(9.5, 9.0))
    made = cost((hide(11.0, 10.0),), price_from("100 EUR"), placing=one, digests=(DIGEST,))
    assert made.leather is not None and made.set_leather is not None and made.waste_share is not None
    assert Fraction(made.set_leather) == Fraction(100) * (1 - Fraction(9, 10))
    assert Fraction(made.waste_share) == Fraction(10 - 9, 1) - 1
    assert (made.leather.cut, made.leather.kept, made.leather.lost) == (Decimal(1), Decimal("9.5"), Decimal("0.5"))
    text = "\n".join(cost_lines(made))
    assert "of 11.00 ft² net 1.00 cut, 9.50 kept (1 offcut), 0.50 lost" in text and "worth 90.00 EUR" in text


@settings(max_examples=60, deadline=None)
@given(
    st.decimals("0.01", "9999", places=2), st.integers(1, 30), st.integers(1, 4), st.booleans(), st.integers(0, 100),
    st.integers(0, 100),
)  # fmt: skip
def test_sets_never_cost_more_than_was_paid_and_waste_is_never_less_than_nothing(
    amount: Decimal, placed_pieces: int, count: int, pair: bool, kept: int, marked: int
) -> None:
    """In Fractions: what the sets cost and what the kept leather is worth are together no more than was paid."""
    rules = PieceRules(count=count, pair=pair)
    used = Fraction(8 * placed_pieces, 40)
    usable = used + (10 - used) * Fraction(marked, 100)  # from no leather beside the pieces to all of it
    keep = (usable - used) * Fraction(kept, 100)
    on = placed(("x", 0.2, rules, placed_pieces), usable_ft2=float(usable), kept_ft2=(float(keep), float(keep)))
    made = cost((hide(11.0, float(usable)),), price_from(f"{amount}"), placing=on, digests=(DIGEST,))
    assert made.waste_share is not None and made.waste_share >= 0
    assert made.sets == placed_pieces // (count * (2 if pair else 1))
    tiny = Fraction(1, 10**20)
    if made.sets:
        assert made.set_leather is not None and made.leather is not None
        assert made.sets * Fraction(made.set_leather) + Fraction(made.leather.credit) <= Fraction(amount) + tiny
    else:
        assert made.set_leather is None and made.set_total is None


def test_a_waste_with_which_the_pieces_cost_more_than_the_hides_is_refused() -> None:
    on = placed(("upper", 2.0, PieceRules(pair=True), 4))  # 8 of 10 ft2: 25 % is all that is left
    assert cost((hide(11, 10),), price_from("100"), placing=on, digests=(DIGEST,), waste_percent=Decimal(25)).sets == 2
    with pytest.raises(BadInput, match=r"25\.0 % at most"):
        cost((hide(11, 10),), price_from("100"), placing=on, digests=(DIGEST,), waste_percent=Decimal(26))


def test_a_placing_of_the_first_version_opens_with_its_content_whole() -> None:
    """The file was written by version 0.1.0 for the map beside it; the pieces' sum is taken from its own polygons."""
    data = Path(__file__).parents[1] / "data"
    old = json.loads((data / "placing_of_0.1.0.json").read_bytes())
    read = placing_file.from_json((data / "placing_of_0.1.0.json").read_bytes(), "old")
    again = json.loads(placing_file.to_json(read))
    for key, value in old.items():
        if key == "hides":
            assert [
                {k: v for k, v in hide.items() if k in old_hide}
                for hide, old_hide in zip(again[key], value, strict=True)
            ] == value
        else:
            assert again[key] == value
    map_file = data / "map_of_0.1.0.hide.json"
    hide_map = from_json(map_file.read_bytes(), "map")
    assert read.hides[0].hide_id == hide_map.hide_id
    digest = hashlib.sha256(map_file.read_bytes()).hexdigest()
    made = cost((hide_map,), price_from("60 EUR"), placing=read, digests=(digest,))
    area = sum(Polygon(p["hide_mm"]["coordinates"][0]).area for p in old["placed"]) / FT2
    assert (
        made.sets == 1
        and made.set_leather == pytest.approx(Decimal(60))
        and float(sum(p.ft2 * p.in_a_set for p in made.pieces)) == pytest.approx(area, abs=1e-5)
    )
    assert made.leather is None


def test_the_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "deer.hide.json").write_bytes(to_json(rectangle_map()))
    pieces = placed(("upper", 1.0, PieceRules(pair=True), 2))
    digest = hashlib.sha256(to_json(rectangle_map())).hexdigest()
    pieces = replace(pieces, hides=(replace(pieces.hides[0], map_sha256=digest),))
    (tmp_path / "placing.json").write_bytes(placing_file.to_json(pieces))
    words = ["cost", str(tmp_path / "deer.hide.json"), "--price", "60 EUR", "--placing", str(tmp_path / "placing.json")]
    for extra, code, said in (
        ([], 0, "a pair in all"),
        (["--waste", "lots"], 2, "--waste"),
        (["--extras", str(tmp_path / "none.toml")], 2, "cannot be read"),
    ):
        monkeypatch.setattr(sys, "argv", ["hidescan", *words, *extra])
        with pytest.raises(SystemExit) as stop:
            main()
        captured = capsys.readouterr()
        assert stop.value.code == code and re.search(said, captured.out + captured.err)

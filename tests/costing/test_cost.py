"""Money, against sums done by hand."""

import re
import sys
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hidescan.basics.errors import BadInput
from hidescan.cli.app import main
from hidescan.costing.cost import Cost, Extras, cost, cost_lines, extras_from, price_from, shown
from hidescan.figures.marked_area import marked_area
from hidescan.hide_map.json_io import to_json
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


def placed(*kinds: tuple[str, float, PieceRules, int], usable_ft2: float = 10.0) -> Placing:
    used = sum(area * count for _, area, _, count in kinds) * FT2
    return Placing(
        "0.1.0", 1, 1,
        (PlacedOn("deer", "00", "ab" * 32, 11 * FT2, usable_ft2 * FT2, used, used / usable_ft2 / FT2),),
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
    return cost((hide(11.0, 10.0),), price, marked=marked, placing=pieces, extras=extras)


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
        (hide(area, area),), price_from(f"{amount}"), placing=placed(kind, usable_ft2=area),
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
    made = cost((hide(11.0, 10.0),), price_from("100"), placing=pieces, waste_percent=Decimal(25))
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


@pytest.mark.parametrize("text", ["", "EUR", "-5", "0", "9,50", "9.50/yard", "1e3", "nan", "$5 EUR"])
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
    other = replace(hide(1, 1), photo=replace(rectangle_map().photo, sha256="cd" * 32))
    with pytest.raises(BadInput, match="deer"):
        cost((other,), price_from("1"), placing=placed(("upper", 2.0, PieceRules(pair=True), 4)))


def test_the_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "deer.hide.json").write_bytes(to_json(rectangle_map()))
    pieces = placed(("upper", 1.0, PieceRules(pair=True), 2))
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

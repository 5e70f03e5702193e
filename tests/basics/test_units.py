"""Lengths, thicknesses and areas as people write and read them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hidescan.basics import units
from hidescan.basics.errors import BadInput


@pytest.mark.parametrize(
    ("text", "expected_mm"),
    [
        ("1842mm", 1842.0),
        ("72.5in", 1841.5),
        ("72 1/2in", 1841.5),
        (" 6 ft ", 1828.8),
        ("184.2cm", 1842.0),
        ("1.842m", 1842.0),
        ('72.5"', 1841.5),
        (".5in", 12.7),
    ],
)
def test_lengths(text: str, expected_mm: float) -> None:
    assert units.parse_length_mm(text) == pytest.approx(expected_mm, rel=1e-14)


@pytest.mark.parametrize(
    ("text", "expected_mm"),
    # 1 oz = 1/64 in of leather thickness: common practice of the trade; 1 in = 25.4 mm: international yard, 1959.
    [("1oz", 0.396875), ("4.5oz", 1.7859375), ("5/64in", 1.984375), ("1.8mm", 1.8), ("1.8 MM", 1.8), ("1/4in", 6.35)],
)
def test_thicknesses(text: str, expected_mm: float) -> None:
    assert units.parse_thickness_mm(text) == pytest.approx(expected_mm, rel=1e-14)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("1.8", "no unit"),
        ("1,842mm", "may be 1842"),
        ("1.8cm", "not a unit"),
        ("thick", "cannot read"),
        ("", "cannot read"),
        ("-1mm", "cannot read"),
        ("0mm", "more than zero"),
        ("nan mm", "cannot read"),
        ("1e3mm", "cannot read"),
        ("5/0in", "zero"),
        ("1842mm", "any hide"),
        ("٣mm", "cannot read"),
    ],
)
def test_refused_thickness_says_why_in_one_line(text: str, says: str) -> None:
    with pytest.raises(BadInput, match=says) as refused:
        units.parse_thickness_mm(text)
    assert "\n" not in str(refused.value)


def test_ounce_is_no_length() -> None:
    with pytest.raises(BadInput, match="not a unit of length"):
        units.parse_length_mm("4oz")


def test_square_foot_in_square_decimetres() -> None:
    # 1 ft2 = 9.290304 dm2 exactly, from 1 ft = 0.3048 m exactly (international yard and pound agreement, 1959).
    assert f"{units.MM2_PER_FT2 / units.MM2_PER_DM2:.12f}" == "9.290304000000"
    assert units.MM2_PER_FT2 == pytest.approx(304.8**2, rel=1e-15)


@pytest.mark.parametrize(
    ("area_ft2", "text"),
    # Whole feet and quarters; a small 2 after 34 means 34.5 ft2: common practice, no source.
    [(34.5, "34½ ft²"), (34.62, "34½ ft²"), (34.63, "34¾ ft²"), (34.9, "35 ft²"), (0.25, "¼ ft²"), (0.1, "0 ft²")],
)
def test_quarter_foot(area_ft2: float, text: str) -> None:
    assert units.format_quarter_foot(area_ft2 * units.MM2_PER_FT2) == text


@given(st.floats(0, 1e8))
def test_quarter_foot_rounds_by_at_most_an_eighth(area_mm2: float) -> None:
    whole, quarters = units.quarter_feet(area_mm2)
    assert 0 <= quarters <= 3
    assert abs((whole + quarters / 4) - area_mm2 / units.MM2_PER_FT2) <= 0.125 + 1e-9


@given(st.floats(0.01, 25, allow_nan=False))
def test_thickness_round_trip(thickness_mm: float) -> None:
    assert units.parse_thickness_mm(f"{thickness_mm:.6f}mm") == pytest.approx(thickness_mm, abs=1e-6)
    assert units.parse_thickness_mm(f"{thickness_mm / units.MM_PER_OUNCE:.6f}oz") == pytest.approx(
        thickness_mm, abs=1e-6
    )


def test_areas_lengths_thicknesses_as_text() -> None:
    # 1000 x 600 mm = 60 dm2 = 6.4583 ft2: by hand.
    assert units.format_area(600_000, "ft") == "6.46 ft²"
    assert units.format_area(600_000, "metric") == "60.0 dm²"
    assert units.format_area(3_186_716, "metric") == "3.187 m²"
    assert units.format_length(1841.5, "ft") == "72.5 in"
    assert units.format_thickness(1.984375, "ft") == "5.0 oz"


@pytest.mark.parametrize(
    ("comma", "point"),
    [("1,8mm", "1.8mm"), ("0,998mm", "0.998mm"), (",5mm", ".5mm"), ("4,25oz", "4.25oz"), ("0,07in", "0.07in")],
)
def test_a_decimal_comma_is_read_as_a_point(comma: str, point: str) -> None:
    """ISO 80000-1, 7.3.2: the decimal sign is either a comma or a point on the line."""
    assert units.parse_thickness_mm(comma) == units.parse_thickness_mm(point)


@pytest.mark.parametrize(
    "text", ["9" * 6000 + "mm", "1" * 30 + "m", "1/" + "9" * 5000 + "in", "2000km", "0." + "0" * 500 + "1mm"]
)
def test_numbers_without_end_are_refused(text: str) -> None:
    for read in (units.parse_length_mm, units.parse_thickness_mm, units.parse_area_mm2):
        with pytest.raises(BadInput):
            read(text)

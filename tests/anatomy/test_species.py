"""Plausible sizes."""

import pytest

from hidescan.anatomy.species import TYPICAL, plausible_size
from hidescan.basics.units import MM2_PER_FT2


@pytest.mark.parametrize(
    ("species", "area_ft2"),
    # Typical tanned hides of merchants: deer 10-12 ft2, elk 24-25, cattle 45-55; goat, sheep, calf from memory.
    [
        ("deer", 11),
        ("elk", 24.5),
        ("cattle", 50),
        ("goat", 5.5),
        ("sheep", 7),
        ("calf", 11),
        ("pig", 13),
        ("bison", 35),
    ],
)
def test_typical_hides_pass(species: str, area_ft2: float) -> None:
    area_mm2 = area_ft2 * MM2_PER_FT2
    length_mm = (2.0 * area_mm2) ** 0.5
    assert plausible_size(species, "whole", area_mm2, length_mm) is None
    assert plausible_size(species.upper() + " ", "side", area_mm2 / 2, length_mm) is None


def test_scale_twice_too_large_is_noticed() -> None:
    area_mm2 = 11 * MM2_PER_FT2
    warning = plausible_size("deer", "whole", 4 * area_mm2, 2600.0)
    assert warning is not None
    assert "44.0 ft²" in warning
    assert "4 to 18 ft²" in warning
    assert "\n" not in warning


def test_odd_length_is_noticed() -> None:
    warning = plausible_size("deer", "whole", 11 * MM2_PER_FT2, 400.0)
    assert warning is not None
    assert "length" in warning


def test_a_piece_has_no_least_size() -> None:
    assert plausible_size("cattle", "piece", 0.05e6, 300.0) is None
    assert plausible_size("cattle", "piece", 10e6, 300.0) is not None


def test_unknown_species_is_not_judged() -> None:
    assert plausible_size("wyvern", "whole", 1e9, 1.0) is None


def test_bounds_are_in_order() -> None:
    for species in TYPICAL.values():
        assert 0 < species.least_ft2 < species.most_ft2
        assert 0 < species.thickness_u_mm < species.thickness_mm

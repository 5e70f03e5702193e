"""The rules of propagation against worked examples of the Guides.

The Guides' numbers are quoted from memory of JCGM 100:2008 annex H.1 and JCGM 101:2008 clauses 9.2.3 and 9.2.4; each
was recomputed before it was written here.
"""

import math

import numpy as np
import pytest

from hidescan.basics.uncertainty import Measured, expanded_with_steps, half_width_95, root_sum_square


def test_end_gauge_of_jcgm_100_annex_h_1() -> None:
    """l = lS + d - lS (dalpha theta + alphaS dtheta): components 25, 9.7, 2.9 and 16.6 nm, combined 32 nm."""
    length_nm = 50.000623e6
    components = (25.0, 9.7, length_nm * 0.1 * 0.58e-6, length_nm * 11.5e-6 * 0.0289)
    assert components[2] == pytest.approx(2.9, abs=0.05)
    assert components[3] == pytest.approx(16.6, abs=0.1)
    assert root_sum_square(*components) == pytest.approx(31.7, abs=0.1)


def test_four_equal_rectangles_of_jcgm_101_9_2_3() -> None:
    """u = 2.00; the exact 95 % interval is +/-3.88 = 2 sqrt(3) (2 - (3/5)^(1/4)), not the Gaussian 3.92."""
    half_widths = (math.sqrt(3.0),) * 4
    assert root_sum_square(*(h / math.sqrt(3) for h in half_widths)) == pytest.approx(2.0)
    exact = 2 * math.sqrt(3) * (2 - 0.6**0.25)
    assert half_width_95(0.0, half_widths) == pytest.approx(exact, abs=0.01)


def test_one_rectangle_that_rules_of_jcgm_101_9_2_4() -> None:
    """u = sqrt(103) = 10.15; the 95 % interval is +/-17.0, where k u would give +/-19.9."""
    half_widths = (math.sqrt(3.0),) * 3 + (10 * math.sqrt(3.0),)
    assert root_sum_square(*(h / math.sqrt(3) for h in half_widths)) == pytest.approx(math.sqrt(103))
    assert half_width_95(0.0, half_widths) == pytest.approx(17.0, abs=0.05)


def test_without_rectangles_it_is_the_gaussian_interval() -> None:
    assert half_width_95(3.0, ()) == pytest.approx(1.96 * 3.0, rel=2e-3)


def test_a_gaussian_with_a_rectangle_against_monte_carlo() -> None:
    rng = np.random.default_rng(0)
    sample = np.abs(rng.normal(0, 0.7, 2_000_000) + rng.uniform(-2, 2, 2_000_000))
    assert half_width_95(0.7, (2.0,)) == pytest.approx(np.quantile(sample, 0.95), rel=3e-3)


def test_expanded_is_twice_the_standard_uncertainty() -> None:
    assert Measured(5.0, 0.5).expanded == 1.0


def test_undefined_stays_undefined() -> None:
    assert math.isnan(Measured(5.0, math.nan).expanded)
    assert math.isnan(half_width_95(math.nan, (1.0,)))
    assert math.isnan(half_width_95(1.0, (math.nan,)))
    assert math.isnan(expanded_with_steps(math.nan, [(0.3, 10.0)]))


def test_what_is_sure_has_no_width() -> None:
    assert half_width_95(0.0, ()) == half_width_95(0.0, (0.0,)) == expanded_with_steps(0.0, []) == 0.0

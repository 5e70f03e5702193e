import numpy as np
import pytest

from hidescan.floor import sheet
from hidescan.floor.parameters import OF_BEND

RNG = np.random.default_rng(4)
PLACES = RNG.uniform(-110, 110, (40, 2))


def cylinder(rise_mm: float, direction_deg: float) -> np.ndarray:
    """Bend of a cylinder that rises so far 100 mm from its axis, across a direction."""
    c, s = np.cos(np.deg2rad(direction_deg)), np.sin(np.deg2rad(direction_deg))
    return rise_mm * np.array([c * c, 2 * c * s, s * s, 0, 0, 0, 0])


@pytest.mark.parametrize("direction", [0, 30, 90, 140])
def test_a_cylinder_rises_with_the_square_and_keeps_its_length(direction: float) -> None:
    """Arc length of a parabola z = k s^2 / 2 in plan u: u + k^2 u^3 / 6 (series of its closed form)."""
    bend = cylinder(3.0, direction)
    across = np.array([np.cos(np.deg2rad(direction)), np.sin(np.deg2rad(direction))])
    s = PLACES @ across
    np.testing.assert_allclose(sheet.heights(PLACES) @ bend, 3.0 * (s / 100) ** 2, atol=1e-9)
    moved, _ = sheet.shortening(PLACES, bend)
    k = 2 * 3.0 / 100**2
    np.testing.assert_allclose(moved @ across, -(k**2) * s**3 / 6, atol=1e-9)
    np.testing.assert_allclose(moved @ (-across[1], across[0]), 0, atol=1e-9)


@pytest.mark.parametrize("direction", [0, 20, 45, 130, 250])
def test_a_sheet_that_curls_on_one_side_only_is_told_by_its_harmonics(direction: float) -> None:
    """z = k max(s, 0)^2 = k (s^2 + s |s|) / 2; cos p |cos p| = 8/(3 pi) cos p + 8/(15 pi) cos 3 p - ... (Fourier)."""
    a = np.deg2rad(direction)
    first, third = 8 / (3 * np.pi), 8 / (15 * np.pi)
    odd = np.array([first * np.cos(a), first * np.sin(a), third * np.cos(3 * a), third * np.sin(3 * a)])
    bend = cylinder(2.0, direction) + np.concatenate([np.zeros(3), 2.0 * odd])
    s = PLACES @ (np.cos(a), np.sin(a)) / 100
    np.testing.assert_allclose(sheet.heights(PLACES) @ bend, 4.0 * np.maximum(s, 0) ** 2, atol=0.12)


def test_derivatives_against_central_differences() -> None:
    bend = RNG.normal(0, 1.5, OF_BEND)
    for of in (
        lambda b: sheet.shortening(PLACES, b),
        lambda b: sheet.rest(b),
        lambda b: sheet.prior(b, 1.0, 0.7, 1.0),
    ):
        J = of(bend)[1]
        for p in range(OF_BEND):
            step = 1e-5 * np.eye(OF_BEND)[p]
            slope = (np.asarray(of(bend + step)[0]) - np.asarray(of(bend - step)[0])) / 2e-5
            np.testing.assert_allclose(J[..., p], slope, atol=1e-6)


def test_a_sheet_rests_on_its_lowest_points() -> None:
    """A trough on its middle, an arch across on both long sides of A4 (210 mm apart): to a hair that smooths."""
    assert sheet.rest(cylinder(3.0, 0))[0] == pytest.approx(0, abs=0.15)
    assert sheet.rest(cylinder(-3.0, 0))[0] == pytest.approx(3.0 * 1.05**2, abs=0.15)
    assert sheet.rest(np.zeros(OF_BEND))[0] == pytest.approx(0, abs=1e-12)


def test_a_surface_curved_two_ways_at_once_strains_the_sheet() -> None:
    """Gauss: a cylinder has none of his curvature, a bowl has."""
    bowl = np.array([1.5, 0, 1.5, 0, 0, 0, 0])
    costs = [float(np.sum(sheet.prior(b, 1.0, 0.7, 1.0)[0] ** 2)) for b in (cylinder(3.0, 0), cylinder(3.0, 50), bowl)]
    assert costs[0] == pytest.approx(costs[1], rel=1e-6)
    assert costs[2] > 3 * costs[0]


def test_depth_is_the_rise_within_the_places() -> None:
    assert sheet.depth_mm(cylinder(2.0, 0), np.array([[0.0, 0], [100, 5], [-50, 40]])) == pytest.approx(2.0)
    assert sheet.depth_mm(cylinder(2.0, 0), np.zeros((0, 2))) == 0

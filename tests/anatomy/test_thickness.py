"""The thickness field: closed forms, limits, and coverage of its stated intervals."""

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import box

from hidescan.anatomy.thickness import gauged_thickness, typical_thickness
from hidescan.anatomy.zones import lay_zones
from hidescan.settings import ThicknessSettings, ZoneLines

SETTINGS = ThicknessSettings()
AREA_MM2 = 0.9e6
Array = NDArray[np.float64]


def one_component(nugget: float = 0.0) -> ThicknessSettings:
    """A grid of one point: 20 % amplitude, range half the hide's size."""
    return ThicknessSettings(nugget_shares=(nugget,), amplitude_shares=(0.2,), range_shares=(0.5,))


def test_one_reading_by_hand() -> None:
    # One reading of 2 mm: the mean is the reading everywhere; far away the variance is that of the field twice over
    # (the field there, and the field under the reading, which the mean was taken from) and of the reading.
    # Rasmussen and Williams 2006, equations 2.41 and 2.42 with N = 1.
    field = gauged_thickness(np.array([[0.0, 0.0]]), np.array([2.0]), np.array([0.1]), AREA_MM2, one_component())
    mean, u = field.predict(np.array([[0.0, 0.0], [1e6, 0.0]]))
    np.testing.assert_allclose(mean, [2.0, 2.0])
    amplitude = 0.2 * 2.0
    np.testing.assert_allclose(u, [0.1, np.sqrt(2 * amplitude**2 + 0.1**2)], rtol=1e-9)


def test_against_a_direct_formula() -> None:
    # Ordinary kriging written as one linear system with a Lagrange multiplier (Cressie 1993, Statistics for Spatial
    # Data, section 3.2, from memory): another road to the same prediction.
    rng = np.random.default_rng(3)
    points, u = rng.uniform(0, 1000, (7, 2)), rng.uniform(0.05, 0.15, 7)
    values = 2.0 + rng.normal(0, 0.3, 7)
    level, reach = float(np.median(values)), 0.5 * np.sqrt(AREA_MM2)

    def covariance(a: Array, b: Array) -> Array:
        root = np.sqrt(3) * np.linalg.norm(a[:, None] - b[None], axis=2) / reach
        return np.asarray((0.2 * level) ** 2 * (1 + root) * np.exp(-root))

    at = np.array([[300.0, 400.0], [1500.0, 1500.0]])
    system = np.ones((8, 8))
    system[:7, :7] = covariance(points, points) + np.diag(u**2)
    system[7, 7] = 0.0
    right = np.vstack([covariance(points, at), np.ones((1, 2))])
    solved = np.linalg.solve(system, right)
    expected_mean = solved[:7].T @ values
    expected_u = np.sqrt((0.2 * level) ** 2 - (solved * right).sum(axis=0))
    mean, got_u = gauged_thickness(points, values, u, AREA_MM2, one_component()).predict(at)
    np.testing.assert_allclose(mean, expected_mean, rtol=1e-9)
    np.testing.assert_allclose(got_u, expected_u, rtol=1e-9)


def test_uncertainty_grows_away_from_the_readings() -> None:
    points = np.array([[0.0, 300.0], [0.0, 600.0], [150.0, 450.0]])
    field = gauged_thickness(points, np.array([2.0, 2.2, 1.8]), np.full(3, 0.08), AREA_MM2, SETTINGS)
    _, u = field.predict(np.array([[0.0, 450.0], [300.0, 450.0], [600.0, 450.0], [1500.0, 450.0]]))
    assert (np.diff(u) > 0).all()
    assert field.label == "interpolated from gauge readings"


def simulated_z(kind: str, count: int, seed: int) -> list[float]:
    """Leave-one-out errors of one simulated hide, over the stated standard uncertainty."""
    rng = np.random.default_rng(seed)
    points = rng.uniform([-450.0, 0.0], [450.0, 1300.0], (count, 2))
    level = rng.uniform(1.0, 4.0)
    amplitude, reach = rng.uniform(0.05, 0.3) * level, rng.uniform(0.2, 0.6) * np.sqrt(AREA_MM2)
    if kind == "smooth":  # squared exponential: another covariance than the field's own
        apart = np.linalg.norm(points[:, None] - points[None], axis=2)
        covariance = amplitude**2 * np.exp(-0.5 * (apart / reach) ** 2) + 1e-9 * np.eye(count)
        local = rng.multivariate_normal(np.zeros(count), covariance)
    else:  # thinner toward the flanks and along the hide, as a quadratic surface
        x, y = points[:, 0] / 450, points[:, 1] / 650 - 1
        a, b, c = rng.normal(size=3)
        local = amplitude * (a * x**2 + b * y + c * y**2) / 1.5
    u = rng.uniform(0.04, 0.12)
    values = np.maximum(level + local + rng.normal(0, u, count), 0.2)
    z = []
    for k in range(count):
        rest = np.arange(count) != k
        field = gauged_thickness(points[rest], values[rest], np.full(count - 1, u), AREA_MM2, SETTINGS)
        mean, predicted_u = field.predict(points[k : k + 1])
        z.append(float((values[k] - mean[0]) / np.hypot(predicted_u[0], u)))
    return z


@pytest.mark.parametrize("kind", ["smooth", "quadratic"])
def test_leave_one_out_coverage(kind: str) -> None:
    z = np.concatenate([simulated_z(kind, count, seed) for seed in range(12) for count in (6, 12, 20)])
    inside = np.mean(np.abs(z) < 1.96)
    assert 0.90 <= inside <= 0.985  # 456 errors: the share itself is good to 1 %


@pytest.mark.parametrize(("values", "u"), [([], []), ([2.0, 0.0], [0.1, 0.1]), ([2.0], [0.0])])
def test_no_field_without_proper_readings(values: list[float], u: list[float]) -> None:
    with pytest.raises(ValueError, match="at least one reading"):
        gauged_thickness(np.zeros((len(values), 2)), np.array(values), np.array(u), AREA_MM2, SETTINGS)


def test_typical_thickness_is_cautious_and_says_so() -> None:
    curve = np.column_stack([np.zeros(41), np.linspace(0.0, 2000.0, 41)])
    zones = lay_zones(box(-500, 0, 500, 2000), "whole", curve, ZoneLines())
    typical = typical_thickness(zones, 2.0, 0.4, SETTINGS)
    assert typical.label == "typical, not measured"
    # butt, shoulder, neck, flank
    mean, u = typical.predict(np.array([[0.0, 500.0], [0.0, 1500.0], [0.0, 1950.0], [480.0, 300.0]]))
    # Studies do not agree on the thickest part, so none of the three is said to be thicker.
    np.testing.assert_allclose(mean[:3], 2.0)
    assert mean[3] < 2.0
    assert (u >= 0.5).all()

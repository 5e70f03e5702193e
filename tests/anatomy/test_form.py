"""Straight edges and forms on outlines made from geometry."""

import numpy as np
import pytest
from numpy.typing import NDArray

from hidescan.anatomy.form import FORMS, form_features, form_probabilities, straight_edge
from hidescan.anatomy.symmetry import mirror_axes, mirror_fit, unit_outline
from hidescan.basics.geometry import resample, rotation_2d
from hidescan.settings import FormSettings, SymmetrySettings
from tests.synthetic.hides import any_form

SETTINGS = FormSettings()
SYMMETRY = SymmetrySettings()
Points = NDArray[np.float64]


def half_ellipse() -> Points:
    """Flat side on the y axis, 2000 mm long, body to the right."""
    turn = np.linspace(-np.pi / 2, np.pi / 2, 500)
    return resample(np.column_stack([800 * np.cos(turn), 1000 * np.sin(turn)]), 3.0)


def features(ring: Points) -> NDArray[np.float64]:
    outline = unit_outline(ring, SYMMETRY)
    mirrors = [mirror_fit(outline, *start, SYMMETRY) for start in mirror_axes(outline, SYMMETRY)]
    return form_features(outline, mirrors, straight_edge(outline, SETTINGS), SETTINGS)


@pytest.mark.parametrize("turn_deg", [0.0, 33.0, 90.0, 205.0])
def test_flat_side_of_a_half_ellipse(turn_deg: float) -> None:
    outline = unit_outline(half_ellipse() @ rotation_2d(turn_deg).T, SYMMETRY)
    edge = straight_edge(outline, SETTINGS)
    ends = outline.to_mm(np.array([edge.start, edge.end])) @ rotation_2d(turn_deg)
    # The outline runs counter-clockwise, so the flat side is walked from the top to the bottom. Its ends are corners
    # of the resampled ring, good to its spacing.
    np.testing.assert_allclose(ends, [[0.0, 1000.0], [0.0, -1000.0]], atol=16.0)
    assert abs((edge.angle_deg - turn_deg - 270.0 + 180) % 360 - 180) < 0.1
    assert abs(edge.sag) * outline.scale_mm < 1.0


def test_bowed_edge_shows_its_sag() -> None:
    ring = half_ellipse()
    flat = ring[:, 0] < 1.0
    ring[flat, 0] += 12.0 * (1 - (ring[flat, 1] / 1000.0) ** 2)  # bows into the body
    outline = unit_outline(ring, SYMMETRY)
    assert straight_edge(outline, SETTINGS).sag * outline.scale_mm == pytest.approx(12.0, abs=3.0)


def test_features_do_not_change_when_turned_or_mirrored() -> None:
    ring = any_form(np.random.default_rng(3), "side", "cattle").ring_mm
    here = features(ring)
    for other in (
        ring @ rotation_2d(41.0).T + [500.0, -300.0],
        ring * [-1.0, 1.0],
        ring[::-1],
        np.roll(ring, 77, axis=0),
    ):
        np.testing.assert_allclose(features(other), here, atol=0.03)


def test_probabilities_sum_to_one() -> None:
    shares = form_probabilities(features(half_ellipse()), SETTINGS)
    assert tuple(shares) == FORMS
    assert sum(shares.values()) == pytest.approx(1.0)
    assert min(shares.values()) > 0.0


@pytest.mark.parametrize(
    ("form", "species"), [("whole", "deer"), ("whole", "cattle"), ("side", "cattle"), ("piece", "deer")]
)
def test_form_of_generated_outlines(form: str, species: str) -> None:
    rng = np.random.default_rng(20)
    found = []
    for _ in range(8):
        shares = form_probabilities(features(any_form(rng, form, species).ring_mm), SETTINGS)
        found.append(max(shares, key=lambda name: shares[name]))
    assert found.count(form) >= 7

"""Neck against tail: symmetry of the figures, and plain cases."""

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import Polygon, box

from hidescan.anatomy.ends import END_FEATURES, axis_crossings, end_figures, neck_probability
from hidescan.anatomy.form import edge_frame, straight_edge
from hidescan.anatomy.symmetry import unit_outline
from hidescan.basics.geometry import resample
from hidescan.settings import EndSettings, FormSettings, SymmetrySettings

SETTINGS = EndSettings()


def boxy_hide() -> NDArray[np.float64]:
    """A trunk with four limbs, a wide neck at the top and a narrow tail at the bottom; area about 1."""
    shape: Polygon = box(-0.35, -0.5, 0.35, 0.5)
    for limb in (box(-0.55, 0.3, 0.55, 0.45), box(-0.55, -0.48, 0.55, -0.33), box(-0.15, 0.4, 0.15, 0.75)):
        shape = shape.union(limb)
    shape = shape.union(box(-0.03, -0.6, 0.03, -0.4))
    return resample(np.array(shape.exterior.coords)[:-1], 0.01)


def test_crossings() -> None:
    assert axis_crossings(boxy_hide()) == pytest.approx((-0.6, 0.75), abs=0.01)
    assert axis_crossings(boxy_hide() + [2.0, 0.0]) is None


def test_turning_the_axis_round_turns_the_sign() -> None:
    ring = boxy_hide()
    low, high = -0.6, 0.75
    up = end_figures(ring, low, high, SETTINGS)
    down = end_figures(-ring, -high, -low, SETTINGS)
    assert up.shape == (2, len(END_FEATURES))
    np.testing.assert_allclose(up, down[::-1], atol=1e-9)
    weights = SETTINGS.whole_neck_weights
    both = neck_probability(up, weights, SETTINGS) + neck_probability(down, weights, SETTINGS)
    assert both == pytest.approx(1.0)


def test_wide_tab_is_the_neck() -> None:
    probability = neck_probability(
        end_figures(boxy_hide(), -0.6, 0.75, SETTINGS), SETTINGS.whole_neck_weights, SETTINGS
    )
    assert 0.9 < probability <= 0.99


def test_half_a_hide_counts_as_if_mirrored() -> None:
    ring = boxy_hide()
    half = np.minimum(ring, [0.0, np.inf])  # all of it left of the axis
    whole = end_figures(ring, -0.6, 0.75, SETTINGS)
    np.testing.assert_allclose(end_figures(half, -0.6, 0.75, SETTINGS, left_only=True), whole, atol=0.02)


def test_no_sign_of_a_neck_is_a_coin_toss() -> None:
    figures = np.ones((2, len(END_FEATURES)))
    assert neck_probability(figures, SETTINGS.whole_neck_weights, SETTINGS) == 0.5


def test_waves_of_a_cut_edge_do_not_hide_the_neck() -> None:
    # A wavy back cut once counted as further rim, and the sections through it as outside.
    ring = boxy_hide()
    wave = 0.004 * np.sin(60 * ring[:, 1])
    half = np.column_stack([np.where(ring[:, 0] > 0, wave, ring[:, 0]), ring[:, 1]])
    outline = unit_outline(1000 * half, SymmetrySettings())
    edge = straight_edge(outline, FormSettings())
    length = float(np.linalg.norm(edge.end - edge.start))
    frame = edge_frame(outline, edge, FormSettings())
    figures = end_figures(frame, 0.0, length, SETTINGS, left_only=True)
    # The outline runs counter-clockwise, body on the left: a cut on the right-hand side is walked from tail to neck.
    assert figures[0, 3] > figures[1, 3] + 0.02
    assert figures[0, 4] == pytest.approx(0.15 / 0.35, abs=0.1)
    assert neck_probability(figures, SETTINGS.side_neck_weights, SETTINGS) > 0.7

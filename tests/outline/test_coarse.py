"""The region's plain parts: grids, filling, taps; and the network file against a second runtime's answer."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hidescan.outline.coarse import Grid, Hint, filled, honour_taps, largest
from hidescan.outline.networks import run_network


@given(st.floats(-50, 50), st.floats(0.3, 9), st.floats(-2000, 2000), st.floats(-2000, 2000))
def test_grid_there_and_back(corner: float, step: float, x: float, y: float) -> None:
    grid = Grid((corner, -corner), (step, 2 * step))
    point = np.array([[x, y]])
    np.testing.assert_allclose(grid.to_photo(grid.from_photo(point)), point, atol=1e-6)


def test_grid_counts_pixel_centres() -> None:
    """The first of two-pixel-wide cells is centred between pixels 0 and 1."""
    np.testing.assert_allclose(Grid((0.0, 0.0), (2.0, 2.0)).to_photo(np.array([[0.0, 0.0]])), [[0.5, 0.5]])


def test_filled_closes_holes_and_leaves_bays_open() -> None:
    mask = np.zeros((9, 9), bool)
    mask[1:8, 1:8] = True
    mask[3:5, 3:5] = False
    mask[1:4, 6] = False
    full = filled(mask)
    assert full[3:5, 3:5].all() and not full[1:4, 6].any()


def test_largest_keeps_one_piece() -> None:
    mask = np.zeros((8, 8), bool)
    mask[0, 0:2] = True
    mask[3:6, 3:6] = True
    assert largest(mask).sum() == 9


@pytest.mark.parametrize(
    ("at", "inside"), [((5.0, 5.0), True), ((30.0, 30.0), False), ((30.0, 20.0), False), ((55.0, 40.0), True)]
)
def test_taps_end_on_their_side_in_one_piece(at: tuple[float, float], inside: bool) -> None:
    mask = np.zeros((60, 60), bool)
    mask[18:42, 18:42] = True
    probability = np.where(mask, 0.9, 0.1).astype(np.float32)
    out = honour_taps(mask, probability, Grid((0.0, 0.0), (1.0, 1.0)), (Hint(at, inside),), 4)
    assert out[int(at[1]), int(at[0])] == inside
    assert (largest(out) == out).all() and (filled(out) == out).all()


def test_network_is_turned_into_probabilities_of_the_same_size() -> None:
    out = run_network("region", np.full((5, 64, 96), 0.5, dtype=np.float32))
    assert out.shape == (2, 64, 96)
    assert ((out >= 0) & (out <= 1)).all()

import numpy as np
import pytest

from hidescan.floor.adjustment import Adjustment
from hidescan.floor.least_squares import huber_weights, minimised
from hidescan.floor.parameters import FIRST_PLACE, LN_F, LN_SCALE, ON_HIDE, SKEW, TURN, Prior, State, Tape
from hidescan.settings import PlaneSettings
from tests.synthetic.corners import floor_to_floor, priors, seen_card
from tests.synthetic.scenes import TrueCard, look_at

CAMERA = look_at((0, 0), 1600, 25, 60, k1=-0.06, k2=0.015)
CARDS = [TrueCard(1, (-400, 250), 20), TrueCard(2, (450, -300), 140), TrueCard(3, (100, 420), 265, z=2.0)]
TAPES = (Tape(1, 2, floor_to_floor(CARDS[0], CARDS[1])), Tape(1, 3, 700.0))


def adjustment(sd_px: float = 0.0, seed: int = 0) -> Adjustment:
    rng = np.random.default_rng(seed)
    cards = tuple(seen_card(CAMERA, card, sd_px, rng) for card in CARDS)
    return Adjustment(
        cards, CAMERA.size_px, priors(CAMERA, tapes=TAPES[:1], on_hide=Prior(2.0, 1.0)), frozenset({3}), PlaneSettings()
    )


def test_jacobian_against_central_differences() -> None:
    problem = adjustment(0.2)
    problem = Adjustment(problem.cards, problem.size_px, priors(CAMERA, tapes=TAPES), frozenset({3}), problem.settings)
    state = problem.starts()[0]
    state.parameters[[1, 2, SKEW]] = -0.04, 0.01, 0.003
    weights = np.ones(2 * 36)
    residual, jacobian = problem.whitened(state, problem.misfits(state), weights)
    for p in range(len(state.parameters)):
        step = np.zeros(len(state.parameters))
        step[p] = 1e-3 if 6 <= p < 9 or p >= FIRST_PLACE or p == ON_HIDE else 1e-6
        if p >= FIRST_PLACE and (p - FIRST_PLACE) % 3 == 2:
            step[p] = 1e-6  # an angle
        up, down = (
            problem.whitened(moved, problem.misfits(moved), weights)[0]
            for moved in (state.stepped(step), state.stepped(-step))
        )
        slope = (up - down) / (2 * step[p])
        np.testing.assert_allclose(
            jacobian[:, p], slope, rtol=2e-4, atol=2e-4 * max(1.0, np.abs(slope).max()), err_msg=f"{p}"
        )
    assert residual.shape == (2 * 36 + 6 + 2,)


def test_without_noise_the_truth_comes_out() -> None:
    fits = [fit for start in adjustment().starts() if (fit := minimised(adjustment(), start)) is not None]
    state, weights, cost = min(fits, key=lambda fit: fit[2])
    camera = state.camera(CAMERA.size_px)
    at_truth = (CAMERA.k1 / PlaneSettings().k1_u) ** 2 + (CAMERA.k2 / PlaneSettings().k2_u) ** 2
    assert cost < at_truth  # nothing but the distortion's pull on its weak priors
    assert camera.focal_px == pytest.approx(CAMERA.focal_px, rel=2e-3)
    assert camera.k1 == pytest.approx(CAMERA.k1, abs=0.01)
    assert camera.tilt_deg == pytest.approx(25.0, abs=0.1)
    assert state.parameters[ON_HIDE] == pytest.approx(2.0, abs=0.3)
    assert (weights == 1).all()


def test_both_poses_of_the_first_card_are_tried() -> None:
    """Two poses of a plane seen from afar explain it nearly equally well (Schweighofer and Pinz 2006)."""
    assert len(adjustment().starts()) == 2


def test_a_turn_is_folded_into_the_rotation() -> None:
    state = State(np.zeros(FIRST_PLACE), np.eye(3))
    step = np.zeros(FIRST_PLACE)
    step[TURN] = 0.3, -0.2, 0.1
    turned = state.stepped(step)
    assert (turned.parameters[TURN] == 0).all()
    np.testing.assert_allclose(turned.rotation @ turned.rotation.T, np.eye(3), atol=1e-12)
    import cv2

    np.testing.assert_allclose(turned.rotation, cv2.Rodrigues(step[TURN])[0], atol=1e-12)  # reference: OpenCV


def test_a_tape_sets_the_print_scale_free_from_the_printer() -> None:
    """All cards printed 2 % small, scale never measured: one tape brings it back."""
    cards = [TrueCard(c.number, c.centre, c.angle_deg, scale=(0.98, 0.98)) for c in CARDS[:2]]
    rng = np.random.default_rng(2)
    problem = Adjustment(
        tuple(seen_card(CAMERA, card, 0.0, rng) for card in cards),
        CAMERA.size_px,
        priors(CAMERA, measured=False, tapes=(Tape(1, 2, floor_to_floor(*cards)),)),
        frozenset(),
        PlaneSettings(),
    )
    fits = [fit for start in problem.starts() if (fit := minimised(problem, start)) is not None]
    state = min(fits, key=lambda fit: fit[2])[0]
    assert np.exp(state.parameters[LN_SCALE]) == pytest.approx(0.98, abs=5e-4)


def test_a_lens_profile_takes_the_place_of_the_lens_priors() -> None:
    wide = priors(CAMERA)
    covariance = np.array([[1e-4, 2e-5, 0], [2e-5, 4e-4, -1e-4], [0, -1e-4, 1e-4]])
    from dataclasses import replace

    _, jacobian = replace(wide, lens_covariance=covariance).whitened(np.zeros(FIRST_PLACE))
    information = jacobian[:, :3].T @ jacobian[:, :3]
    np.testing.assert_allclose(np.linalg.inv(information), covariance, rtol=1e-6, atol=1e-12)
    assert jacobian[3, LN_SCALE] == pytest.approx(1 / wide.ln_scale.u)
    assert LN_F == 0


def test_huber_weights() -> None:
    """Huber 1964: weight 1 up to the threshold, then threshold over distance; both coordinates of a corner alike."""
    weights = huber_weights(np.array([0.0, 0.2, 3.0, 4.0]), 0.5, 2.0)
    np.testing.assert_allclose(weights, [1, 1, 0.2, 0.2])

"""Cards measured by their printed edges: the adjustment, the sheet's bend, grown ink, noise that edges share."""

from dataclasses import replace

import numpy as np
import pytest

from hidescan.cards.detection import Card
from hidescan.floor.adjustment import Adjustment
from hidescan.floor.least_squares import Noise
from hidescan.floor.noise import estimated_noise
from hidescan.floor.parameters import FIRST_PLACE, LN_SCALE, OF_BEND, ON_HIDE, Prior, State
from hidescan.floor.priors import print_scale_priors
from hidescan.floor.solution import Plane, solve_plane
from hidescan.settings import PlaneSettings
from tests.synthetic.corners import priors, seen_by_edges, seen_card
from tests.synthetic.scenes import TrueCard, look_at

S = PlaneSettings()
CAMERA = look_at((0, 0), 1600, 25, 60, k1=-0.04, k2=0.01)
CARDS = [TrueCard(1, (-450, 300), 20), TrueCard(2, (450, -300), 140), TrueCard(3, (100, 450), 265)]
ENDS = np.array([[-300.0, -250, 0], [350, 200, 0]])


def cards(count: int, sd_px: float = 0.02, seed: int = 0, **laid: float) -> tuple[Card, ...]:
    rng = np.random.default_rng(seed)
    return tuple(seen_by_edges(CAMERA, card, sd_px, rng, **laid) for card in CARDS[:count])


def solved(seen: tuple[Card, ...], measured: bool = True) -> Plane:
    plane = solve_plane(seen, CAMERA.size_px, priors(CAMERA, measured=measured), S)
    assert isinstance(plane, Plane), plane
    return plane


def length_error(plane: Plane) -> float:
    a, b = plane.camera.mm_from_px(CAMERA.project(ENDS))
    return float(np.linalg.norm(a - b) / np.linalg.norm(ENDS[0] - ENDS[1]) - 1)


def test_jacobian_against_central_differences() -> None:
    """Edges and corners together, an own print, a card on the hide, sheets that are bent."""
    mixed = (*cards(2), seen_card(CAMERA, CARDS[2], 0.1, np.random.default_rng(1)))
    known = replace(priors(CAMERA), own_prints={2: print_scale_priors((0.99, 0.985), S)})
    problem = Adjustment(mixed, CAMERA.size_px, known, frozenset({2, 3}), S)
    state = problem.starts()[0]
    rng = np.random.default_rng(2)
    for j in (0, 1):
        state.parameters[problem.layout.sheet(j)] = rng.normal(0, 0.8, OF_BEND + 2) * ([1] * OF_BEND + [0.1] * 2)
    weights = rng.uniform(0.2, 1, len(problem.seen.row_owner))
    _, jacobian = problem.whitened(state, problem.misfits(state), weights)
    for p in range(problem.layout.size):
        step = np.zeros(problem.layout.size)
        step[p] = 1e-3 if 6 <= p < 9 or p == ON_HIDE or FIRST_PLACE <= p < problem.layout.first_print else 1e-6
        if FIRST_PLACE <= p < problem.layout.first_print and (p - FIRST_PLACE) % 3 == 2:
            step[p] = 1e-6  # an angle
        if p >= problem.layout.first_sheet:
            step[p] = 1e-4
        up, down = (
            problem.whitened(m, problem.misfits(m), weights)[0] for m in (state.stepped(step), state.stepped(-step))
        )
        slope = (up - down) / (2 * step[p])
        np.testing.assert_allclose(
            jacobian[:, p], slope, rtol=1e-3, atol=1e-3 * max(1.0, np.abs(slope).max()), err_msg=f"{p}"
        )


def test_edges_measure_better_than_corners() -> None:
    seen = cards(1)
    by_corners = solved(tuple(replace(card, edges=None) for card in seen))
    by_edges = solved(seen)
    u = [np.sqrt(np.diag(plane.covariance))[:3] for plane in (by_corners, by_edges)]
    assert (u[1] <= u[0]).all()
    assert abs(length_error(by_edges)) < 0.002
    assert by_edges.places[0].rms_px == pytest.approx(0.02, rel=0.2)


@pytest.mark.parametrize("rise_mm", [-2.0, 1.0, 4.0])
def test_a_bent_sheet_is_solved_for_and_does_not_bend_the_floor(rise_mm: float) -> None:
    """The sheet rises by so much 100 mm from its axis; the pattern reaches 90 mm."""
    plane = solved(cards(1, rise_mm=rise_mm))
    assert plane.places[0].bend_mm == pytest.approx(abs(rise_mm) * 0.9**2, abs=0.3)
    assert plane.camera.tilt_deg == pytest.approx(25.0, abs=0.15)
    assert abs(length_error(plane)) < 0.004
    assert ("card-bent" in {d.code for d in plane.doubts}) == (abs(rise_mm) * 0.81 > S.named_bend_mm)


def test_a_sheet_bent_too_much_is_left_out() -> None:
    rng = np.random.default_rng(0)
    seen = (*cards(2), seen_by_edges(CAMERA, CARDS[2], 0.02, rng, rise_mm=16.0))
    plane = solved(seen)
    assert [place.number for place in plane.places] == [1, 2]
    assert [d.code for d in plane.doubts] == ["card-dropped"]


@pytest.mark.parametrize("ink_mm", [-0.2, 0.1, 0.2])
def test_grown_ink_does_not_bias_the_scale(ink_mm: float) -> None:
    """As large an error of scale as 0.2 mm on a 45 mm square would be 0.9 %."""
    for count in (1, 2):
        plain, grown = (solved(cards(count, ink_mm=ink)) for ink in (0.0, ink_mm))
        assert length_error(grown) == pytest.approx(length_error(plain), abs=2e-4)


def test_what_lies_over_a_card_is_let_go() -> None:
    (card,) = cards(1)
    assert card.edges is not None
    x, y = card.edges.board_mm.T
    covered = ((x - 60) / 40) ** 2 + ((y - 70) / 25) ** 2 < 1
    off = np.where(covered, np.random.default_rng(0).uniform(0.5, 2.0, len(x)), 0.0)
    spoilt = replace(card, edges=replace(card.edges, px=card.edges.px + off[:, None] * card.edges.across))
    assert length_error(solved((spoilt,))) == pytest.approx(length_error(solved((card,))), abs=1e-3)


def test_what_edges_share_is_learnt_and_makes_the_result_less_sure() -> None:
    """One-way analysis of variance, against the deviations that were drawn: 0.02 px a point, 0.06 px an edge."""
    rng = np.random.default_rng(3)
    (card,) = cards(1)
    assert card.edges is not None
    shared = rng.normal(0, 0.06, card.edges.line.max() + 1)[card.edges.line]
    seen = replace(card, edges=replace(card.edges, px=card.edges.px + shared[:, None] * card.edges.across))
    problem = Adjustment((seen,), CAMERA.size_px, priors(CAMERA), frozenset(), S)
    noise = estimated_noise(problem, rng.normal(0, 0.02, len(shared)) + shared, np.ones(len(shared)))
    assert noise.edge_px == pytest.approx(0.02, rel=0.15)
    assert noise.line_px == pytest.approx(0.06, rel=0.15)
    sure, unsure = solved((card,)), solved((seen,))
    assert unsure.covariance[1, 1] > 2 * sure.covariance[1, 1]


def test_whitened_rows_have_the_covariance_stated() -> None:
    """Reference: the covariance matrix written out, one edge after the other, and its inverse."""
    (card,) = cards(1)
    problem = Adjustment((card,), CAMERA.size_px, priors(CAMERA), frozenset(), S, Noise(0.1, 0.03, 0.05))
    count = len(problem.seen.row_owner)
    weights = np.random.default_rng(0).uniform(0.3, 1, count)
    root = problem.whitened_rows(np.eye(count), weights)
    line = problem.seen.line_of
    covariance = np.diag(0.03**2 / weights) + 0.05**2 * (line[:, None] == line)
    np.testing.assert_allclose(root.T @ root @ covariance, np.eye(count), atol=1e-8)


def test_the_claimed_uncertainty_is_the_scatter_of_repeated_photos() -> None:
    """JCGM 101 in spirit: what the edges' noise alone does in 60 photos of one scene."""
    planes = [solved(cards(1, sd_px=0.1, seed=seed)) for seed in range(60)]
    errors = [length_error(plane) for plane in planes]
    J = np.zeros(len(planes[0].covariance))
    for p in range(9):
        step = np.zeros(len(J))
        step[p] = 0.05 * np.sqrt(planes[0].covariance[p, p])
        lengths = [
            np.linalg.norm(np.subtract(*planes[0].camera_after(s).mm_from_px(CAMERA.project(ENDS))))
            for s in (step, -step)
        ]
        J[p] = (lengths[0] - lengths[1]) / (2 * step[p]) / np.linalg.norm(ENDS[0] - ENDS[1])
    through = J @ planes[0].covariance
    claimed = np.sqrt(through @ planes[0].information["edge noise"] @ through)
    assert np.std(errors) == pytest.approx(claimed, rel=0.35)  # 60 values give their own deviation to a tenth


def test_of_mixed_prints_the_measured_one_carries_the_scale() -> None:
    """Card 1 was printed 3 % small and measured, card 2 at true scale and never measured: lengths come out right."""
    rng = np.random.default_rng(0)
    small = replace(CARDS[0], scale=(0.97, 0.97))
    seen = (seen_by_edges(CAMERA, small, 0.02, rng), seen_by_edges(CAMERA, CARDS[1], 0.02, rng))
    known = replace(priors(CAMERA, measured=False), own_prints={1: print_scale_priors((0.97, 0.97), S)})
    plane = solve_plane(seen, CAMERA.size_px, known, S)
    assert isinstance(plane, Plane)
    assert abs(length_error(plane)) < 0.002
    assert float(np.exp(plane.state.parameters[LN_SCALE])) == pytest.approx(1.0, abs=0.003)


@pytest.mark.parametrize("claimed_mm", [35.0, 52.0, 90.0, 200.0])
def test_an_exif_far_off_is_let_go(claimed_mm: float) -> None:
    """The lens is one of 27 mm."""
    wrong = Prior(float(np.log(CAMERA.focal_px * claimed_mm / 27.0)), 0.01)
    for count in (1, 2):
        plane = solve_plane(cards(count), CAMERA.size_px, replace(priors(CAMERA), ln_focal=wrong), S)
        assert isinstance(plane, Plane)
        assert "focal-doubtful" in {d.code for d in plane.doubts}
        assert "card-bent" not in {d.code for d in plane.doubts}
        assert abs(length_error(plane)) < 0.004


def test_a_flat_state_has_no_bend() -> None:
    (card,) = cards(1)
    problem = Adjustment((card,), CAMERA.size_px, priors(CAMERA), frozenset(), S)
    state = State(np.zeros(problem.layout.size), np.eye(3))
    assert not problem.known(state)["card not flat"][0].any()

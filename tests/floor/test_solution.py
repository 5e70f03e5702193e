from dataclasses import replace

import numpy as np
import pytest

from hidescan.basics.errors import NotFound
from hidescan.floor.parameters import LN_F, Prior, Priors, Tape
from hidescan.floor.priors import exif_ln_focal_u
from hidescan.floor.solution import Plane, solve_plane
from hidescan.settings import PlaneSettings
from tests.synthetic.corners import bent, floor_to_floor, lifted, priors, seen_card
from tests.synthetic.scenes import TrueCamera, TrueCard, look_at

SETTINGS = PlaneSettings()
EXIF_U = exif_ln_focal_u(27.0, SETTINGS)
CAMERA = look_at((0, 0), 1600, 25, 60, k1=-0.04, k2=0.01)
CARDS = [TrueCard(1, (-450, 300), 20), TrueCard(2, (450, -300), 140), TrueCard(3, (100, 450), 265)]


def solved(
    cards: list[TrueCard], camera: TrueCamera = CAMERA, sd_px: float = 0.15, seed: int = 0, **known: object
) -> Plane:
    rng = np.random.default_rng(seed)
    given = known.pop("given", None) or priors(camera)
    plane = solve_plane(tuple(seen_card(camera, c, sd_px, rng) for c in cards), camera.size_px, given, SETTINGS)  # type: ignore[arg-type]
    assert isinstance(plane, Plane)
    return plane


def codes(plane: Plane) -> list[str]:
    return [doubt.code for doubt in plane.doubts]


@pytest.mark.parametrize("count", [1, 2, 3])
@pytest.mark.parametrize("tilt", [0, 12, 40])
def test_distances_on_the_floor_come_out_within_their_uncertainty(count: int, tilt: float) -> None:
    camera = look_at((0, 0), 1600, tilt, 60, k1=-0.04, k2=0.01)
    plane = solved(CARDS[:count], camera)
    ends = np.array([[-300.0, -250, 0], [350, 200, 0]])
    a, b = plane.camera.mm_from_px(camera.project(ends))
    assert np.linalg.norm(a - b) == pytest.approx(np.linalg.norm(ends[0] - ends[1]), rel=0.012 if count == 1 else 0.003)
    assert codes(plane) == []
    assert plane.corner_sd_px == pytest.approx(0.15, rel=0.35)


def test_a_bent_card_is_named_and_left_out_while_others_remain() -> None:
    rng = np.random.default_rng(1)
    seen = [seen_card(CAMERA, card, 0.1, rng) for card in CARDS]
    seen[1] = bent(seen[1], CAMERA, CARDS[1], sagitta_mm=14.0)
    plane = solve_plane(tuple(seen), CAMERA.size_px, priors(CAMERA), SETTINGS)
    assert isinstance(plane, Plane)
    assert [place.number for place in plane.places] == [1, 3]
    assert codes(plane) == ["card-dropped"]
    assert "Card 2 is bent" in plane.doubts[0].message


@pytest.mark.parametrize("sagitta_mm", [5.0, 14.0])
def test_a_slight_curl_that_hardly_misfits_is_seen_by_its_pattern(sagitta_mm: float) -> None:
    rng = np.random.default_rng(5)
    seen = [seen_card(CAMERA, card, 0.1, rng) for card in CARDS]
    curled = bent(seen[1], CAMERA, CARDS[1], sagitta_mm)
    seen[1] = replace(curled, corners_px=curled.corners_px + rng.normal(0, 0.1, (12, 2)))
    plane = solve_plane(tuple(seen), CAMERA.size_px, priors(CAMERA), SETTINGS)
    assert isinstance(plane, Plane)
    assert [doubt.message[:14] for doubt in plane.doubts] == ["Card 2 is bent"]


def test_flat_cards_are_not_called_bent() -> None:
    for seed in range(150):
        assert codes(solved(CARDS, seed=seed)) == []


def test_a_lone_bent_card_is_said_and_widens_the_result() -> None:
    rng = np.random.default_rng(1)
    flat = seen_card(CAMERA, CARDS[0], 0.1, rng)
    curled = bent(flat, CAMERA, CARDS[0], sagitta_mm=14.0)
    straight, plane = (solve_plane((card,), CAMERA.size_px, priors(CAMERA), SETTINGS) for card in (flat, curled))
    assert isinstance(plane, Plane)
    assert isinstance(straight, Plane)
    assert codes(plane) == ["card-bent"]
    assert plane.corner_sd_px > 2 * straight.corner_sd_px


def test_a_lifted_card_among_three_is_named_and_left_out() -> None:
    rng = np.random.default_rng(2)
    seen = [seen_card(CAMERA, card, 0.1, rng) for card in CARDS]
    seen[2] = lifted(seen[2], CAMERA, CARDS[2], rise_mm=45.0)
    plane = solve_plane(tuple(seen), CAMERA.size_px, priors(CAMERA), SETTINGS)
    assert isinstance(plane, Plane)
    assert [place.number for place in plane.places] == [1, 2]
    assert "Card 3 does not lie flat" in plane.doubts[0].message


def test_of_two_cards_that_disagree_neither_is_blamed() -> None:
    rng = np.random.default_rng(2)
    seen = [seen_card(CAMERA, card, 0.1, rng) for card in CARDS[:2]]
    seen[1] = lifted(seen[1], CAMERA, CARDS[1], rise_mm=60.0)
    plane = solve_plane(tuple(seen), CAMERA.size_px, priors(CAMERA), SETTINGS)
    assert isinstance(plane, Plane)
    assert len(plane.places) == 2
    assert codes(plane)[0] == "cards-disagree"


def test_a_bad_corner_pulls_little() -> None:
    rng = np.random.default_rng(3)
    seen = [seen_card(CAMERA, card, 0.1, rng) for card in CARDS]
    spoilt = seen[0].corners_px.copy()
    spoilt[4] += (2.0, -1.5)
    ends = CAMERA.project(np.array([[-300.0, -250, 0], [350, 200, 0]]))
    lengths = []
    for first in (seen[0], replace(seen[0], corners_px=spoilt)):
        plane = solve_plane((first, *seen[1:]), CAMERA.size_px, priors(CAMERA), SETTINGS)
        assert isinstance(plane, Plane)
        a, b = plane.camera.mm_from_px(ends)
        lengths.append(float(np.linalg.norm(a - b)))
    assert lengths[1] == pytest.approx(lengths[0], rel=1e-3)


def test_corners_that_fit_no_camera_are_refused() -> None:
    rng = np.random.default_rng(4)
    card = seen_card(CAMERA, CARDS[0], 0.0, rng)
    scrambled = replace(card, corners_px=rng.permutation(card.corners_px))
    refusal = solve_plane((scrambled,), CAMERA.size_px, priors(CAMERA), SETTINGS)
    assert isinstance(refusal, NotFound)
    assert refusal.code == "card-misfit"


def test_a_focal_length_that_the_cards_contradict_is_doubted_and_not_believed() -> None:
    wrong = replace(priors(CAMERA), ln_focal=Prior(float(np.log(1.3 * CAMERA.focal_px)), EXIF_U))
    plane = solved(CARDS, sd_px=0.1, given=wrong)
    assert "focal-doubtful" in codes(plane)
    assert plane.camera.focal_px == pytest.approx(CAMERA.focal_px, rel=0.03)
    assert "focal-doubtful" not in codes(solved(CARDS, sd_px=0.1))


def refused(cards: list[TrueCard], known: Priors, sd_px: float = 0.15) -> NotFound:
    rng = np.random.default_rng(0)
    found = solve_plane(tuple(seen_card(CAMERA, c, sd_px, rng) for c in cards), CAMERA.size_px, known, SETTINGS)
    assert isinstance(found, NotFound)
    return found


def test_tapes_that_disagree_are_refused_with_both_values() -> None:
    right, other = floor_to_floor(CARDS[0], CARDS[1]), floor_to_floor(CARDS[0], CARDS[2])
    refusal = refused(CARDS, priors(CAMERA, measured=False, tapes=(Tape(1, 2, right), Tape(1, 3, other + 25.0))))
    assert refusal.code == "tapes-disagree"
    assert f"ape 1-3 says {other + 25:.0f} mm, the cards" in refusal.reason
    good = (Tape(1, 2, right), Tape(1, 3, other + 0.5))
    assert codes(solved(CARDS, given=priors(CAMERA, measured=False, tapes=good))) == []


def test_a_tape_against_measured_bars_is_refused_too() -> None:
    right = floor_to_floor(CARDS[0], CARDS[1])
    refusal = refused(CARDS[:2], priors(CAMERA, measured=True, tapes=(Tape(1, 2, 1.02 * right),)))
    assert refusal.reason.startswith(f"Tape 1-2 says {1.02 * right:.0f} mm, the cards ")
    assert float(refusal.reason.split("the cards ")[1].split()[0]) == pytest.approx(right, rel=3e-3)


@pytest.mark.parametrize("off", [-0.12, -0.031, 0.031, 0.12, 1.9])
def test_a_tape_beyond_what_a_print_can_be_off_is_refused(off: float) -> None:
    """A print at true scale, never measured: two percent are left open, and what corners and tape add."""
    right = floor_to_floor(CARDS[0], CARDS[1])
    assert (
        refused(CARDS[:2], priors(CAMERA, measured=False, tapes=(Tape(1, 2, (1 + off) * right),))).code
        == "tapes-disagree"
    )
    fine = Tape(1, 2, (1 + 0.6 * float(np.clip(off, -0.03, 0.03))) * right)
    assert codes(solved(CARDS[:2], given=priors(CAMERA, measured=False, tapes=(fine,)))) == []


def test_a_tape_to_a_card_that_is_not_in_the_photo_is_named_and_changes_nothing() -> None:
    plain, with_tape = (
        solved(CARDS[:2], given=priors(CAMERA, measured=False, tapes=tapes)) for tapes in ((), (Tape(1, 9, 900.0),))
    )
    (doubt,) = with_tape.doubts
    assert doubt.code == "tape-unused" and "1-9" in doubt.message and "card 9" in doubt.message
    np.testing.assert_array_equal(plain.covariance, with_tape.covariance)
    np.testing.assert_array_equal(plain.state.parameters, with_tape.state.parameters)


def test_check_bars_of_another_proportion_than_the_pattern_in_the_photo_are_refused() -> None:
    swapped = replace(priors(CAMERA), skew=Prior(0.02, SETTINGS.measured_skew_u))
    refusal = refused(CARDS, swapped, sd_px=0.05)
    assert refusal.code == "bars-contradict"
    assert "+2.00 %" in refusal.reason


def test_the_parts_of_the_information_sum_to_the_inverse_covariance() -> None:
    plane = solved(CARDS)
    np.testing.assert_allclose(
        sum(plane.information.values()) @ plane.covariance, np.eye(len(plane.covariance)), atol=1e-6
    )


def test_the_claimed_uncertainty_is_the_scatter_of_repeated_photos() -> None:
    """JCGM 101 in spirit: 300 photos of one scene, each with its own corner noise."""
    lengths, claimed = [], []
    ends = CAMERA.project(np.array([[-300.0, -250, 0], [350, 200, 0]]))
    for seed in range(300):
        plane = solved(CARDS[:2], seed=seed)
        lengths.append(length := _length(plane, ends, np.zeros(len(plane.covariance))))
        if seed < 20:
            corners = plane.information["corner noise"]
            J = np.array([_slope(plane, ends, p, length) for p in range(len(plane.covariance))])
            through = J @ plane.covariance
            claimed.append(np.sqrt(through @ corners @ through))
    # Print scale, lens and heights are the same in all 300, so only the corners' share scatters.
    assert np.std(lengths) == pytest.approx(np.mean(claimed), rel=0.12)


def _length(plane: Plane, ends_px: np.ndarray, step: np.ndarray) -> float:
    a, b = plane.camera_after(step).mm_from_px(ends_px)
    return float(np.linalg.norm(a - b))


def _slope(plane: Plane, ends_px: np.ndarray, p: int, at: float) -> float:
    step = np.zeros(len(plane.covariance))
    step[p] = 0.01 * np.sqrt(plane.covariance[p, p])
    return float((_length(plane, ends_px, step) - at) / step[p])


def test_ln_focal_is_the_first_parameter() -> None:
    plane = solved(CARDS[:1])
    assert np.exp(plane.state.parameters[LN_F]) == pytest.approx(plane.camera.focal_px)

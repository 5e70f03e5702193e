from dataclasses import replace

import cv2
import numpy as np
import pytest

from hidescan.basics.errors import NotFound
from hidescan.floor.parameters import Prior
from hidescan.floor.solution import Plane, solve_plane
from hidescan.join.bundle import Joint, JointState, solve_joint
from hidescan.join.settings import BundleSettings
from hidescan.join.views import View
from hidescan.settings import PlaneSettings
from tests.synthetic.corners import priors, seen_card
from tests.synthetic.joined import views_of
from tests.synthetic.scenes import Array, TrueCard, circle, look_at
from tests.synthetic.views import ViewsScene

B, P = BundleSettings(), PlaneSettings()
CARDS = [TrueCard(n, xy, a, 0.1) for n, xy, a in ((1, (-650, 450), 20), (2, (650, -450), 140), (3, (600, 500), 265), (4, (-600, -500), 80))]  # fmt: skip
# None sees more than three cards; only together do they see all four.
CAMERAS = [
    look_at((x, y), 1400, tilt, azimuth, k1=-0.04, k2=0.01)
    for x, y, tilt, azimuth in ((-420, 60, 25, 10), (420, -60, 30, 170), (60, 380, 20, 250))
]
SCENE = ViewsScene(circle(500, 400), np.zeros(400), 2.0, CARDS, CAMERAS)


def joint(sd_px: float = 0.15, seed: int = 0) -> Joint:
    found = solve_joint(views_of(SCENE, np.random.default_rng(seed), sd_px=sd_px), B, P)
    assert isinstance(found, Joint)
    return found


def between(found: Joint, k: int, at: Array) -> Array:
    return found.camera(k).mm_from_px(CAMERAS[k].project(at))


ENDS = np.array([[-600.0, 100, 0], [-300, 200, 0], [300, 150, 0], [600, -150, 0]])


def span(found: Joint) -> float:
    """A length that no single photo sees: its ends are seen by the first and the second."""
    a, b = between(found, 0, ENDS[:1])[0], between(found, 1, ENDS[3:])[0]
    return float(np.linalg.norm(a - b))


def test_no_photo_sees_all_cards() -> None:
    assert [len(SCENE.cards_seen(k)) for k in range(3)] == [2, 3, 3]


def test_jacobian_against_central_differences() -> None:
    found = joint(0.2)
    state = found.state.stepped(np.random.default_rng(1).normal(0, 1e-3, len(found.covariance)))
    weights = np.ones(len(found.bundle.misfits(state)[0]))

    def residual(at: JointState) -> Array:
        return found.bundle.whitened(at, found.bundle.misfits(at), weights)[0]

    _, jacobian = found.bundle.whitened(state, found.bundle.misfits(state), weights)
    for p in range(len(found.covariance)):
        step = np.zeros(len(found.covariance))
        step[p] = 1e-3 * np.sqrt(found.covariance[p, p])
        slope = (residual(state.stepped(step)) - residual(state.stepped(-step))) / (2 * step[p])
        np.testing.assert_allclose(jacobian[:, p], slope, rtol=1e-3, atol=1e-3 * max(1.0, np.abs(slope).max()))


def test_without_noise_the_truth_comes_out_across_photos() -> None:
    assert span(joint(0.0)) == pytest.approx(np.linalg.norm(ENDS[0] - ENDS[3]), rel=3e-4)


def test_the_claimed_uncertainty_is_the_scatter_of_repeated_photos() -> None:
    """JCGM 101 in spirit: many sets of one scene, each with its own corner noise."""
    spans = [span(found := joint(seed=seed)) for seed in range(30)]
    J = np.zeros(len(found.covariance))
    for p in range(len(J)):
        step = np.zeros(len(J))
        step[p] = 0.05 * np.sqrt(found.covariance[p, p])
        a, b = (
            found.camera_after(0, s * step).mm_from_px(CAMERAS[0].project(ENDS[:1]))[0]
            - found.camera_after(1, s * step).mm_from_px(CAMERAS[1].project(ENDS[3:]))[0]
            for s in (1, -1)
        )
        J[p] = (np.linalg.norm(a) - np.linalg.norm(b)) / (2 * step[p])
    through = J @ found.covariance
    claimed = np.sqrt(through @ found.information["corner noise"] @ through)
    # 30 values give their own deviation to an eighth; print scale and lens are the same in all
    assert np.std(spans) == pytest.approx(claimed, rel=0.35)


def test_the_parts_of_the_information_sum_to_the_inverse_covariance() -> None:
    found = joint()
    np.testing.assert_allclose(
        sum(found.information.values()) @ found.covariance, np.eye(len(found.covariance)), atol=1e-5
    )


def test_one_photo_gives_what_the_plane_gives() -> None:
    """With one photo there is nothing to join: the same least squares, but for the lens's change by focusing."""
    (view, *_) = views_of(SCENE, np.random.default_rng(3))
    found = solve_joint((view,), B, P)
    assert isinstance(found, Joint)
    a, b = (camera.mm_from_px(CAMERAS[0].project(ENDS[:2])) for camera in (found.camera(0), view.plane.camera))
    assert np.linalg.norm(a[0] - a[1]) == pytest.approx(np.linalg.norm(b[0] - b[1]), rel=1e-4)


def test_a_photo_that_shares_no_card_is_named() -> None:
    views = views_of(SCENE, np.random.default_rng(0))
    stranger = tuple(replace(card, number=card.number + 5) for card in views[1].cards)
    places = tuple(replace(place, number=place.number + 5) for place in views[1].plane.places)
    apart = replace(views[1], cards=stranger, plane=replace(views[1].plane, places=places))
    refusal = solve_joint((views[0], apart, views[2]), B, P)
    assert isinstance(refusal, NotFound)
    assert refusal.code == "photo-apart"
    assert "1.jpg" in refusal.reason


def test_a_focal_length_that_the_cards_contradict_is_not_believed() -> None:
    def claimed(view: View) -> View:
        prior = Prior(view.priors.ln_focal.mean + np.log(1.2), view.priors.ln_focal.u)
        return replace(view, priors=replace(view.priors, ln_focal=prior))

    found = solve_joint(tuple(claimed(view) for view in views_of(SCENE, np.random.default_rng(0))), B, P)
    assert isinstance(found, Joint)
    assert "focal-doubtful" in [doubt.code for doubt in found.doubts]
    assert found.camera(0).focal_px == pytest.approx(CAMERAS[0].focal_px, rel=0.01)


def test_against_opencv_calibration() -> None:
    """Reference: cv2.calibrateCamera (Zhang 2000) from the same corners of one card in six photos, the same model."""
    card, rng = TrueCard(1, (0, 0), 0), np.random.default_rng(5)
    cameras = [look_at((0, 0), 420, tilt, azimuth, k1=-0.05, k2=0.01) for tilt, azimuth in ((5, 0), (30, 0), (30, 90), (35, 180), (30, 270), (40, 45))]  # fmt: skip
    loose = replace(priors(cameras[0]), ln_focal=Prior(np.log(cameras[0].focal_px), 10.0), k1=Prior(0, 10.0), k2=Prior(0, 10.0))  # fmt: skip
    loose = replace(loose, ln_scale=Prior(0, 1e-9), skew=Prior(0, 1e-9))
    views = []
    for k, camera in enumerate(cameras):
        seen = seen_card(camera, card, 0.1, rng)
        plane = solve_plane((seen,), camera.size_px, priors(camera), P)
        assert isinstance(plane, Plane)
        views.append(View(str(k), (seen,), plane, loose, "phone"))
    found = solve_joint(tuple(views), BundleSettings(focus_ln_focal_u=1e-9), replace(P, huber_sigma=100.0))
    assert isinstance(found, Joint)
    flags = (
        cv2.CALIB_FIX_PRINCIPAL_POINT | cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K3
        | cv2.CALIB_USE_INTRINSIC_GUESS
    )  # fmt: skip
    object_points = [np.c_[v.cards[0].board_mm * (1, -1), np.zeros(12)].astype(np.float32) for v in views]
    image_points = [v.cards[0].corners_px.astype(np.float32) for v in views]
    _, matrix, distortion, _, _ = cv2.calibrateCamera(
        object_points, image_points, cameras[0].size_px, cameras[0].matrix, np.zeros(5), flags=flags
    )
    ours = found.camera(0)
    assert ours.focal_px == pytest.approx(matrix[0, 0], rel=2e-4)
    assert ours.k1 == pytest.approx(distortion.ravel()[0], abs=2e-3)

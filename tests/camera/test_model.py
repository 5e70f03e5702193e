import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hidescan.camera.model import Camera, distort, undistort
from tests.synthetic.scenes import TrueCamera, look_at

TILTS, TURNS = st.floats(0, 55), st.floats(0, 360)


def camera_of(true: TrueCamera) -> Camera:
    return Camera(
        true.focal_px, true.k1, true.k2, np.array([(n - 1) / 2 for n in true.size_px]), true.rotation, true.translation
    )


@settings(max_examples=60, deadline=None)
@given(TILTS, TURNS, st.floats(-0.15, 0.08), st.floats(-0.03, 0.03), st.floats(-20, 20))
def test_px_to_mm_and_back(tilt: float, azimuth: float, k1: float, k2: float, z_mm: float) -> None:
    camera = camera_of(look_at((0, 0), 1500, tilt, azimuth, k1=k1, k2=k2))
    px = np.array([[500.0, 400.0], [3500.0, 2600.0], [2000.0, 1500.0], [1999.5, 1499.5]])
    np.testing.assert_allclose(camera.px_from_mm(camera.mm_from_px(px, z_mm), z_mm), px, atol=1e-6)


@pytest.mark.parametrize("k", [(0.0, 0.0), (-0.15, 0.05), (0.08, -0.02)])
def test_projection_agrees_with_opencv(k: tuple[float, float]) -> None:
    """Reference: cv2.projectPoints."""
    true = look_at((100, -50), 1700, 28, 120, k1=k[0], k2=k[1])
    xyz = np.random.default_rng(3).uniform(-500, 500, (50, 3)) * (1, 1, 0.05)
    np.testing.assert_allclose(camera_of(true).px_from_mm(xyz), true.project(xyz), atol=1e-8)


def test_undistort_agrees_with_opencv() -> None:
    """Reference: cv2.undistortPoints."""
    distorted = np.random.default_rng(4).uniform(-0.6, 0.6, (40, 2))
    reference = cv2.undistortPoints(
        distorted.reshape(-1, 1, 2), np.eye(3), np.array([-0.1, 0.02, 0, 0]), None, None, None,
        (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 200, 1e-14),
    )  # fmt: skip
    np.testing.assert_allclose(undistort(distorted, -0.1, 0.02), np.asarray(reference).reshape(-1, 2), atol=1e-7)


def test_a_point_beyond_the_fold_of_the_lens_model_is_nan() -> None:
    assert np.isnan(undistort(np.array([[5.0, 5.0]]), -0.3, 0.0)).all()


def test_beyond_the_horizon_is_nan() -> None:
    camera = camera_of(look_at((0, 0), 1500, 80, 0))
    above = camera.px_from_mm(np.array([[0.0, 0.0]])) - (0, 3000)
    assert np.isnan(camera.mm_from_px(above)).all()


def test_ground_size_of_a_pixel_straight_down_is_distance_over_focal_length() -> None:
    true = look_at((0, 0), 1500, 0, 0)
    middle = np.array([[1999.5, 1499.5]])
    assert camera_of(true).mm_per_px(middle)[0] == pytest.approx(1500 / true.focal_px, rel=1e-9)


def test_a_moved_frame_sees_the_same_picture() -> None:
    camera = camera_of(look_at((0, 0), 1500, 25, 70, k1=-0.05))
    moved = camera.moved(33.0, np.array([120.0, -80.0]))
    px = np.array([[1000.0, 900.0], [3000.0, 2000.0]])
    a = np.deg2rad(33.0)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    np.testing.assert_allclose(moved.mm_from_px(px) @ turn.T + (120.0, -80.0), camera.mm_from_px(px), atol=1e-9)
    assert moved.tilt_deg == pytest.approx(25.0)


def test_distortion_of_nothing_is_nothing() -> None:
    assert (distort(np.zeros((1, 2)), -0.1, 0.1) == 0).all()

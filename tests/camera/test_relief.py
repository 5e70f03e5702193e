import numpy as np
import pytest
from shapely.geometry import MultiPoint, Polygon

from hidescan.basics.geometry import signed_area
from hidescan.camera.model import Camera
from hidescan.camera.relief import Heights, plan_view
from tests.synthetic.scenes import Array, TrueCamera, circle, look_at

THICKNESS, LIFT = 3.0, 2.0


def camera_of(true: TrueCamera) -> Camera:
    middle = np.array([(n - 1) / 2 for n in true.size_px])
    return Camera(true.focal_px, true.k1, true.k2, middle, true.rotation, true.translation)


def silhouette(true: TrueCamera, radius: float) -> Array:
    """What the camera sees of a disc of leather: the hull of its lower and upper rim, exact for a convex prism."""
    rims = [np.c_[circle(radius, 4000), np.full(4000, z)] for z in (LIFT, LIFT + THICKNESS)]
    hull = MultiPoint(true.project(np.vstack(rims))).convex_hull
    assert isinstance(hull, Polygon)
    return np.array(hull.exterior.coords)[:-1]


def hole_seen(true: TrueCamera, radius: float) -> Array:
    """The floor seen through a round hole: where both its rims leave it open."""
    upper, lower = (
        Polygon(true.project(np.c_[circle(radius, 2000), np.full(2000, z)])) for z in (LIFT + THICKNESS, LIFT)
    )
    return np.array(upper.intersection(lower).exterior.coords)[:-1]


@pytest.mark.parametrize("tilt", [0, 15, 30, 45])
def test_a_disc_of_leather_comes_out_at_its_true_size(tilt: float) -> None:
    true = look_at((40, -60), 1400, tilt, 30)
    ring = silhouette(true, 400.0)
    found = signed_area(plan_view(camera_of(true), ring, Heights(THICKNESS, LIFT)))
    assert found == pytest.approx(np.pi * 400.0**2, rel=2e-4)


@pytest.mark.parametrize("tilt", [15, 30, 45])
def test_taking_it_as_flat_would_be_wrong_by_more_than_half_a_percent(tilt: float) -> None:
    true = look_at((0, 0), 1400, tilt, 30)
    flat = signed_area(plan_view(camera_of(true), silhouette(true, 400.0), Heights(0.0, 0.0)))
    assert flat / (np.pi * 400.0**2) - 1 > 0.005


@pytest.mark.parametrize("tilt", [0, 25])
def test_a_hole_comes_out_at_its_true_size(tilt: float) -> None:
    true = look_at((200, 100), 1400, tilt, 80)
    found = signed_area(plan_view(camera_of(true), hole_seen(true, 25.0), Heights(THICKNESS, LIFT), hole=True))
    assert found == pytest.approx(np.pi * 25.0**2, rel=0.02)


def test_direction_and_start_of_the_ring_do_not_matter() -> None:
    true = look_at((0, 0), 1400, 30, 30)
    ring = silhouette(true, 400.0)
    heights = Heights(THICKNESS, LIFT)
    area = signed_area(plan_view(camera_of(true), ring, heights))
    for other in (ring[::-1], np.roll(ring, 100, axis=0)):
        assert signed_area(plan_view(camera_of(true), other, heights)) == pytest.approx(area, rel=1e-6)

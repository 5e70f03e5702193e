"""Corners rounded by a blur, drawn again: against wedges of which the tip is known, and rounded cuts left as they are."""

import cv2
import numpy as np
import pytest
from shapely.geometry import Point, Polygon
from skimage.measure import find_contours

from hidescan.basics.geometry import Points, resample
from hidescan.pieces.templates.corners import as_cut
from hidescan.settings.uses import CornerSettings

SETTINGS = CornerSettings()


def seen(polygon: Polygon, blur_px: float, rng: np.random.Generator, noise: float = 0.01) -> Points:
    """The half-way line of a polygon drawn at 8 times the size, reduced and blurred as a lens does."""
    times = 8
    x0, y0, x1, y1 = polygon.buffer(20).bounds
    size = int(np.ceil(x1 - x0)), int(np.ceil(y1 - y0))
    fine = np.zeros((size[1] * times, size[0] * times), np.uint8)
    ring = (np.array(polygon.exterior.coords) - (x0, y0) + 0.5) * times - 0.5
    cv2.fillPoly(fine, [np.rint(ring * 16).astype(np.int32)], 255, shift=4)
    small = cv2.resize(fine, size, interpolation=cv2.INTER_AREA)
    # A pixel's own area blurs by the standard deviation of a square, 1 / sqrt(12).
    blurred = cv2.GaussianBlur(small.astype(np.float64) / 255, (0, 0), np.sqrt(blur_px**2 - 1 / 12))
    contour = max(find_contours(blurred + rng.normal(0, noise, blurred.shape), 0.5), key=len)[:-1, ::-1]
    return np.asarray(contour + (x0, y0))


def drawn(ring: Points, blur_px: float) -> Points:
    """The ring as the knife cut it, all of it trusted alike."""
    even = resample(ring, SETTINGS.step_px)
    return as_cut(even, np.ones(len(even)), blur_px, 20.0, SETTINGS)


def farthest_from_corners(ring: Points, corners: Points) -> list[float]:
    line = Polygon(ring).exterior
    return [float(line.distance(Point(corner))) for corner in corners]


@pytest.mark.parametrize("angle_deg", [45, 68, 90, 120])
@pytest.mark.parametrize("blur_px", [0.9, 1.5])
def test_a_blurred_corner_is_drawn_to_its_tip(angle_deg: float, blur_px: float) -> None:
    a = np.radians(angle_deg)
    corners = np.array([(0.0, 0.0), (120.0, 0.0), (100.0 * np.cos(a), 100.0 * np.sin(a))])
    turn = np.radians(17.0)
    corners = corners @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]) + 60.3
    ring = seen(Polygon(corners), blur_px, np.random.default_rng(1))
    before, after = (farthest_from_corners(r, corners) for r in (ring, drawn(ring, blur_px)))
    sharp = [k for k, off in enumerate(before) if off > 0.7 * blur_px]
    assert sharp
    assert all(after[k] < 0.4 for k in sharp)
    sides = Polygon(corners).exterior  # and no farther
    assert max(sides.distance(Point(p)) for p in drawn(ring, blur_px)) < 0.5


def test_a_corner_that_opens_inward_is_drawn_too() -> None:
    corners = np.array([(0, 0), (120, 0), (120, 110), (60, 50), (0, 110)], float) + 40.2
    ring = seen(Polygon(corners), 1.5, np.random.default_rng(2))
    before, after = (farthest_from_corners(r, corners[3:4])[0] for r in (ring, drawn(ring, 1.5)))
    assert before > 0.9 and after < 0.4


def test_curves_and_corners_that_were_cut_round_stay_as_they_are() -> None:
    rng = np.random.default_rng(3)
    square = Polygon([(40, 40), (160, 40), (160, 160), (40, 160)])
    for shape in (Point(100.0, 100.0).buffer(60.0, 64), square.buffer(-8.0).buffer(8.0, 32)):
        ring = seen(shape, 1.5, rng)
        before, after = (shape.exterior.hausdorff_distance(Polygon(r).exterior) for r in (ring, drawn(ring, 1.5)))
        assert after < before + 0.02
        assert np.abs(Polygon(drawn(ring, 1.5)).area / Polygon(ring).area - 1) < 2e-4


# The half-way line of a quarter plane blurred by a Gaussian: Phi(t)^2 = 1/2 on the bisector, in closed form.
def test_how_far_a_right_angle_is_rounded() -> None:
    from scipy.special import ndtri

    from hidescan.pieces.templates.corners import _retreat

    assert _retreat(45) == pytest.approx(np.sqrt(2) * ndtri(np.sqrt(0.5)), abs=1e-3)


def test_a_dent_where_the_edge_is_not_to_be_trusted_is_smoothed_away_and_a_notch_that_was_cut_stays() -> None:
    x = np.arange(0, 200, SETTINGS.step_px)
    for trust, most, least in ((0.02, 0.3, 0.0), (1.0, 3.1, 1.5)):
        dent = np.where(np.abs(x - 100) < 5, 3.0 * (1 - np.abs(x - 100) / 5), 0.0)
        top = np.column_stack([x, 40 + dent])
        rest = np.column_stack([[200.0, 200.0, 0.0], [40.0, 160.0, 160.0]])
        ring = np.vstack([top, resample(np.vstack([rest, [[0.0, 40.5]]]), SETTINGS.step_px)[: -int(200 / 0.5) + 2]])
        weights = np.ones(len(ring))
        weights[: len(x)][dent > 0] = trust
        made = as_cut(ring, weights, 1.2, 20.0, SETTINGS)
        near = made[(np.abs(made[:, 0] - 100) < 8) & (made[:, 1] < 80)]
        assert least <= float(np.max(near[:, 1])) - 40 <= most


def test_an_edge_that_doubles_back_on_itself_is_no_corner() -> None:
    """A hair that sticks out of a disc, two pixels broad: sharper than any blur can be reckoned for."""
    hair = Polygon([(100, 99.2), (190, 99.9), (190, 100.1), (100, 100.8)]).union(Point(100.0, 100.0).buffer(40.0))
    even = resample(np.array(hair.exterior.coords)[:-1], SETTINGS.step_px)
    made = as_cut(even, np.ones(len(even)), 1.5, 20.0, SETTINGS)
    assert Polygon(made).buffer(0).hausdorff_distance(hair) < 12

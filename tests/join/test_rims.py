import re
from dataclasses import replace

import cv2
import numpy as np
import pytest
from shapely.geometry import Polygon

from hidescan.basics.geometry import signed_area
from hidescan.figures.measures import HeightPriors
from hidescan.floor.parameters import Prior
from hidescan.join.bundle import Joint, solve_joint
from hidescan.join.figures import joined_measures
from hidescan.join.moved import lift_without_judgement, moved_hide
from hidescan.join.region_vote import Cover, SeenRim, joined_cover, missing_stretches
from hidescan.join.rims import JoinedRim, joined_rim
from hidescan.join.settings import JoinSettings
from hidescan.settings import Settings
from tests.synthetic.hides import whole_hide
from tests.synthetic.joined import views_of
from tests.synthetic.rims import lift_field
from tests.synthetic.scenes import Array, TrueCard, look_at
from tests.synthetic.views import ViewsScene

S, J = Settings(), JoinSettings()
CARDS = [TrueCard(n, xy, a, 0.1) for n, xy, a in ((1, (-700, 500), 20), (2, (700, -500), 140), (3, (700, 500), 265), (4, (-700, -500), 80), (5, (0, 595), 5))]  # fmt: skip
THICKNESS = 2.0


def hide() -> Array:
    """A deer's hide in the middle of the cards, 1 m long, counter-clockwise."""
    ring = whole_hide(np.random.default_rng(4), "deer", limb_cut=False).ring_mm
    ring = ring[:: len(ring) // 500] - ring.mean(axis=0)
    ring = ring * 500.0 / np.linalg.norm(ring, axis=1).max()
    return ring if signed_area(ring) > 0 else ring[::-1]


def scene(lift_mm: Array | float, *, whole: bool = True) -> ViewsScene:
    """Two cameras that look from opposite sides, each with the whole hide or only some two thirds of it."""
    away, side, tilt = (2000, 0, 30) if whole else (1700, 700, 20)
    cameras = [look_at((x, 0), away, tilt, azimuth) for x, azimuth in ((-side, 90), (side, 270))]
    ring = hide()
    return ViewsScene(ring, np.broadcast_to(lift_mm, len(ring)).copy(), THICKNESS, CARDS, cameras)


def seen(
    made: ViewsScene, noise_px: float, seed: int = 0, hide_off: Array | None = None
) -> tuple[Joint, tuple[SeenRim, ...]]:
    rng = np.random.default_rng(seed)
    joint = solve_joint(views_of(made, rng, sd_px=0.05), J.bundle, S.plane)
    assert isinstance(joint, Joint)
    rims = []
    for k in range(2):
        there = made if hide_off is None or k == 0 else replace(made, ring_mm=made.ring_mm + hide_off)
        px, inside = there.rim_seen(k, noise_px, rng)
        rims.append(SeenRim(px, np.full(len(px), max(noise_px, 0.1)), np.where(inside, 0.97, 0.0)))
    return joint, tuple(rims)


def cover_of(joint: Joint, rims: tuple[SeenRim, ...]) -> Cover:
    return joined_cover(tuple(joint.camera(k) for k in range(len(rims))), joint.sizes_px[: len(rims)], rims, J.cover)


def rim_of(joint: Joint, rims: tuple[SeenRim, ...], lift: Prior | None = None) -> JoinedRim:
    leather = HeightPriors(Prior(THICKNESS, 0.1), lift or Prior(S.measure.lift_mm, S.measure.lift_u_mm))
    return joined_rim(joint, cover_of(joint, rims), rims, leather, J, S.measure)


def area_error_percent(rim: JoinedRim, made: ViewsScene) -> float:
    return 100 * (signed_area(rim.ring_mm) / signed_area(made.ring_mm) - 1)


@pytest.mark.parametrize("lift_mm", [0.0, 12.0])
def test_the_height_that_two_views_see_is_the_true_one(lift_mm: float) -> None:
    joint, rims = seen(made := scene(lift_mm), 0.0)
    rim = rim_of(joint, rims)
    known = rim.lift_u_mm < 1.0
    assert known.mean() > 0.8
    assert np.quantile(np.abs(rim.lift_mm[known] - lift_mm), 0.95) < 1.5
    assert area_error_percent(rim, made) == pytest.approx(0.0, abs=0.15)


def test_without_parallax_the_same_hide_would_be_too_large() -> None:
    """What the height is for: taken as lying flat, a rim 12 mm up makes the area over 1 % too large."""
    joint, rims = seen(made := scene(12.0), 0.0)
    flat = abs(signed_area(joint.camera(0).mm_from_px(rims[0].ring_px))) / signed_area(made.ring_mm) - 1
    assert flat > 0.01


def test_height_against_two_view_triangulation() -> None:
    """Reference: cv2.triangulatePoints (direct linear transformation, Hartley and Zisserman 2003, 12.2)."""
    joint, rims = seen(made := scene(7.0), 0.0)
    rim = rim_of(joint, rims)
    top = made.ring_mm[np.argmax(made.ring_mm[:, 1])]
    points = np.array([[*top, 7.0]])
    rays = []
    for k in range(2):
        n = (made.cameras[k].project(points) - (np.array(joint.sizes_px[k]) - 1) / 2) / joint.camera(k).focal_px
        rays.append(n.reshape(2, 1))  # no distortion in this scene; the joint's is near 0
    poses = [np.c_[joint.camera(k).rotation, joint.camera(k).translation_mm] for k in range(2)]
    x, y, z, w = cv2.triangulatePoints(*poses, *rays).ravel()
    nearest = int(np.argmin(np.linalg.norm(rim.ring_mm - [x / w, y / w], axis=1)))
    assert rim.lift_mm[nearest] == pytest.approx(z / w, abs=0.6)


def test_two_photos_that_cut_the_hide_give_one_outline_without_a_seam() -> None:
    lift = lift_field(len(hide()), 10.0, np.random.default_rng(1))
    joint, rims = seen(made := scene(lift, whole=False), 0.4)
    assert not all(rim.inside_frame(size, 0.01).all() for rim, size in zip(rims, joint.sizes_px, strict=True))
    cover = cover_of(joint, rims)
    assert missing_stretches(cover, J.cover) == []
    rim = rim_of(joint, rims)
    assert set(rim.photo) >= {0, 1}
    assert area_error_percent(rim, made) == pytest.approx(0.0, abs=0.3)
    assert Polygon(rim.ring_mm).is_valid
    steps = np.linalg.norm(np.roll(rim.ring_mm, -1, axis=0) - rim.ring_mm, axis=1)
    at_seams = steps[np.flatnonzero(rim.photo != np.roll(rim.photo, -1))]
    assert at_seams.max() < J.rim.point_mm + 1.0


def test_a_side_that_no_photo_shows_is_missing() -> None:
    joint, rims = seen(scene(3.0, whole=False), 0.0)
    (only,) = missing_stretches(cover_of(joint, rims[:1]), J.cover)[:1]
    beyond = joint.camera(0).px_from_mm(only.mean(axis=0)[None])[0]
    assert np.min([*beyond, *(np.array(joint.sizes_px[0]) - beyond)]) < 0.05 * joint.sizes_px[0][0]


def test_where_two_see_it_the_lift_counts_for_less_in_the_budget() -> None:
    joint, rims = seen(scene(4.0), 0.4)

    def share(*, twice: bool) -> float:
        blind = replace(rims[1], confidence=np.zeros(len(rims[1].confidence)))
        rim = rim_of(joint, rims if twice else (rims[0], replace(blind, u_px=blind.u_px + 1e3)))
        measures = joined_measures(rim, (), np.array([1.0, 0.0]), S.measure, print_measured=True, open_area_u=0.0)
        rows = {row.source: row.area_percent for row in measures.budget}
        squares = sum(v**2 for v in rows.values())
        assert 100 * measures.area_net.u / measures.area_net.value == pytest.approx(np.sqrt(squares), rel=1e-6)
        return rows["lift of the rim"]

    assert share(twice=True) < 0.2 * share(twice=False)


def test_errors_are_what_the_budget_says() -> None:
    """4 sets: errors over the part of u that these scenes vary (not print and lens); the study has more."""
    ratios = []
    for seed in range(4):
        lift = lift_field(len(hide()), 8.0, np.random.default_rng(seed))
        joint, rims = seen(made := scene(lift), 0.5, seed)
        rim = rim_of(joint, rims)
        m = joined_measures(rim, (), np.array([1.0, 0.0]), S.measure, print_measured=True, open_area_u=0.0)
        drawn = [row.area_percent for row in m.budget if row.source in ("rim", "lift of the rim", "corner noise")]
        ratios.append(area_error_percent(rim, made) / np.linalg.norm(drawn))
    assert np.max(np.abs(ratios)) < 3.0
    assert np.sqrt(np.mean(np.square(ratios))) > 0.1


@pytest.mark.parametrize("angle_deg", [0.0, 90.0])
def test_a_hide_that_went_5_mm_is_found(angle_deg: float) -> None:
    by = 5.0 * np.array([np.cos(np.deg2rad(angle_deg)), np.sin(np.deg2rad(angle_deg))])
    lift = lift_field(len(hide()), 8.0, np.random.default_rng(2))
    joint, rims = seen(scene(lift), 0.4, hide_off=by)
    refusal = moved_hide(joint, rim_of(joint, rims), J.rim)
    assert refusal is not None
    assert refusal.code == "hide-moved"


@pytest.mark.parametrize("most_mm", [0.0, 15.0])
def test_a_hide_that_lay_still_raises_no_alarm(most_mm: float) -> None:
    lift = lift_field(len(hide()), most_mm, np.random.default_rng(3))
    joint, rims = seen(scene(lift), 0.5)
    assert moved_hide(joint, rim_of(joint, rims), J.rim) is None


def test_the_lift_without_the_judgement_is_that_of_a_rim_nobody_judged() -> None:
    """Taking the row of the mean lift out again gives what solving without it does, to a share of the uncertainty."""
    joint, rims = seen(scene(lift_field(len(hide()), 8.0, np.random.default_rng(2))), 0.4)
    judged, free = (rim_of(joint, rims, Prior(S.measure.lift_mm, u)) for u in (S.measure.lift_u_mm, 1e3))
    m = len(judged.nodes.ring_mm)
    at = free.solution.unknowns
    variance = np.diag(free.solution.covariance)[2 * m]
    lift, u = lift_without_judgement(judged)
    assert np.abs(lift - at[m : 2 * m] - at[2 * m]).max() < 0.3 * u.min()  # rims were read at other heights
    assert 0.5 * np.sqrt(variance) < np.median(u) < 4.0


@pytest.mark.parametrize("off_mm", [-9.0, 9.0])
def test_a_hide_that_would_float_or_be_sunk_is_refused(off_mm: float) -> None:
    """As one looks that moved along the way from one camera to the other, or that lies on a table above the cards."""
    joint, rims = seen(scene(off_mm + lift_field(len(hide()), 4.0, np.random.default_rng(5))), 0.4)
    refusal = moved_hide(joint, rim_of(joint, rims), J.rim)
    assert refusal is not None
    said = re.search(r"its rim would be (-?\d+) mm over it where it is lowest", refusal.reason)
    assert said is not None
    assert float(said[1]) == pytest.approx(off_mm, abs=3.0)

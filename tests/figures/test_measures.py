from math import erf

import numpy as np
import pytest

from hidescan.basics.geometry import perimeter, signed_area
from hidescan.figures.measures import HeightPriors, HideRims, Measures, Rim, as_gaussian, measure, sampling_u_mm2
from hidescan.floor.parameters import Prior
from hidescan.floor.solution import Plane, solve_plane
from hidescan.settings import MeasureSettings, PlaneSettings
from tests.synthetic.corners import priors, seen_card
from tests.synthetic.scenes import Array, TrueCamera, TrueCard, circle, look_at, rectangle

CAMERA = look_at((0, 0), 1600, 25, 60, k1=-0.04, k2=0.01)
CARDS = [TrueCard(1, (-650, 450), 20), TrueCard(2, (650, -450), 140)]
FLAT = HeightPriors(Prior(0.0, 1e-6), Prior(0.0, 1e-6))
ALONG = np.array([1.0, 0.0])


def solved(
    seed: int = 0,
    *,
    measured: bool = True,
    sd_px: float = 0.15,
    cards: list[TrueCard] = CARDS,
    camera: TrueCamera = CAMERA,
) -> Plane:
    rng = np.random.default_rng(seed)
    seen = tuple(seen_card(camera, card, sd_px, rng) for card in cards)
    plane = solve_plane(seen, camera.size_px, priors(camera, measured=measured), PlaneSettings())
    assert isinstance(plane, Plane)
    return plane


def seen_rim(ring_mm: Array, u_px: float = 0.0, camera: TrueCamera = CAMERA) -> Rim:
    return Rim(camera.project(np.c_[ring_mm, np.zeros(len(ring_mm))]), np.full(len(ring_mm), u_px))


def measured_of(ring_mm: Array, plane: Plane, holes: tuple[Rim, ...] = (), u_px: float = 0.0) -> Measures:
    return measure(plane, HideRims(seen_rim(ring_mm, u_px), holes), FLAT, ALONG, MeasureSettings(), print_measured=True)


def turned_into_floor(plane: Plane, direction: Array) -> Array:
    """A direction of the scene in the plane's own floor frame."""
    ends = CAMERA.project(np.array([[0.0, 0, 0], [100 * direction[0], 100 * direction[1], 0]]))
    a, b = plane.camera.mm_from_px(ends)
    return np.asarray(b - a)


def test_rectangle_1000_x_600() -> None:
    """60 dm2 (plane geometry), its sides and the way round."""
    plane = solved()
    ring = seen_rim(rectangle(1000, 600))
    along = turned_into_floor(plane, np.array([1.0, 0.0]))
    m = measure(plane, HideRims(ring), FLAT, along, MeasureSettings(), print_measured=True)
    assert m.area_gross.value == pytest.approx(600_000, rel=3e-3)
    assert m.length.value == pytest.approx(1000, rel=2e-3)
    assert m.width.value == pytest.approx(600, rel=2e-3)
    assert m.perimeter.value == pytest.approx(3200, rel=2e-3)


def test_net_is_gross_without_the_holes() -> None:
    hole = seen_rim(circle(40, 200, (100, 50)))
    m = measured_of(circle(500), solved(), (hole,))
    assert m.area_gross.value - m.area_net.value == pytest.approx(np.pi * 1600, rel=0.01)


def test_the_budget_sums_to_the_total() -> None:
    m = measured_of(circle(500), solved(), u_px=0.3)
    total = np.sqrt(sum(row.area_percent**2 for row in m.budget))
    assert total == pytest.approx(100 * m.area_net.u / m.area_net.value, rel=1e-6)
    assert {row.source for row in m.budget} >= {"corner noise", "lens", "print scale", "rim"}


def test_an_unmeasured_print_rules_and_is_rectangular() -> None:
    """Rectangular +/-2 % of scale is +/-4 % of area; its 95 % interval is 0.95 of that, where 2 u would say 4.6 %."""
    plane = solved(measured=False, sd_px=0.02)
    m = measure(plane, HideRims(seen_rim(circle(500))), FLAT, ALONG, MeasureSettings(), print_measured=False)
    assert m.area_net.expanded / m.area_net.value == pytest.approx(0.95 * 0.04, rel=0.05)


def test_the_area_scatters_as_claimed() -> None:
    """200 photos with corner noise alone; what stays the same in all of them is left out of the claim."""
    values, claims = [], []
    ring = circle(500, 360)
    for seed in range(200):
        m = measured_of(ring, solved(seed))
        values.append(m.area_net.value)
        claims.append(next(row.area_percent for row in m.budget if row.source == "corner noise"))
    assert 100 * np.std(values) / np.mean(values) == pytest.approx(np.mean(claims), rel=0.15)


def test_the_rim_counts_by_its_length() -> None:
    """A rim that is off by d all round changes the area by perimeter x d."""
    ring = circle(500)
    wide, tight = (measured_of(ring, solved(), u_px=u) for u in (1.0, 0.1))
    share = [next(r.area_percent for r in m.budget if r.source == "rim") for m in (wide, tight)]
    assert share[0] == pytest.approx(10 * share[1], rel=1e-6)
    mm_per_px = float(np.median(solved().camera.mm_per_px(seen_rim(ring).ring_px)))
    whole_rim = 100 * perimeter(ring) * mm_per_px / signed_area(ring)
    assert 0.4 * whole_rim < share[0] < whole_rim


@pytest.mark.parametrize("count", [1, 2])
def test_linearised_bound_is_reached(count: int) -> None:
    """The claim against the linearised least-squares bound made from OpenCV's own projection and its derivatives."""
    plane = solved(cards=CARDS[:count])
    m = measured_of(circle(500, 360), plane)
    rows = {r.source: r.area_percent for r in m.budget}
    claimed = np.sqrt(rows["corner noise"] ** 2 + rows["lens"] ** 2 + rows["print scale"] ** 2)
    from tests.synthetic.bound import area_sd_percent

    bound = area_sd_percent(CAMERA, CARDS[:count], circle(500, 360), plane.corner_sd_px, priors(CAMERA))
    assert claimed == pytest.approx(bound, rel=0.1)


ABOVE = look_at((0, 0), 1600, 0, 0)


def from_above(
    rim: Rim,
    holes: tuple[Rim, ...] = (),
    *,
    thickness: Prior = FLAT.thickness,
    lift: Prior = FLAT.lift,
    settings: MeasureSettings = MeasureSettings(),  # noqa: B008
    open_area_u: float = 0.0,
) -> Measures:
    """Measured by a camera 1600 mm straight above the floor's origin; its corners and lens are exact, nearly."""
    plane = solved(sd_px=0.01, camera=ABOVE)
    rims, heights = HideRims(rim, holes, open_area_u), HeightPriors(thickness, lift)
    return measure(plane, rims, heights, ALONG, settings, print_measured=True)


def share(m: Measures, source: str) -> float:
    return next((row.area_percent for row in m.budget if row.source == source), 0.0)


def test_leather_is_measured_on_its_upper_edge_and_through_holes_at_their_foot() -> None:
    """From above, a rim's outer edge hides its foot: what stands h under a camera at H shows (H / (H - h))^2 as large.

    A hole's near wall is seen down to the floor (similar triangles).
    """
    rim, hole = seen_rim(circle(400), camera=ABOVE), seen_rim(circle(100), camera=ABOVE)
    flat, thick, lifted = (
        from_above(rim, (hole,), thickness=Prior(t, 0.6), lift=Prior(up, 0.4)) for t, up in ((0, 0), (16, 0), (0, 16))
    )
    shrunk = (1 - 16 / 1600) ** 2
    assert thick.area_gross.value == pytest.approx(shrunk * flat.area_gross.value, rel=1e-4)
    holes = [m.area_gross.value - m.area_net.value for m in (flat, thick, lifted)]
    assert holes == pytest.approx([holes[0], holes[0], shrunk * holes[0]], rel=1e-4)
    assert holes[0] == pytest.approx(np.pi * 100**2, rel=1e-3)
    assert share(flat, "leather thickness") == pytest.approx(100 * 2 * 0.6 / 1600 / (1 - 1 / 16), rel=1e-3)
    assert share(flat, "lift of the rim") == pytest.approx(100 * 2 * 0.4 / 1600, rel=1e-3)


def test_seen_from_low_down_the_lift_is_less_sure() -> None:
    plane = solved(camera=look_at((0, 0), 1600, 45, 60))
    ring = seen_rim(circle(300), camera=look_at((0, 0), 1600, 45, 60))
    heights = HeightPriors(Prior(0.0, 1e-6), Prior(0.0, 0.5))
    steep, never, always = (
        share(
            measure(plane, HideRims(ring), heights, ALONG, MeasureSettings(lift_steep_deg=deg), print_measured=True),
            "lift of the rim",
        )
        for deg in (30.0, 80.0, 44.9)
    )
    assert steep / never == pytest.approx(np.tan(np.deg2rad(45)) / np.tan(np.deg2rad(30)), rel=5e-3)
    assert always / never == pytest.approx(1.0, rel=1e-2)


def test_an_even_rim_is_off_by_its_stretches_and_by_all_of_them_together() -> None:
    """N stretches of length c, each off by u, are off by u sqrt(L c) together (GUM 5.1.2); alike, by u L."""
    settings = MeasureSettings(rim_correlation_mm=12.0, rim_common_share=0.25)
    rims = [seen_rim(ring, u, camera=ABOVE) for u in (0.0, 1.0) for ring in (circle(400), circle(80, 360, (100, 0)))]
    sharp, soft = (from_above(rims[i], (rims[i + 1],), settings=settings) for i in (0, 2))
    u = 1600 / ABOVE.focal_px  # mm of a pixel
    outer, inner = 2 * np.pi * 400, 2 * np.pi * 80
    added = [getattr(soft, n).u ** 2 - getattr(sharp, n).u ** 2 for n in ("area_gross", "area_net", "length", "width", "perimeter")]  # fmt: skip
    assert added[0] == pytest.approx(u**2 * (outer * 12 + (0.25 * outer) ** 2), rel=0.01)
    assert added[1] == pytest.approx(u**2 * ((outer + inner) * 12 + (0.25 * (outer + inner)) ** 2), rel=0.01)
    assert added[2] == pytest.approx(2 * u**2, rel=0.02)  # two ends
    assert added[3] == pytest.approx(2 * u**2, rel=0.02)
    assert added[4] == pytest.approx(2 * np.pi**2 * u**2, rel=0.02)
    assert share(soft, "rim") == pytest.approx(100 * np.sqrt(added[1]) / soft.area_net.value, rel=0.01)


@pytest.mark.parametrize("count", [12, 48])
@pytest.mark.parametrize("clockwise", [False, True])
def test_chords_leave_out_what_lies_under_their_arcs(count: int, clockwise: bool) -> None:
    """Circle less inscribed regular polygon: pi r^2 - n r^2 sin(2 pi / n) / 2 (plane geometry)."""
    r = 300.0
    left_out = np.pi * r**2 - count * r**2 * np.sin(2 * np.pi / count) / 2
    ring = circle(r, count)[:: -1 if clockwise else 1]
    assert sampling_u_mm2(ring) == pytest.approx(left_out, rel=1.5 / count)
    assert sampling_u_mm2(circle(0.4, 720)) == pytest.approx(np.pi * 0.4**2 * (np.pi / 360) ** 2 / 6, rel=0.01)
    m = from_above(seen_rim(ring, camera=ABOVE))
    assert share(m, "sampling") == pytest.approx(100 * left_out / signed_area(circle(r, count)), rel=2 / count)
    assert m.area_gross.u == pytest.approx(m.area_net.u, rel=1e-9)  # without holes both are one


def test_wiggles_of_a_rim_cancel_in_what_its_chords_leave_out() -> None:
    """A wave about a straight line has as much area under its crests as over its troughs."""
    x = np.linspace(0, 1200, 241)
    waves, plain = (np.r_[np.c_[x, a * np.sin(x / 20)], [[1200, 600], [0, 600]]] for a in (6.0, 0.0))
    assert abs(sampling_u_mm2(waves) - sampling_u_mm2(plain)) < 0.1 * sampling_u_mm2(circle(600, 24))
    assert sampling_u_mm2(np.r_[circle(300, 48), circle(300, 48)[-1:]]) == pytest.approx(
        sampling_u_mm2(circle(300, 48)), rel=0.2
    )  # a point given twice


def test_what_may_be_hide_or_floor_counts_in_areas_alone() -> None:
    rim, hole = seen_rim(rectangle(800, 500), camera=ABOVE), seen_rim(circle(90), camera=ABOVE)
    sure, open_ = (from_above(rim, (hole,), open_area_u=u) for u in (0.0, 0.03))
    gross = sure.area_gross.value
    assert np.sqrt(open_.area_gross.u**2 - sure.area_gross.u**2) == pytest.approx(0.03 * gross, rel=1e-6)
    assert np.sqrt(open_.area_net.u**2 - sure.area_net.u**2) == pytest.approx(0.03 * gross, rel=1e-6)
    assert share(open_, "hide or floor") == pytest.approx(3.0 * gross / sure.area_net.value)
    assert "hide or floor" not in {row.source for row in sure.budget}
    for name in ("length", "width", "perimeter"):
        assert getattr(open_, name).u == getattr(sure, name).u


def test_the_coarseness_of_a_ring_makes_no_length_less_sure() -> None:
    fine, coarse = (from_above(seen_rim(circle(300, n), camera=ABOVE)) for n in (1440, 12))
    for name in ("length", "width", "perimeter"):
        assert getattr(coarse, name).u == pytest.approx(getattr(fine, name).u, rel=0.06)


def test_length_is_along_the_back_line_however_long_its_direction_is_given() -> None:
    plane = solved(sd_px=0.05)
    ring = seen_rim(rectangle(1000, 600))
    across = turned_into_floor(plane, np.array([0.0, 1.0]))
    m = measure(plane, HideRims(ring), FLAT, 7.0 * across, MeasureSettings(), print_measured=True)
    assert (m.length.value, m.width.value) == pytest.approx((600, 1000), rel=2e-3)


def test_derivatives_on_a_few_points_of_the_rim_are_those_on_all() -> None:
    few, all_ = (
        from_above(
            seen_rim(circle(400, 720), 0.5, camera=ABOVE),
            lift=Prior(2, 1),
            settings=MeasureSettings(derivative_points=n),
        )
        for n in (120, 720)
    )
    assert few.area_net.value == all_.area_net.value
    assert share(few, "lift of the rim") == pytest.approx(share(all_, "lift of the rim"), rel=2e-3)
    assert share(few, "lift of the rim") != share(all_, "lift of the rim")
    assert share(few, "rim") == share(all_, "rim")
    corners = np.array([[-300.0, -200], [300, -200], [300, 200], [-300, 200]])
    assert share(from_above(seen_rim(corners, camera=ABOVE), lift=Prior(0, 1)), "lift of the rim") == pytest.approx(
        100 * 2 / 1600, rel=1e-3
    )


def test_a_rectangle_and_a_gaussian_are_covered_to_95_percent_by_two_of_what_stands_for_both() -> None:
    """Rectangular of half-width a has variance a^2 / 3 (JCGM 101, 6.4.2); the cover of the sum is integrated here."""
    steps = np.linspace(-1, 1, 2001)
    for others, a in ((1e-8, 1.0), (0.01, 1.0), (0.2, 1.0), (0.5, 2.0)):
        half = 2 * np.sqrt(as_gaussian(a**2 / 3, others) + others)
        within = [
            0.5 * (erf((half - d) / np.sqrt(2 * others)) + erf((half + d) / np.sqrt(2 * others))) for d in a * steps
        ]
        assert np.mean(within) == pytest.approx(0.95, abs=2e-3)
    assert as_gaussian(0.0, 1.0) == 0.0

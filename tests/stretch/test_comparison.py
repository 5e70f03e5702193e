"""Strain between maps of one hide, against closed forms and drawn hides."""

import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from shapely.geometry import Polygon

from hidescan.cli.app import main
from hidescan.hide_map.json_io import to_json
from hidescan.hide_map.model import (
    BudgetEntry,
    CameraEntry,
    CardEntry,
    HideMap,
    Inputs,
    MeasuresEntry,
    OutlineEntry,
    PolygonGeometry,
    ZoneEntry,
)
from hidescan.settings.uses import DotSettings, StretchSettings
from hidescan.stretch.comparison import ACROSS, ALONG, Mapped, crept_back, gain
from hidescan.stretch.dots import find_dots
from hidescan.stretch.field import Kernel, stretches
from hidescan.stretch.matching import matched_dots, register
from hidescan.stretch.picture import picture
from hidescan.stretch.report import HEAT, SOAKING, cautions, report
from tests.samples import figure, rectangle_map
from tests.synthetic import scenes
from tests.synthetic.strained import Array, inside_points, strained

S, D = StretchSettings(), DotSettings()


def map_of(ring: Array, u_share: float = 0.001, **inputs: str) -> HideMap:
    """A map of a ring whose figures are the ring's own."""
    closed = tuple((float(x), float(y)) for x, y in np.vstack([ring, ring[:1]]))
    area, (width, length) = Polygon(ring).area, np.ptp(ring, axis=0)
    a, b, c = (figure(float(v), u_share * float(v)) for v in (area, length, width))
    outline = PolygonGeometry((closed,))
    return rectangle_map(
        outline=OutlineEntry(outline, outline, 0.95, ()),
        measures=MeasuresEntry(a, a, a, b, c, figure(float(Polygon(ring).length), 1.0)),
        budget=(BudgetEntry("corner noise", 50 * u_share), BudgetEntry("lift of the rim", 50 * u_share)),
        zones=(ZoneEntry("butt", outline, float(area), 1.8, 0.2),),
        marks=(),
        inputs=Inputs(card_scale=(1.0, 1.0), **inputs),  # type: ignore[arg-type]
    )


def affine(seed: int) -> tuple[Array, Array, Array, Array]:
    """Ring and dots of a hide, its deformation gradient, and where all of it goes."""
    rng = np.random.default_rng(seed)
    hide = strained(rng, dots=16, dot_u_mm=0.0, rim_u_mm=0.0)
    F = np.eye(2) + np.array([[rng.uniform(0, 0.15), rng.uniform(-0.05, 0.05)], [0.0, rng.uniform(0, 0.15)]])
    turn, _ = cv2.Rodrigues(np.array([0.0, 0.0, rng.normal(0, 0.03)]))
    return np.array(hide.outline.exterior.coords)[:-1], hide.dots[0], F, turn[:2, :2] @ F


@pytest.mark.parametrize("seed", [3, 4])
@pytest.mark.parametrize("with_dots", [True, False])
def test_an_even_stretch_agrees_with_the_closed_form(seed: int, with_dots: bool) -> None:
    # Stretch of a line along e under x -> F x is sqrt(e . F^T F e) (right Cauchy-Green tensor), whatever turn follows:
    # Holzapfel, Nonlinear Solid Mechanics (2000), 2.4 and 2.5 (from memory).
    ring, dots, F, turned = affine(seed)
    pairs = (dots, dots @ turned.T + 7.0) if with_dots else None
    found = register(ring, ring @ turned.T + 7.0, pairs, 0.1, S)
    at = inside_points(Polygon(ring), 100.0)
    C = F.T @ F
    for axis, true in ((ALONG, C[1, 1] ** 0.5 - 1), (ACROSS, C[0, 0] ** 0.5 - 1)):
        mean, u = stretches(found.field, at, np.full((1, len(at)), 1 / len(at)), axis)
        assert abs(mean[0] - true) < (0.0005 if with_dots else 0.003)
        assert abs(mean[0] - true) < 3 * u[0]


def test_an_even_stretch_gives_the_determinant_as_area() -> None:
    ring, dots, F, _ = affine(5)
    found = gain(Mapped("a", map_of(ring), dots), Mapped("b", map_of(ring @ F.T), dots @ F.T), S, D)
    assert found.area.value == pytest.approx(np.linalg.det(F) - 1, abs=1e-9)
    assert len(found.dots_mm[0]) == len(dots)
    assert found.zones[0].along.value == pytest.approx(found.whole.along.value, abs=1e-3)


@pytest.mark.parametrize("smooth", [False, True])
def test_covariances_of_derivatives_are_those_of_differences(smooth: bool) -> None:
    # Rasmussen and Williams (2006), 9.4: cov(d', d) and cov(d', d') are derivatives of the covariance itself.
    shape, h = Kernel(300.0, smooth), 0.5
    x, across = np.array([0.0, 40.0, 250.0, 700.0]), 90.0

    def value(off: Array) -> Array:
        return shape.value(off**2 + across**2)

    squares = x**2 + across**2
    first = (value(x + h) - value(x - h)) / (2 * h)
    second = (value(x + h) - 2 * value(x) + value(x - h)) / h**2
    assert -shape.slope(squares) * x == pytest.approx(first, rel=1e-4, abs=1e-6)
    assert shape.slope(squares) - shape.bend(squares) * x**2 == pytest.approx(-second, abs=1e-4)
    assert shape.slope(np.zeros(1)) == pytest.approx(1.0)  # a strain deviation of one


@pytest.mark.parametrize("worked", [False, True])
def test_uneven_strains_lie_within_what_is_stated(worked: bool) -> None:
    sigmas = []
    for seed in range(3):
        hide = strained(np.random.default_rng(seed), dots=20, worked=worked)
        found = register(hide.first, hide.second, hide.dots, 0.7, S)
        at = inside_points(hide.outline, 80.0)
        for axis, true in zip((ALONG, ACROSS), hide.pull.stretch(at), strict=True):
            mean, u = stretches(found.field, at, np.full((1, len(at)), 1 / len(at)), axis)
            assert abs(mean[0] - true) < 0.005
            sigmas.append((mean[0] - true) / np.hypot(u[0], 2**0.5 * hide.u_scale))
    assert 0.3 < np.sqrt(np.mean(np.square(sigmas))) < 1.8


def test_dots_are_matched_among_spots_that_only_one_photo_shows() -> None:
    rng = np.random.default_rng(2)
    hide = strained(rng, dots=20)
    outline_only = register(hide.first, hide.second, None, 0.7, S)
    chance = [rng.permutation(inside_points(Polygon(r).buffer(-25), 40.0))[:8] for r in (hide.first, hide.second)]
    first, second = (np.vstack(pair) for pair in zip(hide.dots, chance, strict=True))
    shuffle = rng.permutation(len(second))
    i, j = matched_dots(first, second[shuffle], outline_only, float(hide.outline.area**0.5), D)
    assert np.array_equal(i, shuffle[j]) and set(i) == set(range(len(hide.dots[0])))


@pytest.mark.parametrize("flip", [(-1.0, -1.0), (-1.0, 1.0)])
def test_a_map_the_other_way_round_is_taken_so_and_said(flip: tuple[float, float]) -> None:
    hide = strained(np.random.default_rng(6), dots=0)
    after = hide.pull.moved(np.array(hide.outline.exterior.coords)[:-1]) * flip
    found = gain(Mapped("a", map_of(hide.first)), Mapped("b", map_of(after)), S, D)
    assert found.registered.turned == ("turned" if flip == (-1.0, -1.0) else "mirrored")
    assert f"only {found.registered.turned}" in "\n".join(report((found,), found))
    assert not found.other_hide


def test_another_hide_is_not_taken_for_the_same() -> None:
    one, two = (strained(np.random.default_rng(seed), dots=0) for seed in (7, 8))
    found = gain(Mapped("a", map_of(one.first)), Mapped("b", map_of(two.first)), S, D)
    assert found.other_hide and "is it one hide" in "\n".join(report((found,), found))


@pytest.mark.parametrize(("factor", "said"), [(1.0, True), (1.0004, True), (1.004, False), (0.99, False)])
def test_within_the_uncertainty_is_said_only_when_it_is_true(factor: float, said: bool) -> None:
    hide = strained(np.random.default_rng(9), dots=12, dot_u_mm=0.0, rim_u_mm=0.0)
    first = Mapped("a", map_of(hide.first, 0.0005), hide.dots[0])
    found = gain(first, Mapped("b", map_of(factor * hide.first, 0.0005), factor * hide.dots[0]), S, D)
    sure = any(abs(m.value) > m.expanded for m in (found.area, found.whole.along, found.whole.across))
    assert ("within the uncertainty" in "\n".join(report((found,), found))) is said is not sure


def test_nothing_is_said_of_an_unknown_uncertainty() -> None:
    hide = strained(np.random.default_rng(9), dots=0)
    unknown = map_of(hide.first)
    area = replace(unknown.measures.area_net, expanded_uncertainty=None)
    unknown = replace(unknown, measures=replace(unknown.measures, area_net=area))
    found = gain(Mapped("a", unknown), Mapped("b", unknown), S, D)
    text = "\n".join(report((found,), found))
    assert "unknown" in text and "within the uncertainty" not in text


def test_what_crept_back_is_a_share_of_what_was_gained() -> None:
    square = np.array([[0.0, 0.0], [1000.0, 0.0], [1000.0, 1000.0], [0.0, 1000.0]])
    maps = [map_of(square * side) for side in (1.0, 1.1**0.5, 1.075**0.5)]
    back = crept_back(*maps)
    assert back.value == pytest.approx(0.25)
    # GUM 5.1.2 with relative u of 0.001 each: slopes 7.5, -2.5 ... written out by hand.
    a, b, c, g = 1.0, 1.1, 1.075, 0.1
    by_hand = 0.001 * ((b * (c - a) / g**2) ** 2 + (a * (b - c) / g**2) ** 2 + (c / g) ** 2) ** 0.5
    assert back.u == pytest.approx(by_hand)
    assert np.isnan(crept_back(maps[1], maps[0], maps[2]).value)


def test_same_prints_cancel_and_new_ones_do_not() -> None:
    hide = strained(np.random.default_rng(9), dots=0)
    unmeasured = replace(
        map_of(hide.first, 0.012), inputs=Inputs(), budget=(BudgetEntry("print scale", 1.19), BudgetEntry("rim", 0.1))
    )
    pair = Mapped("a", unmeasured), Mapped("b", unmeasured)
    same, new = gain(*pair, S, D), gain(*pair, S, D, new_prints=True)
    other = replace(unmeasured, cards=(CardEntry(5, 12, 0.1, (500.0, 100.0), 12.0),))
    assert same.same_prints and not new.same_prints
    assert same.area.u < 0.004 < 0.0168 < new.area.u
    assert same.whole.along.u < 0.003 < 0.008 < new.whole.along.u
    assert not gain(pair[0], Mapped("b", other), S, D).same_prints


@pytest.mark.parametrize(
    ("tannage", "state", "soaking", "heat"),
    [
        ("brain-tanned smoked", "dried on a frame", False, False),
        ("brain-tanned", "dried slack", True, False),
        ("brain-tanned unsmoked", "wet", True, True),
        ("commercial", "wet", False, True),
        (None, None, True, True),
    ],
)
def test_cautions_stand_where_they_matter(tannage: str | None, state: str | None, soaking: bool, heat: bool) -> None:
    hide_map = rectangle_map(inputs=Inputs(tannage=tannage, state=state))
    said = cautions([hide_map, hide_map])
    assert (SOAKING in said) is soaking and (HEAT in said) is heat


def test_maps_in_different_states_are_flagged() -> None:
    hide = strained(np.random.default_rng(9), dots=0)
    states = ("wet", "dried slack")
    a, b = (Mapped(s, map_of(hide.first, state=s, tannage=s)) for s in states)
    found = gain(a, b, S, D)
    text = "\n".join(report((found,), found))
    assert "Different states (wet wet, dried slack dried slack)" in text and "Different tannages" in text
    same = gain(a, a, S, D)
    assert "Different" not in "\n".join(report((same,), same))


def cross(at: Array, arm_mm: float) -> Array:
    """A cross of two strokes 1.6 mm wide."""
    w, r = 0.8, arm_mm
    corners = [
        (-r, -w),
        (-w, -w),
        (-w, -r),
        (w, -r),
        (w, -w),
        (r, -w),
        (r, w),
        (w, w),
        (w, r),
        (-w, r),
        (-w, w),
        (-r, w),
    ]
    return np.array(corners) + at


def test_inked_dots_and_crosses_are_found_where_they_are() -> None:
    camera = scenes.look_at((0.0, 0.0), 620.0, 14.0, 50.0, size_px=(1200, 900))
    outline = scenes.rectangle(330.0, 290.0, 8.0)
    at = np.array([[x, y] for x in (-105.0, -35.0, 35.0, 105.0) for y in (-85.0, 0.0, 85.0)])
    ink = tuple((scenes.circle(2.5, 40, tuple(p)) if n % 2 else cross(p, 5.0), (45, 40, 60)) for n, p in enumerate(at))
    rgb = scenes.picture(camera, [], [outline], np.random.default_rng(1), scenes.Look(over=ink))
    ring = tuple((float(x), float(y)) for x, y in np.vstack([outline, outline[:1]]))
    mm_per_px = 620.0 / camera.focal_px
    entry = CameraEntry(
        camera.focal_px, (0.0, 0.0), ((1200 - 1) / 2, (900 - 1) / 2), camera.rotation.tolist(),
        tuple(camera.translation.tolist()), 14.0, mm_per_px,
    )  # fmt: skip
    hide_map = rectangle_map(
        camera=entry, outline=OutlineEntry(PolygonGeometry((ring,)), PolygonGeometry((ring,)), 1.0, ()), zones=()
    )
    found = find_dots(rgb, hide_map, D)
    off = np.linalg.norm(found[:, None] - at, axis=2)
    assert len(found) <= len(at) + 2
    assert off.min(axis=0).max() < mm_per_px


def test_the_command_compares_three_maps_without_their_photos(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    ring = np.array(strained(np.random.default_rng(9), dots=0).outline.exterior.coords)[:-1]
    files = []
    for name, side in (("before", 1.0), ("wet", 1.06), ("dry", 1.03)):
        files.append(tmp_path / f"{name}.hide.json")
        files[-1].write_bytes(to_json(map_of(ring * side)))
    monkeypatch.setattr(sys, "argv", ["hidescan", "stretch", *map(str, files)])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == 0
    out, err = capsys.readouterr()
    assert "area     +6.1" in out and "by the outline alone" in out and "crept back" in out
    assert err.count("Dots were not looked for") == 3
    with Image.open(tmp_path / "dry.stretch.png") as drawn:
        assert drawn.size[1] > 800
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == 2 and "already there" in capsys.readouterr().err


def test_the_picture_is_the_same_every_time() -> None:
    hide = strained(np.random.default_rng(9), dots=15)
    found = gain(Mapped("a", map_of(hide.first), hide.dots[0]), Mapped("b", map_of(hide.second), hide.dots[1]), S, D)
    assert picture(found) == picture(found)
    assert found.u.shape == found.along.shape == found.across.shape

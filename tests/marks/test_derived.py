"""Whatever a person says of a hide's marks, every figure is that of the written geometry (Shapely)."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import union_all
from shapely.geometry import Polygon, box

from hidescan.basics.errors import BadInput
from hidescan.hide_map.json_io import from_json, to_json
from hidescan.hide_map.model import HideMap, MarkEntry
from hidescan.marks.corrections import with_corrections
from hidescan.marks.derived import with_figures
from hidescan.marks.placement import NEAR_MM, region_of
from hidescan.settings import Settings
from tests.marked import bare_map, disc, mark, marked_map

S = Settings()
HIDE = box(-300, 0, 300, 1000)
KINDS = ["hole", "cut", "stain", "brand", "scratch", "wrinkle", "thin"]


@st.composite
def marked_hides(draw: st.DrawFn) -> HideMap:
    """The hide of 600 x 1000 mm with marks anywhere on it, at its rim and on each other."""
    found = draw(
        st.lists(
            st.tuples(
                st.sampled_from(KINDS), st.floats(-320, 320), st.floats(-20, 1020), st.floats(3, 70), st.floats(0.1, 1)
            ),
            max_size=6,
        )
    )  # fmt: skip
    marks = [
        mark(f"{kind}-{n}", disc(x, y, r), kind, confidence=confidence)  # type: ignore[arg-type]
        for n, (kind, x, y, r, confidence) in enumerate(found, start=1)
    ]
    return marked_map(*marks)


WORDS = st.lists(st.tuples(st.integers(0, 9), st.sampled_from(["confirmed", "rejected", *KINDS])), max_size=6)


def corrected(hide_map: HideMap, words: list[tuple[int, str]]) -> HideMap:
    for which, change in words:
        if hide_map.marks:
            try:
                hide_map = with_corrections(hide_map, {hide_map.marks[which % len(hide_map.marks)].id: change}, S)
            except BadInput as error:
                assert "part the hide in two" in str(error)
    return hide_map


def polygon(one: MarkEntry) -> Polygon:
    return Polygon(one.hide_mm.coordinates[0])


@settings(max_examples=8, deadline=None)
@given(marked_hides(), WORDS)
def test_figures_are_those_of_the_written_geometry_after_every_correction(
    hide_map: HideMap, words: list[tuple[int, str]]
) -> None:
    made = corrected(hide_map, words)
    rings, m = made.outline.hide_mm.coordinates, made.measures
    net, gross = Polygon(rings[0], rings[1:]), Polygon(rings[0])
    holes = union_all([polygon(one) for one in made.marks if one.kind == "hole" and one.status != "rejected"])
    assert net.is_valid
    left = HIDE.difference(holes)
    whole = max(getattr(left, "geoms", [left]), key=lambda part: part.area)  # crumbs that hang on nothing fall off
    assert net.symmetric_difference(whole).area < 1e-6 * HIDE.area
    assert m.area_net.value == pytest.approx(net.area, rel=1e-9)
    assert m.area_gross.value == pytest.approx(gross.area, rel=1e-9)
    x0, y0, x1, y1 = gross.bounds
    assert m.width.value == pytest.approx(x1 - x0)
    assert m.length.value == pytest.approx(y1 - y0)
    grown = [
        polygon(one).buffer(5.0 if one.kind in ("hole", "cut") else 3.0)
        for one in made.marks
        if one.status != "rejected" and one.kind != "wrinkle"
    ]
    assert m.area_usable.value == pytest.approx(net.difference(union_all(grown)).area, abs=1e-3)
    for one in made.marks:
        assert one.area_mm2 == pytest.approx(polygon(one).area)
        assert one.from_rim_mm == pytest.approx(polygon(one).distance(gross.exterior), abs=1e-6)
        assert polygon(one).distance(HIDE) < NEAR_MM  # every mark meets its hide


@settings(max_examples=8, deadline=None)
@given(marked_hides(), WORDS)
def test_zones_tile_the_net_outline_after_every_correction(hide_map: HideMap, words: list[tuple[int, str]]) -> None:
    made = corrected(hide_map, words)
    net, zones = region_of(made.outline.hide_mm), [region_of(zone.hide_mm) for zone in made.zones]
    assert sum(zone.area for zone in zones) == pytest.approx(net.area, rel=1e-9)
    assert union_all(zones).symmetric_difference(net).area < 1e-6 * net.area
    assert [zone.area_mm2 for zone in made.zones] == pytest.approx([zone.area for zone in zones])


@settings(max_examples=8, deadline=None)
@given(marked_hides(), WORDS)
def test_budgets_add_to_their_totals_after_every_correction(hide_map: HideMap, words: list[tuple[int, str]]) -> None:
    made = corrected(hide_map, words)
    for figure, rows in ((made.measures.area_net, made.budget), (made.measures.area_usable, made.usable_budget)):
        total = np.hypot.reduce([0.0, *(row.area_percent for row in rows)])
        assert figure.expanded_uncertainty is not None
        if figure.value > 1.0:
            assert 2 * total == pytest.approx(100 * figure.expanded_uncertainty / figure.value, rel=1e-6)


@settings(max_examples=8, deadline=None)
@given(marked_hides(), WORDS)
def test_nothing_derived_is_carried_over(hide_map: HideMap, words: list[tuple[int, str]]) -> None:
    """A map whose derived parts are lost, or wrong, has the same figures once they are computed anew."""
    made = corrected(hide_map, words)
    spoilt = replace(
        made,
        zones=(),
        sampling_mm=None,
        thickness_source="",
        usable_budget=(),
        marks=tuple(replace(one, area_mm2=1.0, length_mm=1.0, zone="butt", from_rim_mm=7.0) for one in made.marks),
    )
    again = with_figures(spoilt, S)
    assert again.zones == made.zones and again.marks == made.marks
    assert again.outline == made.outline and again.sampling_mm == made.sampling_mm
    assert again.measures.area_usable.value == pytest.approx(made.measures.area_usable.value)
    assert with_figures(again, S).outline == made.outline


@settings(max_examples=8, deadline=None)
@given(marked_hides(), WORDS)
def test_what_was_corrected_opens_again_as_it_was_kept(hide_map: HideMap, words: list[tuple[int, str]]) -> None:
    made = corrected(hide_map, words)
    written = to_json(made)
    assert to_json(from_json(written, "map")) == written


@pytest.mark.parametrize(("given_mm", "label"), [(None, "typical, not measured"), (1.8, "given for the whole hide")])
def test_given_is_never_called_typical(given_mm: float | None, label: str) -> None:
    base = bare_map()
    made = with_figures(replace(base, inputs=replace(base.inputs, thickness_mm=given_mm)), S)
    assert made.thickness_source == label
    if given_mm is not None:
        assert not re.search("typical", to_json(made).decode().split('"thickness_source"')[1][:60])
        assert max(zone.thickness_mm for zone in made.zones) == given_mm

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity, union_all
from shapely.geometry import Polygon, box

from hidescan.basics.uncertainty import Measured, expanded_with_steps
from hidescan.figures.usable import DOUBT, OUTLINES, lost_to_marks, missed_u_mm2, usable_area
from hidescan.hide_map.model import MarkEntry
from hidescan.settings import MarkRate, UsableSettings
from tests.marked import disc, mark

U = UsableSettings(rates=())  # what a study says of missed and false marks is tested by itself
HIDE = box(-300, 0, 300, 1000)
EXACT = Measured(HIDE.area, 0.0)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["hole", "stain", "cut", "wrinkle", "thin"]),
            st.floats(-350, 350), st.floats(-50, 1050), st.floats(1, 90),
        ),
        max_size=8,
    )
)  # fmt: skip
def test_usable_and_lost_sum_to_net(marks: list[tuple[str, float, float, float]]) -> None:
    """Usable area as GOST 26343-84 (clauses 2 and 3) has it: free of counted faults, shared area counted once."""
    entries = [mark(f"{kind}-1", disc(x, y, r), kind) for kind, x, y, r in marks]  # type: ignore[arg-type]
    lost = lost_to_marks(HIDE, [(kind, disc(x, y, r)) for kind, x, y, r in marks], U)
    usable = usable_area(HIDE, entries, EXACT, [], U).area.value
    assert usable + lost.area == pytest.approx(HIDE.area, abs=1.0)
    assert 0 <= usable <= HIDE.area
    everything = [disc(x, y, r).buffer(5.0 if k in ("hole", "cut") else 3.0) for k, x, y, r in marks if k != "wrinkle"]
    assert lost.area <= sum(shape.area for shape in everything) + 1.0


def test_a_mark_off_the_hide_counts_nothing() -> None:
    assert usable_area(HIDE, [mark("stain-1", disc(500, 500, 50), "stain")], EXACT, [], U).area.value == HIDE.area


def test_a_mark_over_everything_leaves_nothing_and_no_share_of_it() -> None:
    usable = usable_area(
        HIDE, [mark("stain-1", disc(0, 500, 5000), "stain")], Measured(HIDE.area, 99.0), [("rim", 0.5)], U
    )
    assert usable.area.value == 0.0
    assert usable.u_by_source_mm2 == ()


def test_steps_against_monte_carlo() -> None:
    """JCGM 101:2008: the interval from sampling 400,000 times."""
    rng = np.random.default_rng(3)
    for gaussian, steps in (
        (30.0, [(0.2, 100.0)]),
        (5.0, [(0.4, 100.0), (0.1, 40.0), (0.03, 300.0)]),
        (80.0, [(0.5, 10.0)]),
    ):
        p, size = np.array(steps).T
        sample = np.abs(rng.normal(0, gaussian, 400_000) + (rng.random((400_000, len(p))) < p) @ size)
        half = expanded_with_steps(gaussian, steps)
        assert np.mean(sample <= half) == pytest.approx(0.9545, abs=0.004)  # as 2 u of a Gaussian


@pytest.mark.parametrize("confidence", [0.55, 0.8, 0.93])
def test_the_interval_holds_the_truth_95_times_in_100(confidence: float) -> None:
    """Monte Carlo from geometry: marks exist or not, and their outlines grow or shrink, together and apart."""
    rng = np.random.default_rng(int(1000 * confidence))
    marks = [
        mark("stain-1", disc(-150, 300, 40), "stain", confidence=confidence),
        mark("brand-2", disc(120, 700, 50), "brand", confidence=confidence),
        mark("hole-3", disc(120, 300, 12), "hole", confidence=confidence),
        mark("stain-4", disc(295, 850, 30), "stain", status="confirmed", confidence=0.5),
    ]
    stated = usable_area(Polygon(HIDE.exterior, [disc(120, 300, 12).exterior.coords]), marks, EXACT, [], U).area
    truth = []
    for _ in range(600):
        common = rng.normal(0, 1)
        left = []
        for m in marks:
            if m.status != "confirmed" and rng.random() > confidence:
                continue
            u = U.edge_u_mm if m.kind == "hole" else U.soft_edge_u_mm
            grown = Polygon(m.hide_mm.coordinates[0]).buffer(5.0 if m.kind == "hole" else 3.0)
            alike = max(1, round(grown.length / U.outline_correlation_mm))
            own = rng.normal(0, 1, alike).mean()
            left.append(grown.buffer(u * (U.outline_common_share * common + own)))
        truth.append(HIDE.area - union_all(left).intersection(HIDE).area)
    off = np.abs(np.array(truth) - stated.value)
    assert np.mean(off <= stated.expanded) >= 0.93
    assert np.mean(off <= 0.95 * stated.expanded) <= 0.96  # and no wider than that needs


def test_overlapping_doubt_is_never_understated() -> None:
    """Exact by enumeration: two marks that overlap, each there or not."""
    a, b = disc(0, 500, 50), disc(40, 500, 50)
    for p, q in ((0.6, 0.6), (0.9, 0.5), (0.5, 0.9)):
        entries = [mark("stain-1", a, "stain", confidence=p), mark("stain-2", b, "stain", confidence=q)]
        sharp = replace(U, soft_edge_u_mm=0.01)
        stated = usable_area(HIDE, entries, EXACT, [], sharp).area
        grown = [a.buffer(3), b.buffer(3)]
        chance = 0.0
        for there, weight in (
            ((1, 1), p * q),
            ((1, 0), p * (1 - q)),
            ((0, 1), (1 - p) * q),
            ((0, 0), (1 - p) * (1 - q)),
        ):
            left = HIDE.area - union_all([g for g, t in zip(grown, there, strict=True) if t]).area
            chance += weight * (abs(left - stated.value) <= stated.expanded + 1.0)
        assert chance >= 0.949


def test_what_scales_the_hide_scales_usable_area_and_what_moves_the_rim_does_not() -> None:
    half = box(-300, 0, 300, 500)
    entries = [mark("thin-1", half, "thin", status="confirmed")]
    rows = dict(
        usable_area(HIDE, entries, Measured(HIDE.area, 1.0), [("print scale", 1.0), ("rim", 1.0)], U).u_by_source_mm2
    )
    assert rows["rim"] == pytest.approx(6000.0)
    assert rows["print scale"] == pytest.approx(0.01 * 600 * (500 - 3), rel=1e-6)
    # 600 mm of border, in 40 stretches of 15 mm: u = 2.5 mm x sqrt(600 x 15), and half of it all together
    assert rows[OUTLINES] == pytest.approx(2.5 * np.hypot(np.sqrt(600 * 15), 0.5 * 600), rel=1e-6)
    assert DOUBT not in rows


def test_doubt_is_wider_the_less_sure_a_mark_is() -> None:
    shape = affinity.scale(disc(0, 500, 60), 2.0, 1.0)
    widths = [
        usable_area(HIDE, [mark("stain-1", shape, "stain", confidence=c)], EXACT, [], U).area.u
        for c in (0.99, 0.9, 0.7, 0.5)
    ]
    assert widths == sorted(widths)
    assert widths[0] < 0.3 * widths[-1]


@st.composite
def scattered(draw: st.DrawFn) -> list[MarkEntry]:
    """Marks anywhere on the hide, on each other too, each found with some confidence."""
    found = draw(
        st.lists(
            st.tuples(
                st.sampled_from(["hole", "stain", "cut", "brand", "thin"]),
                st.floats(-330, 330), st.floats(-30, 1030), st.floats(3, 120), st.floats(0.05, 1.0),
            ),
            min_size=1, max_size=7,
        )
    )  # fmt: skip
    return [
        mark(f"{kind}-{n}", disc(x, y, r), kind, confidence=confidence)  # type: ignore[arg-type]
        for n, (kind, x, y, r, confidence) in enumerate(found, start=1)
    ]


@settings(max_examples=25, deadline=None)
@given(scattered(), st.data(), st.floats(0, 2e4))
def test_confirming_never_widens(marks: list[MarkEntry], data: st.DataObject, u: float) -> None:
    which = data.draw(st.integers(0, len(marks) - 1))
    confirmed = [replace(m, status="confirmed") if n == which else m for n, m in enumerate(marks)]
    every = [replace(m, status="confirmed") for m in marks]
    budget = [("rim", 100 * u / HIDE.area)]
    stated = [
        usable_area(HIDE, some, Measured(HIDE.area, u), budget, UsableSettings()).area
        for some in (marks, confirmed, every)
    ]
    for before, after in pairwise(stated):
        assert after.value == pytest.approx(before.value, abs=1e-3)
        assert after.u <= before.u * (1 + 1e-9)


@settings(max_examples=25, deadline=None)
@given(scattered(), st.floats(0, 2e4))
def test_budget_rows_of_usable_add_to_its_total(marks: list[MarkEntry], u: float) -> None:
    budget = [("rim", 80 * u / HIDE.area), ("print scale", 60 * u / HIDE.area)]
    usable = usable_area(HIDE, marks, Measured(HIDE.area, u), budget, UsableSettings())
    rows = [v for _, v in usable.u_by_source_mm2]
    if usable.area.value > 0:
        assert np.hypot.reduce([0.0, *rows]) == pytest.approx(usable.area.u, rel=1e-9)


def test_missed_marks_widen_as_sampling_says() -> None:
    """Compound Poisson with a rate that varies from hide to hide as a gamma variable does, 200,000 hides of 2 m2."""
    rng = np.random.default_rng(5)
    rule = UsableSettings(
        rates=(MarkRate("brand", 1.0, 0.6, 9000.0, 1.0), MarkRate("stain", 0.5, 0.4, 4000.0, 1.0)), rate_variance=1.5
    )
    rate = rng.gamma(1 / 1.5, 1.5, 200_000)
    lost = 9000.0 * rng.poisson(2 * 0.4 * rate) + 4000.0 * rng.poisson(2 * 0.3 * rate)
    assert missed_u_mm2(2e6, rule) == pytest.approx(np.sqrt(np.mean(lost**2)), rel=0.02)


def test_a_kind_that_is_often_mistaken_is_trusted_less() -> None:
    half = UsableSettings(rates=(MarkRate("cut", 0.0, 1.0, 0.0, 0.5),))
    by_trust = usable_area(HIDE, [mark("cut-1", disc(0, 500, 60), "cut", confidence=0.8)], EXACT, [], half).area
    by_confidence = usable_area(HIDE, [mark("cut-1", disc(0, 500, 60), "cut", confidence=0.4)], EXACT, [], U).area
    assert by_trust.u == pytest.approx(by_confidence.u)

"""Strain of invented hides with known fields: errors and coverage, with inked dots and by the outline alone.

python -m tests.benchmarks.stretch_study [count]

Each hide is pulled by 0-15 %, unevenly: every other one in long waves, the rest at flanks, ends and worked spots; 12
to 48 dots; both maps err in scale, rim and frame; a third of the spots on either map are chance ones that the other
does not show. The aim: 0.5 percentage points (95 %) with dots, the mean strain within 1 point by the outline alone,
coverage 93-97 %.
"""

import sys
import time

import numpy as np
from shapely.geometry import Polygon

from hidescan.anatomy.zones import lay_zones
from hidescan.settings import ZoneLines
from hidescan.settings.uses import DotSettings, StretchSettings
from hidescan.stretch.comparison import ACROSS, ALONG
from hidescan.stretch.field import stretches
from hidescan.stretch.matching import matched_dots, register
from tests.benchmarks.recorded import recorded
from tests.synthetic.strained import Array, Strained, inside_points, strained

RIM_COMMON_MM = 0.7  # what `ragged` puts on both rings all round: 0.5 mm each


def parts(hide: Strained) -> tuple[Array, Array]:
    """Points over the hide and over its zones, and the rows that average over each; the whole comes first."""
    size = float(np.sqrt(hide.outline.area))
    curve = np.array([[0.0, 0.0], [0.0, hide.length_mm]])
    zones = [zone.polygon for zone in lay_zones(hide.outline, "whole", curve, ZoneLines())]
    groups = [inside_points(part, min(0.055 * size, float(np.sqrt(part.area / 20)))) for part in [hide.outline, *zones]]
    rows = np.zeros((len(groups), sum(map(len, groups))))
    start = 0
    for row, group in zip(rows, groups, strict=True):
        row[start : start + len(group)] = 1 / len(group)
        start += len(group)
    return np.vstack(groups), rows


def study(count: int) -> None:
    settings, dot_settings = StretchSettings(), DotSettings()
    table: dict[str, list[tuple[float, float]]] = {}
    wrong = matched = inked = 0
    by_group: dict[str, list[tuple[float, float]]] = {}
    start = time.perf_counter()
    for seed in range(count):
        rng = np.random.default_rng(seed)
        kind = "worked" if seed % 2 else "waves"
        hide = strained(rng, dots=int(rng.integers(12, 49)), worked=kind == "worked")
        at, rows = parts(hide)
        F = hide.pull.gradient(at)
        truth = [rows @ (np.linalg.norm(F[:, :, axis], axis=1) - 1) for axis in (1, 0)]
        size = float(np.sqrt(hide.outline.area))
        outline_only = register(hide.first, hide.second, None, RIM_COMMON_MM, settings)
        chance = len(hide.dots[0]) // 2
        extra = [
            rng.permutation(inside_points(Polygon(ring).buffer(-20), 35.0))[:chance]
            for ring in (hide.first, hide.second)
        ]
        shuffle = rng.permutation(len(hide.dots[0]) + chance)
        first, second = (np.vstack(pair) for pair in zip(hide.dots, extra, strict=True))
        i, j = matched_dots(first, second[shuffle], outline_only, size, dot_settings)
        right = (i == shuffle[j]) & (i < len(hide.dots[0]))
        wrong, matched, inked = wrong + int((~right).sum()), matched + int(right.sum()), inked + len(hide.dots[0])
        with_dots = register(hide.first, hide.second, (first[i], second[shuffle][j]), RIM_COMMON_MM, settings)
        for how, registered in (("dots", with_dots), ("outline", outline_only)):
            for name, axis, true in (("along", ALONG, truth[0]), ("across", ACROSS, truth[1])):
                mean, u = stretches(registered.field, at, rows, axis)
                u = np.hypot(u, np.sqrt(2) * hide.u_scale)
                off = 100 * (mean - true)
                table.setdefault(f"{how}, whole, {name}", []).append((off[0], 100 * u[0]))
                table.setdefault(f"{how}, zones, {name}", []).extend(zip(off[1:], 100 * u[1:], strict=True))
                if how == "dots":
                    n = len(hide.dots[0])
                    band = "under 16" if n < 16 else "16-24" if n < 25 else "25-36" if n < 37 else "37 and more"
                    for group in (band, kind):
                        by_group.setdefault(f"zones, {group}", []).extend(zip(off[1:], 100 * u[1:], strict=True))
    print(f"{count} hides, {(time.perf_counter() - start) / count:.2f} s each")
    print(f"dots: {inked} inked, {matched} matched, {wrong} wrong matches")
    print(f"{'':26}{'n':>6}{'95 % of errors':>16}{'median ±':>10}{'covered':>9}")
    groups = {f"dots, {name}": pairs for name, pairs in sorted(by_group.items())}
    for name, pairs in (table | groups).items():
        off, u = np.array(pairs).T
        covered = 100 * np.mean(np.abs(off) <= 2 * u)
        print(f"{name:26}{len(off):6}{np.quantile(np.abs(off), 0.95):12.2f} pp{2 * np.median(u):10.2f}{covered:8.1f} %")
    for how in ("dots", "outline"):
        pairs = [p for name, rows_ in table.items() if name.startswith(how) for p in rows_]
        off, u = np.array(pairs).T
        print(f"{how}: all covered {100 * np.mean(np.abs(off) <= 2 * u):.1f} %")


if __name__ == "__main__":
    with recorded("stretch"):
        study(int(sys.argv[1]) if len(sys.argv) > 1 else 400)

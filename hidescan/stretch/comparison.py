"""What a hide gained from one map to the next: area, length, width, and strain along and across its back."""

import math
from dataclasses import dataclass

import numpy as np
import shapely

from hidescan.basics.geometry import Points
from hidescan.basics.uncertainty import Measured, root_sum_square
from hidescan.exports.layers import layers
from hidescan.hide_map.model import HideMap, MeasureEntry
from hidescan.settings import PlaneSettings
from hidescan.settings.uses import DotSettings, StretchSettings
from hidescan.stretch.field import Array, stretches
from hidescan.stretch.matching import Registered, matched_dots, register

ALONG, ACROSS = np.array([0.0, 1.0]), np.array([1.0, 0.0])
# Sources of the area's budget that act on all lengths in a map, and those that only move its rim.
_SCALE = ("corner noise", "edge noise", "card not flat", "lens", "card on the hide", "tape", "leather thickness")
_RIM = ("rim", "lift of the rim", "hide or floor")


@dataclass(frozen=True, slots=True, eq=False)
class Mapped:
    """A map with its name and the dots found in its photo, (K, 2) mm; None where the photo was not looked at."""

    name: str
    hide_map: HideMap
    dots_mm: Points | None = None

    @property
    def ring_mm(self) -> Points:
        """Outer ring, (N, 2)."""
        return np.array(self.hide_map.outline.hide_mm.coordinates[0])[:-1]


@dataclass(frozen=True, slots=True)
class Strain:
    """Mean stretch of a part, as fractions of the earlier length, along the back and across it."""

    part: str
    along: Measured
    across: Measured


@dataclass(frozen=True, slots=True, eq=False)
class Gain:
    """What a hide gained between two maps.

    Attributes
    ----------
    area, length, width
        Relative changes (fractions).
    whole, zones
        Strain of the hide, and of each zone of the first map.
    at_mm, moved_mm, along, across, u
        The field on a grid of the first hide frame: places (N, 2), displacements (N, 2), strains (N,) and the larger
        standard uncertainty of both (N,).
    dots_mm
        Matched dots on the first map and on the second, (K, 2) each; none where the outline alone was used.
    same_prints
        Whether both maps were measured by the same printed cards, so that the print's scale cancels.
    """

    first: Mapped
    second: Mapped
    area: Measured
    length: Measured
    width: Measured
    whole: Strain
    zones: tuple[Strain, ...]
    at_mm: Points
    moved_mm: Points
    along: Array
    across: Array
    u: Array
    dots_mm: tuple[Points, Points]
    registered: Registered
    same_prints: bool
    other_hide: bool

    @property
    def nothing_sure(self) -> bool:
        """Whether area and both mean strains changed by no more than their expanded uncertainty."""
        return all(abs(m.value) <= m.expanded for m in (self.area, self.whole.along, self.whole.across))


def gain(
    first: Mapped,
    second: Mapped,
    settings: StretchSettings,
    dot_settings: DotSettings,
    *,
    new_prints: bool = False,
    pairs_mm: tuple[Points, Points] | None = None,
) -> Gain:
    """Compare two maps of one hide.

    Parameters
    ----------
    new_prints
        The cards were printed anew in between, so their scales err apart. Else cards of the same number and measured
        scale are taken for the same prints.
    pairs_mm
        Dots that a person matched, (K, 2) in either hide frame; else those of the maps are matched by position.
    """
    maps = first.hide_map, second.hide_map
    outline = layers(maps[0]).net_mm
    size_mm = math.sqrt(outline.area)
    rim_u_mm = root_sum_square(*(_rim_common_mm(m) for m in maps))
    registered = register(first.ring_mm, second.ring_mm, None, rim_u_mm, settings)
    pairs = pairs_mm
    if pairs is None and first.dots_mm is not None and second.dots_mm is not None:
        i, j = matched_dots(first.dots_mm, second.dots_mm, registered, size_mm, dot_settings)
        pairs = first.dots_mm[i], second.dots_mm[j]
    if pairs is None or len(pairs[0]) < settings.least_dots:
        pairs = np.empty((0, 2)), np.empty((0, 2))
    else:
        registered = register(first.ring_mm, second.ring_mm, pairs, rim_u_mm, settings)
    same = not new_prints and _same_prints(*maps)
    scale_u = _scale_u(*maps, same_prints=same)
    parts = {"whole": outline} | {zone.id: zone.geometry for zone in layers(maps[0]).by_name["zones"]}
    grids = {name: _inside(part, settings.grid_share * size_mm) for name, part in parts.items()}
    at = np.vstack(list(grids.values()))
    weights = _means([len(grid) for grid in grids.values()])
    mean = [stretches(registered.field, at, weights, axis) for axis in (ALONG, ACROSS)]
    strains = [
        Strain(name, *(Measured(float(m[k]), root_sum_square(float(u[k]), scale_u)) for m, u in mean))
        for k, name in enumerate(grids)
    ]
    grid = grids["whole"]
    local = [stretches(registered.field, grid, np.eye(len(grid)), axis) for axis in (ALONG, ACROSS)]
    common = [_print_percent(m) if same else 0.0 for m in maps]
    return Gain(
        first, second,
        _ratio(maps[0].measures.area_net, maps[1].measures.area_net, [c / 100 for c in common]),
        _ratio(maps[0].measures.length, maps[1].measures.length, [c / 200 for c in common]),
        _ratio(maps[0].measures.width, maps[1].measures.width, [c / 200 for c in common]),
        strains[0], tuple(strains[1:]),
        grid, registered.field.moved_mm(grid), local[0][0], local[1][0],
        np.hypot(np.maximum(local[0][1], local[1][1]), scale_u),
        pairs, registered, same, registered.misfit_mm > settings.other_hide_share * size_mm,
    )  # fmt: skip


def crept_back(before: HideMap, after: HideMap, later: HideMap) -> Measured:
    """Share of the gained area that was lost again; NaN where nothing was gained."""
    areas = [m.measures.area_net for m in (before, after, later)]
    a, b, c = (area.value for area in areas)
    if b <= a:
        return Measured(math.nan, math.nan)
    slopes = ((b - c) / (b - a) ** 2, (c - a) / (b - a) ** 2, -1 / (b - a))
    return Measured((b - c) / (b - a), root_sum_square(*(s * _u(area) for s, area in zip(slopes, areas, strict=True))))


def _u(figure: MeasureEntry) -> float:
    return math.nan if figure.expanded_uncertainty is None else figure.expanded_uncertainty / figure.coverage_factor


def _ratio(first: MeasureEntry, second: MeasureEntry, common: list[float]) -> Measured:
    """Relative change, less the share of both uncertainties that is common and cancels."""
    ratio = second.value / first.value
    own = [max((_u(figure) / figure.value) ** 2 - c**2, 0.0) for figure, c in zip((first, second), common, strict=True)]
    return Measured(ratio - 1, ratio * math.sqrt(sum(own) + (common[0] - common[1]) ** 2))


def _percent(hide_map: HideMap, sources: tuple[str, ...]) -> float:
    return root_sum_square(*(row.area_percent for row in hide_map.budget if row.source in sources))


def _print_percent(hide_map: HideMap) -> float:
    return _percent(hide_map, ("print scale",))


def _rim_common_mm(hide_map: HideMap) -> float:
    """What the whole rim may lie too far out or in: the area's uncertainty from the rim over its length."""
    m = hide_map.measures
    return _percent(hide_map, _RIM) / 100 * m.area_net.value / m.perimeter.value


def _same_prints(first: HideMap, second: HideMap) -> bool:
    """Cards of the same number and scale; with a tape the photo's own scale counts."""
    shared = {card.number for card in first.cards} & {card.number for card in second.cards}
    taped = first.inputs.tapes or second.inputs.tapes
    return bool(shared) and not taped and first.inputs.card_scale == second.inputs.card_scale


def _scale_u(first: HideMap, second: HideMap, *, same_prints: bool) -> float:
    """Standard uncertainty of a strain from both maps' scales, in one direction.

    A map's area errs by the sum of what both directions err by. Taking these as independent gives each a share of one
    over root two; the print's common scale errs alike in both, half each, and its difference between the directions
    does not show in the area at all: it follows from how the cards lay.
    """
    own = root_sum_square(_percent(first, _SCALE), _percent(second, _SCALE)) / 100 / math.sqrt(2)
    settings, skews, scales = PlaneSettings(), [], []
    for hide_map in (first, second):
        measured = hide_map.inputs.card_scale is not None
        u = settings.measured_skew_u if measured else settings.unmeasured_skew_u
        # The skew acts on the hide's axes by the cosine of twice the angle between them and the card.
        turn = float(np.mean([math.cos(2 * math.radians(card.angle_deg)) for card in hide_map.cards]))
        skews.append(u / 2 * turn)
        scales.append(_print_percent(hide_map) / 200)
    if same_prints:
        return root_sum_square(own, skews[0] - skews[1], scales[0] - scales[1])
    return root_sum_square(own, *skews, *scales)


def _inside(part: shapely.Geometry, step_mm: float) -> Points:
    """Points evenly over a part, at least some 20."""
    step_mm = min(step_mm, math.sqrt(part.area / 20))
    x0, y0, x1, y1 = part.bounds
    x, y = np.meshgrid(np.arange(x0 + step_mm / 2, x1, step_mm), np.arange(y0 + step_mm / 2, y1, step_mm))
    at = np.column_stack([x.ravel(), y.ravel()])
    inside: Points = at[shapely.contains_xy(part, at)]
    return inside if len(inside) else np.array([part.representative_point().coords[0]])


def _means(counts: list[int]) -> Array:
    """Rows that average over consecutive groups."""
    rows = np.zeros((len(counts), sum(counts)))
    start = 0
    for k, count in enumerate(counts):
        rows[k, start : start + count] = 1 / count
        start += count
    return rows

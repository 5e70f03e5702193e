"""Invented hide outlines with exact truth, made from geometry alone.

Two constructions, so that nothing is learnt from the handwriting of one: `_union_outline` joins a trunk, limbs, neck
and tail and rounds the seams; `_spline_outline` draws one smooth curve through the corners of a spread hide. Both are
laid in a straight frame (tail at (0, 0), spine along +y), bent along a gently curved spine, given a wavy rim, nicks
and perhaps a limb cut off, then turned and shifted. All lengths in the straight frame are fractions of the length.

The proportions are wide on purpose and come from no real hide: common practice, no source.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline, PchipInterpolator
from shapely.geometry import LineString, MultiPolygon, Polygon, box

Points = NDArray[np.float64]

SPACING = 0.0015
"""Spacing of the points of an outline, as a fraction of its length."""

SPECIES = ("deer", "goat", "sheep", "calf", "cattle")
LENGTH_MM = {
    "deer": (900, 1700),
    "goat": (700, 1150),
    "sheep": (750, 1250),
    "calf": (950, 1600),
    "cattle": (1600, 2500),
}
HALF_TRUNK = {
    "deer": (0.19, 0.31),
    "goat": (0.22, 0.33),
    "sheep": (0.26, 0.4),
    "calf": (0.25, 0.37),
    "cattle": (0.28, 0.45),
}
HALF_NECK = {
    "deer": (0.055, 0.13),
    "goat": (0.07, 0.15),
    "sheep": (0.07, 0.17),
    "calf": (0.09, 0.17),
    "cattle": (0.1, 0.22),
}


@dataclass(frozen=True, slots=True, eq=False)
class SyntheticHide:
    """An outline and what is true of it.

    `ring_mm` (N, 2) floor mm, not repeated at the end; `tail_mm` and `neck_mm` are where the spine (on a side: the
    back cut) meets the outline; `curve_mm` (K, 2) the spine from tail to neck. A piece has no truth but its form.
    """

    species: str
    form: str
    ring_mm: Points
    tail_mm: Points
    neck_mm: Points
    curve_mm: Points
    limb_cut: bool

    @property
    def axis_angle_deg(self) -> float:
        """Direction of the chord from tail to neck, counter-clockwise from +x."""
        along = self.neck_mm - self.tail_mm
        return float(np.rad2deg(np.arctan2(along[1], along[0])))


@dataclass(frozen=True, slots=True, eq=False)
class _Limb:
    root: Points
    tip: Points
    half_root: float
    half_tip: float


def _largest(shape: Any) -> Polygon:
    shape = shapely.make_valid(shape)
    parts = [part for part in getattr(shape, "geoms", [shape]) if isinstance(part, Polygon | MultiPolygon)]
    flat = [piece for part in parts for piece in getattr(part, "geoms", [part])]
    return Polygon(max(flat, key=lambda piece: piece.area).exterior)


def _limbs(rng: Generator, half_trunk: float) -> list[_Limb]:
    """Four limbs: hind right, hind left, fore right, fore left; each pair alike but not equal."""
    limbs = []
    for hind in (True, False):
        y = rng.uniform(0.06, 0.2) if hind else rng.uniform(0.68, 0.86)
        reach = rng.uniform(0.05, 0.3) if hind else rng.uniform(0.04, 0.28)
        # 0 deg is square to the spine; hind limbs lie square or backward, fore limbs square or somewhat forward.
        splay = rng.uniform(-70, 15) if hind else rng.uniform(-25, 50)
        half_root = rng.uniform(0.05, 0.13) if hind else rng.uniform(0.045, 0.11)
        half_tip = half_root * rng.uniform(0.3, 0.95)
        for sign in (1.0, -1.0):
            angle = np.deg2rad(splay + rng.normal(0, 7))
            length = half_root + reach * np.exp(rng.normal(0, 0.15))
            root = np.array([sign * half_trunk * rng.uniform(0.75, 0.9), y + rng.normal(0, 0.008)])
            tip = root + length * np.array([sign * np.cos(angle), np.sin(angle)])
            limbs.append(_Limb(root, tip, half_root * np.exp(rng.normal(0, 0.08)), half_tip))
    return limbs


def _union_outline(rng: Generator, half_trunk: float, half_neck: float, limbs: list[_Limb]) -> Polygon:
    neck_base = rng.uniform(0.78, 0.97)
    y = np.array([0.0, 0.05, 0.2, 0.4, 0.6, 0.75, neck_base, 1.0])
    shared = np.array(
        [
            rng.uniform(0.35, 0.95),
            rng.uniform(0.8, 1.1),
            rng.uniform(0.9, 1.12),
            rng.uniform(0.85, 1.12),
            rng.uniform(0.85, 1.1),
            rng.uniform(0.75, 1.05),
        ]
    )
    neck_flare = rng.uniform(0.8, 1.35)
    halves = []
    at = np.linspace(0.0, 1.0, 160)
    for _ in range(2):
        trunk = half_trunk * shared * np.exp(rng.normal(0, 0.025, 6))
        neck = half_neck * np.exp(rng.normal(0, 0.05, 2)) * np.array([1.0, neck_flare])
        halves.append(PchipInterpolator(y, np.r_[trunk, neck])(at))
    outline = Polygon(np.vstack([np.column_stack([halves[0], at]), np.column_stack([-halves[1], at])[::-1]]))
    for limb in limbs:
        along = limb.tip - limb.root
        normal = np.array([-along[1], along[0]]) / np.linalg.norm(along)
        corners = [
            limb.root + normal * limb.half_root,
            limb.tip + normal * limb.half_tip,
            limb.tip - normal * limb.half_tip,
            limb.root - normal * limb.half_root,
        ]
        outline = outline.union(Polygon(corners))
    outline = _largest(outline)
    radius = rng.uniform(0.008, 0.03)
    return _largest(outline.buffer(radius).buffer(-2 * radius).buffer(radius))


def _spline_outline(rng: Generator, half_trunk: float, half_neck: float, limbs: list[_Limb]) -> Polygon:
    rump = rng.uniform(0.3, 0.7) * half_trunk
    rump_y = rng.uniform(-0.02, 0.05)
    neck_base = rng.uniform(0.84, 0.96)
    waist = rng.uniform(0.82, 1.1, 3) * half_trunk
    flare = rng.uniform(0.85, 1.3)
    sides = []
    for sign, hind, fore in ((1.0, limbs[0], limbs[2]), (-1.0, limbs[1], limbs[3])):

        def corners(limb: _Limb, sign: float = sign) -> tuple[Points, Points]:
            along = (limb.tip - limb.root) / np.linalg.norm(limb.tip - limb.root)
            normal = np.array([-along[1], along[0]]) * sign  # toward the neck for either side
            return limb.tip - normal * limb.half_tip, limb.tip + normal * limb.half_tip

        (hind_low, hind_high), (fore_low, fore_high) = corners(hind), corners(fore)
        wobble = np.exp(rng.normal(0, 0.025, 6))
        low, high = hind.root[1] + 1.3 * hind.half_root, fore.root[1] - 1.3 * fore.half_root
        points = [
            (sign * rump * wobble[0], rump_y),
            tuple(hind_low),
            tuple(hind_high),
            (sign * waist[0] * wobble[1], low + 0.05),
            (sign * waist[1] * wobble[2], (low + high) / 2),
            (sign * waist[2] * wobble[3], high - 0.03),
            tuple(fore_low),
            tuple(fore_high),
            (sign * half_neck * wobble[4], max(neck_base, fore.root[1] + 1.1 * fore.half_root)),
            (sign * half_neck * flare * wobble[5], 0.985),
        ]
        sides.append(points)
    ring = np.array(
        [(0.0, rng.uniform(-0.01, 0.02)), *sides[0], (rng.normal(0, 0.01), rng.uniform(0.985, 1.01)), *sides[1][::-1]]
    )
    closed = np.vstack([ring, ring[:1]])
    # Centripetal spacing keeps the curve from looping between near corners.
    along = np.r_[0.0, np.cumsum(np.sqrt(np.linalg.norm(np.diff(closed, axis=0), axis=1)))]
    curve = CubicSpline(along, closed, bc_type="periodic")(np.linspace(0, along[-1], 900, endpoint=False))
    outline = _largest(Polygon(curve).buffer(0.004).buffer(-0.004))
    return _largest(outline.buffer(-0.01).buffer(0.01))


def _with_tail(rng: Generator, outline: Polygon) -> Polygon:
    if rng.random() < 0.3:
        return outline
    length, half = rng.uniform(0.02, 0.15), rng.uniform(0.012, 0.05)
    tip_half = half * rng.uniform(0.2, 1.1)
    lean = rng.normal(0, 0.15) * length
    root_y = max(point[1] for point in outline.intersection(LineString([(0, -0.3), (0, 0.5)])).coords[:1])
    corners = [(-1.3 * half, root_y + 0.04), (-half, root_y), (lean - tip_half, root_y - length)]
    corners += [(lean + tip_half, root_y - length), (half, root_y), (1.3 * half, root_y + 0.04)]
    return _largest(outline.union(Polygon(corners)).buffer(0.006).buffer(-0.012).buffer(0.006))


def _cut_limb(rng: Generator, outline: Polygon, limb: _Limb) -> Polygon:
    along = limb.tip - limb.root
    unit = along / np.linalg.norm(along)
    normal = np.array([-unit[1], unit[0]])
    start = limb.root + along * rng.uniform(0.15, 0.7)
    wide, far = normal * (1.6 * limb.half_root), unit * 0.5
    return _largest(outline.difference(Polygon([start - wide, start + wide, start + wide + far, start - wide + far])))


def _wavy(rng: Generator, outline: Polygon) -> Points:
    """Even points along the outline, pushed along their normals by a few slow and some quick waves."""
    outline = outline if outline.exterior.is_ccw else Polygon(outline.exterior.coords[::-1])
    count = int(outline.exterior.length / SPACING)
    ring = shapely.get_coordinates(
        outline.exterior.interpolate(np.linspace(0, 1, count, endpoint=False), normalized=True)
    )
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    push = np.zeros(count)
    for low, high, amplitude, terms in ((3, 12, 0.004, 4), (15, 60, 0.002, 6), (80, 300, 0.0007, 8)):
        size = rng.uniform(0.2, 1.0) * amplitude
        for _ in range(terms):
            push += size * rng.normal() * np.sin(rng.integers(low, high) * turn + rng.uniform(0, 2 * np.pi))
    chord = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    normal = np.column_stack([chord[:, 1], -chord[:, 0]]) / np.linalg.norm(chord, axis=1, keepdims=True)
    return ring + push[:, None] * normal


def _nicked(rng: Generator, outline: Polygon) -> Polygon:
    for _ in range(rng.integers(0, 4)):
        at = np.array(outline.exterior.interpolate(rng.random(), normalized=True).coords[0])
        inward = np.array(outline.representative_point().coords[0]) - at
        inward = inward / np.linalg.norm(inward)
        side = np.array([-inward[1], inward[0]]) * rng.uniform(0.002, 0.008)
        depth = rng.uniform(0.01, 0.08)
        outline = _largest(
            outline.difference(Polygon([at - side - 0.02 * inward, at + side - 0.02 * inward, at + depth * inward]))
        )
    return outline


def _straight_hide(rng: Generator, species: str, limb_cut: bool) -> Polygon:
    half_trunk, half_neck = rng.uniform(*HALF_TRUNK[species]), rng.uniform(*HALF_NECK[species])
    half_neck = min(half_neck, 0.8 * half_trunk)
    limbs = _limbs(rng, half_trunk)
    build = _union_outline if rng.random() < 0.5 else _spline_outline
    outline = _with_tail(rng, build(rng, half_trunk, half_neck, limbs))
    if limb_cut:
        outline = _cut_limb(rng, outline, limbs[rng.integers(4)])
    if rng.random() < 0.15:  # head and most of the neck cut off straight
        outline = _largest(outline.intersection(box(-2, -2, 2, rng.uniform(0.84, 0.96))))
    if rng.random() < 0.1:  # rump cut straight
        outline = _largest(outline.intersection(box(-2, rng.uniform(0.0, 0.05), 2, 2)))
    return _nicked(rng, _largest(Polygon(_wavy(rng, outline))))


def _spine(rng: Generator) -> tuple[float, float]:
    """Sag of the spine and of an S in it, as fractions of the length; most hides lie straight."""
    return (rng.normal(0, 0.012), rng.normal(0, 0.004)) if rng.random() < 0.5 else (0.0, 0.0)


def _bend(points: Points, sag: float, wave: float) -> Points:
    """Carry points of the straight frame (spine on x = 0) onto the curved spine, square to it."""
    x, y = points.T
    on = np.clip(y, -0.05, 1.05)
    offset = 4 * sag * on * (1 - on) + wave * np.sin(2 * np.pi * on)
    slope = 4 * sag * (1 - 2 * on) + 2 * np.pi * wave * np.cos(2 * np.pi * on)
    scale = 1 / np.hypot(1.0, slope)
    return np.column_stack([offset + slope * (y - on) + x * scale, y - x * slope * scale])


def _laid(rng: Generator, scale_mm: float, ring: Points, *lines: Points) -> list[Points]:
    """Turn and shift at random; start the ring anywhere and run it either way."""
    angle, shift = rng.uniform(0, 2 * np.pi), rng.uniform(-800, 800, 2)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    ring = np.roll(ring, rng.integers(len(ring)), axis=0)
    ring = ring[::-1] if rng.random() < 0.5 else ring
    return [scale_mm * points @ turn.T + shift for points in (ring, *lines)]


def _ring(outline: Polygon) -> Points:
    return np.array(outline.exterior.coords)[:-1]


def _inside_span(outline: Polygon, line: Points) -> Points:
    """The part of a line from where it enters the outline to where it leaves it, 41 points."""
    crossings = shapely.get_coordinates(outline.exterior.intersection(LineString(line)))
    path = LineString(line)
    along = sorted(path.project(shapely.points(point)) for point in crossings)
    return shapely.get_coordinates(path.interpolate(np.linspace(along[0], along[-1], 41)))


def whole_hide(
    rng: Generator, species: str, *, limb_cut: bool | None = None, sag: float | None = None
) -> SyntheticHide:
    """A whole spread hide; `limb_cut` None cuts one limb off in a third of them, `sag` None draws how it lies."""
    limb_cut = bool(rng.random() < 1 / 3) if limb_cut is None else limb_cut
    straight = _straight_hide(rng, species, limb_cut)
    sag, wave = _spine(rng) if sag is None else (sag, 0.0)
    bent = _largest(Polygon(_bend(_ring(straight), sag, wave)))
    along = np.linspace(-0.3, 1.3, 400)
    spine = _inside_span(bent, _bend(np.column_stack([0 * along, along]), sag, wave))
    ring, curve = _laid(rng, rng.uniform(*LENGTH_MM[species]), _ring(bent), spine)
    return SyntheticHide(species, "whole", ring, curve[0], curve[-1], curve, limb_cut)


def _half(rng: Generator, species: str, limb_cut: bool) -> tuple[Polygon, Points]:
    """Half of a straight hide, parted along the spine by an almost straight cut; and the cut from tail to neck."""
    straight = _straight_hide(rng, species, limb_cut)
    sign = 1.0 if rng.random() < 0.5 else -1.0
    along = np.linspace(-0.4, 1.4, 600)
    cut = sign * rng.normal(0, 0.008) + rng.normal(0, 0.004) * along
    for _ in range(3):
        cut = cut + rng.normal(0, 0.0008) * np.sin(rng.uniform(3, 40) * along + rng.uniform(0, 6))
    path = np.column_stack([cut, along])
    knife = np.vstack([path, [[sign * 2, 1.4], [sign * 2, -0.4]]])
    return _largest(straight.intersection(Polygon(knife))), _inside_span(straight, path)


def side(rng: Generator, species: str = "cattle", *, limb_cut: bool | None = None) -> SyntheticHide:
    """Half a hide; its back line is the long, straight cut edge."""
    limb_cut = bool(rng.random() < 1 / 3) if limb_cut is None else limb_cut
    outline, cut = _half(rng, species, limb_cut)
    sag = rng.normal(0, 0.003) if rng.random() < 0.5 else 0.0
    bent = _largest(Polygon(_bend(_ring(outline), sag, 0.0)))
    ring, curve = _laid(rng, rng.uniform(*LENGTH_MM[species]), _ring(bent), _bend(cut, sag, 0.0))
    return SyntheticHide(species, "side", ring, curve[0], curve[-1], curve, limb_cut)


def part(rng: Generator, form: str, species: str = "cattle") -> SyntheticHide:
    """A bend (half a butt), a double shoulder, or a belly, cut out along straight lines."""
    scale_mm = rng.uniform(*LENGTH_MM[species])
    shoulder_line = rng.uniform(0.55, 0.68)
    lean = rng.normal(0, 0.02)
    if form == "shoulder":
        parent = _straight_hide(rng, species, bool(rng.random() < 0.3))
        keep = Polygon([(-2, shoulder_line - lean), (2, shoulder_line + lean), (2, 2), (-2, 2)])
        outline = _largest(parent.intersection(keep))
        spine = _inside_span(outline, np.array([[0.0, -0.3], [0.0, 1.3]]))
    else:
        half, cut = _half(rng, species, False)
        if np.mean(_ring(half)[:, 0]) < 0:
            half, cut = Polygon(_ring(half) * (-1, 1)), cut * (-1, 1)
        belly_line = rng.uniform(0.6, 0.8) * np.percentile(_ring(half)[:, 0], 60)
        low, high = np.array([belly_line - 3 * lean, -1]), np.array([belly_line + 3 * lean, 2])
        if form == "bend":
            foot, head = low + (high - low) / 3, low + (high - low) * (1 + shoulder_line) / 3
            outline = _largest(half.intersection(Polygon([(-1, 0.0), foot, head, (-1, shoulder_line)])))
            spine = cut[(cut[:, 1] >= 0) & (cut[:, 1] <= shoulder_line)]
        else:
            outline = _largest(half.intersection(Polygon([low, (2, -1), (2, 2), high])))
            spine = _inside_span(half, np.array([low, high]))
    ring, curve = _laid(rng, scale_mm, _ring(outline.segmentize(SPACING)), spine)
    return SyntheticHide(species, form, ring, curve[0], curve[-1], curve, False)


def piece(rng: Generator, species: str = "cattle") -> SyntheticHide:
    """An offcut: what random straight and curved cuts leave of a hide, at most a fifth of it."""
    whole = _straight_hide(rng, species, False)
    outline = whole
    left, low, right, high = whole.bounds
    while outline.area > 0.2 * whole.area or rng.random() < 0.3:
        at = np.array([rng.uniform(left, right), rng.uniform(low, high)])
        angle = rng.uniform(0, 2 * np.pi)
        u, n = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
        t = np.linspace(-3, 3, 121)
        sweep = rng.normal(0, 0.3) if rng.random() < 0.3 else 0.0
        edge = at + t[:, None] * u + (sweep * t**2)[:, None] * n
        cut = outline.intersection(Polygon(np.vstack([edge, edge[::-1] + 6 * n])).buffer(0))
        if not cut.is_empty and cut.area > 0.01 * whole.area:
            outline = _largest(cut)
    ring, nowhere = _laid(
        rng, rng.uniform(*LENGTH_MM[species]), _ring(outline.segmentize(SPACING)), np.full((2, 2), np.nan)
    )
    return SyntheticHide(species, "piece", ring, nowhere[0], nowhere[1], nowhere, False)


def any_form(rng: Generator, form: str, species: str) -> SyntheticHide:
    """A hide of the form: whole, side, bend, shoulder, belly or piece."""
    if form == "whole":
        return whole_hide(rng, species)
    if form == "side":
        return side(rng, species)
    return piece(rng, species) if form == "piece" else part(rng, form, species)

"""Invented scenes as vectors: hides, holes, marks, cards, shadows and a camera, all in mm on the floor.

Nothing here is a picture yet: `masks.py` rasterises any window of a scene at any scale, `looks.py` paints it. Every
number below is a plain fact of what lies on floors (sizes of hides, cards, cuts) or a spread chosen wide on purpose.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

Ring = NDArray[np.float64]
Line = tuple[Ring, float]
"""(N, 2) points and a width, mm."""

PHOTO_PX = (640, 480)
"""Width and height of the photo as the region network sees it; portrait photos are the same, turned."""

SPECIES_MM = {
    "goat": (700, 900),
    "deer": (900, 1300),
    "sheep": (850, 1100),
    "calf": (950, 1300),
    "cattle": (1900, 2300),
}
"""(width across the middle with legs, length) in mm of a middling spread hide."""


@dataclass(frozen=True, slots=True, eq=False)
class Hide:
    """One hide, its faults, and the frame of its back line (floor mm).

    Lines are drawn `width` mm wide. A brand is the lines of one sign; a wrinkle a group of lines.
    """

    ring: Ring
    holes: tuple[Ring, ...]
    cuts: tuple[Ring, ...]
    stains: tuple[Ring, ...]
    brands: tuple[tuple[Line, ...], ...]
    scratches: tuple[Line, ...]
    wrinkles: tuple[tuple[Line, ...], ...]
    origin: NDArray[np.float64]
    angle: float
    length: float


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """Everything with a shape. `homography` takes floor mm to pixels of a photo of PHOTO_PX."""

    hides: tuple[Hide, ...]
    cards: tuple[Ring, ...]
    papers: tuple[Ring, ...]
    shadows: tuple[Ring, ...]
    things: tuple[Ring, ...]
    homography: NDArray[np.float64]


def rotation(angle: float) -> NDArray[np.float64]:
    """2x2 matrix, anticlockwise for y up."""
    return np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])


def apply(homography: NDArray[np.float64], xy: Ring) -> Ring:
    """(N, 2) through a 3x3 projective map."""
    h = np.c_[xy, np.ones(len(xy))] @ homography.T
    return h[:, :2] / h[:, 2:3]


def smooth_closed(points: Ring, per_segment: int) -> Ring:
    """Centripetal-like closed Catmull-Rom curve through (N, 2) points."""
    t = np.linspace(0, 1, per_segment, endpoint=False)[:, None, None]
    p0, p1, p2, p3 = (np.roll(points, s, axis=0)[None] for s in (1, 0, -1, -2))
    curve = 0.5 * (2 * p1 + (p2 - p0) * t + (2 * p0 - 5 * p1 + 4 * p2 - p3) * t**2 + (3 * p1 - p0 - 3 * p2 + p3) * t**3)
    return curve.transpose(1, 0, 2).reshape(-1, 2)


def resample(ring: Ring, step: float) -> Ring:
    """Even steps along a closed ring."""
    closed = np.r_[ring, ring[:1]]
    s = np.r_[0, np.cumsum(np.hypot(*np.diff(closed, axis=0).T))]
    n = max(16, int(s[-1] / step))
    at = np.linspace(0, s[-1], n, endpoint=False)
    return np.c_[np.interp(at, s, closed[:, 0]), np.interp(at, s, closed[:, 1])]


def normals(ring: Ring) -> Ring:
    """Unit normals pointing outwards of an anticlockwise ring."""
    d = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    d /= np.maximum(np.hypot(*d.T), 1e-9)[:, None]
    return np.c_[d[:, 1], -d[:, 0]]


def periodic_noise(n: int, wavelength: float, length: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Closed 1-D noise of unit standard deviation with features of about the wavelength."""
    k = max(3, int(length / wavelength))
    knots = rng.normal(size=k)
    x = np.arange(n) * k / n
    i = x.astype(int)
    f = (x - i)[:, None]
    w = np.concatenate([(1 - f) ** 3, 3 * f**3 - 6 * f**2 + 4, -3 * f**3 + 3 * f**2 + 3 * f + 1, f**3], axis=1) / 6
    out = (knots[(i[:, None] + np.arange(-1, 3)) % k] * w).sum(1)
    return out / max(out.std(), 1e-9)


def blob(radius: float, rng: np.random.Generator, roughness: float = 0.25, stretch: float = 1.6, n: int = 48) -> Ring:
    """A round-ish closed ring about (0, 0)."""
    a = np.linspace(0, 2 * np.pi, n, endpoint=False)
    r = radius * np.clip(1 + roughness * periodic_noise(n, 1, rng.uniform(3, 7), rng), 0.35, 2.0)
    q = math.sqrt(rng.uniform(1, stretch))
    return np.c_[r * np.cos(a) * q, r * np.sin(a) / q] @ rotation(rng.uniform(0, np.pi)).T


def whole_hide(rng: np.random.Generator, width: float, length: float) -> Ring:
    """Outline of a spread skin, tail end at (0, 0), neck end at (0, length)."""

    def half() -> Ring:
        u = rng.uniform
        body = u(0.52, 0.8)
        reach, foot = max(body + 0.08, u(0.78, 1.12)), u(0.05, 0.13)
        neck = u(0.12, 0.3)
        fy, hy = u(0.86, 1.06), u(-0.06, 0.14)
        points = [
            (neck * u(0.5, 1.0), 1.0 + u(-0.02, 0.03)),
            (neck, 0.95),
            (neck * u(0.85, 1.35), u(0.86, 0.91)),
            (u(0.38, 0.55), u(0.82, 0.9)),
            (reach * 0.82, fy + foot * 0.3),
            (reach * u(0.95, 1.05), fy - foot * 0.5),
            (reach * 0.85, fy - foot * 1.6),
            (body * u(0.95, 1.1), u(0.68, 0.74)),
            (body * u(0.92, 1.06), u(0.52, 0.6)),
            (body * u(0.92, 1.1), u(0.36, 0.44)),
            (body * u(1.0, 1.15), u(0.24, 0.3)),
            (reach * u(0.8, 0.95), hy + foot * 1.5),
            (reach * u(0.92, 1.08), hy + foot * 0.2),
            (reach * u(0.75, 0.9), hy - foot * 0.7),
            (u(0.36, 0.5), u(0.02, 0.1)),
            (u(0.14, 0.24), u(-0.02, 0.05)),
        ]
        return np.array(points)

    right = half()
    left = right if rng.random() < 0.3 else half()
    left = left * [-1, 1]
    tail_w, tail_l = rng.uniform(0.02, 0.06), rng.uniform(0.0, 0.2)
    tail = [
        (tail_w * 1.6, 0.0),
        (tail_w, -tail_l * 0.6),
        (0.0, -tail_l),
        (-tail_w, -tail_l * 0.6),
        (-tail_w * 1.6, 0.0),
    ]
    if tail_l < 0.04:
        tail = [(0.0, rng.uniform(-0.02, 0.03))]
    head: list[tuple[float, float]] = []
    if rng.random() < 0.3:
        e = rng.uniform(0.06, 0.13)
        w = rng.uniform(0.05, 0.2)
        head = [(-w, 1 + e), (w * rng.uniform(0.8, 1.2), 1 + e * rng.uniform(0.8, 1.2))]
    # anticlockwise for y up: down the left side, round the tail, up the right side, over the neck
    points = np.array([*left, *[(-x, y) for x, y in tail], *right[::-1], *head[::-1]])
    points += rng.normal(0, 0.012, points.shape)
    return smooth_closed(points, 14) * [width / 2, length]


def cut_piece(ring: Ring, rng: np.random.Generator) -> Ring:
    """A side, bend, shoulder or offcut: the ring cut by one to three straight lines."""
    shape = shapely.make_valid(shapely.Polygon(ring))
    area = shape.area
    lo, hi = ring.min(0), ring.max(0)
    size = np.hypot(*(hi - lo))
    kinds = rng.random()
    if kinds < 0.5:
        cuts = [
            (np.array([rng.normal(0, 0.01) * size, 0.0]), rng.normal(0, 0.01) + (0 if rng.random() < 0.5 else np.pi))
        ]
    else:
        cuts = []
    for _ in range(int(rng.integers(0, 3)) + (not cuts)):
        cuts.append((rng.uniform(lo + 0.25 * (hi - lo), hi - 0.25 * (hi - lo)), rng.uniform(0, 2 * np.pi)))
    for at, angle in cuts:
        box = np.array([[0, -2], [4, -2], [4, 2], [0, 2]]) * size @ rotation(angle).T + at
        part = shape.intersection(shapely.Polygon(box))
        if part.geom_type != "Polygon":
            part = max(
                (g for g in shapely.get_parts(part) if g.geom_type == "Polygon"), key=lambda g: g.area, default=None
            )
        if part is not None and part.area > 0.12 * area:
            shape = part
    if shape.geom_type != "Polygon":
        shape = max(shapely.get_parts(shape), key=lambda g: g.area)
    return np.asarray(shapely.orient_polygons(shape).exterior.coords)[:-1]


def with_edge_cuts(ring: Ring, rng: np.random.Generator, count: int) -> tuple[Ring, tuple[Ring, ...]]:
    """Narrow wedges and nicks cut into the rim; and those of them that a person would call a cut."""
    n = len(ring)
    shape = shapely.make_valid(shapely.Polygon(ring))
    out = normals(ring)
    cuts = []
    for _ in range(count):
        i = int(rng.integers(n))
        depth = float(np.exp(rng.uniform(math.log(6), math.log(130))))
        half = max(0.3, depth * rng.uniform(0.004, 0.12)) if depth > 20 else depth * rng.uniform(0.1, 0.5)
        inward = -out[i] @ rotation(rng.normal(0, 0.35)).T
        side = np.array([-inward[1], inward[0]])
        t = np.linspace(-0.25, 1, 8)
        bend = rng.normal(0, 0.06) * depth * t**2
        middle = ring[i] + inward * depth * t[:, None] + side * bend[:, None]
        w = half * np.clip(1 - t, 0.02, 1) ** rng.uniform(0.5, 1.2) * (1 + 0.15 * rng.normal(size=8))
        wedge = shapely.make_valid(
            shapely.Polygon(np.r_[middle + side * w[:, None], (middle - side * w[:, None])[::-1]])
        )
        if depth > 15:
            inside = shape.intersection(wedge.buffer(1.0))  # never narrower than a pixel of truth
            parts = [g for g in shapely.get_parts(inside) if g.geom_type == "Polygon"]
            if parts:
                cuts.append(np.asarray(max(parts, key=lambda g: g.area).exterior.coords)[:-1])
        shape = shape.difference(wedge)
    if shape.geom_type != "Polygon":
        shape = max((g for g in shapely.get_parts(shape) if g.geom_type == "Polygon"), key=lambda g: g.area)
    return np.asarray(shapely.orient_polygons(shape).exterior.coords)[:-1], tuple(cuts)


def invented_sign(rng: np.random.Generator) -> tuple[Line, ...]:
    """A few bars, bows, rings and dots close together, about (0, 0): the brand of nobody."""
    size = float(np.exp(rng.uniform(math.log(50), math.log(170))))
    width = size * rng.uniform(0.06, 0.14)
    box = np.array([1.0, rng.uniform(0.5, 1.0)]) * size / 2
    lines: list[Ring] = []
    for _ in range(int(rng.choice([1, 2, 3, 4], p=[0.1, 0.4, 0.35, 0.15]))):
        kind = rng.random()
        if kind < 0.4:  # a bar
            a, b = rng.uniform(-1, 1, (2, 2)) * box
            if np.hypot(*(a - b)) < 0.45 * size:
                b = a + (b - a) / max(np.hypot(*(b - a)), 1e-6) * 0.6 * size
            lines.append(np.array([a, (a + b) / 2, b]))
        elif kind < 0.6:  # bent bars
            lines.append(rng.uniform(-1, 1, (int(rng.integers(3, 5)), 2)) * box)
        elif kind < 0.9:  # a bow or a ring
            start, turn = rng.uniform(0, 2 * np.pi), rng.uniform(0.7, 2.0) * np.pi
            t = np.linspace(start, start + turn, 24)
            lines.append(np.c_[np.cos(t), np.sin(t)] * size * rng.uniform(0.2, 0.48) + rng.uniform(-0.3, 0.3, 2) * box)
        else:  # a dot
            at = rng.uniform(-0.6, 0.6, 2) * box
            lines.append(np.array([at, at + 0.1]))
    turned = rotation(rng.uniform(0, 2 * np.pi)).T
    return tuple((line @ turned, width) for line in lines)


def growth_marks(rng: np.random.Generator, length: float) -> tuple[Line, ...]:
    """Wrinkles: roughly parallel, wavy, mostly across the back line of a hide frame, about (0, 0)."""
    lines = []
    long, pitch = length * rng.uniform(0.08, 0.35), rng.uniform(10, 40)
    for k in range(int(rng.integers(1, 7))):
        t = np.linspace(-0.5, 0.5, 14) * long * rng.uniform(0.6, 1.1)
        bend = rng.normal(0, 6) * np.sin(np.linspace(0, np.pi, 14)) + np.cumsum(rng.normal(0, 0.8, 14))
        lines.append((np.c_[t, bend + k * pitch * rng.uniform(0.8, 1.2)], rng.uniform(1.5, 5)))
    turned = rotation(rng.normal(0, 0.5)).T
    return tuple((line @ turned, width) for line, width in lines)


def inside_points(ring: Ring, count: int, margin: float, rng: np.random.Generator) -> Ring:
    """Up to `count` random points at least `margin` inside the ring."""
    shape = shapely.make_valid(shapely.Polygon(ring)).buffer(-margin)
    if shape.is_empty:
        return np.empty((0, 2))
    lo, hi = ring.min(0), ring.max(0)
    p = rng.uniform(lo, hi, (count * 4, 2))
    return p[shapely.contains_xy(shape, p[:, 0], p[:, 1])][:count]


def make_hide(rng: np.random.Generator, place: NDArray[np.float64], angle: float) -> Hide:
    """A hide, side or piece at a place on the floor."""
    species = str(rng.choice(list(SPECIES_MM), p=[0.2, 0.34, 0.1, 0.16, 0.2]))
    width, length = np.array(SPECIES_MM[species]) * rng.uniform(0.8, 1.15, 2)
    kind = rng.random()
    if kind < 0.68:
        ring = whole_hide(rng, width, length)
    elif kind < 0.92:
        ring = cut_piece(whole_hide(rng, width, length), rng)
    else:
        ring = blob(length * rng.uniform(0.15, 0.45), rng, 0.15, 2.5, 60)
        ring = cut_piece(ring, rng) if rng.random() < 0.5 else ring
    ring = resample(ring, 5.0)
    turn = np.sum(ring[:, 0] * np.roll(ring[:, 1], -1) - ring[:, 1] * np.roll(ring[:, 0], -1))
    ring = ring if turn > 0 else ring[::-1]
    n, out, long = len(ring), normals(ring), len(ring) * 5.0
    wobble = sum(
        a
        * rng.uniform(0, 1)
        * periodic_noise(n, w, long, rng)
        * np.clip(0.6 + 0.6 * periodic_noise(n, 400, long, rng), 0, 2)
        for w, a in ((160, 9.0), (60, 4.0), (25, 2.0), (11, 0.8))
    )
    if rng.random() < 0.12:
        wobble = wobble * 0.15  # trimmed with a knife
    ring = ring + out * wobble[:, None]
    valid = shapely.make_valid(shapely.Polygon(ring))
    if valid.geom_type != "Polygon":
        valid = max((g for g in shapely.get_parts(valid) if g.geom_type == "Polygon"), key=lambda g: g.area)
    ring = resample(np.asarray(shapely.orient_polygons(valid).exterior.coords)[:-1], 3.0)
    cuts: tuple[Ring, ...] = ()
    if rng.random() < 0.7:
        ring, cuts = with_edge_cuts(ring, rng, int(rng.integers(1, 9)))
    holes = []
    if rng.random() < 0.75:
        for p in inside_points(ring, int(rng.integers(1, 8)), 14, rng):
            r = 0.5 * float(np.exp(rng.uniform(math.log(5), math.log(60))))
            holes.append(blob(r, rng, rng.uniform(0.03, 0.25), 2.6) + p)
        if rng.random() < 0.15:  # a slash right through
            for p in inside_points(ring, 1, 50, rng):
                holes.append(blob(rng.uniform(6, 14), rng, 0.1, 12.0) + p)
        inner = shapely.make_valid(shapely.Polygon(ring)).buffer(-4)
        holes = [h for h in holes if inner.contains(shapely.Polygon(h).buffer(0))]
    stains: list[Ring] = []
    if rng.random() < 0.6:
        stains = [
            blob(float(np.exp(rng.uniform(math.log(7), math.log(90)))), rng, rng.uniform(0.03, 0.3), 3.0) + p
            for p in inside_points(ring, int(rng.integers(1, 5)), 0, rng)
        ]
    scratches: list[Line] = []
    for p in inside_points(ring, int(rng.integers(0, 6)), 20, rng):
        t = np.linspace(0, float(np.exp(rng.uniform(math.log(20), math.log(280)))), 12)
        a = rng.uniform(0, 2 * np.pi) + np.cumsum(rng.normal(0, 0.06, 12))
        scratches.append((p + np.c_[np.cos(a), np.sin(a)] * t[:, None], rng.uniform(0.7, 4)))
        if rng.random() < 0.2:  # several side by side or across, as of claws and wire
            for _ in range(int(rng.integers(1, 4))):
                turned = (scratches[-1][0] - p) @ rotation(rng.normal(0, 0.3)).T + p + rng.normal(0, 12, 2)
                scratches.append((turned, scratches[-1][1]))
    brands: list[tuple[Line, ...]] = []
    if rng.random() < 0.5:
        for p in inside_points(ring, int(rng.integers(1, 3)), 60, rng):
            brands.append(tuple((line + p, width) for line, width in invented_sign(rng)))
    wrinkles: list[tuple[Line, ...]] = []
    if rng.random() < 0.35:
        for p in inside_points(ring, int(rng.integers(1, 3)), 40, rng):
            wrinkles.append(tuple((line + p, width) for line, width in growth_marks(rng, length)))
    turn_to = rotation(angle).T
    centre = shapely.Polygon(ring).centroid
    shift = place - np.array([centre.x, centre.y]) @ turn_to

    def move(r: Ring) -> Ring:
        return r @ turn_to + shift

    def lines(group: tuple[Line, ...]) -> tuple[Line, ...]:
        return tuple((move(line), width) for line, width in group)

    return Hide(
        ring=move(ring),
        holes=tuple(map(move, holes)),
        cuts=tuple(map(move, cuts)),
        stains=tuple(map(move, stains)),
        brands=tuple(map(lines, brands)),
        scratches=lines(tuple(scratches)),
        wrinkles=tuple(map(lines, wrinkles)),
        origin=shift,
        angle=angle,
        length=float(length),
    )


def sheet(at: NDArray[np.float64], size: tuple[float, float], angle: float) -> Ring:
    """Four corners of a sheet of paper about a point."""
    return np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(size) / 2 @ rotation(angle).T + at


def make_camera(rng: np.random.Generator, focus: Ring, fill: float) -> NDArray[np.float64]:
    """A homography floor mm -> px that shows the focus points over the given part of the frame."""
    w, h = PHOTO_PX
    f = rng.uniform(22, 34) / 36 * w
    tilt = min(abs(rng.normal(0, 20)), 50) * math.pi / 180
    heading = rng.uniform(0, 2 * np.pi)
    roll = rng.choice([0, 0.5, 1, 1.5]) * np.pi + rng.normal(0, 0.06)
    centre = (focus.min(0) + focus.max(0)) / 2
    size = np.ptp(focus, axis=0).max()

    def at(distance: float) -> NDArray[np.float64]:
        # floor -> camera: heading about z, then look down (x right, y down, z forward), then tilt, then roll
        ch, sh = math.cos(heading), math.sin(heading)
        rz = np.array([[ch, -sh, 0], [sh, ch, 0], [0, 0, 1]])
        look = np.diag([1.0, -1.0, -1.0])
        ct, st = math.cos(tilt), math.sin(tilt)
        rx = np.array([[1, 0, 0], [0, ct, -st], [0, st, ct]])
        cr, sr = math.cos(roll), math.sin(roll)
        rr = np.array([[cr, -sr, 0], [sr, cr, 0], [0, 0, 1]])
        r = rr @ rx @ look @ rz
        t = np.array([0, 0, distance]) - r[:, :2] @ centre
        return np.diag([f, f, 1.0]) @ np.c_[r[:, :2], t]

    near, far = 0.62 * size, 12 * size
    for _ in range(16):
        middle = math.sqrt(near * far)
        p = apply(at(middle), focus)
        span = np.ptp(p, axis=0) / (w, h)
        near, far = (middle, far) if span.max() > fill else (near, middle)
    hm = at(far)
    p = apply(hm, focus)
    lo, hi = p.min(0), p.max(0)
    room = np.array([w, h]) - (hi - lo)
    shift = room * np.clip(rng.normal(0.5, 0.16, 2), 0.02, 0.98) - lo
    return np.array([[1, 0, shift[0]], [0, 1, shift[1]], [0, 0, 1.0]]) @ hm


def make_scene(rng: np.random.Generator) -> Scene:
    """One invented scene; a few are empty, show two hides or a hide that leaves the frame."""
    first = make_hide(rng, np.zeros(2), rng.uniform(0, 2 * np.pi))
    hides = [first]
    focus = first.ring
    if rng.random() < 0.16:
        second = make_hide(rng, np.zeros(2), rng.uniform(0, 2 * np.pi))
        way = rng.uniform(0, 2 * np.pi)
        d = np.array([math.cos(way), math.sin(way)])
        gap = (first.ring @ d).max() - (second.ring @ d).min() + rng.uniform(5, 260)
        hides.append(_moved(second, d * gap))
        if rng.random() < 0.8:
            focus = np.r_[first.ring, hides[1].ring]
    fill = rng.uniform(0.55, 0.98)
    style = rng.random()
    if style < 0.07:
        fill = rng.uniform(1.02, 1.5)  # leaves the frame
    shapes = [shapely.make_valid(shapely.Polygon(h.ring)) for h in hides]
    size = np.ptp(focus, axis=0).max()
    cards: list[Ring] = []
    papers: list[Ring] = []
    union = shapely.union_all(shapes)
    for _ in range(int(rng.choice([0, 1, 2, 3, 4], p=[0.12, 0.28, 0.36, 0.1, 0.14]))):
        on_hide = rng.random() < 0.16
        for _ in range(12):
            p = rng.uniform(-0.66, 0.66, 2) * size + (focus.min(0) + focus.max(0)) / 2
            if rng.random() < 0.4:  # close by, or just touching
                ring = hides[int(rng.integers(len(hides)))].ring
                i = int(rng.integers(len(ring)))
                p = ring[i] + normals(ring)[i] * rng.uniform(110, 240)
            quad = sheet(p, (210, 297), rng.uniform(0, 2 * np.pi))
            overlap = union.intersection(shapely.Polygon(quad)).area / 62370
            if any(shapely.Polygon(quad).intersects(shapely.Polygon(c)) for c in (*cards, *papers)):
                continue
            if (0.05 < overlap) if on_hide else (overlap < 0.002):
                (cards if rng.random() < 0.9 else papers).append(quad)
                if not on_hide:
                    focus = np.r_[focus, quad] if rng.random() < 0.65 else focus
                break
    homography = make_camera(rng, focus, fill)
    while not _looks_down(homography):
        homography = make_camera(rng, focus, fill)
    if style > 0.975:
        hides = []
    things: list[Ring] = []
    if rng.random() < 0.22:
        for _ in range(int(rng.integers(1, 3))):
            base = first.ring[rng.integers(len(first.ring))]
            away = base - first.ring.mean(0)
            away /= max(np.hypot(*away), 1e-9)
            p = base + away * (rng.uniform(-20, 60) if rng.random() < 0.3 else rng.uniform(150, 500))
            shape = rng.random()
            if shape < 0.4:
                things.append(sheet(p, (rng.uniform(15, 60), rng.uniform(80, 600)), rng.uniform(0, np.pi)))
            else:
                things.append(blob(rng.uniform(30, 110), rng, 0.15, 4) + p)
    shadows: list[Ring] = []
    if rng.random() < 0.4:
        middle, d = focus.mean(0), rng.uniform(0, 2 * np.pi)
        for _ in range(int(rng.integers(1, 4))):
            p = middle + rng.normal(0, 0.35, 2) * size
            kind = rng.random()
            if kind < 0.4:
                shadows.append(sheet(p, (size * 6, size * rng.uniform(0.05, 0.5)), d + rng.normal(0, 0.1)))
            elif kind < 0.7:  # somebody standing there: head, shoulders, body stretched away
                body = np.array(
                    [
                        (-0.09, 0.12),
                        (-0.05, 0.0),
                        (0.05, 0.0),
                        (0.09, 0.12),
                        (0.07, 0.2),
                        (0.24, 0.3),
                        (0.28, 1),
                        (0.2, 3),
                        (-0.2, 3),
                        (-0.28, 1),
                        (-0.24, 0.3),
                        (-0.07, 0.2),
                    ]
                )
                shadows.append(smooth_closed(body, 6) * size * rng.uniform(0.6, 1.4) @ rotation(d).T + p)
            elif kind < 0.85:
                shadows.append(sheet(p, (size * 6, size * 6), d) + rotation(d) @ [0, size * 3.2])
            else:  # leaves of a tree
                for _ in range(8):
                    shadows.append(
                        blob(size * rng.uniform(0.03, 0.15), rng, 0.3, 2) + p + rng.normal(0, 0.25, 2) * size
                    )
    return Scene(tuple(hides), tuple(cards), tuple(papers), tuple(shadows), tuple(things), homography)


def _looks_down(homography: NDArray[np.float64]) -> bool:
    """Whether the horizon stays well outside the photo."""
    w, h = PHOTO_PX
    depth = np.array([[0, 0, 1], [w, 0, 1], [0, h, 1], [w, h, 1]]) @ np.linalg.inv(homography)[2]
    depth = depth / depth.mean()
    return bool(depth.min() > 0.2)


def _moved(h: Hide, by: NDArray[np.float64]) -> Hide:
    def rings(group: tuple[Ring, ...]) -> tuple[Ring, ...]:
        return tuple(r + by for r in group)

    def lines(group: tuple[Line, ...]) -> tuple[Line, ...]:
        return tuple((r + by, w) for r, w in group)

    return Hide(
        ring=h.ring + by,
        holes=rings(h.holes),
        cuts=rings(h.cuts),
        stains=rings(h.stains),
        brands=tuple(map(lines, h.brands)),
        scratches=lines(h.scratches),
        wrinkles=tuple(map(lines, h.wrinkles)),
        origin=h.origin + by,
        angle=h.angle,
        length=h.length,
    )

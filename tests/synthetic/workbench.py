"""A maker's bench as a phone sees it: card templates with thickness and shadow on tables of many kinds, cards beside.

The second reference card may lie half outside the picture; light falls unevenly, and the photo is a JPEG.
"""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from tests.synthetic.cards_on_table import Drawn, arrow, smooth
from tests.synthetic.scenes import Array, Canvas, TrueCamera, TrueCard, lay_card, look_at, photographed, rectangle

Paint = NDArray[np.float32]
Rng = np.random.Generator

CARDS = {  # colour and ink
    "white": ((228, 227, 222), (40, 60, 130)),
    "grey": ((158, 158, 160), (35, 30, 30)),
    "brown": ((178, 143, 100), (30, 28, 40)),
}
THICKNESS_MM = 0.5
SHEET_MM = (210.0, 297.0)


@dataclass(frozen=True, eq=False)
class Bench:
    """How a bench is set.

    Attributes
    ----------
    table, card
        A key of TABLES and of CARDS.
    second
        Where the second reference card lies: "none", "whole", "cut" (half outside the picture) or "edge" (only its
        rim is in it).
    gap_mm
        Between the first card's sheet and the template next to it; None where it lies free.
    shadow
        Whether a soft shadow falls over the bench.
    """

    table: str
    card: str
    second: str = "none"
    tilt_deg: float = 15.0
    size_px: tuple[int, int] = (4000, 3000)
    gap_mm: float | None = None
    shadow: bool = False


def _noise(canvas: Canvas, rng: Rng, x_mm: float, y_mm: float) -> Paint:
    """Smooth noise of standard deviation one whose grains have this size."""
    h, w = canvas.shape
    coarse = rng.standard_normal((int(h * canvas.mm / y_mm) + 3, int(w * canvas.mm / x_mm) + 3), dtype=np.float32)
    return np.asarray(cv2.resize(coarse, (w, h), interpolation=cv2.INTER_CUBIC))


def _plain(colour: tuple[int, int, int], mottle: float) -> Callable[[Canvas, Rng], Paint]:
    def paint(canvas: Canvas, rng: Rng) -> Paint:
        made = np.empty((*canvas.shape, 3), np.float32)
        made[:] = colour
        made += mottle * (_noise(canvas, rng, 5, 5) + _noise(canvas, rng, 60, 60))[..., None]
        return made

    return paint


def _boards(colour: tuple[int, int, int], grain: float) -> Callable[[Canvas, Rng], Paint]:
    """Boards of somewhat different colour with streaks along them and dark joints."""

    def paint(canvas: Canvas, rng: Rng) -> Paint:
        rows = np.arange(canvas.shape[0]) * canvas.mm
        width = float(rng.uniform(90, 160))
        board = (rows / width).astype(int)
        tint = rng.normal(1.0, 0.07, board.max() + 1)[board]
        made = np.empty((*canvas.shape, 3), np.float32)
        made[:] = colour
        made *= tint[:, None, None].astype(np.float32)
        streak = _noise(canvas, rng, 180, 1.5) + _noise(canvas, rng, 350, 9)
        made += grain * streak[..., None]
        made[(rows % width) < 1.6] *= 0.45
        return made

    return paint


def _weave(colour: tuple[int, int, int], depth: float) -> Callable[[Canvas, Rng], Paint]:
    """A coarse cloth."""

    def paint(canvas: Canvas, rng: Rng) -> Paint:
        h, w = canvas.shape
        y, x = (np.arange(n, dtype=np.float32) * canvas.mm for n in (h, w))
        threads = np.sin(2 * np.pi * x / 2.4)[None, :] * np.sin(2 * np.pi * y / 2.4)[:, None]
        made = np.empty((*canvas.shape, 3), np.float32)
        made[:] = colour
        made += (depth * threads + 0.5 * depth * _noise(canvas, rng, 3, 3))[..., None]
        return made

    return paint


def _specks(colour: tuple[int, int, int], strength: float) -> Callable[[Canvas, Rng], Paint]:
    """Speckled stone or laminate."""

    def paint(canvas: Canvas, rng: Rng) -> Paint:
        made = np.empty((*canvas.shape, 3), np.float32)
        made[:] = colour
        made += strength * np.tanh(1.5 * _noise(canvas, rng, 2.5, 2.5) - 0.6)[..., None]
        return made

    return paint


TABLES: dict[str, Callable[[Canvas, Rng], Paint]] = {
    "black": _plain((44, 43, 46), 2.0),
    "walnut": _boards((74, 52, 38), 5.0),
    "oak": _boards((150, 112, 74), 7.0),
    "pine": _boards((205, 172, 128), 6.0),
    "white": _plain((216, 215, 210), 1.5),
    "green cloth": _weave((58, 84, 66), 9.0),
    "blue cloth": _weave((92, 110, 148), 12.0),
    "stone": _specks((128, 124, 118), 16.0),
}


def _shape(kind: int, rng: Rng) -> Array:
    """A template about its own middle."""
    if kind == 0:
        ring = rectangle(float(rng.uniform(120, 200)), float(rng.uniform(70, 120)))
    elif kind == 1:
        ring = smooth(list(rng.uniform(38, 62, 8)), (0.0, 0.0), float(rng.uniform(1.0, 1.5)))
    elif kind == 2:
        ring = np.array([[-48.0, -100], [52, -70], [47, 90], [12, 95], [2, 10], [-38, 0]]) * rng.uniform(0.8, 1.1)
    elif kind == 3:  # a sole
        ring = smooth([112, 72, 40, 62, 108, 60, 36, 66], (0.0, 0.0), 1.0)
    else:  # corners cut round
        ring = np.array(Polygon(rectangle(110, 60)).buffer(12, quad_segs=24).exterior.coords)[:-1]
    a = rng.uniform(0, 2 * np.pi)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    ring = (ring - ring.mean(axis=0)) @ turn.T
    return np.asarray(ring if shapely.is_ccw(shapely.LinearRing(ring)) else ring[::-1])


def _sheet(card: TrueCard) -> Polygon:
    return Polygon(rectangle(*SHEET_MM, card.angle_deg, card.centre))


def _in_picture(camera: TrueCamera) -> Polygon:
    """What of the floor the picture shows."""
    w, h = camera.size_px
    edge = [(0, 0), (w / 2, 0), (w, 0), (w, h / 2), (w, h), (w / 2, h), (0, h), (0, h / 2)]
    return Polygon(camera.floor_xy(np.array(edge, float)))


def bench(rng: Rng, setting: Bench) -> tuple[NDArray[np.uint8], list[Drawn], TrueCard]:
    """A photo, the templates on it and the first card; lens of 27 mm equivalent, print exact."""
    for _ in range(300):
        made = _set(rng, setting)
        if made is not None:
            camera, cards, drawn = made
            return _photo(rng, setting, camera, cards, drawn), drawn, cards[0]
    raise RuntimeError(f"no room for {setting}")


def _set(rng: Rng, setting: Bench) -> tuple[TrueCamera, list[TrueCard], list[Drawn]] | None:
    """Camera, cards and templates of one random setting; None where they have no room."""
    camera = look_at(
        (0.0, 0.0), float(rng.uniform(900, 1050)), setting.tilt_deg, float(rng.uniform(0, 360)), size_px=setting.size_px
    )
    shown = _in_picture(camera)
    inside = shown.buffer(-25)

    def lain(number: int, fits: Callable[[Polygon], bool]) -> TrueCard | None:
        for _ in range(60):
            x, y = rng.uniform(shown.bounds[:2], shown.bounds[2:])
            card = TrueCard(number, (float(x), float(y)), float(rng.uniform(0, 360)))
            if fits(_sheet(card)):
                return card
        return None

    first = lain(1, inside.contains)
    if first is None:
        return None
    cards, taken = [first], [_sheet(first).buffer(12)]
    if setting.second != "none":
        low, high = {"whole": (1.0, 1.0), "cut": (0.3, 0.75), "edge": (0.02, 0.12)}[setting.second]

        def fits(sheet: Polygon) -> bool:
            share = sheet.intersection(shown).area / sheet.area
            free = not sheet.intersects(taken[0])
            return free and (inside.contains(sheet) if low == 1.0 else low <= share <= high)

        second = lain(2, fits)
        if second is None:
            return None
        cards.append(second)
        taken.append(_sheet(second).buffer(12))
    drawn: list[Drawn] = []
    kinds = list(rng.permutation(5)[:4])
    if setting.gap_mm is not None:
        ring = _beside(rng, first, setting.gap_mm, _shape(0, rng))
        if not inside.contains(Polygon(ring)) or any(Polygon(ring).intersects(t) for t in taken[1:]):
            return None
        drawn.append(Drawn(ring, float(rng.uniform(0, 360))))
        taken.append(Polygon(ring).buffer(12))
        kinds = [k for k in kinds if k != 0][:2]
    for kind in kinds:
        ring = _shape(kind, rng)
        for _ in range(120):
            at = ring + rng.uniform(shown.bounds[:2], shown.bounds[2:])
            if inside.contains(Polygon(at)) and not any(Polygon(at).intersects(t) for t in taken):
                taken.append(Polygon(at).buffer(12))
                drawn.append(Drawn(at, None if kind == 2 else float(rng.uniform(0, 360))))
                break
    return (camera, cards, drawn) if len(drawn) >= 3 else None


def _beside(rng: Rng, card: TrueCard, gap_mm: float, ring: Array) -> Array:
    """A shape put next to a sheet's side, at a gap."""
    a = np.deg2rad(card.angle_deg + 90 * rng.integers(4))
    way = np.array([np.cos(a), np.sin(a)])
    across = np.array([-way[1], way[0]])
    half = float(np.max((np.array(_sheet(card).exterior.coords) - card.centre) @ way))
    start = ring - ring.mean(axis=0) + np.array(card.centre) + rng.uniform(-60, 60) * across
    near = float(np.min((start - card.centre) @ way))
    return np.asarray(start + (half + gap_mm - near) * way)


def _photo(
    rng: Rng, setting: Bench, camera: TrueCamera, cards: list[TrueCard], drawn: list[Drawn]
) -> NDArray[np.uint8]:
    canvas = Canvas.around(camera)
    paint = TABLES[setting.table](canvas, rng)
    colour, ink = CARDS[setting.card]
    sun = rng.uniform(0, 2 * np.pi)
    for card in cards:
        lay_card(canvas, paint, card)
    for piece in drawn:
        _contact_shadow(canvas, paint, piece.ring, sun)
        canvas.fill(paint, _standing(piece.ring, camera), colour)
        if piece.arrow_deg is not None:
            middle = np.array(shapely.maximum_inscribed_circle(Polygon(piece.ring), 2.0).coords[0])
            for stroke in arrow(middle, piece.arrow_deg, 44.0):
                canvas.fill(paint, _raised(stroke, camera, THICKNESS_MM), ink)
    paint *= _light(canvas, rng, shadow=setting.shadow)[..., None]
    rgb = photographed(camera, canvas, paint, rng, blur_px=0.8, noise=3.0)
    _, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 80])
    decoded = cv2.imdecode(data, cv2.IMREAD_COLOR)
    assert decoded is not None
    return np.ascontiguousarray(decoded[..., ::-1], dtype=np.uint8)


def _raised(ring: Array, camera: TrueCamera, z_mm: float) -> Array:
    """Where on the floor one sees what stands at a height."""
    foot, height = camera.centre[:2], camera.centre[2]
    return np.asarray(foot + (ring - foot) * height / (height - z_mm))


def _standing(ring: Array, camera: TrueCamera) -> Array:
    """What a template covers of the floor: its face, its foot and the wall between."""
    layers = [Polygon(_raised(ring, camera, z)) for z in np.linspace(0.0, THICKNESS_MM, 5)]
    return np.array(shapely.union_all(layers).exterior.coords)[:-1]


def _contact_shadow(canvas: Canvas, paint: Paint, ring: Array, sun: float) -> None:
    """The dark line at a template's foot on the side away from the light, half a millimetre broad."""
    low = np.floor(canvas.px(ring).min(axis=0)).astype(int) - 10
    high = np.ceil(canvas.px(ring).max(axis=0)).astype(int) + 11
    (x0, y0), (x1, y1) = np.maximum(low, 0), np.minimum(high, canvas.shape[::-1])
    mask = np.zeros((2 * (y1 - y0), 2 * (x1 - x0)), np.uint8)
    way = 0.5 * THICKNESS_MM * np.array([np.cos(sun), np.sin(sun)])
    for part in (0.0, 1.0, 2.0):
        at = (canvas.px(ring + part * way) - (x0, y0)) * 2 + 0.5
        cv2.fillPoly(mask, [np.rint(at * 16).astype(np.int32)], 255, cv2.LINE_8, 4)
    soft = cv2.GaussianBlur(cv2.resize(mask, (x1 - x0, y1 - y0), interpolation=cv2.INTER_AREA), (0, 0), 1.0)
    paint[y0:y1, x0:x1] *= 1 - 0.35 * soft.astype(np.float32)[..., None] / 255


def _light(canvas: Canvas, rng: Rng, *, shadow: bool) -> Paint:
    """Light over the bench: it falls off to one side, and something out of the picture may throw a soft shadow."""
    h, w = canvas.shape
    y, x = np.mgrid[-1:1:60j, -1:1:80j].astype(np.float32)
    a = rng.uniform(0, 2 * np.pi)
    light = 1.0 + 0.1 * (np.cos(a) * x + np.sin(a) * y)
    if shadow:
        b = rng.uniform(0, 2 * np.pi)
        edge = np.cos(b) * x + np.sin(b) * y - rng.uniform(-0.3, 0.3)
        light *= 1 - rng.uniform(0.25, 0.45) / (1 + np.exp(-edge / rng.uniform(0.04, 0.12)))
    return np.asarray(cv2.resize(light.astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC))

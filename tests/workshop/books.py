"""The books of an invented workshop, kept beside the program: areas by Shapely in one fixed frame, money in Fractions."""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path

import numpy as np
from shapely import affinity, union_all
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from hidescan.hide_map.identity import with_identity
from hidescan.hide_map.json_io import to_json
from hidescan.hide_map.model import HideMap, LineGeometry, MarkEntry, MarkKind, MarkStatus, PolygonGeometry, Ring
from hidescan.marks.corrections import with_marks
from hidescan.settings import Settings
from tests.samples import figure, rectangle_map

FIRST_DAY = date(2026, 1, 1)
HEIGHT_MM = 1500.0
THICK_MM = 1.8


@dataclass(frozen=True)
class Frame:
    """A map's hide frame in the world: half a turn or none, then a shift."""

    turned: bool = False
    x: float = 0.0
    y: float = 0.0

    def to_world(self, shape: BaseGeometry) -> BaseGeometry:
        moved = affinity.translate(shape, self.x, self.y)
        return affinity.affine_transform(moved, [-1, 0, 0, -1, 0, 0]) if self.turned else moved

    def to_map(self, shape: BaseGeometry) -> BaseGeometry:
        back = affinity.affine_transform(shape, [-1, 0, 0, -1, 0, 0]) if self.turned else shape
        return affinity.translate(back, -self.x, -self.y)


@dataclass(eq=False)
class Mark:
    """A mark as the workshop knows it, in the world."""

    kind: MarkKind
    shape: Polygon
    status: MarkStatus = "found"


@dataclass(eq=False)
class Version:
    """One state of a map: its file, its frame, and what Shapely says of it in the world."""

    data: bytes
    frame: Frame
    photo: str
    taken: date
    revision: int
    net: BaseGeometry
    usable: BaseGeometry
    hide_id: str

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.data).hexdigest()


@dataclass(eq=False)
class Cut:
    """What was cut: by which photo, when, how much, and where in the world, if that is known."""

    photo: str | None
    day: date
    area: float
    where: BaseGeometry | None


@dataclass(eq=False)
class Hide:
    """A hide in the workshop: its map on disk, and what the shelf should say of it."""

    path: Path
    outer: Polygon
    photo: str
    taken: date
    marks: dict[str, Mark] = field(default_factory=dict)
    versions: list[Version] = field(default_factory=list)
    label: str | None = None
    removed: bool = False
    shelved: list[Version] = field(default_factory=list)
    cuts: list[Cut] = field(default_factory=list)
    species: str | None = None
    price: Fraction | None = None
    parent: "Hide | None" = None
    offcuts: list["Hide"] = field(default_factory=list)
    added: date | None = None

    @property
    def newest(self) -> Version:
        """The map on the shelf that counts: of the photo taken last, of that the highest revision, of those the last."""
        return max(enumerate(self.shelved), key=lambda nv: (nv[1].taken, nv[1].revision, nv[0]))[1]

    def still_shown(self, photo: str | None, day: date) -> bool:
        """Whether the newest photo shows what was cut on a day, by another photo or by the same."""
        return photo == self.newest.photo or self.newest.taken < day

    def gone(self) -> BaseGeometry:
        """What is known to be missing from the newest map, in the world."""
        here = [c.where for c in self.cuts if c.where is not None and c.photo == self.newest.photo]
        here += [o.shelved[0].net for o in self.offcuts if o.label and o.shelved[0].photo == self.newest.photo]
        return union_all(here) if here else MultiPolygon()

    def elsewhere(self) -> float:
        """Area of what is missing at places that are not known, mm2."""
        cuts = (
            c
            for c in self.cuts
            if self.still_shown(c.photo, c.day) and not (c.where is not None and c.photo == self.newest.photo)
        )
        offcuts = (
            o for o in self.offcuts
            if o.label and o.added and o.shelved[0].photo != self.newest.photo and self.still_shown(o.shelved[0].photo, o.added)
        )  # fmt: skip
        return sum(c.area for c in cuts) + sum(float(o.shelved[0].usable.area) for o in offcuts)

    def left(self) -> float | None:
        """What is left to use, mm2."""
        if not self.shelved:
            return None
        return max(float(self.newest.usable.difference(self.gone()).area) - self.elsewhere(), 0.0)


def day_of(n: int) -> date:
    return FIRST_DAY + timedelta(days=n)


def usable_of(net: BaseGeometry, marks: Iterable[Mark]) -> BaseGeometry:
    """Net less the counted marks, 5 mm around holes and cuts and 3 mm around others; wrinkles do not count."""
    grown = [
        m.shape.buffer(5.0 if m.kind in ("hole", "cut") else 3.0)
        for m in marks
        if m.status != "rejected" and m.kind != "wrinkle"
    ]
    return net.difference(union_all(grown)) if grown else net


def net_of(outer: Polygon, marks: Iterable[Mark]) -> BaseGeometry:
    holes = [m.shape for m in marks if m.kind == "hole" and m.status != "rejected"]
    return outer.difference(union_all(holes)) if holes else outer


def ring(shape: Polygon) -> Ring:
    points = np.array(shape.exterior.coords)
    return tuple((float(x), float(y)) for x, y in (points if shape.exterior.is_ccw else points[::-1]))


def seen(shape: Polygon) -> Ring:
    """A shape of the world on the photo: the camera looks straight down on the leather's upper face."""
    scale = 3000.0 / (HEIGHT_MM - THICK_MM)
    return tuple((1999.5 + x * scale, 1499.5 - y * scale) for x, y in ring(shape))


def map_of(hide: Hide, marks: dict[str, Mark], frame: Frame, photo: str, taken: date, outer: Polygon) -> HideMap:
    """The map as mapping gives it: every mark in its place, every figure from the geometry."""
    base = rectangle_map()
    sign = -1.0 if frame.turned else 1.0
    there = frame.to_map(outer)
    assert isinstance(there, Polygon)
    _, y0, _, y1 = there.bounds
    entries = tuple(
        MarkEntry(name, m.kind, PolygonGeometry((ring(frame.to_map(m.shape)),)), PolygonGeometry((seen(m.shape),)), m.shape.area, 9.0, 9.0, None, 0.9, m.status)
        for name, m in marks.items()
    )  # fmt: skip
    bare = replace(
        base,
        photo=replace(base.photo, file=f"{hide.path.name}.jpg", sha256=photo, taken=f"{taken:%Y:%m:%d} 08:00:00"),
        camera=replace(
            base.camera,
            rotation=((sign, 0.0, 0.0), (0.0, -sign, 0.0), (0.0, 0.0, -1.0)),
            translation_mm=(sign * frame.x, -sign * frame.y, HEIGHT_MM),
        ),
        cards=(),
        outline=replace(base.outline, hide_mm=PolygonGeometry((ring(there),)), photo_px=PolygonGeometry((seen(outer),))),
        back_line=replace(
            base.back_line, tail_mm=(0.0, y0), neck_mm=(0.0, y1), curve_mm=LineGeometry(((0.0, y0), (0.0, y1)))
        ),
        zones=(replace(base.zones[0], hide_mm=PolygonGeometry((ring(there),)), area_mm2=there.area, thickness_mm=THICK_MM),),
        marks=(),
        measures=replace(base.measures, area_gross=figure(there.area, 90.0), area_net=figure(there.area, 90.0), area_usable=figure(there.area, 90.0)),
        warnings=(),
        hide_id="",
    )  # fmt: skip
    return with_marks(with_identity(bare), entries, Settings())


def version_of(hide_map: HideMap, frame: Frame, net: BaseGeometry, usable: BaseGeometry) -> Version:
    taken = date.fromisoformat((hide_map.photo.taken or "")[:10].replace(":", "-"))
    return Version(
        to_json(hide_map), frame, hide_map.photo.sha256, taken, hide_map.revision, net, usable, hide_map.hide_id
    )

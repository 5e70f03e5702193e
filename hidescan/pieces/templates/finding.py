"""Pattern pieces from a photo of card templates: outlines at true scale, and the grain from an inked arrow.

Templates may be of any colour on any floor of another. `on_floor` separates them by colour in a reduced copy;
`templates_edge` draws their edge at full resolution.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Geometry
from shapely.geometry import Polygon

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points, without_crossings
from hidescan.camera.model import Camera
from hidescan.camera.relief import Heights, faces_away, plan_view
from hidescan.figures.measures import HeightPriors, HideRims, Measures, Rim, measure
from hidescan.floor.parameters import Prior
from hidescan.floor.solution import Plane
from hidescan.pieces.templates.edge import Edge, edge_of
from hidescan.pieces.templates.grain import Grain, find_grain
from hidescan.pieces.templates.on_floor import Thing, things
from hidescan.settings import MeasureSettings
from hidescan.settings.uses import TemplateSettings

Image = NDArray[np.uint8]
_STRAIGHT_PX = 0.05  # what is given up of an edge for fewer points: far below what it is seen to


@dataclass(frozen=True, slots=True, eq=False)
class Template:
    """A template as photographed.

    Attributes
    ----------
    ring_mm
        Outline in the floor frame, (N, 2), counter-clockwise.
    ring_px
        The same in the photo.
    grain
        The inked arrow in the floor frame; None where there is none.
    measures
        Its figures with their uncertainty; length and width along and across the grain, else along the floor's y and x.
    doubt
        Why its outline may be off by more than half a millimetre; empty where there is no reason to think so.
    """

    id: str
    ring_mm: Points
    ring_px: Points
    grain: Grain | None
    measures: Measures
    doubt: str


class LeftOut(Enum):
    """Why something on the floor is not returned."""

    CUT_OFF = "leaves the picture"
    AT_A_SHEET = "lies against a card's sheet"
    FAINT = "hardly stands out from the floor"
    SMALL = "is no template"


@dataclass(frozen=True, slots=True)
class Left:
    """A thing left out: why, and where it lies in the photo (x0, y0, x1, y1)."""

    why: LeftOut
    box_px: tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """All templates in a photo, and what else was seen that may be one."""

    templates: tuple[Template, ...]
    left_out: tuple[Left, ...]


def find_templates(
    rgb: Image,
    plane: Plane,
    sheets_mm: list[Points],
    thickness_mm: float | None,
    settings: TemplateSettings,
    measure_settings: MeasureSettings,
    *,
    print_measured: bool,
) -> Found | NotFound:
    """Find card templates lying beside a reference card.

    Parameters
    ----------
    rgb
        The upright photo, (H, W, 3).
    plane
        The camera over the floor.
    sheets_mm
        Sheets of all reference cards on the floor, (4, 2) each: not templates.
    thickness_mm
        Of the templates; None for what card usually has.
    """
    thick = settings.thickness_mm if thickness_mm is None else thickness_mm
    seen, scale = things(rgb, [plane.camera.px_from_mm(sheet) for sheet in sheets_mm], settings)
    sheets = shapely.union_all([Polygon(sheet) for sheet in sheets_mm])
    templates: list[Template] = []
    left_out: list[Left] = []
    for thing in seen:
        made = _template(rgb, thing, scale, plane.camera, sheets, thick, settings)
        if isinstance(made, LeftOut):
            x, y, w, h = (side / scale for side in thing.box)
            left_out.append(Left(made, (x, y, x + w, y + h)))
            continue
        ring_mm, ring_px, grain, doubt = made
        along = np.array([0.0, 1.0]) if grain is None else grain.head_mm - grain.tail_mm
        # Fewer points, and every tip: a corner is one point, which a step along the ring may miss by millimetres.
        rim = np.array(shapely.simplify(Polygon(ring_px), _STRAIGHT_PX).exterior.coords)[:-1]
        heights = HeightPriors(Prior(thick, settings.thickness_u_mm), Prior(0.0, settings.lift_u_mm))
        rims = HideRims(Rim(rim, np.full(len(rim), 0.3)))
        measures = measure(plane, rims, heights, along, measure_settings, print_measured=print_measured)
        templates.append(Template("", ring_mm, ring_px, grain, measures, doubt))
    if templates:
        return Found(tuple(_named(templates)), tuple(left_out))
    reasons = "".join(f" {line[0].upper()}{line[1:]}." for line in left_out_lines(tuple(left_out)))
    return NotFound(
        "no-template",
        f"No template was found on the floor.{reasons}",
        "Lay card templates apart from each other and from the cards, all of them in the picture, on a floor of another"
        " colour.",
    )


def left_out_lines(left_out: tuple[Left, ...]) -> list[str]:
    """Lines on things that were left out, one for each reason, with what to do about it."""
    cures = {
        LeftOut.CUT_OFF: "if it is a template, take the photo again with all of it in the picture",
        LeftOut.AT_A_SHEET: "leave a finger's width between template and sheet",
        LeftOut.FAINT: "lay it on a floor of another colour",
    }
    counts = Counter(left.why for left in left_out)
    return [
        f"{counts[why]} thing{'s' if counts[why] > 1 else ''} left out, since {'each' if counts[why] > 1 else 'it'}"
        f" {why.value}: {cure}"
        for why, cure in cures.items()
        if counts[why]
    ]


def _template(
    rgb: Image,
    thing: Thing,
    scale: float,
    camera: Camera,
    sheets: Geometry,
    thick_mm: float,
    settings: TemplateSettings,
) -> tuple[Points, Points, Grain | None, str] | LeftOut:
    """Outline in mm and in px, grain and doubt of a thing on the floor."""
    if thing.touches:
        return LeftOut.CUT_OFF
    x, y, w, h = thing.box
    middle = np.array([[(x + w / 2) / scale, (y + h / 2) / scale]])
    edge = edge_of(rgb, thing, scale, float(camera.mm_per_px(middle)[0]), settings)
    if edge is None:
        return LeftOut.FAINT
    ring_px = edge.ring_px
    away = faces_away(camera, ring_px, hole=False)
    ring_mm = plan_view(camera, ring_px, Heights(thick_mm, 0.0), away=away)
    polygon = shapely.simplify(Polygon(without_crossings(ring_mm)), settings.flat_mm)
    if polygon.area < settings.least_area_mm2:
        return LeftOut.SMALL
    if sheets.distance(polygon) < settings.near_sheet_mm:
        return LeftOut.AT_A_SHEET
    if edge.clear < settings.least_clear or edge.step < settings.least_step:
        return LeftOut.FAINT
    ring_mm = without_crossings(np.array(polygon.exterior.coords)[:-1])
    far_mm_per_px = float(camera.mm_per_px(ring_px[::20]).max())
    return ring_mm, ring_px, find_grain(rgb, camera, polygon, thick_mm, settings), _doubt(edge, far_mm_per_px, settings)


def _doubt(edge: Edge, mm_per_px: float, settings: TemplateSettings) -> str:
    """Why an edge may be off by more than half a millimetre; empty where it should not be."""
    if edge.shadow > settings.most_shadow:
        return (
            "darker than the table, as is the shadow at its foot, which may count as template (some 0.3 mm): lay it on"
            " a darker one"
        )
    if mm_per_px > settings.most_mm_per_px:
        return f"small in the picture ({mm_per_px:.1f} mm a pixel): go closer, or use the camera's full size"
    if settings.edge_noise * mm_per_px / edge.clear > 0.5:
        return "does not stand out well from the table: look at the picture, or go closer"
    return ""


def _named(templates: list[Template]) -> Iterator[Template]:
    """Ids as one reads: rows from the top of the photo, each from the left."""
    heights = [float(np.ptp(t.ring_px[:, 1])) for t in templates]
    row = max(float(np.median(heights)) / 2, 1.0)
    order = sorted(templates, key=lambda t: (t.ring_px[:, 1].mean() // row, t.ring_px[:, 0].mean()))
    for n, t in enumerate(order, start=1):
        yield Template(f"piece-{n}", t.ring_mm, t.ring_px, t.grain, t.measures, t.doubt)

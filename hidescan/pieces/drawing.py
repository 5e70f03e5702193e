"""Outlines by name from an SVG or a DXF, in millimetres, y up.

An SVG gives its unit in the width and height of its root (SVG 1.1, 7.10), a DXF in $INSUNITS of its header (1 inch,
2 foot, 4 mm, 5 cm, 6 m). A drawing without a unit is refused unless one is given: a foot and an inch
look alike on a screen.
"""

import io
import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import PurePath
from typing import Any
from xml.etree import ElementTree

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon

from hidescan.basics.dxf_library import load_ezdxf
from hidescan.basics.errors import BadInput
from hidescan.basics.geometry import Points, counter_clockwise
from hidescan.basics.reading import kind_of
from hidescan.settings.uses import PieceSettings

UNITS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
_INSUNITS = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m"}
_PX_PER_INCH = 96.0  # CSS Values 3, 6.2; svgelements turns every physical unit into these
_LENGTH = re.compile(r"\s*([0-9.eE+-]+)\s*([a-z%]*)\s*", re.ASCII)
_SAY = 'Say unit = "mm" (or "in") on the first line of the TOML file'


@dataclass(frozen=True, slots=True, eq=False)
class Drawing:
    """Named shapes of a drawing, mm, y up.

    `rings` are closed outlines (N, 2), counter-clockwise, the first point not repeated; `lines` open lines (M, 2);
    `problems` gives by name the reason why a shape cannot be a piece.
    """

    rings: dict[str, Points]
    lines: dict[str, Points]
    problems: dict[str, str]


def read_drawing(data: bytes, name: str, unit: str | None, settings: PieceSettings) -> Drawing:
    """The shapes of an SVG or a DXF, by the ending of its name.

    Raises
    ------
    BadInput
        Neither, or as for `read_svg` and `read_dxf`.
    """
    if (what := kind_of(data)) in ("a map", "a photo"):
        raise BadInput(f"{name}: is {what}, not a drawing of pieces. Give an SVG or a DXF.")
    reader = {".svg": read_svg, ".dxf": read_dxf}.get(PurePath(name).suffix.lower())
    if reader is None:
        raise BadInput(f"{name}: pieces are read from .svg or .dxf. Save the drawing as one of them.")
    return reader(data, name, unit, settings)


@np.errstate(all="ignore")  # numbers without end are refused, and numpy need not warn of them too
def read_svg(data: bytes, name: str, unit: str | None, settings: PieceSettings) -> Drawing:
    """The shapes of an SVG that have an id of their own, or are alone in a group that has one.

    Parameters
    ----------
    unit
        What one user unit is, where the drawing does not give it; None if nothing was given.

    Raises
    ------
    BadInput
        Not an SVG, or its size has no physical unit and `unit` is None.
    """
    from svgelements import SVG, Group, Path, Shape  # parsing costs 60 ms of import

    try:
        root = ElementTree.fromstring(data)
        shapes, text = _drawn_size(root)
    except (ElementTree.ParseError, ValueError, LookupError, RecursionError) as error:  # an encoding may be unknown
        raise BadInput(f"{name}: is not an SVG ({error}). Save it as plain SVG.") from error
    if not root.tag.endswith("svg"):
        raise BadInput(f"{name}: is not an SVG (its root is {root.tag!r}). Save it as plain SVG.")
    _refuse_more(shapes, settings.most_shapes, "shapes", name)
    _refuse_more(text, settings.most_text, "characters of shapes and styles", name)
    _refuse_more(_style_size(root), settings.most_style, "characters of styles", name)
    stated = _LENGTH.fullmatch(root.get("width", ""))
    scale = 25.4 / _PX_PER_INCH
    if stated is None or stated[2] not in ("mm", "cm", "in", "pt", "pc"):
        if unit is None:
            raise BadInput(f"{name}: its width has no physical unit, so its scale is not known. {_SAY}.")
        scale = UNITS_MM[unit]
        for attribute in ("width", "height", "viewBox"):  # the unit given overrides their scale
            root.attrib.pop(attribute, None)
        data = ElementTree.tostring(root)
    found: dict[str, list[tuple[Points, bool]]] = {}
    count = _counter(name, settings)

    def walk(element: Any, inherited: str | None) -> None:
        if not isinstance(element, Group | Shape) or element.values.get("display") == "none":
            return
        label = element.values["attributes"].get("id") or inherited
        if isinstance(element, Group):
            for child in element:
                walk(child, None if isinstance(element, SVG) else label)
        elif label:
            for subpath in Path(element).as_subpaths():
                points, closed = _flattened_svg(Path(subpath), scale)
                count(len(points), label)
                if len(points) > 1:
                    found.setdefault(label, []).append((points * (1.0, -1.0), closed))

    try:
        walk(SVG.parse(io.BytesIO(data), reify=True, ppi=_PX_PER_INCH), None)
    except BadInput:
        raise
    except Exception as error:  # the parser raises anything from TypeError to RecursionError on a damaged drawing
        raise BadInput(f"{name}: holds a shape that cannot be read ({error}). Save it as plain SVG.") from error
    return _sorted(found, name, settings)


def _drawn_size(root: ElementTree.Element) -> tuple[float, float]:
    """How many elements an SVG has once every `use` is a copy of what it names, and the length of their attributes.

    References are followed as svgelements follows them: whatever the first character, `href` before `xlink:href`, the
    last element of an id. Infinite where one holds itself.
    """
    by_id = {element.get("id"): element for element in root.iter() if element.get("id") is not None}
    known: dict[ElementTree.Element, tuple[float, float]] = {}

    def count(element: ElementTree.Element) -> tuple[float, float]:
        if element not in known:
            known[element] = math.inf, math.inf  # until it is counted: what names it from within would never end
            parts = [count(child) for child in element]
            named = element.get("href", element.get("{http://www.w3.org/1999/xlink}href"))
            copied = by_id.get(named[1:]) if named is not None and str(element.tag).endswith("use") else None
            if copied is not None:
                parts.append(count(copied))
            own = sum(len(value) for value in element.attrib.values())
            known[element] = 1 + sum(n for n, _ in parts), own + sum(size for _, size in parts)
        return known[element]

    return count(root)


def _style_size(root: ElementTree.Element) -> int:
    """Length of all style sheets: what counts for an element is read anew for each."""
    return sum(len("".join(element.itertext())) for element in root.iter() if str(element.tag).endswith("style"))


def _refuse_more(count: float, most: int, what: str, name: str) -> None:
    if count > most:
        said = f"{count:.0f} {what}" if math.isfinite(count) else f"{what} without end"
        raise BadInput(f"{name}: has {said}, over {most}. Save the pieces' outlines alone.")


def _counter(name: str, settings: PieceSettings) -> Callable[[int, str], None]:
    """What counts points as they are drawn, and refuses too many."""
    drawn = 0

    def count(points: int, label: str) -> None:
        nonlocal drawn
        drawn += points
        _refuse_more(points, settings.most_points_of_one, f"points in an outline of {label}", name)
        _refuse_more(drawn, settings.most_points, "points", name)

    return count


def _flattened_svg(path: Any, scale: float) -> tuple[Points, bool]:
    """Points of one subpath, mm, and whether it is closed by its command; curves to a few hundredths of a mm."""
    from svgelements import Close, Line, Move

    points: list[Points] = []
    closed = False
    for segment in path:
        if isinstance(segment, Close):
            closed = True
        if segment.end is None:
            continue
        if isinstance(segment, Move | Line | Close):
            points.append(np.array([[segment.end.x, segment.end.y]]) * scale)
            continue
        # A curve of length L in n chords leaves about L^2 kappa / 8 n^2: at 0.5 mm a chord, below 0.02 mm for any
        # radius over 2 mm.
        rough = np.asarray(segment.npoint(np.linspace(0, 1, 17)), dtype=np.float64)
        length_mm = float(np.linalg.norm(np.diff(rough, axis=0), axis=1).sum()) * scale
        count = int(np.clip(math.ceil(length_mm / 0.5), 16, 4000))
        points.append(np.asarray(segment.npoint(np.linspace(0, 1, count + 1)[1:]), dtype=np.float64) * scale)
    return np.vstack(points) if points else np.zeros((0, 2)), closed


@np.errstate(all="ignore")
def read_dxf(data: bytes, name: str, unit: str | None, settings: PieceSettings) -> Drawing:
    """The shapes of a DXF's model space by layer; blocks are taken apart.

    Raises
    ------
    BadInput
        Not a DXF, or it states no unit and `unit` is None.
    """
    load_ezdxf()
    from ezdxf import path as dxf_path
    from ezdxf.filemanagement import read

    found: dict[str, list[tuple[Points, bool]]] = {}
    try:
        text = data.decode("utf-8", errors="surrogateescape")
        document = read(io.StringIO(text.replace("\r\n", "\n")))
        stated = _INSUNITS.get(int(document.header.get("$INSUNITS", 0)), unit)
        if stated is None:
            raise BadInput(f"{name}: states no unit ($INSUNITS), so its scale is not known. {_SAY}.")
        scale = UNITS_MM[stated]
        _refuse_more(_entities_drawn(document), settings.most_shapes, "shapes", name)
        count = _counter(name, settings)
        for entity in _flat(document.modelspace()):
            try:
                path = dxf_path.make_path(entity)
            except TypeError:
                continue  # text, dimensions, hatches
            count(len(path), entity.dxf.layer)
            _check_extent(np.array([(v.x, v.y) for v in path.control_vertices()]) * scale, name, settings)
            corners = [(v.x, v.y) for v in path.flattening(settings.flat_mm / scale)]
            count(len(corners), entity.dxf.layer)
            if len(corners) > 1:
                points = np.array(corners) * scale
                found.setdefault(entity.dxf.layer, []).append((points, bool(path.is_closed)))
    except BadInput:
        raise
    except Exception as error:  # the library raises anything from DXFError to RecursionError on a damaged drawing
        raise BadInput(f"{name}: is not a DXF that can be read ({error}). Save it as DXF R2010.") from error
    return _sorted(found, name, settings)


def _entities_drawn(document: Any) -> float:
    """How many entities a DXF has once every insert is a copy of its block, inserts counted; infinite in a circle."""
    known: dict[str, float] = {}

    def of_block(block: str) -> float:
        if block not in known:
            known[block] = math.inf
            known[block] = count(document.blocks.get(block) or ())
        return known[block]

    def count(entities: Any) -> float:
        total = 0.0
        for entity in entities:
            insert = entity.dxftype() == "INSERT"
            total += 1 + (of_block(str(entity.dxf.get("name", "")).lower()) if insert else 0)
        return total

    return count(document.modelspace())


def _flat(entities: Any) -> Iterator[Any]:
    for entity in entities:
        if entity.dxftype() == "INSERT":
            yield from _flat(entity.virtual_entities())
        else:
            yield entity


def _check_extent(points: Points, name: str, settings: PieceSettings) -> None:
    """Refuse what no hide could hold: its curves would become chords without end."""
    if len(points) and not np.abs(points).max() <= settings.most_extent_mm:  # also refuses NaN
        raise BadInput(f"{name}: reaches beyond {settings.most_extent_mm / 1000:.0f} m. Is the unit right?")


def _sorted(found: dict[str, list[tuple[Points, bool]]], name: str, settings: PieceSettings) -> Drawing:
    """Outlines and lines by name; loose ends that meet are joined."""
    for parts in found.values():
        for points, _ in parts:
            _check_extent(points, name, settings)
    _refuse_more(len(found), settings.most_outlines, "shapes with a name", name)
    rings: dict[str, Points] = {}
    lines: dict[str, Points] = {}
    problems: dict[str, str] = {}
    for label, parts in found.items():
        closed = [points for points, is_closed in parts if is_closed or _meets(points, settings.closed_mm)]
        loose = [points for points, is_closed in parts if not (is_closed or _meets(points, settings.closed_mm))]
        joined = _joined(loose, settings.closed_mm)
        closed += [points for points in joined if _meets(points, settings.closed_mm)]
        open_lines = [points for points in joined if not _meets(points, settings.closed_mm)]
        if open_lines and not closed:
            longest = max(open_lines, key=lambda p: float(LineString(p).length))
            lines[label] = longest
            gap = float(np.linalg.norm(longest[0] - longest[-1]))
            problems[label] = f"its outline is open: the ends are {gap:.1f} mm apart"
        elif closed:
            ring = _outline(closed, settings)
            if isinstance(ring, str):
                problems[label] = ring
            else:
                rings[label] = ring
    return Drawing(rings, lines, problems)


def _meets(points: Points, closed_mm: float) -> bool:
    return len(points) > 3 and float(np.linalg.norm(points[0] - points[-1])) <= closed_mm


def _joined(loose: list[Points], closed_mm: float) -> list[Points]:
    """Lines joined end to end where their ends meet."""
    if not loose:
        return []
    from scipy.spatial import cKDTree

    ends = np.vstack([points[[0, -1]] for points in loose])
    tree = cKDTree(ends)
    for n, points in enumerate(loose):  # an end takes the place of the first end that it meets
        moved = points.copy()
        for at in (0, -1):
            moved[at] = ends[min(tree.query_ball_point(points[at], closed_mm))]
        loose[n] = moved
    merged = shapely.line_merge(shapely.multilinestrings([LineString(points) for points in loose]))
    return [np.array(line.coords) for line in shapely.get_parts(merged)]


def _outline(closed: list[Points], settings: PieceSettings) -> Points | str:
    """The outer ring, or what is wrong with it. Lines inside it (stitch holes, cut-outs) are left aside."""
    polygons = []
    for points in closed:
        if len(np.unique(points, axis=0)) < 3:
            continue
        polygons.append(Polygon(points))
    if not polygons:
        return "its outline has no area"
    outer = max(polygons, key=lambda polygon: float(polygon.area))
    if not outer.is_valid:
        return f"its outline crosses itself ({shapely.is_valid_reason(outer)})"
    if any(not outer.buffer(settings.closed_mm).contains(other) for other in polygons):
        return "it has more than one outline: give each piece a name of its own"
    thin = shapely.simplify(outer, settings.flat_mm)
    return counter_clockwise(np.array((thin if thin.is_valid else outer).exterior.coords)[:-1])

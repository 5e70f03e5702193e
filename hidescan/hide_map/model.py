"""The map of a hide: what it holds.

`HideMap` is one tree of frozen dataclasses. The same model writes the file NAME.hide.json, reads it, and gives its
JSON Schema (`json_io`). Geometry is GeoJSON geometry (RFC 7946 structure, not its degrees) in the frame that the key's
suffix names: `_mm` the hide frame, `_px` the upright photo.
"""

from dataclasses import dataclass, field
from typing import Annotated, Any, Literal

import numpy as np
from annotated_types import Len

from hidescan.basics.vocabulary import Face as Face
from hidescan.basics.vocabulary import FormName as FormName
from hidescan.basics.vocabulary import MarkKind as MarkKind
from hidescan.basics.vocabulary import MarkStatus as MarkStatus
from hidescan.camera.model import Camera
from hidescan.hide_map.facts import HideFacts
from hidescan.hide_map.facts import Number as Number

FORMAT, VERSION = "hidescan-map", 1
OFFCUT = "offcut"  # code of the warning on a map that was planned as an offcut of another

Row = tuple[Number, Number, Number]
XY = tuple[Number, Number]
Ring = tuple[XY, ...]


@dataclass(frozen=True, slots=True)
class PolygonGeometry:
    """GeoJSON Polygon: outer ring counter-clockwise in mm, holes clockwise, first point repeated at the end."""

    coordinates: tuple[Ring, ...]
    type: Literal["Polygon"] = "Polygon"


@dataclass(frozen=True, slots=True)
class MultiPolygonGeometry:
    """GeoJSON MultiPolygon."""

    coordinates: tuple[tuple[Ring, ...], ...]
    type: Literal["MultiPolygon"] = "MultiPolygon"


@dataclass(frozen=True, slots=True)
class LineGeometry:
    """GeoJSON LineString."""

    coordinates: Ring
    type: Literal["LineString"] = "LineString"


@dataclass(frozen=True, slots=True)
class ProgramInfo:
    """What made the map."""

    version: str
    settings: dict[str, Any]


@dataclass(frozen=True, slots=True)
class PhotoInfo:
    """Which photo it is: file name without path, and nothing of where it was taken."""

    file: str
    sha256: str
    width_px: int
    height_px: int
    taken: str | None
    focal_35mm: Number | None


@dataclass(frozen=True, slots=True)
class TapeInput:
    """A taped distance between the tape marks of two cards."""

    first: int
    second: int
    distance_mm: Number


@dataclass(frozen=True, slots=True)
class HintInput:
    """A point that a person marked as on the hide, or as not on it."""

    photo_px: XY
    inside: bool


@dataclass(frozen=True, slots=True)
class GaugeInput:
    """A thickness gauge reading: where in the photo, what it read, and where that is on the hide."""

    photo_px: XY
    thickness_mm: Number
    u_mm: Number
    hide_mm: XY = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class LightInput:
    """What a backlit photo showed: optical density, ln of the light without the hide over the light through it.

    `rows` hold it in thousandths at photo pixels (column times `step_px`, row times `step_px`) of the map's own photo;
    None where it is not known. `u` is its standard uncertainty. `file` and `sha256` are the backlit photo's.
    """

    file: str
    sha256: str
    step_px: Number
    u: Number
    mirrored: bool
    rows: tuple[tuple[int | None, ...], ...]


@dataclass(frozen=True, slots=True)
class Inputs(HideFacts):
    """What a person gave: the facts of the hide (`HideFacts`), and what bears on its photo; None where nothing was.

    `card_scale` is (SX, SY), the measured over the nominal length of the card's two check bars. `neck_px` is a photo
    pixel toward the neck; `arrow` the number of a card whose arrow points to it. `hide_at_px` picks one of several
    hides. `rim_px` are stretches of rim drawn by hand, in the order drawn: each replaces the rim between its ends, one
    that ends where it began is the whole rim. `back_line_px` is the back line drawn by hand, tail and neck.
    `zone_lines` are zone lines that were moved: name and place, as in `settings.ZoneLines`. `light` is what a photo of
    the hide against a window showed.
    """

    card_scale: XY | None = None
    tapes: tuple[TapeInput, ...] = ()
    lens: str | None = None
    neck_px: XY | None = None
    arrow: int | None = None
    hide_at_px: XY | None = None
    hints: tuple[HintInput, ...] = ()
    gauge: tuple[GaugeInput, ...] = ()
    zone_lines: tuple[tuple[str, Number], ...] = ()
    rim_px: tuple[Ring, ...] = ()
    back_line_px: tuple[XY, XY] | None = None
    light: LightInput | None = None


@dataclass(frozen=True, slots=True)
class CardEntry:
    """A card that was measured by."""

    number: int
    corners: int
    rms_px: Number
    center_mm: XY
    angle_deg: Number


@dataclass(frozen=True, slots=True)
class CameraEntry:
    """The camera; rotation and translation take the hide frame to the camera frame."""

    focal_px: Number
    distortion: XY
    principal_point_px: XY
    rotation: Annotated[tuple[Row, ...], Len(3, 3)]
    translation_mm: Row
    tilt_deg: Number
    mm_per_px: Number

    def over_hide(self) -> Camera:
        """The camera in the hide frame: photo px <-> hide mm."""
        return Camera(
            self.focal_px,
            self.distortion[0],
            self.distortion[1],
            np.array(self.principal_point_px),
            np.array(self.rotation),
            np.array(self.translation_mm),
        )


@dataclass(frozen=True, slots=True)
class PhotoView(PhotoInfo):
    """A photo with the camera that took it, over the hide frame."""

    camera: CameraEntry


@dataclass(frozen=True, slots=True)
class DoubtfulStretch:
    """A stretch of rim that a person should look at; `photo` tells in which of the map's photos `photo_px` lies."""

    photo_px: LineGeometry
    length_mm: Number
    confidence: Number
    photo: int = 0


@dataclass(frozen=True, slots=True)
class OutlineEntry:
    """The outline: plan view in the hide frame, and the rim as seen in the photo.

    Where a hole lies across the rim the outline follows the hole; `rim_mm` and `rim_px` are then the rim without it.
    """

    hide_mm: PolygonGeometry
    photo_px: PolygonGeometry
    confidence: Number
    doubtful: tuple[DoubtfulStretch, ...]
    rim_mm: Ring | None = None
    rim_px: Ring | None = None


@dataclass(frozen=True, slots=True)
class BackLineEntry:
    """The back line's chord. `tail_mm` is the origin of the hide frame."""

    tail_mm: XY
    neck_mm: XY
    tail_px: XY
    neck_px: XY
    curve_mm: LineGeometry
    angle_sd_deg: Number | None
    end_confidence: Number
    source: Literal["shape", "given", "parent", "none"]


@dataclass(frozen=True, slots=True)
class FormEntry:
    """Which part of a hide it is."""

    name: FormName
    confidence: Number


@dataclass(frozen=True, slots=True)
class MeasureEntry:
    """A figure: mm or mm2, with U = k u; None where the uncertainty is undefined."""

    value: Number
    expanded_uncertainty: Number | None
    coverage_factor: Number


@dataclass(frozen=True, slots=True)
class MeasuresEntry:
    """Areas in mm2, the rest in mm."""

    area_gross: MeasureEntry
    area_net: MeasureEntry
    area_usable: MeasureEntry
    length: MeasureEntry
    width: MeasureEntry
    perimeter: MeasureEntry


@dataclass(frozen=True, slots=True)
class BudgetEntry:
    """Standard uncertainty (k = 1) of the net area (`usable_budget`: of the usable area) from one source, percent."""

    source: str
    area_percent: Number


@dataclass(frozen=True, slots=True)
class ZoneEntry:
    """A part of the hide by its trade name, with its mean thickness (`thickness_source` tells how that was got)."""

    name: str
    hide_mm: PolygonGeometry | MultiPolygonGeometry
    area_mm2: Number
    thickness_mm: Number
    thickness_u_mm: Number


@dataclass(frozen=True, slots=True)
class MarkEntry:
    """A hole, cut, brand or other mark; distances are from its nearest point.

    `photo` tells in which of the map's photos `photo_px` lies.
    """

    id: str
    kind: MarkKind
    hide_mm: PolygonGeometry
    photo_px: PolygonGeometry
    area_mm2: Number
    length_mm: Number
    width_mm: Number
    zone: str | None
    confidence: Number
    status: MarkStatus
    from_back_line_mm: Number | None = None
    from_rim_mm: Number | None = None
    photo: int = 0


@dataclass(frozen=True, slots=True)
class WarningEntry:
    """A doubt about the result."""

    code: str
    message: str


@dataclass(frozen=True, slots=True)
class HideMap:
    """A measured hide.

    `marks_numbered` is the highest number that a mark's id ever had in this map: numbers are not used again. `photos`
    are all photos that it was made from; `photo` and `camera` are those of the first. `hide_id` is the hide's own, the
    same in every map of it (`identity`); `parent_id` is that of the hide that an offcut is cut from.
    """

    program: ProgramInfo
    photo: PhotoInfo
    inputs: Inputs
    cards: tuple[CardEntry, ...]
    camera: CameraEntry
    outline: OutlineEntry
    back_line: BackLineEntry
    form: FormEntry
    measures: MeasuresEntry
    budget: tuple[BudgetEntry, ...]
    zones: tuple[ZoneEntry, ...]
    marks: tuple[MarkEntry, ...]
    warnings: tuple[WarningEntry, ...]
    thickness_source: str = ""
    sampling_mm: XY | None = None
    usable_budget: tuple[BudgetEntry, ...] = ()
    marks_numbered: int = 0
    photos: tuple[PhotoView, ...] = ()
    revision: int = 1
    parent_sha256: str | None = None
    hide_id: str = ""
    parent_id: str | None = None
    format: Literal["hidescan-map"] = field(default="hidescan-map")
    version: Literal[1] = field(default=1)

    def camera_over_hide(self) -> Camera:
        """The camera in the hide frame: photo px <-> hide mm."""
        return self.camera.over_hide()

    def upper_face_mm(self) -> float:
        """Height of the leather's upper face over the floor: the thickness a person gave, else the zones' mean."""
        if self.inputs.thickness_mm is not None:
            return self.inputs.thickness_mm
        area = sum(zone.area_mm2 for zone in self.zones)
        return sum(zone.thickness_mm * zone.area_mm2 for zone in self.zones) / area if area else 0.0

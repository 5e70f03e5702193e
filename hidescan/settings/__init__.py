"""Every tunable of every stage: its unit, and why it has this value.

The settings in force are saved inside each map, so that a map says how it was made.
"""

from dataclasses import asdict, dataclass, field
from typing import Any

from hidescan.settings.figures import (
    ClearSettings,
    DrawSettings,
    MarkRate,
    MarksPictureSettings,
    MeasureSettings,
    OtherFaceSettings,
    UsableSettings,
)
from hidescan.settings.light import LightSettings
from hidescan.settings.looking import (
    CardSettings,
    LensSettings,
    PhotoSettings,
    PlaneSettings,
    QualitySettings,
    SheetSettings,
)
from hidescan.settings.outline import (
    FaultSettings,
    KindSettings,
    OutlineSettings,
    RedrawnSettings,
    SnapSettings,
)
from hidescan.settings.shape import (
    EndSettings,
    FormSettings,
    SamplingSettings,
    ShapeSettings,
    SymmetrySettings,
    ThicknessSettings,
    ZoneLines,
)

__all__ = [
    "CardSettings",
    "ClearSettings",
    "DrawSettings",
    "EndSettings",
    "FaultSettings",
    "FormSettings",
    "KindSettings",
    "LensSettings",
    "LightSettings",
    "MarkRate",
    "MarksPictureSettings",
    "MeasureSettings",
    "OtherFaceSettings",
    "OutlineSettings",
    "PhotoSettings",
    "PlaneSettings",
    "QualitySettings",
    "RedrawnSettings",
    "SamplingSettings",
    "Settings",
    "ShapeSettings",
    "SheetSettings",
    "SnapSettings",
    "SymmetrySettings",
    "ThicknessSettings",
    "UsableSettings",
    "ZoneLines",
    "settings_as_saved",
]


@dataclass(frozen=True, slots=True)
class Settings:
    """The settings of all stages."""

    photo: PhotoSettings = field(default_factory=PhotoSettings)
    card: CardSettings = field(default_factory=CardSettings)
    plane: PlaneSettings = field(default_factory=PlaneSettings)
    lens: LensSettings = field(default_factory=LensSettings)
    outline: OutlineSettings = field(default_factory=OutlineSettings)
    redrawn: RedrawnSettings = field(default_factory=RedrawnSettings)
    shape: ShapeSettings = field(default_factory=ShapeSettings)
    zones: ZoneLines = field(default_factory=ZoneLines)
    sampling: SamplingSettings = field(default_factory=SamplingSettings)
    thickness: ThicknessSettings = field(default_factory=ThicknessSettings)
    light: LightSettings = field(default_factory=LightSettings)
    measure: MeasureSettings = field(default_factory=MeasureSettings)
    sheet: SheetSettings = field(default_factory=SheetSettings)
    usable: UsableSettings = field(default_factory=UsableSettings)
    clear: ClearSettings = field(default_factory=ClearSettings)
    other_face: OtherFaceSettings = field(default_factory=OtherFaceSettings)
    quality: QualitySettings = field(default_factory=QualitySettings)
    draw: DrawSettings = field(default_factory=DrawSettings)
    marks_picture: MarksPictureSettings = field(default_factory=MarksPictureSettings)


def settings_as_saved(settings: Settings) -> dict[str, Any]:
    """The settings as plain values, for the map's file."""
    return asdict(settings)

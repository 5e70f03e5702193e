"""Named samples used across the tests."""

from dataclasses import replace

from hidescan.hide_map.identity import with_identity
from hidescan.hide_map.model import (
    BackLineEntry,
    BudgetEntry,
    CameraEntry,
    CardEntry,
    FormEntry,
    HideMap,
    Inputs,
    LineGeometry,
    MarkEntry,
    MeasureEntry,
    MeasuresEntry,
    OutlineEntry,
    PhotoInfo,
    PolygonGeometry,
    ProgramInfo,
    Ring,
    WarningEntry,
    ZoneEntry,
)

SQUARE: Ring = ((-300.0, 0.0), (300.0, 0.0), (300.0, 1000.0), (-300.0, 1000.0), (-300.0, 0.0))
HOLE: Ring = ((-10.0, 500.0), (-10.0, 520.0), (10.0, 520.0), (10.0, 500.0), (-10.0, 500.0))
HOLE_PX: Ring = ((390.0, 580.0), (410.0, 580.0), (410.0, 600.0), (390.0, 600.0), (390.0, 580.0))
SQUARE_PX: Ring = ((100.0, 100.0), (700.0, 100.0), (700.0, 1100.0), (100.0, 1100.0), (100.0, 100.0))


def figure(value: float, u: float = 0.0) -> MeasureEntry:
    return MeasureEntry(value, 2 * u, 2.0)


def rectangle_map(**changes: object) -> HideMap:
    """A hide of 600 x 1000 mm with a hole of 20 x 20 mm."""
    made = HideMap(
        program=ProgramInfo("0.1.0", {}),
        photo=PhotoInfo("hide.jpg", "ab" * 32, 4000, 3000, "2026:05:05 10:20:30", 26.0),
        inputs=Inputs(),
        cards=(CardEntry(1, 12, 0.1, (500.0, 100.0), 12.0),),
        camera=CameraEntry(
            3000.0, (0.0, 0.0), (1999.5, 1499.5), ((1.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, -1.0)), (0.0, 0.0, 1500.0), 0.0, 0.5
        ),
        outline=OutlineEntry(PolygonGeometry((SQUARE, HOLE)), PolygonGeometry((SQUARE_PX,)), 0.95, ()),
        back_line=BackLineEntry(
            (0.0, 0.0), (0.0, 1000.0), (400.0, 1100.0), (400.0, 100.0),
            LineGeometry(((0.0, 0.0), (0.0, 1000.0))), 1.0, 0.9, "shape",
        ),
        form=FormEntry("whole", 0.9),
        measures=MeasuresEntry(
            figure(600_000.0, 1500.0), figure(599_600.0, 1500.0), figure(598_700.0, 1500.0),
            figure(1000.0, 2.0), figure(600.0, 2.0), figure(3200.0, 5.0),
        ),
        budget=(BudgetEntry("corner noise", 0.2), BudgetEntry("lift of the rim", 0.15)),
        zones=(ZoneEntry("butt", PolygonGeometry((SQUARE,)), 600_000.0, 1.8, 0.2),),
        marks=(
            MarkEntry("hole-1", "hole", PolygonGeometry((HOLE[::-1],)), PolygonGeometry((HOLE_PX,)), 400.0, 20.0, 20.0, "butt", 0.9, "found"),
        ),
        warnings=(WarningEntry("one-card", "Only one card was used."),),
    )  # fmt: skip
    return with_identity(replace(made, **changes))  # type: ignore[arg-type]

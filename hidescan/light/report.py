"""What light showed of a hide, in lines of text."""

import numpy as np
from shapely import contains, points, prepare

from hidescan.anatomy.thin_spots import relative_thickness
from hidescan.anatomy.transmission import FEWEST_READINGS
from hidescan.basics.units import format_thickness
from hidescan.hide_map.model import HideMap
from hidescan.light.reading import LightReading
from hidescan.marks.placement import region_of
from hidescan.settings import LightSettings


def light_lines(name: str, hide_map: HideMap, read: LightReading, units: str) -> list[str]:
    """The lines that are printed after a backlit photo was read.

    Parameters
    ----------
    hide_map
        The map with the light in its inputs.
    """
    face = "from its other face" if read.mirrored else "from the face of the map"
    lines = [f"{name}: light through {100 * read.known_share:.0f} % of the hide, seen {face}"]
    in_mm = "light" in hide_map.thickness_source
    if in_mm:
        lines.append("  thickness from light and gauge readings:")
        for zone in hide_map.zones:
            thickness = format_thickness(zone.thickness_mm, units)
            lines.append(f"    {zone.name:<9} {thickness} ± {2 * zone.thickness_u_mm:.2f} mm (95 %)")
    else:
        least = FEWEST_READINGS
        lines.append(
            f"  no thickness in mm: it takes {least} gauge readings where light comes through (--gauge X,Y:1.8mm)"
        )
        for part, share in _by_zone(hide_map, read):
            lines.append(f"    {part:<9} {share:.2f} of the hide's middle thickness")
    thin = [mark for mark in hide_map.marks if mark.kind == "thin" and mark.status != "rejected"]
    for mark in thin:
        where = f"in the {mark.zone}" if mark.zone else "on the hide"
        size = f"{mark.length_mm:.0f} x {mark.width_mm:.0f} mm"
        lines.append(f"  {mark.id}: {size} {where}, sure to {100 * mark.confidence:.0f} %")
    if not thin:
        lines.append("  no thin spot stands out")
    return lines + [f"  ! {doubt.message}" for doubt in read.doubts]


def _by_zone(hide_map: HideMap, read: LightReading) -> list[tuple[str, float]]:
    """Each zone's median thickness over the hide's; zones in which light says nothing are left out."""
    relative = relative_thickness(read.density, LightSettings())
    rows, columns = np.nonzero(np.isfinite(relative))
    px = np.column_stack([columns, rows]).astype(np.float64) * read.step_px
    at = points(hide_map.camera_over_hide().mm_from_px(px, hide_map.upper_face_mm()))
    values = relative[rows, columns]
    found = []
    for zone in hide_map.zones:
        region = region_of(zone.hide_mm)
        prepare(region)
        inside = contains(region, at)
        if inside.any():
            found.append((zone.name, float(np.median(values[inside]))))
    return found

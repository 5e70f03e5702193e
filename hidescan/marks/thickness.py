"""The thickness over a mapped hide, from what a person gave of it."""

import numpy as np
from shapely.geometry import Polygon

from hidescan.anatomy.lit_thickness import lit_thickness
from hidescan.anatomy.thickness import Thickness, gauged_thickness, given_thickness, typical_thickness
from hidescan.anatomy.zones import Zone
from hidescan.hide_map.model import HideMap
from hidescan.marks.light import density_field
from hidescan.settings import Settings


def thickness_over(hide_map: HideMap, net: Polygon, zones: tuple[Zone, ...], settings: Settings) -> Thickness:
    """Return the thickness over a hide: from gauge readings and light, else as given for the whole, else typical.

    Parameters
    ----------
    net, zones
        The outline with its through holes and the zones, hide frame, mm.
    """
    inputs, m = hide_map.inputs, settings.measure
    if not inputs.gauge:
        if inputs.thickness_mm is None:
            return typical_thickness(zones, m.typical_thickness_mm, m.typical_thickness_u_mm, settings.thickness)
        u_mm = m.given_thickness_u_share * inputs.thickness_mm
        return given_thickness(zones, inputs.thickness_mm, u_mm, settings.thickness)
    points = np.array([reading.hide_mm for reading in inputs.gauge])
    values, u = (np.array([getattr(reading, name) for reading in inputs.gauge]) for name in ("thickness_mm", "u_mm"))
    if inputs.light is not None:
        field = density_field(inputs.light, hide_map.camera_over_hide(), float(values.mean()))
        lit = lit_thickness((points, values, u), net.area, field, settings.thickness, settings.light)
        if lit is not None:
            return lit
    return gauged_thickness(points, values, u, net.area, settings.thickness)

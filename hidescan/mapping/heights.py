"""How high the leather's rim is known to be over the floor, before the photo is measured."""

import numpy as np

from hidescan.figures.measures import HeightPriors
from hidescan.floor.parameters import Prior
from hidescan.hide_map.model import GaugeInput
from hidescan.settings import MeasureSettings, PlaneSettings


def height_priors(thickness_mm: float | None, gauge: tuple[GaugeInput, ...], settings: MeasureSettings) -> HeightPriors:
    """Thickness of the leather, as gauged, else as given, else typical; and the lift of its rim over the floor, mm."""
    share = settings.given_thickness_u_share
    if gauge:
        readings = np.array([g.thickness_mm for g in gauge])
        mean = float(readings.mean())
        thickness = Prior(mean, max(float(readings.std()), share * mean) / len(readings) ** 0.5)
    elif thickness_mm is None:
        thickness = Prior(settings.typical_thickness_mm, settings.typical_thickness_u_mm)
    else:
        thickness = Prior(thickness_mm, share * thickness_mm)
    return HeightPriors(thickness, Prior(settings.lift_mm, settings.lift_u_mm))


def on_hide_prior(heights: HeightPriors, settings: PlaneSettings) -> Prior:
    """Height over the floor of a card that lies on the hide, mm."""
    return Prior(heights.thickness.mean, float(np.hypot(heights.thickness.u, settings.on_hide_lift_u_mm)))

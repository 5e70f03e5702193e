"""Thickness from light and gauge readings together.

The light, through the law fitted to the readings, is the mean; what the readings differ from it is interpolated as the
readings alone would be. Where light says nothing (too little, or cut off by the sensor) the readings alone remain.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hidescan.anatomy.thickness import GaugedThickness, Interpolated, gauged_thickness, interpolated
from hidescan.anatomy.transmission import FEWEST_READINGS, LightLaw, fit_law
from hidescan.basics.geometry import Points
from hidescan.camera.model import Camera
from hidescan.settings import LightSettings, ThicknessSettings

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class DensityField:
    """Optical density of a hide, ln of the light without it over the light through it, on squares of its map's photo.

    Attributes
    ----------
    density
        (R, C); the value at row r, column c holds at photo pixel (c step_px, r step_px). NaN: not known.
    step_px
        Distance of the values, px.
    u
        Standard uncertainty of each.
    camera, height_mm
        The camera over the hide frame, and the height of the leather's upper face.
    """

    density: Array
    step_px: float
    u: float
    camera: Camera
    height_mm: float

    def at(self, points_mm: Points) -> Array:
        """Density at points (N, 2) of the hide frame, linear between the values; NaN where one of them is not known."""
        px = self.camera.px_from_mm(np.atleast_2d(points_mm), self.height_mm) / self.step_px
        rows, columns = self.density.shape
        low = np.clip(np.floor(px), 0, (columns - 2, rows - 2)).astype(np.intp)
        fx, fy = (px - low).T
        x, y = low.T
        d = self.density
        value = (d[y, x] * (1 - fx) + d[y, x + 1] * fx) * (1 - fy) + (
            d[y + 1, x] * (1 - fx) + d[y + 1, x + 1] * fx
        ) * fy
        return np.where((px >= 0).all(axis=1) & (px <= (columns - 1, rows - 1)).all(axis=1), value, np.nan)


@dataclass(frozen=True, slots=True, eq=False)
class LitThickness:
    """A thickness field from light and gauge readings; made by `lit_thickness`."""

    light: DensityField
    law: LightLaw
    off_mm: Interpolated
    gauged: GaugedThickness

    @property
    def label(self) -> str:
        """How it was got."""
        return "from light and gauge readings"

    def predict(self, points_mm: Points) -> tuple[Array, Array]:
        """Thickness and its standard uncertainty (mm, not below zero) at points (N, 2) in the hide frame."""
        points = np.atleast_2d(np.asarray(points_mm, float))
        mean, u = self.gauged.predict(points)
        density = self.light.at(points)
        lit = np.isfinite(density)
        if lit.any():
            d = density[lit]
            off, off_u = self.off_mm.predict(points[lit])
            by_law = self.law.thickness_mm(d)
            mean[lit] = np.clip(by_law + off, 0, None)
            u[lit] = np.sqrt(self.law.law_u_mm(d) ** 2 + (self.law.slope_mm(d) * self.light.u) ** 2 + off_u**2)
        return mean, u


def lit_thickness(
    readings: tuple[Points, Array, Array],
    area_mm2: float,
    light: DensityField,
    gauging: ThicknessSettings,
    lighting: LightSettings,
) -> LitThickness | None:
    """Thickness from light and readings; None where fewer than three readings lie where light says something.

    Parameters
    ----------
    readings
        Where they were taken (N, 2), what they were (N,), mm, and their standard uncertainties (N,).
    area_mm2
        Area of the hide, as for `gauged_thickness`.
    light
        The light that came through.
    """
    points_mm, thickness_mm, u_mm = readings
    density = light.at(points_mm)
    lit = np.isfinite(density)
    if lit.sum() < FEWEST_READINGS:
        return None
    law = fit_law(density[lit], thickness_mm[lit], u_mm[lit], lighting)
    off = thickness_mm[lit] - law.thickness_mm(density[lit])
    level = float(np.median(thickness_mm))
    residual = interpolated(points_mm[lit], off, u_mm[lit], level, area_mm2, lighting.off)
    return LitThickness(light, law, residual, gauged_thickness(*readings, area_mm2, gauging))

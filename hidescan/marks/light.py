"""What a backlit photo adds to a map: the density over its leather, and its thin spots as marks."""

import numpy as np

from hidescan.anatomy.lit_thickness import DensityField
from hidescan.anatomy.thin_spots import thin_spots
from hidescan.camera.model import Camera
from hidescan.hide_map.model import LightInput
from hidescan.marks.placement import FoundMark
from hidescan.settings import LightSettings


def density_field(light: LightInput, camera: Camera, height_mm: float) -> DensityField:
    """The density over the hide frame that `camera` sees; `height_mm` is that of the leather's upper face."""
    return DensityField(_density(light), light.step_px, light.u, camera, height_mm)


def thin_marks(light: LightInput, settings: LightSettings) -> tuple[FoundMark, ...]:
    """Thin spots as marks found, in pixels of the map's photo."""
    spots = thin_spots(_density(light), light.u, settings)
    return tuple(FoundMark("thin", spot.ring * light.step_px, spot.confidence) for spot in spots)


def _density(light: LightInput) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """(R, C), NaN where it is not known."""
    return np.array([[np.nan if v is None else v for v in row] for row in light.rows], dtype=np.float64) / 1000.0

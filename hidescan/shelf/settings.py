"""Tunables of the shelf."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class FitSettings:
    """The rectangles that fit along the back."""

    # Side of the raster's cells: a rectangle is found up to two cells short, 1 cm, on the safe side.
    cell_mm: float = 5.0


@dataclass(frozen=True, slots=True)
class ShadeSettings:
    """Measuring shade against the card."""

    # Reflectance of office paper and of a laser print's black (0.8-0.9 and 0.03-0.06, from memory). They set the ends
    # of the scale for every hide alike, so that they hardly matter between hides.
    white_reflectance: float = 0.85
    black_reflectance: float = 0.045
    # Patches on a card must be this many photo px across, so that the blur of their edges stays out of them.
    least_patch_px: float = 3.0
    # White to black in linear light, as a share of full scale: less is a card in deep shadow or burnt out.
    least_contrast: float = 0.05
    # Rim that is left out: shadow and light spill.
    rim_mm: float = 25.0
    # Points of the hide that are looked at: the median's sampling error is then far below what the eye sees.
    points: int = 20_000


@dataclass(frozen=True, slots=True)
class ShelfSettings:
    """The shelf."""

    fit: FitSettings = field(default_factory=FitSettings)
    shade: ShadeSettings = field(default_factory=ShadeSettings)
    # How long a write waits for other programs' writes: each takes milliseconds.
    busy_s: float = 60.0

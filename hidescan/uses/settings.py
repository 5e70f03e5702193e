"""Every tunable of the uses of a map: its unit, and why it has this value."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PieceSettings:
    """Reading pieces."""

    # Ends that are this near are one point: drawing programs round to 0.01 mm, a hand on a screen does not.
    closed_mm: float = 0.1
    # Curves become chords that leave them by no more: a tenth of what a knife follows.
    flat_mm: float = 0.02
    # Smaller than this no piece is; a wrong unit usually is.
    least_area_mm2: float = 25.0

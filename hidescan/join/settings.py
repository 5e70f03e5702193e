"""Tunables of joining photos: each with its unit and why it has this value."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class BundleSettings:
    """The adjustment over several photos."""

    # Focusing changes a phone's focal length by half a percent from 2 m to 1 m; photos of one hide are taken from much
    # the same distance.
    focus_ln_focal_u: float = 0.002
    # A card in one photo that is off its place in the others: significance in standard deviations of a normal, and
    # the least way that any of its corners went. A card that is slightly bent seems to move by less when it is seen
    # from another side.
    moved_sigma: float = 3.3
    moved_mm: float = 1.5
    # A card whose move explains nearly as much as the best one's is named with it.
    moved_as_good: float = 0.8

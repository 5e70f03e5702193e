"""What was measured beforehand on this machine: the scale of each printed card and the lenses of its cameras."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from hidescan.basics.errors import BadInput
from hidescan.cards.measured_prints import card_scales
from hidescan.floor.lens_profile import LensProfile
from hidescan.floor.profile_files import kept_profiles, read_profile
from hidescan.hide_map.model import XY
from hidescan.photo.reading import Photo


@dataclass(frozen=True, slots=True)
class Calibration:
    """Measured print scales (SX, SY) by card number, and lens profiles by name."""

    card_scales: Mapping[int, XY] = field(default_factory=dict)
    lenses: Mapping[str, LensProfile] = field(default_factory=dict)

    def lens_for(self, photo: Photo, name: str | None) -> tuple[str, LensProfile] | None:
        """The lens profile named, else the first that fits the photo's EXIF, with its name; None where none does.

        Raises
        ------
        BadInput
            The profile named is not known, or is for pictures of another size.
        """
        if name is None:
            return next(((known, lens) for known, lens in self.lenses.items() if lens.fits(photo)), None)
        profile = self.lenses.get(name)
        if profile is None:
            raise BadInput(f"{name}: is not a lens profile known here. Make one with hidescan lens.")
        if (max(photo.size_px), min(photo.size_px)) != (profile.long_side_px, profile.short_side_px):
            raise BadInput(
                f"{photo.file}: is {photo.width_px} x {photo.height_px}, the lens profile is for "
                f"{profile.long_side_px} x {profile.short_side_px}. Was the photo cropped? Leave --lens away."
            )
        return name, profile


def kept_calibration(lens: str | None = None) -> Calibration:
    """The calibration that the user keeps on this machine.

    Parameters
    ----------
    lens
        Name of a lens profile among the user's own, or path of the file of another one, which is added.

    Raises
    ------
    BadInput
        The profile named, or a file that the user keeps, cannot be read.
    """
    lenses = kept_profiles()
    if lens is not None and lens not in lenses:
        lenses[lens] = read_profile(Path(lens))
    return Calibration(card_scales(), lenses)

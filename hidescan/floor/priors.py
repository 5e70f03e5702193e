"""What is known of the camera and the print before the cards are looked at."""

from collections.abc import Iterable, Mapping

import numpy as np

from hidescan.floor.parameters import Prior
from hidescan.hide_map.model import XY
from hidescan.photo.reading import FULL_FRAME_DIAGONAL_MM, Photo
from hidescan.settings import PlaneSettings


def focal_prior(photo: Photo, settings: PlaneSettings) -> Prior:
    """Prior of ln focal length (px): EXIF's figure where there is one that a camera can have, else any phone's."""
    claimed_mm = photo.focal_35mm
    if photo.focal_px is not None and claimed_mm is not None and _possible(claimed_mm, settings):
        return Prior(float(np.log(photo.focal_px)), exif_ln_focal_u(claimed_mm, settings))
    diagonal_px = float(np.hypot(photo.width_px, photo.height_px))
    typical_px = settings.typical_focal_35mm / FULL_FRAME_DIAGONAL_MM * diagonal_px
    return Prior(float(np.log(typical_px)), settings.broad_ln_focal_u)


def exif_ln_focal_u(focal_35mm: float, settings: PlaneSettings) -> float:
    """Standard uncertainty of ln focal length by EXIF: its rounding, a rectangle, and focusing."""
    return float(np.hypot(settings.exif_rounding_mm / 3**0.5 / focal_35mm, settings.exif_focus_u))


def _possible(focal_35mm: float, settings: PlaneSettings) -> bool:
    return settings.exif_least_mm <= focal_35mm <= settings.exif_most_mm


def print_scale_priors(card_scale: XY | None, settings: PlaneSettings) -> tuple[Prior, Prior]:
    """Priors of the print's ln mean scale and of its skew, from the measured check bars or from what printers do."""
    if card_scale is None:
        return Prior(0.0, settings.unmeasured_ln_scale_u), Prior(0.0, settings.unmeasured_skew_u)
    mean = (card_scale[0] + card_scale[1]) / 2
    return (
        Prior(float(np.log(mean)), settings.measured_ln_scale_u),
        Prior((card_scale[0] - card_scale[1]) / mean, settings.measured_skew_u),
    )


def known_print_scale(numbers: Iterable[int], card_scales: Mapping[int, XY]) -> XY | None:
    """The scale (SX, SY) that was measured earlier for the printed set whose cards have these numbers.

    It must be known, and the same, for every card in the photo; else each card has its own (`own_prints`).
    """
    scales = {card_scales.get(number) for number in numbers}
    return scales.pop() if len(scales) == 1 else None


def own_prints(
    numbers: Iterable[int], card_scales: Mapping[int, XY], settings: PlaneSettings
) -> dict[int, tuple[Prior, Prior]]:
    """Priors of scale and skew of those cards, by number, whose print was measured earlier: where prints are mixed."""
    return {n: print_scale_priors(card_scales[n], settings) for n in numbers if n in card_scales}

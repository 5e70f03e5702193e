"""`map_photo`: a photo's file in, its map out; `find_outline`: its outline alone, without a card."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.errors import BadInput, NotFound
from hidescan.hide_map.model import HideMap, Inputs
from hidescan.mapping.calibration import kept_calibration
from hidescan.outline.finding import Outline
from hidescan.outline.finding import find_outline as outline_of
from hidescan.photo.reading import read_photo
from hidescan.pipeline import Pipeline
from hidescan.settings import Settings

_LEAST_SIDE_PX = 64
"""Smaller pictures show no rim that could be told from their pixels."""


def map_photo(path: str | Path, *, settings: Settings | None = None, **inputs: Any) -> HideMap | NotFound:
    """The map of a photographed hide, as the command line makes it: with the print scales and lenses measured here.

    Parameters
    ----------
    path
        Photo: JPEG, PNG, TIFF, WebP or HEIC.
    settings
        Every tunable; the defaults where None.
    **inputs
        What is known of the hide and the cards: the fields of `hidescan.hide_map.model.Inputs`, such as
        ``thickness_mm=1.8`` or ``card_scale=(0.998, 1.001)``.

    Returns
    -------
    The map, or `NotFound` (falsy) with a reason and advice.

    Raises
    ------
    BadInput
        The file is missing or no picture that can be measured from; the lens profile named cannot be used.
    TypeError
        An input that does not exist.
    """
    chosen, given = settings or Settings(), Inputs(**inputs)
    photo = read_photo(Path(path), chosen.photo)
    return Pipeline(photo, chosen, kept_calibration(given.lens)).hide_map(given)


def find_outline(
    pixels_or_path: NDArray[np.uint8] | str | Path, *, settings: Settings | None = None
) -> Outline | NotFound:
    """Find the rim of a hide, or of another flat thing, in a photo without a reference card.

    Parameters
    ----------
    pixels_or_path
        (H, W, 3) uint8, upright RGB; or a photo's file: JPEG, PNG, TIFF, WebP or HEIC, turned upright by its EXIF.
    settings
        Every tunable; the defaults where None.

    Returns
    -------
    The outline, in pixels of the upright photo, centres at integers: `ring_px` (N, 2), `confidence_whole` in 0..1,
    `doubtful` (ranges of the ring to look at first), `holes` (each with a `ring_px`). Or `NotFound` (falsy) with `code`
    "no-hide", "cut-by-frame" or "several-hides", a reason and advice.

    Raises
    ------
    BadInput
        The file is missing or no picture that can be measured from; the pixels are no upright RGB picture.

    Notes
    -----
    Without a card there is no scale: no sizes in mm, and of marks only through holes.
    """
    chosen = settings or Settings()
    if isinstance(pixels_or_path, np.ndarray):
        rgb = _checked(pixels_or_path)
    else:
        # the least size is what a card needs
        rgb = read_photo(Path(pixels_or_path), replace(chosen.photo, least_megapixels=_LEAST_SIDE_PX**2 / 1e6)).rgb
    return outline_of(rgb, None, [], chosen.outline)


def _checked(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    if pixels.ndim != 3 or pixels.shape[2] != 3 or pixels.dtype != np.uint8 or min(pixels.shape[:2]) < _LEAST_SIDE_PX:
        raise BadInput(
            f"The pixels are {pixels.dtype} of shape {pixels.shape}: give uint8 of shape (H, W, 3), red, green, blue, "
            f"at least {_LEAST_SIDE_PX} on a side."
        )
    return np.ascontiguousarray(pixels)

"""`map_photo`: a photo's file in, its map out."""

from pathlib import Path
from typing import Any

from hidescan.basics.errors import NotFound
from hidescan.hide_map.model import HideMap, Inputs
from hidescan.mapping.calibration import kept_calibration
from hidescan.photo.reading import read_photo
from hidescan.pipeline import Pipeline
from hidescan.settings import Settings


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

"""`map_photo`: a photo's file in, its map out."""

from pathlib import Path
from typing import Any

from hidescan.basics.errors import NotFound
from hidescan.hide_map.model import HideMap, Inputs
from hidescan.photo.reading import read_photo
from hidescan.pipeline import run
from hidescan.settings import Settings


def map_photo(path: str | Path, *, settings: Settings | None = None, **inputs: Any) -> HideMap | NotFound:
    """Map a photographed hide.

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
        The file is missing or no picture that can be measured from.
    TypeError
        An input that does not exist.
    """
    chosen = settings or Settings()
    return run(read_photo(Path(path), chosen.photo), Inputs(**inputs), chosen)

"""A map's own pixels: its photo, wherever it is found, and only if its content is the same.

A map joined from several photos has one picture made of them all.
"""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.errors import BadInput
from hidescan.exports.from_above import from_above
from hidescan.exports.rectified import MOST_PX
from hidescan.hide_map.model import HideMap, PhotoInfo
from hidescan.hide_map.revisions import find_photo
from hidescan.photo.reading import read_photo
from hidescan.settings import PhotoSettings


def pixels_of_map(
    map_file: Path, hide_map: HideMap, given: Path | None, settings: PhotoSettings
) -> tuple[HideMap, NDArray[np.uint8]]:
    """The photo that a map was made from, and the map that names its pixels.

    Parameters
    ----------
    given
        Path given for the photo. It is also looked for beside the map, where it lay when it was mapped, and in the
        folder above; a joined map's other photos in the same folders.

    Returns
    -------
    The map as it is and its photo; of a joined map the view from above and the map over that.

    Raises
    ------
    BadInput
        Missing, unreadable, or changed since.
    """
    if len(hide_map.photos) < 2:
        return hide_map, _pixels(map_file, hide_map.photo, given, settings)
    photos = (_pixels(map_file, view, given, settings) for view in hide_map.photos)
    return from_above(hide_map, photos, MOST_PX)


def _pixels(map_file: Path, info: PhotoInfo, given: Path | None, settings: PhotoSettings) -> NDArray[np.uint8]:
    found = find_photo(map_file, info, given)
    if found is not None:
        return read_photo(found, settings).rgb
    there = [path for path in (given, map_file.parent / info.file) if path is not None and path.is_file()]
    if there:
        raise BadInput(f"{there[0]}: is not the photo that {map_file.name} was made from; its content differs.")
    where = given or map_file.parent / info.file
    raise BadInput(f"{where}: the map's photo is not there. Put it beside the map or say where it is with --photo.")

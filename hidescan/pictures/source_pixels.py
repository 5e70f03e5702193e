"""A map's own pixels: its photo beside the map, or at a path given, and only if its content is the same.

A map joined from several photos has one picture made of them all.
"""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.errors import BadInput
from hidescan.exports.from_above import from_above
from hidescan.exports.rectified import MOST_PX
from hidescan.hide_map.model import HideMap, PhotoInfo
from hidescan.photo.reading import read_photo
from hidescan.settings import PhotoSettings


def pixels_of_map(
    map_file: Path, hide_map: HideMap, given: Path | None, settings: PhotoSettings
) -> tuple[HideMap, NDArray[np.uint8]]:
    """The photo that a map was made from, and the map that names its pixels.

    Parameters
    ----------
    given
        Path given for the photo; used where it is not beside the map. Of a joined map's photos the others
        are looked for in the same folder.

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
    beside = [None if given is None else given.parent / view.file for view in hide_map.photos]
    photos = (_pixels(map_file, view, path, settings) for view, path in zip(hide_map.photos, beside, strict=True))
    return from_above(hide_map, photos, MOST_PX)


def _pixels(map_file: Path, info: PhotoInfo, given: Path | None, settings: PhotoSettings) -> NDArray[np.uint8]:
    there = [path for path in (map_file.parent / info.file, given) if path is not None and path.is_file()]
    for path in there:
        photo = read_photo(path, settings)
        if photo.sha256 == info.sha256:
            return photo.rgb
    if there:
        raise BadInput(f"{there[-1]}: is not the photo that {map_file.name} was made from; its content differs.")
    where = given or map_file.parent / info.file
    raise BadInput(f"{where}: the map's photo is not there. Put it beside the map or say where it is with --photo.")

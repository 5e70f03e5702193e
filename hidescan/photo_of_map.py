"""A map's own photo: beside the map, or where a person says, and only if its content is the same."""

from pathlib import Path

from hidescan.hidemap import HideMap
from hidescan.photo import Photo, read_photo
from hidescan.problems import BadInput
from hidescan.settings import PhotoSettings


def photo_of_map(map_file: Path, hide_map: HideMap, given: Path | None, settings: PhotoSettings) -> Photo:
    """The photo that a map was made from.

    Parameters
    ----------
    given
        Where a person says that it is; looked at where it is not beside the map.

    Raises
    ------
    BadInput
        Missing, unreadable, or changed since.
    """
    there = [path for path in (map_file.parent / hide_map.photo.file, given) if path is not None and path.is_file()]
    for path in there:
        photo = read_photo(path, settings)
        if photo.sha256 == hide_map.photo.sha256:
            return photo
    if there:
        raise BadInput(f"{there[-1]}: is not the photo that {map_file.name} was made from; its content differs.")
    where = given or map_file.parent / hide_map.photo.file
    raise BadInput(f"{where}: the map's photo is not there. Put it beside the map or say where it is with --photo.")

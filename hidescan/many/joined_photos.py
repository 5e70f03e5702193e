"""Join photos on disk: each is read, looked at and let go before the next, then all are joined, drawn and kept."""

from collections.abc import Mapping, Sequence
from pathlib import Path

from hidescan.basics.errors import BadInput, NotFound
from hidescan.exports.from_above import from_above
from hidescan.hide_map.model import HideMap, Inputs
from hidescan.hide_map.revisions import (
    earlier_map,
    file_digest,
    find_photo,
    map_path,
    merged,
    read_map,
    remember_photo,
    save_map,
)
from hidescan.join.joined import Look, look_at, map_joined
from hidescan.join.settings import JoinSettings
from hidescan.many.one_photo import Keeping, Made, keep, pictures_of, with_marks_given, without_pixels
from hidescan.mapping.calibration import Calibration, kept_calibration
from hidescan.marks.matching import carried_over
from hidescan.photo.reading import read_photo
from hidescan.pipeline import Pipeline
from hidescan.settings import Settings


def join_photos(paths: list[Path], inputs: Inputs, keeping: Keeping, settings: Settings) -> tuple[Path, HideMap]:
    """Map one hide from several photos and write NAME.hide.json and its pictures; NAME is the first photo's.

    Raises
    ------
    BadInput
        Photo or folder cannot be used, or the photos show nothing that can be joined; nothing is written then.
    """
    if len(paths) < 2:
        raise BadInput("--join: give two or more photos of one hide.")
    looks = _looks(paths, inputs, settings)
    target = map_path(keeping.folder or paths[0].parent, looks[0].info.file)
    seen = file_digest(target)
    old = earlier_map(target, looks[0].info.sha256, force=keeping.force)
    if old is not None and not keeping.force and [p.sha256 for p in old.photos] != [look.info.sha256 for look in looks]:
        raise BadInput(f"{target}: was made from other photos. Choose another folder with -o, or --force.")
    old = None if keeping.fresh else old
    if old is not None and (given := merged(old.inputs, inputs)) != inputs:
        inputs, looks = given, _looks(paths, given, settings)
    made = _joined(looks, inputs, old, target, keeping.units, settings)
    kept = keep(target, made.hide_map, made.pictures, fresh=keeping.fresh, seen=seen)
    remember_photo(target, paths[0])
    return target, kept


def edit_joined(
    path: Path,
    inputs: Inputs,
    words: Mapping[str, str],
    settings: Settings,
    merge: Sequence[Path] = (),
    units: str = "ft",
) -> HideMap:
    """Join a map's own photos, which lie beside it, again with more given, and keep a new revision.

    Parameters
    ----------
    inputs, words, merge
        As for `one_photo.edit_one`.

    Raises
    ------
    BadInput
        The map, a photo or a file to merge cannot be used, or a mark named does not exist.
    """
    seen = file_digest(path)
    old = with_marks_given(read_map(path), path.name, words, merge, settings)
    places = [find_photo(path, view) or path.parent / view.file for view in old.photos]
    if not all(place.is_file() for place in places):
        why = "its photos are not all there; put them beside the map"
        return save_map(path, without_pixels(read_map(path), old, inputs, path.name, why), seen=seen)
    inputs = merged(old.inputs, inputs)
    looks = _looks(places, inputs, settings)
    for view, look in zip(old.photos, looks, strict=True):
        if look.info.sha256 != view.sha256:
            raise BadInput(f"{view.file}: is not the photo of {path.name} (its content differs). Give the right one.")
    made = _joined(looks, inputs, old, path, units, settings)
    return keep(path, made.hide_map, made.pictures, fresh=False, seen=seen)


def _looks(paths: list[Path], inputs: Inputs, settings: Settings) -> tuple[Look, ...]:
    calibration = kept_calibration(inputs.lens)
    looks: list[Look] = []
    for path in paths:
        looks.append(_look(path, looks, inputs, calibration, settings))
    return tuple(looks)


def _look(path: Path, before: list[Look], inputs: Inputs, calibration: Calibration, settings: Settings) -> Look:
    """What one photo gives; its pixels are gone when this returns, so that one photo at a time is held."""
    photo = read_photo(path, settings.photo)
    if any(photo.sha256 == look.info.sha256 for look in before):
        raise BadInput(f"{path}: was given twice.")
    look = look_at(Pipeline(photo, settings, calibration), inputs)
    if isinstance(look, NotFound):
        raise BadInput(f"{photo.file}: {look}")
    return look


def _joined(
    looks: tuple[Look, ...], inputs: Inputs, old: HideMap | None, target: Path, units: str, settings: Settings
) -> Made:
    """The joined map with its pictures, with what an earlier map of the photos holds from a person."""
    hide_map = map_joined(looks, inputs, settings, JoinSettings())
    if isinstance(hide_map, NotFound):
        raise BadInput(f"{target.name.removesuffix('.hide.json')}: {hide_map}")
    if old is not None:
        hide_map = carried_over(old, hide_map, settings)
    over, rgb = from_above(hide_map, (look.small for look in looks), settings.draw.long_side_px**2)
    return Made(hide_map, pictures_of(rgb, over, units, settings))

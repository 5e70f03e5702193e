"""Join photos on disk: each is read, looked at and let go before the next, then all are joined, drawn and kept."""

from collections.abc import Mapping, Sequence
from pathlib import Path

from hidescan.basics.errors import BadInput, NotFound
from hidescan.exports.from_above import from_above
from hidescan.hide_map.model import HideMap, Inputs
from hidescan.hide_map.revisions import earlier_map, file_digest, map_path, merged, read_map
from hidescan.join.joined import Look, look_at, map_joined
from hidescan.join.settings import JoinSettings
from hidescan.many.one_photo import Job, keep, known_for, pictures_of, with_marks_given
from hidescan.marks.matching import carried_over
from hidescan.photo.reading import read_photo
from hidescan.settings import Settings


def join_photos(paths: list[Path], job: Job, settings: Settings) -> tuple[Path, HideMap]:
    """Map one hide from several photos and write NAME.hide.json and its pictures; NAME is the first photo's.

    Raises
    ------
    BadInput
        Photo or folder cannot be used, or the photos show nothing that can be joined; nothing is written then.
    """
    if len(paths) < 2:
        raise BadInput("--join: give two or more photos of one hide.")
    looks = _looks(paths, job.inputs, job, settings)
    target = map_path(job.folder or paths[0].parent, looks[0].info.file)
    seen = file_digest(target)
    old = earlier_map(target, looks[0].info.sha256, force=job.force)
    if old is not None and not job.force and [p.sha256 for p in old.photos] != [look.info.sha256 for look in looks]:
        raise BadInput(f"{target}: was made from other photos. Choose another folder with -o, or --force.")
    if old is not None and not job.fresh and (inputs := merged(old.inputs, job.inputs)) != job.inputs:
        return target, _join_and_keep(_looks(paths, inputs, job, settings), target, old, seen, job, settings)
    return target, _join_and_keep(looks, target, None if job.fresh else old, seen, job, settings)


def edit_joined(path: Path, job: Job, words: Mapping[str, str], settings: Settings, merge: Sequence[Path]) -> HideMap:
    """Join a map's own photos, which lie beside it, again with more given, and keep a new revision.

    Parameters
    ----------
    words, merge
        As for `batch.edit_one`.

    Raises
    ------
    BadInput
        The map, a photo or a file to merge cannot be used, or a mark named does not exist.
    """
    seen = file_digest(path)
    old = with_marks_given(read_map(path), path.name, words, merge, settings)
    looks = _looks([path.parent / view.file for view in old.photos], merged(old.inputs, job.inputs), job, settings)
    for view, look in zip(old.photos, looks, strict=True):
        if look.info.sha256 != view.sha256:
            raise BadInput(f"{view.file}: is not the photo of {path.name} (its content differs). Give the right one.")
    return _join_and_keep(looks, path, old, seen, job, settings)


def _looks(paths: list[Path], inputs: Inputs, job: Job, settings: Settings) -> tuple[Look, ...]:
    looks: list[Look] = []
    for path in paths:
        looks.append(_look(path, looks, inputs, job, settings))
    return tuple(looks)


def _look(path: Path, before: list[Look], inputs: Inputs, job: Job, settings: Settings) -> Look:
    """What one photo gives; its pixels are gone when this returns, so that one photo at a time is held."""
    photo = read_photo(path, settings.photo)
    if any(photo.sha256 == look.info.sha256 for look in before):
        raise BadInput(f"{path}: was given twice.")
    look = look_at(photo, inputs, known_for(photo, inputs, job.card_scales), settings)
    if isinstance(look, NotFound):
        raise BadInput(f"{photo.file}: {look}")
    return look


def _join_and_keep(
    looks: tuple[Look, ...], target: Path, old: HideMap | None, seen: str, job: Job, settings: Settings
) -> HideMap:
    hide_map = map_joined(looks, settings, JoinSettings())
    if isinstance(hide_map, NotFound):
        raise BadInput(f"{target.name.removesuffix('.hide.json')}: {hide_map}")
    if old is not None:
        hide_map = carried_over(old, hide_map, settings)
    over, rgb = from_above(hide_map, (look.small for look in looks), settings.draw.long_side_px**2)
    return keep(target, hide_map, pictures_of(rgb, over, job.units, settings), fresh=job.fresh, seen=seen)

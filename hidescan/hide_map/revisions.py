"""Maps on disk: NAME.hide.json is the newest, older revisions stand in NAME.hide/REVISION.json."""

import hashlib
import json
import os
import re
from contextlib import suppress
from dataclasses import fields, replace
from pathlib import Path

from hidescan.basics.atomic_files import folder_lock, write_together, write_whole
from hidescan.basics.errors import BadInput
from hidescan.basics.reading import read_bytes
from hidescan.hide_map.identity import is_same_hide, shows_hide_at
from hidescan.hide_map.json_io import from_json, to_json
from hidescan.hide_map.model import XY, HideMap, Inputs, PhotoInfo
from hidescan.hide_map.places import latest_at_each_place
from hidescan.hide_map.validation import is_file_name

MOST_MAP_BYTES = 100_000_000
SUFFIX = ".hide.json"
_PHOTO_AT = "photo.json"  # in the folder of revisions: where the map's photo lies, seen from the map


def map_path(folder: Path, photo_file: str) -> Path:
    """Where the map of a photo is kept."""
    return folder / f"{Path(photo_file).stem}{SUFFIX}"


def maps_of_photo(path: Path, photo_sha256: str) -> dict[Path, HideMap]:
    """Return the maps of a photo's hides that stand beside `path`: NAME.hide.json, NAME-2.hide.json and so on."""
    stem = path.name.removesuffix(SUFFIX)
    numbered = re.compile(rf"{re.escape(stem)}(-[2-9]|-[1-9]\d+)?{re.escape(SUFFIX)}")
    found = {}
    for beside in sorted(path.parent.glob(f"*{SUFFIX}")) if path.parent.is_dir() else ():
        if numbered.fullmatch(beside.name):
            with suppress(BadInput):  # what is no map is nobody's
                hide_map = read_map(beside)
                if hide_map.photo.sha256 == photo_sha256:
                    found[beside] = hide_map
    return found


def path_of_another(path: Path) -> Path:
    """Return where the map of a further hide of a photo is kept: NAME-2.hide.json, or the next number that is free.

    A number that another photo beside it bears, NAME-2.jpg, is left to that photo's map.
    """
    stem, number = path.name.removesuffix(SUFFIX), 2
    there = {
        file.stem if file.suffix != ".json" else file.name.removesuffix(SUFFIX) for file in path.parent.glob("*.*")
    }
    while f"{stem}-{number}" in there:
        number += 1
    return path.with_name(f"{stem}-{number}{SUFFIX}")


def map_of_hide_at(path: Path, photo_sha256: str, at_px: XY) -> Path:
    """Return where the map of the hide at a photo pixel is kept, or is to be kept, of the photo whose map is `path`."""
    known = maps_of_photo(path, photo_sha256)
    for beside, hide_map in known.items():
        if shows_hide_at(hide_map, at_px):
            return beside
    return path_of_another(path) if known else path


def path_of_hide(path: Path, hide_map: HideMap) -> Path:
    """Return where a map is to be kept, of the photo whose map is `path`: with its hide's earlier map, or by itself."""
    known = maps_of_photo(path, hide_map.photo.sha256)
    same = next((beside for beside, other in known.items() if is_same_hide(other, hide_map)), None)
    return same or (path_of_another(path) if known else path)


def remember_photo(path: Path, photo: Path) -> None:
    """Keep where a map's photo lies, where that is not beside it: in the folder of revisions, not in the map."""
    folder, there = path.parent.resolve(), photo.resolve()
    if there.parent != folder:
        write_whole(path.with_suffix("") / _PHOTO_AT, json.dumps({"photo": _relative(there, folder)}).encode())


def find_photo(path: Path, info: PhotoInfo, given: Path | None = None) -> Path | None:
    """Return where a map's photo is, known by its content; None where it is at none of the places that are looked at.

    Those are beside the map, where a person says, where it lay when it was mapped, and the folder above.
    """
    places = [path.parent / info.file, *([] if given is None else [given, given.parent / info.file])]
    with suppress(OSError, ValueError, TypeError, KeyError):  # nothing is remembered, or nothing that can be read
        at = path.parent / json.loads((path.with_suffix("") / _PHOTO_AT).read_bytes())["photo"]
        places += [at, at.parent / info.file]
    places.append(path.parent.resolve().parent / info.file)
    return next((place for place in places if place.is_file() and file_digest(place) == info.sha256), None)


def _relative(there: Path, folder: Path) -> str:
    try:
        return Path(os.path.relpath(there, folder)).as_posix()
    except ValueError:  # another drive
        return str(there)


def read_map(path: Path) -> HideMap:
    """Read a map.

    Raises
    ------
    BadInput
        Missing, too large to be a map, or no map.
    """
    if path.name and not is_file_name(path.name):
        raise BadInput(f"{path}: the name holds characters that cannot be shown. Rename the map.")
    return from_json(read_bytes(path, MOST_MAP_BYTES), str(path))


def earlier_map(path: Path, photo_sha256: str, *, force: bool) -> HideMap | None:
    """The map of the same photo that already stands where a new one is to be kept.

    Parameters
    ----------
    path
        Where the map is to be kept.
    force
        Overwrite the map of another photo.

    Raises
    ------
    BadInput
        The file is the map of another photo, or no map, and `force` is off.
    """
    if not path.exists():
        return None
    try:
        old = read_map(path)
    except BadInput as error:
        if force:
            return None
        raise BadInput(f"{error} Or write over it with --force.") from error
    if old.photo.sha256 == photo_sha256:
        return old
    if force:
        return None
    raise BadInput(
        f"{path}: is the map of another photo ({old.photo.file}). Choose another folder with -o, or --force."
    )


def merged(old: Inputs, given: Inputs) -> Inputs:
    """`given` laid over `old`: what was not said now stays as it was said before, hints and readings add up."""
    unsaid = Inputs()
    said = {f.name: v for f in fields(Inputs) if (v := getattr(given, f.name)) != getattr(unsaid, f.name)}
    for name in ("hints", "gauge"):
        new = said.get(name, ())
        said[name] = latest_at_each_place((*getattr(old, name), *new))
    if ("neck_px" in said or "arrow" in said) and "back_line_px" not in said:
        said["back_line_px"] = None  # the later word on where the neck is wins
    return replace(old, **said)


def file_digest(path: Path) -> str:
    """What stands at a map's place, as `save_map` is told of it: the SHA-256 of the file, or "" where there is none."""
    try:
        return hashlib.sha256(read_bytes(path, MOST_MAP_BYTES)).hexdigest()
    except BadInput:
        return ""  # who reads it says why


def save_map(
    path: Path, hide_map: HideMap, *, fresh: bool = False, keep_old: bool = False, seen: str | None = None
) -> HideMap:
    """Keep a map; what a person had given in the one before it is never lost.

    A map that holds nothing from a person is written over, unless it must be kept (`keep_old`: a person kept it). One
    that does becomes an older revision, unless the new map says the same. The new map carries the hide's id.

    Parameters
    ----------
    fresh
        What was given before does not count any more: the new map says nothing of it, but it is kept as a revision.
    seen
        What stood there (`file_digest`) when the map was made: only that is taken the place of. None: whatever it is.

    Returns
    -------
    The map as written, with its revision.

    Raises
    ------
    BadInput
        Another program changed the map since; nothing is written then. Or it cannot be written.
    """
    earlier: dict[Path, bytes] = {}
    with folder_lock(path.parent):
        if path.exists():
            data = read_bytes(path, MOST_MAP_BYTES)
            digest = hashlib.sha256(data).hexdigest()
            try:
                old = from_json(data, str(path))
            except BadInput:
                if seen != digest and not fresh:
                    raise
                write_whole(path, to_json(hide_map))  # it was seen that this is no map, and forced
                return hide_map
            if old.photo.sha256 == hide_map.photo.sha256:
                hide_map = replace(hide_map, hide_id=old.hide_id, parent_id=old.parent_id)
            as_old = replace(hide_map, revision=old.revision, parent_sha256=old.parent_sha256)
            if to_json(as_old) == to_json(old):
                return as_old
            if seen not in (None, digest):
                raise BadInput(f"{path}: was changed by another program meanwhile. Do this once more.")
            if old.photo.sha256 == hide_map.photo.sha256:
                hide_map = as_old  # a number is not used again: what stands in the folder of revisions stays
                if keep_old or _from_a_person(old):
                    earlier[path.with_suffix("") / f"{old.revision}.json"] = data
                    hide_map = replace(hide_map, revision=old.revision + 1, parent_sha256=digest)
        write_together({**earlier, path: to_json(hide_map)})
    return hide_map


def _from_a_person(hide_map: HideMap) -> bool:
    return hide_map.inputs != Inputs() or any(mark.status != "found" for mark in hide_map.marks)

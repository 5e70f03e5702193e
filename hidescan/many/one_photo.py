"""Map photos on disk: read, map, draw, keep. One photo's failure is a value, so that the others go on."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from hidescan.anatomy.species import plausible_size
from hidescan.basics.atomic_files import writing_together
from hidescan.basics.errors import BadInput, NotFound
from hidescan.basics.parallel import start_in_thread
from hidescan.hide_map.facts import HideFacts, facts_of
from hidescan.hide_map.identity import is_offcut
from hidescan.hide_map.model import XY, HideMap, Inputs, WarningEntry
from hidescan.hide_map.places import without
from hidescan.hide_map.revisions import (
    earlier_map,
    file_digest,
    map_of_hide_at,
    map_path,
    merged,
    path_of_hide,
    read_map,
    remember_photo,
    save_map,
)
from hidescan.mapping.calibration import kept_calibration
from hidescan.marks.corrections import with_corrections
from hidescan.marks.files import given_marks
from hidescan.marks.matching import carried_over, with_given
from hidescan.photo.reading import READABLE, Photo, read_photo
from hidescan.pictures.numbered_marks import marks_picture
from hidescan.pictures.overlay import for_pictures, map_picture, zones_picture
from hidescan.pipeline import Pipeline
from hidescan.settings import Settings

# The facts that can be given without looking at the photo: all but those that the measures hang on.
_FACTS = tuple(name for name in facts_of(HideFacts) if name not in ("thickness_mm", "form"))
CONTACT_SHEET = "contact-sheet.jpg"
PICTURES = ("map", "zones", "marks")  # kinds that stand beside a map


@dataclass(frozen=True, slots=True)
class Keeping:
    """How maps are kept: their folder (None: beside each photo), the pictures' units, what becomes of earlier maps.

    `fresh` forgets what was given for a photo before, `force` writes over the map of another photo.
    """

    folder: Path | None = None
    units: str = "ft"
    fresh: bool = False
    force: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Made:
    """A map with its pictures as PNG, by kind."""

    hide_map: HideMap
    pictures: Mapping[str, bytes]


def photos_in(paths: list[Path]) -> list[Path]:
    """The photos named, those of folders in order of name.

    Raises
    ------
    BadInput
        A folder without photos.
    """
    photos: list[Path] = []
    for path in paths:
        if not path.is_dir():
            photos.append(path)
            continue
        found = sorted(p for p in path.iterdir() if is_photo(p))
        if not found:
            inside = folders_in(path)
            deeper = f" It is looked one level deep: name its folders ({_listed(inside)})." if inside else ""
            raise BadInput(f"{path}: there are no photos in this folder.{deeper}")
        photos += found
    return photos


def folders_in(path: Path) -> list[str]:
    """Names of the folders in a folder that are not looked into; a map's own older revisions aside."""
    if not path.is_dir():
        return []
    inside = sorted(p.name for p in path.iterdir() if p.is_dir() and not p.name.startswith("."))
    return [name for name in inside if not name.endswith(".hide")]


def not_looked_into(paths: Sequence[Path]) -> list[str]:
    """What to tell of folders that hold folders."""
    return [
        f"{path}: is looked one level deep; not into {_listed(inside)}. Name these too, if they hold photos."
        for path in paths
        if (inside := folders_in(path))
    ]


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return f"{', '.join(names[:3])}{more}"


def is_photo(path: Path) -> bool:
    """Whether a file's name is that of a photo, and not of a picture that hidescan made."""
    made = path.name.endswith(tuple(f".{kind}.png" for kind in PICTURES)) or path.name == CONTACT_SHEET
    return path.suffix.lower() in READABLE and not made and not path.name.startswith(".")


def map_one(path: Path, inputs: Inputs, keeping: Keeping, settings: Settings) -> tuple[Path, HideMap]:
    """Map one photo and write NAME.hide.json, NAME.map.png, NAME.zones.png and NAME.marks.png.

    Returns
    -------
    The map's path and the map.

    Raises
    ------
    BadInput
        Photo or folder cannot be used, or the photo shows nothing that can be measured; nothing is written then.
    """
    return map_read(read_photo(path, settings.photo), path.parent, inputs, keeping, settings)


def map_read(photo: Photo, beside: Path, inputs: Inputs, keeping: Keeping, settings: Settings) -> tuple[Path, HideMap]:
    """As `map_one`, for a photo that was read already and lies in the folder `beside`."""
    first = target = map_path(keeping.folder or beside, photo.file)
    picked = inputs.hide_at_px
    if picked is not None:
        target = map_of_hide_at(first, photo.sha256, picked)
    seen = file_digest(target)
    earlier = earlier_map(target, photo.sha256, force=keeping.force)
    made = _remade(photo, inputs, None if keeping.fresh else earlier, keeping.units, settings)
    if picked is not None and earlier is None and (same := path_of_hide(first, made.hide_map)).exists():
        # The pixel lay beside an outline that it belongs to: it is no further hide.
        target, seen = same, file_digest(same)
        made = _remade(photo, inputs, None if keeping.fresh else read_map(same), keeping.units, settings)
    kept = keep(target, made.hide_map, made.pictures, fresh=keeping.fresh, seen=seen)
    remember_photo(target, beside / photo.file)
    return target, kept


@dataclass(frozen=True, slots=True)
class Also:
    """What an edit does beside what is given: files of marks to merge, and photo pixels whose statements go."""

    merge: tuple[Path, ...] = ()
    taken_back_px: tuple[XY, ...] = ()


def edit_one(
    path: Path,
    photo_path: Path,
    inputs: Inputs,
    words: Mapping[str, str],
    settings: Settings,
    also: Also = Also(),
    units: str = "ft",
) -> HideMap:
    """Map a map's own photo again with more given, and keep a new revision.

    Parameters
    ----------
    inputs
        What is given now, beside what the map holds.
    words
        What a person says of marks, by id: a status or a kind.
    also
        Files of marks drawn elsewhere or maps of the other face, and places whose taps and gauge readings are taken
        back.

    Raises
    ------
    BadInput
        The map, its photo or a file to merge cannot be used, a mark named does not exist, or nothing was given at a
        place to take back.
    """
    seen, old = file_digest(path), read_map(path)
    with_marks = with_marks_given(old, path.name, words, also.merge, settings)
    for at_px in also.taken_back_px:
        with_marks = _taken_back(with_marks, at_px)
    if also.taken_back_px and (is_offcut(old) or not photo_path.is_file()):
        raise BadInput(f"{path.name}: nothing at a place can be taken back without its photo; name it with --photo.")
    if is_offcut(old):
        why = "is an offcut, planned and not measured; map it once it is cut"
        return save_map(path, without_pixels(old, with_marks, inputs, path.name, why), seen=seen)
    if not photo_path.is_file():
        why = "its photo is not there; put it beside the map or name it with --photo"
        return save_map(path, without_pixels(old, with_marks, inputs, path.name, why), seen=seen)
    photo = read_photo(photo_path, settings.photo)
    if photo.sha256 != old.photo.sha256:
        raise BadInput(f"{photo_path}: is not the photo of {path.name} (its content differs). Give the right one.")
    made = _remade(photo, inputs, with_marks, units, settings)
    return keep(path, made.hide_map, made.pictures, fresh=False, seen=seen)


def _taken_back(hide_map: HideMap, at_px: XY) -> HideMap:
    """The map without the taps and gauge readings at a photo pixel."""
    given = hide_map.inputs
    left = replace(given, hints=without(given.hints, at_px), gauge=without(given.gauge, at_px))
    if left == given:
        raise BadInput(f"Nothing was given at pixel {at_px[0]:g},{at_px[1]:g}: no tap and no gauge reading lies there.")
    return replace(hide_map, inputs=left)


def without_pixels(old: HideMap, with_marks: HideMap, given: Inputs, name: str, why: str) -> HideMap:
    """The map with what can be given of a hide without looking at its photo.

    Raises
    ------
    BadInput
        Something else was given, for which the photo would have to be looked at; `why` it is not.
    """
    inputs = merged(old.inputs, given)
    facts = {fact: getattr(inputs, fact) for fact in _FACTS}
    if replace(old.inputs, **facts) != inputs:
        raise BadInput(f"{name}: only {', '.join(_FACTS)} and marks can be given here: {why}.")
    return replace(with_marks, inputs=inputs, warnings=_warnings(with_marks, inputs))


def _warnings(hide_map: HideMap, inputs: Inputs) -> tuple[WarningEntry, ...]:
    """A map's warnings, that of its size for the species given now."""
    others = tuple(warning for warning in hide_map.warnings if warning.code != "size-unusual")
    if inputs.species is None or is_offcut(hide_map):
        return others
    m = hide_map.measures
    odd = plausible_size(inputs.species, hide_map.form.name, m.area_net.value, m.length.value)
    return others if odd is None else (*others, WarningEntry("size-unusual", odd))


def with_marks_given(
    old: HideMap, name: str, words: Mapping[str, str], merge: Sequence[Path], settings: Settings
) -> HideMap:
    """A map with a person's words on its marks and the marks of other files.

    Raises
    ------
    BadInput
        A mark named does not exist, or a file cannot be used.
    """
    try:
        old = with_corrections(old, words, settings)
    except KeyError as error:
        known = ", ".join(mark.id for mark in old.marks) or "none"
        raise BadInput(f"{name}: there is no mark {error}. Its marks: {known}.") from error
    for file in merge:
        given = given_marks(file, old, settings)
        old = with_given(old, given.marks, settings, slack_mm=given.slack_mm)
    return old


def _remade(photo: Photo, given: Inputs, old: HideMap | None, units: str, settings: Settings) -> Made:
    """The map with what an earlier map of the photo holds from a person."""
    inputs = given if old is None else merged(old.inputs, given)
    return make(Pipeline(photo, settings, kept_calibration(inputs.lens)), inputs, old, units)


def make(pipeline: Pipeline, inputs: Inputs, old: HideMap | None, units: str) -> Made:
    """A photo's map with its pictures; touches no disk.

    Parameters
    ----------
    inputs
        What was given, now and before.
    old
        An earlier map of the same photo, whose marks keep what a person said of them.

    Raises
    ------
    BadInput
        The photo shows nothing that can be measured.
    """
    photo, settings = pipeline.photo, pipeline.settings
    hide_map = pipeline.hide_map(inputs)
    if isinstance(hide_map, NotFound):
        raise BadInput(f"{photo.file}: {hide_map}")
    if old is not None:
        hide_map = carried_over(old, hide_map, settings)
    return Made(hide_map, pictures_of(photo.rgb, hide_map, units, settings))


def pictures_of(rgb: NDArray[np.uint8], hide_map: HideMap, units: str, settings: Settings) -> dict[str, bytes]:
    """The pictures that stand beside a map, by kind, PNG."""
    small = for_pictures(rgb, settings.draw)
    drawn = {  # most of the time goes into OpenCV's PNG, which lets others work
        "map": start_in_thread(map_picture, small, hide_map, units, settings.draw),
        "zones": start_in_thread(zones_picture, small, hide_map, units, settings.draw),
        "marks": start_in_thread(marks_picture, rgb, hide_map, units, settings.marks_picture),
    }
    return {kind: picture() for kind, picture in drawn.items()}


def keep(target: Path, hide_map: HideMap, pictures: Mapping[str, bytes], *, fresh: bool, seen: str) -> HideMap:
    """Write a map and its pictures where `seen` stood (`revisions.file_digest`); gives the map with its revision."""
    with writing_together({picture_of(target, kind): picture for kind, picture in pictures.items()}):
        return save_map(target, hide_map, fresh=fresh, seen=seen)


def picture_of(target: Path, kind: str) -> Path:
    """Where a picture of a map is kept: NAME.map.png beside NAME.hide.json."""
    return target.with_name(f"{target.name.removesuffix('.hide.json')}.{kind}.png")

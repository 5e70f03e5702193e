"""What the worker keeps between requests: decoded photos, and what was found in them."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

from hidescan.basics.atomic_files import write_whole
from hidescan.basics.errors import BadInput, NotFound
from hidescan.hide_map.model import HideMap
from hidescan.join.joined import Look
from hidescan.mapping.calibration import Calibration, kept_calibration
from hidescan.mapping.rim import RimInputs
from hidescan.page.journal import Given
from hidescan.page.settings import PageSettings
from hidescan.page.worker.words import with_words
from hidescan.photo.reading import Photo, decode_photo
from hidescan.pieces.file import Piece
from hidescan.pipeline import Pipeline
from hidescan.placing.file import Placing
from hidescan.placing.leather import Leather
from hidescan.settings import Settings

Files = list[tuple[str, bytes]]
MappedWith = tuple[Given, Calibration]
LookedAtWith = tuple[RimInputs, Calibration]


@dataclass(frozen=True, slots=True)
class Subject:
    """Which work a request is about: its folder, its photo's file name, what is given."""

    folder: Path
    file: str
    given: Given


@dataclass(frozen=True, slots=True, eq=False)
class PieceTable:
    """A hide with pieces on it.

    `mapped_with` is what the leather was mapped with, `digest` the SHA-256 of its map's file; `file` and `rules` are
    the pieces' drawing and TOML text; `tag` changes with anything of it.
    """

    mapped_with: MappedWith
    leather: Leather
    digest: str
    file: str
    rules: str
    pieces: tuple[Piece, ...]
    placing: Placing
    tag: str


@dataclass(slots=True, eq=False)
class Bench:
    """What the worker keeps between requests, by the work's folder.

    A photo's pipeline keeps what it found in it; a look at one of several photos is kept with what it was made from.
    """

    page: PageSettings
    settings: Settings
    photos: dict[Path, Pipeline] = field(default_factory=dict)
    tables: dict[Path, PieceTable] = field(default_factory=dict)
    looks: dict[Path, tuple[LookedAtWith, Look]] = field(default_factory=dict)


def found_map(bench: Bench, subject: Subject, say: Callable[[str], None], *, quick: bool = False) -> HideMap:
    """The whole map; refused where there is none."""
    found = seen_map(bench, open_photo(bench, subject, say), subject, say, quick=quick)
    if isinstance(found, NotFound):
        raise BadInput(str(found))
    return found


def seen_map(
    bench: Bench, photo: Pipeline, subject: Subject, say: Callable[[str], None], *, quick: bool
) -> HideMap | NotFound:
    """The map with the person's words on its marks, or why there is none."""
    found = photo.hide_map(subject.given.inputs, say, quick=quick)
    return found if isinstance(found, NotFound) else with_words(found, subject.given.marks, bench.settings)


def mapped_with(subject: Subject) -> MappedWith:
    """All that a work's map is made from beside its photo and the settings, as it is now."""
    return subject.given, kept_calibration(subject.given.inputs.lens)


def open_photo(bench: Bench, subject: Subject, say: Callable[[str], None]) -> Pipeline:
    """The decoded photo and what was found in it, from the ones held or from disk."""
    _, calibration = mapped_with(subject)
    photo = bench.photos.pop(subject.folder, None)
    if photo is None:
        while len(bench.photos) >= bench.page.warm_photos:
            del bench.photos[next(iter(bench.photos))]
        say("reading the photo")
        decoded = decode_photo((subject.folder / "photo").read_bytes(), subject.file, bench.settings.photo)
        photo = Pipeline(decoded, bench.settings, calibration, bench.page.warm_outlines)
        screen = subject.folder / "screen.jpg"
        if not screen.exists():
            write_picture(bench, decoded, screen, bench.page.screen_long_side_px)
    elif photo.calibration != calibration:  # a card was measured or a lens profile made since
        photo = replace(photo, calibration=calibration)
    bench.photos[subject.folder] = photo  # now the last one used
    return photo


def write_picture(bench: Bench, photo: Photo, path: Path, long_side_px: int | None) -> None:
    """Write the upright photo as a JPEG, reduced to a long side; nothing that the photo's file held goes with it."""
    import cv2

    rgb = photo.rgb
    reduce = 1.0 if long_side_px is None else long_side_px / max(rgb.shape[:2])
    if reduce < 1.0:
        rgb = cv2.resize(rgb, None, fx=reduce, fy=reduce, interpolation=cv2.INTER_AREA)  # type: ignore[assignment]
    ok, data = cv2.imencode(
        ".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, bench.page.jpeg_quality]
    )
    if not ok:
        raise BadInput("The picture cannot be made.")
    write_whole(path, data.tobytes())

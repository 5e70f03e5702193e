"""One photo mapped, in whatever process: everything it needs comes with it, everything it gives goes back.

The same task gives the same bytes in this process, in another, and on another machine with the same versions.
"""

from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from hidescan import __version__
from hidescan.basics.errors import BadInput
from hidescan.hide_map.model import HideMap, Inputs
from hidescan.many.one_photo import Made, make
from hidescan.mapping.calibration import Calibration
from hidescan.photo.reading import decode_photo, read_photo
from hidescan.pipeline import Pipeline
from hidescan.settings import Settings


@dataclass(frozen=True, slots=True, eq=False)
class Task:
    """A photo to map.

    Attributes
    ----------
    path
        The photo's file.
    data
        Its content, where the worker does not see the file; else None.
    sha256
        Hash that the content must have, where an earlier map of it is known; else None.
    inputs, old, calibration
        What was given, the photo's earlier map, the print scales and lenses measured beforehand.
    with_shade
        Measure the shade too.
    seen
        What stood where the map is to be kept, as `revisions.file_digest` tells.
    version
        The program that asks: one of another version would make another map.
    """

    path: Path
    data: bytes | None
    sha256: str | None
    inputs: Inputs
    old: HideMap | None
    calibration: Calibration
    units: str
    with_shade: bool
    thumbnail_px: int
    settings: Settings
    seen: str
    version: str = __version__


@dataclass(frozen=True, slots=True, eq=False)
class Mapped:
    """A photo's map with its pictures, a small JPEG for the contact sheet, and the shade where it was asked for."""

    made: Made
    thumbnail: bytes
    shade: tuple[float, float, float] | None


@dataclass(frozen=True, slots=True)
class Failed:
    """A photo that could not be mapped: why, in one line; `fault` where it is a fault of ours."""

    reason: str
    fault: bool = False


def map_task(task: Task) -> Mapped | Failed:
    """Map a task's photo. Whatever goes wrong is a value: one bad photo must not stop the others."""
    import cv2

    cv2.setNumThreads(1)  # the machine's cores are shared out by photo
    try:
        return _done(task)
    except BadInput as error:
        return Failed(str(error))
    except Exception as error:
        return Failed(f"{task.path.name}: a fault of hidescan ({type(error).__name__}: {error}).", fault=True)


def thumbnail(png: bytes, long_side_px: int) -> bytes:
    """A small JPEG of a picture."""
    from PIL import Image

    with Image.open(BytesIO(png)) as image:
        small = image.convert("RGB")
        small.thumbnail((long_side_px, long_side_px), Image.Resampling.BOX, reducing_gap=None)
    out = BytesIO()
    small.save(out, "JPEG", quality=85)
    return out.getvalue()


def _done(task: Task) -> Mapped | Failed:
    name = task.path.name
    if task.version != __version__:
        return Failed(f"{name}: the worker has hidescan {__version__}, this is {task.version}. Install the same there.")
    photo_settings = task.settings.photo
    photo = (
        read_photo(task.path, photo_settings) if task.data is None else decode_photo(task.data, name, photo_settings)
    )
    if task.sha256 not in (None, photo.sha256):
        return Failed(f"{name}: changed while it was being mapped. Map it again.")
    made = make(Pipeline(photo, task.settings, task.calibration), task.inputs, task.old, task.units)
    shade = None
    if task.with_shade:
        from hidescan.shelf.settings import ShadeSettings
        from hidescan.shelf.shade import measured_shade

        measured = measured_shade(photo.rgb, made.hide_map, ShadeSettings())
        shade = measured if isinstance(measured, tuple) else None
    return Mapped(made, thumbnail(made.pictures["map"], task.thumbnail_px), shade)

"""Read a photo upright: pixels, and what its EXIF says of the camera.

Orientation is applied here, once, and nowhere else. JPEG, PNG, TIFF and WebP carry it as an EXIF number (CIPA DC-008,
tag 274). HEIC carries rotation and mirroring in the container (ISO/IEC 23008-12, `irot` and `imir`), which the decoder
applies; its EXIF number repeats what is already done and is ignored.
"""

import hashlib
import math
import os
import sys
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError
from PIL.ExifTags import IFD, Base

from hidescan.basics.errors import BadInput
from hidescan.basics.own_pictures import is_own_picture
from hidescan.basics.reading import kind_of, read_bytes
from hidescan.hide_map.validation import is_file_name
from hidescan.settings import PhotoSettings

if TYPE_CHECKING:
    from collections.abc import Mapping

READABLE = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif")
# Pillow's decoders that may be tried: no others, whatever a file says that it is (one of them runs other programs).
_FORMATS = ("JPEG", "PNG", "TIFF", "WEBP")
_BAND_PX = 128
FULL_FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)  # what a '35 mm equivalent' focal length refers to (CIPA DC-008)


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """An upright photo.

    Attributes
    ----------
    rgb
        (H, W, 3) uint8, read-only, upright.
    file, sha256
        File name without folder, and the hash of the file's bytes.
    taken
        EXIF capture time as written ("2026:05:05 10:20:30"), None when absent.
    focal_35mm
        EXIF 35 mm equivalent focal length, mm, digital zoom included; None when absent.
    camera
        EXIF make and model, "" when absent.
    focal_mm
        EXIF focal length of the lens itself, mm; None when absent.
    """

    rgb: NDArray[np.uint8]
    file: str
    sha256: str
    taken: str | None
    focal_35mm: float | None
    camera: str
    focal_mm: float | None

    @property
    def width_px(self) -> int:
        """Width of the upright picture."""
        return int(self.rgb.shape[1])

    @property
    def height_px(self) -> int:
        """Height of the upright picture."""
        return int(self.rgb.shape[0])

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height) of the upright picture."""
        return self.width_px, self.height_px

    @property
    def focal_px(self) -> float | None:
        """Focal length in px that EXIF claims, by the diagonal; None when absent."""
        if self.focal_35mm is None:
            return None
        return self.focal_35mm / FULL_FRAME_DIAGONAL_MM * math.hypot(self.width_px, self.height_px)


# How the names of pictures end that stand beside a map; those of the first version carry no other sign.
OWN_NAMES = (".map.png", ".zones.png", ".marks.png", ".placing.png", "contact-sheet.jpg")


def read_photo(path: Path, settings: PhotoSettings) -> Photo:
    """Read and decode a photo, upright.

    Raises
    ------
    BadInput
        File missing or unreadable, no picture, damaged, too small, or too large to decode safely.
    """
    if not path.exists():
        raise BadInput(f"{path}: there is no such file. Check the name.")
    if path.name.endswith(OWN_NAMES):
        raise BadInput(
            f"{path}: has the name of a picture that hidescan makes. Give the photo, or rename it if it is one."
        )
    if not is_file_name(path.name):
        raise BadInput(f"{path}: the name holds characters that cannot be shown. Rename the photo.")
    try:
        before = path.stat()
        large = before.st_size > settings.most_file_bytes
        advice = "Reduce the picture." if large else "Give a photo that can be opened."
        data = read_bytes(path, settings.most_file_bytes, advice)
        after = path.stat()
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror}). Check its permissions.") from error
    if (before.st_mtime_ns, before.st_size) != (after.st_mtime_ns, len(data)):
        raise BadInput(f"{path}: was changed while it was read. Wait until it is whole, then map it again.")
    return decode_photo(data, path.name, settings)


def decode_photo(data: bytes, file: str, settings: PhotoSettings) -> Photo:
    """Decode a photo's bytes, upright.

    Raises
    ------
    BadInput
        As `read_photo`.
    """
    if not data:
        raise BadInput(f"{file}: the file is empty. Copy it from the phone again.")
    if is_own_picture(data):
        raise BadInput(f"{file}: is a picture that hidescan made, not a photo. Give the photo itself.")
    if (what := kind_of(data)) in ("a map", "a drawing"):
        raise BadInput(f"{file}: is {what}, not a photo. Give the photo.")
    formats: tuple[str, ...] = _FORMATS
    if data[4:8] == b"ftyp":  # ISO base media: HEIC/HEIF; the decoder is only loaded when needed
        import pillow_heif

        pillow_heif.register_heif_opener()
        formats = ("HEIF",)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of a damaged file one line is said, below, or its EXIF is left aside
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            image = Image.open(BytesIO(data), formats=formats)
            _check_size(image, file, settings)
            exif = image.getexif()
            details = exif.get_ifd(IFD.Exif)
            make, model = (str(exif.get(tag) or "").strip("\0 ") for tag in (Base.Make, Base.Model))
            taken = _text(details.get(Base.DateTimeOriginal))
            focal_35mm, focal_mm = (_positive(details, tag) for tag in (Base.FocalLengthIn35mmFilm, Base.FocalLength))
            with _quiet_libtiff(image.format):
                rgb = _upright_rgb(image)
    except (BadInput, MemoryError):
        raise
    except (Image.DecompressionBombWarning, Image.DecompressionBombError) as error:
        raise BadInput(
            f"{file}: claims more than {settings.most_megapixels:.0f} megapixels, the limit. Reduce the picture."
        ) from error
    except UnidentifiedImageError as error:
        raise BadInput(f"{file}: is not a picture that can be read. Use JPEG, PNG, TIFF, WebP or HEIC.") from error
    except Exception as error:  # decoders raise anything from SyntaxError to struct.error on a damaged file
        raise BadInput(f"{file}: the picture is damaged or cut short. Copy it from the phone again.") from error
    rgb.setflags(write=False)
    return Photo(
        rgb=rgb,
        file=file,
        sha256=hashlib.sha256(data).hexdigest(),
        taken=taken,
        focal_35mm=focal_35mm,
        camera=f"{make} {model}".strip(),
        focal_mm=focal_mm,
    )


def _check_size(image: Image.Image, file: str, settings: PhotoSettings) -> None:
    megapixels = image.width * image.height / 1e6
    if megapixels > settings.most_megapixels:
        raise BadInput(
            f"{file}: {megapixels:.0f} megapixels is more than the limit of {settings.most_megapixels:.0f}. "
            "Reduce the picture."
        )
    if max(image.size) > settings.most_elongated * min(image.size):
        raise BadInput(f"{file}: {image.width} x {image.height} is a strip, no photo of a hide. Take another photo.")
    if megapixels < settings.least_megapixels:
        raise BadInput(
            f"{file}: {image.width} x {image.height} is too small to measure from. "
            "Use the phone's original, not a preview or a copy from a messenger."
        )


@contextmanager
def _quiet_libtiff(form: str | None) -> Iterator[None]:
    """Keep libtiff's own lines off the screen: it writes them past Python, to the process's standard error."""
    if form != "TIFF":
        yield
        return
    sys.stderr.flush()
    kept = os.dup(2)
    try:
        with tempfile.TemporaryFile() as aside:
            os.dup2(aside.fileno(), 2)
            yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)


def _upright_rgb(image: Image.Image) -> NDArray[np.uint8]:
    image.load()
    if (
        image.mode.startswith("I") or image.mode == "F"
    ):  # 16-bit greys: Pillow's own conversion clips instead of scaling
        grey = np.nan_to_num(np.asarray(image, dtype=np.float32), nan=0.0, posinf=0.0, neginf=0.0).clip(min=0.0)
        image_8bit = Image.fromarray((grey * np.float32(255.0 / max(float(grey.max()), 1.0))).astype(np.uint8))
        image_8bit.info, image = image.info, image_8bit
    elif image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        flat = Image.new("RGB", image.size, "white")  # see-through parts are paper-white, not the black beneath
        flat.paste(image.convert("RGB"), mask=image.convert("RGBA").getchannel("A"))
        flat.info, image = image.info, flat
    if "original_orientation" not in image.info:  # set by the HEIC decoder, which has already turned the picture
        ImageOps.exif_transpose(image, in_place=True)  # else it would copy a photo that stands upright
    return _pixels(image if image.mode == "RGB" else image.convert("RGB"))


def _pixels(image: Image.Image) -> NDArray[np.uint8]:
    """An RGB picture's pixels, (H, W, 3), taken in bands: half the time, and no second copy of the whole."""
    pixels = np.empty((image.height, image.width, 3), dtype=np.uint8)
    for top in range(0, image.height, _BAND_PX):
        band = image.crop((0, top, image.width, min(top + _BAND_PX, image.height)))
        pixels[top : top + _BAND_PX] = np.frombuffer(band.tobytes(), np.uint8).reshape(band.height, band.width, 3)
    return pixels


def _text(value: object) -> str | None:
    return value.strip("\0 ") or None if isinstance(value, str) else None


def _positive(details: "Mapping[int, object]", tag: int) -> float | None:
    """A positive finite EXIF number, or None: phones write 0 or 0/0 for 'unknown'."""
    try:
        number = float(details[tag])  # type: ignore[arg-type]
    except (KeyError, TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and number > 0 else None

import struct
import zlib
from io import BytesIO
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from PIL import Image
from PIL.ExifTags import IFD, Base

from hidescan.basics.errors import BadInput
from hidescan.photo.reading import decode_photo, read_photo
from hidescan.settings import PhotoSettings
from tests.synthetic.heif import with_container_transform

SETTINGS = PhotoSettings(least_megapixels=0.01)
# What each EXIF orientation (CIPA DC-008, tag 274) asks a viewer to do to the stored picture.
UPRIGHT = {
    1: lambda a: a,
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.transpose(1, 0, 2),
    6: lambda a: np.rot90(a, -1),
    7: lambda a: a[::-1, ::-1].transpose(1, 0, 2),
    8: lambda a: np.rot90(a, 1),
}


def stored_picture() -> np.ndarray:
    """160 x 120 with a different colour in each quarter, so that no turn or mirror goes unseen."""
    a = np.zeros((120, 160, 3), np.uint8)
    a[:60, :80], a[:60, 80:], a[60:, :80], a[60:, 80:] = (220, 30, 30), (30, 200, 30), (30, 30, 220), (220, 220, 60)
    return a


def encoded(a: np.ndarray, fmt: str, orientation: int | None = None, **extra: object) -> bytes:
    exif = Image.Exif()
    if orientation is not None:
        exif[Base.Orientation] = orientation
    buffer = BytesIO()
    Image.fromarray(a).save(buffer, fmt, exif=exif, **extra)
    return buffer.getvalue()


def assert_same(found: np.ndarray, expected: np.ndarray) -> None:
    assert found.shape == expected.shape
    for y, x in ((0.25, 0.25), (0.25, 0.75), (0.75, 0.25), (0.75, 0.75)):
        at = int(y * found.shape[0]), int(x * found.shape[1])
        assert np.abs(found[at].astype(int) - expected[at].astype(int)).max() < 12


@pytest.mark.parametrize("fmt", ["JPEG", "PNG", "TIFF", "WEBP"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_exif_orientation_is_applied_once(fmt: str, orientation: int) -> None:
    a = stored_picture()
    photo = decode_photo(encoded(a, fmt, orientation), "p", SETTINGS)
    assert_same(photo.rgb, UPRIGHT[orientation](a))


@pytest.mark.parametrize("quarter_turns", range(4))
@pytest.mark.parametrize("mirror", [None, 0, 1])
def test_heic_container_transform_is_applied_once_and_its_exif_ignored(quarter_turns: int, mirror: int | None) -> None:
    """ISO/IEC 23008-12: irot turns anticlockwise by quarters; imir axis 0 flips top to bottom, 1 left to right."""
    a = stored_picture()
    buffer = BytesIO()
    pillow_heif.from_pillow(Image.fromarray(a)).save(buffer, quality=95, chroma=444)
    data = with_container_transform(buffer.getvalue(), quarter_turns, mirror)
    expected = np.rot90(a, quarter_turns)
    if mirror is not None:
        expected = expected[::-1] if mirror == 0 else expected[:, ::-1]
    assert_same(decode_photo(data, "p.heic", SETTINGS).rgb, expected)


@pytest.mark.parametrize("quarter_turns", [0, 1])
def test_heic_exif_orientation_changes_nothing(quarter_turns: int) -> None:
    a = stored_picture()
    exif = Image.Exif()
    exif[Base.Orientation] = 1
    buffer = BytesIO()
    heif = pillow_heif.from_pillow(Image.fromarray(a))
    heif.info["exif"] = exif.tobytes()
    heif.save(buffer, quality=95)
    tag = b"\x01\x12\x00\x03\x00\x00\x00\x01\x00"  # orientation, one 16-bit number, big-endian
    assert tag + b"\x01" in buffer.getvalue()
    data = with_container_transform(buffer.getvalue().replace(tag + b"\x01", tag + b"\x06"), quarter_turns, None)
    assert_same(decode_photo(data, "p.heic", SETTINGS).rgb, np.rot90(a, quarter_turns))


def test_exif_facts_are_read() -> None:
    exif = Image.Exif()
    exif[Base.Make], exif[Base.Model] = "Invented", "Phone One"
    details = exif.get_ifd(IFD.Exif)
    details[Base.FocalLengthIn35mmFilm] = 26
    details[Base.DateTimeOriginal] = "2026:05:05 10:20:30"
    buffer = BytesIO()
    Image.fromarray(stored_picture()).save(buffer, "JPEG", exif=exif)
    photo = decode_photo(buffer.getvalue(), "p.jpg", SETTINGS)
    assert (photo.camera, photo.taken) == ("Invented Phone One", "2026:05:05 10:20:30")
    # 26 mm on a 43.27 mm diagonal; the picture's diagonal is 200 px (CIPA DC-008: equivalent by the diagonal).
    assert photo.focal_px == pytest.approx(26 / 43.2666 * 200, rel=1e-4)


def test_a_focal_length_of_zero_means_unknown() -> None:
    exif = Image.Exif()
    exif.get_ifd(IFD.Exif)[Base.FocalLengthIn35mmFilm] = 0
    buffer = BytesIO()
    Image.fromarray(stored_picture()).save(buffer, "JPEG", exif=exif)
    assert decode_photo(buffer.getvalue(), "p.jpg", SETTINGS).focal_px is None


@pytest.mark.parametrize("mode", ["L", "RGBA", "P", "CMYK", "I;16"])
def test_other_colour_modes_become_rgb(mode: str) -> None:
    image = Image.fromarray(stored_picture())
    if mode == "I;16":
        image = Image.fromarray((np.arange(120 * 160) * 3).astype(np.uint16).reshape(120, 160))
    else:
        image = image.convert(mode)
    buffer = BytesIO()
    image.save(buffer, "TIFF")
    photo = decode_photo(buffer.getvalue(), "p.tif", SETTINGS)
    assert photo.rgb.shape == (120, 160, 3)
    assert photo.rgb.std() > 20


def test_pixels_cannot_be_written() -> None:
    photo = decode_photo(encoded(stored_picture(), "PNG"), "p.png", SETTINGS)
    with pytest.raises(ValueError, match="read-only"):
        photo.rgb[0, 0] = 0


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "empty"),
        (b"this is no picture at all", "not a picture"),
        (encoded(stored_picture(), "JPEG")[:900], "damaged or cut short"),
        (encoded(stored_picture(), "PNG")[:200], "damaged or cut short"),
        (b"\0\0\0\x18ftypheic" + bytes(40), "picture"),
    ],
)
def test_what_is_no_whole_picture_is_refused_in_one_line(data: bytes, says: str) -> None:
    with pytest.raises(BadInput, match=says) as caught:
        decode_photo(data, "p.jpg", SETTINGS)
    assert "\n" not in str(caught.value)


def test_a_preview_is_too_small() -> None:
    with pytest.raises(BadInput, match="too small"):
        decode_photo(encoded(stored_picture(), "JPEG"), "p.jpg", PhotoSettings())


@pytest.mark.parametrize("size", [(100_000, 11), (10, 110_000), (1, 30_000)])
def test_a_strip_is_refused(size: tuple[int, int]) -> None:
    data = BytesIO()
    Image.new("L", size).save(data, "PNG")
    with pytest.raises(BadInput, match="is a strip"):
        decode_photo(data.getvalue(), "p.png", SETTINGS)


def test_a_decompression_bomb_is_refused_before_it_is_decoded() -> None:
    """The file says its size in its first bytes (ISO/IEC 15948, IHDR); there is nothing behind them here to decode."""
    for size in ((20_000, 20_000), (9_400, 9_000)):
        header = b"IHDR" + struct.pack(">IIBBBBB", *size, 1, 0, 0, 0, 0)
        data = b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + header + struct.pack(">I", zlib.crc32(header))
        with pytest.raises(BadInput, match=r"limit of 80|more than 80 megapixels, the limit"):
            decode_photo(data + struct.pack(">I4sI", 0, b"IDAT", zlib.crc32(b"IDAT")), "p.png", SETTINGS)


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    for path, said in (
        (tmp_path / "none.jpg", "no such file. Check"),
        (tmp_path, "a folder, not a file. Give a photo"),
    ):
        with pytest.raises(BadInput, match=said):
            read_photo(path, SETTINGS)


def test_a_damaged_file_says_no_more_than_its_one_line(capfd: pytest.CaptureFixture[str]) -> None:
    """EXIF that Pillow warns of is left aside; libtiff, which writes past Python, is kept off the screen."""
    exif = b"Exif\0\0II*\0\x08\0\0\0\x02\0\x69\x87\x04\0\xff\xff\xff\x7f\x08\0\0\0"
    buffer = BytesIO()
    Image.fromarray(stored_picture()).save(buffer, "JPEG", exif=exif)
    assert decode_photo(buffer.getvalue(), "p.jpg", SETTINGS).focal_px is None  # pytest makes a warning an error
    lzw = bytearray(encoded(stored_picture(), "TIFF", compression="tiff_lzw"))
    lzw[8:60] = b"\xff" * 52
    with pytest.raises(BadInput, match="damaged"):
        decode_photo(bytes(lzw), "p.tif", SETTINGS)
    assert capfd.readouterr() == ("", "")


def test_only_the_formats_named_are_decoded() -> None:
    """PostScript would be run by another program; a GIF or a BMP is no photo."""
    for fmt in ("EPS", "GIF", "BMP", "PPM", "ICO"):
        with pytest.raises(BadInput, match="Use JPEG, PNG, TIFF, WebP or HEIC"):
            buffer = BytesIO()
            Image.fromarray(stored_picture()).save(buffer, fmt)
            decode_photo(buffer.getvalue(), "p.jpg", SETTINGS)


def test_greys_that_are_no_numbers_are_black() -> None:
    grey = np.full((120, 160), 0.25, np.float32)
    grey[0, :4] = np.nan, np.inf, -np.inf, -5.0
    grey[60:] = 1.0
    buffer = BytesIO()
    Image.fromarray(grey).save(buffer, "TIFF")
    rgb = decode_photo(buffer.getvalue(), "p.tif", SETTINGS).rgb[..., 0]
    assert (rgb[0, :4] == 0).all() and rgb[30, 80] == 63 and rgb[90, 80] == 255


@pytest.mark.parametrize("name", ["a\nb.jpg", "a\x1b[2J.jpg", "a\\b.jpg", "a\udcff.jpg"])
def test_a_name_that_cannot_be_shown_is_refused(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(encoded(stored_picture(), "JPEG"))
    with pytest.raises(BadInput, match="Rename the photo") as caught:
        read_photo(tmp_path / name, SETTINGS)
    assert str(caught.value).isprintable()


def test_a_name_with_odd_spaces_and_letters_is_read(tmp_path: Path) -> None:
    """Some systems put a narrow no-break space (U+202F) into the names of pictures, and any script may be in one."""
    path = tmp_path / "Bild 10.00\u202fAM ø 皮革.jpg"
    path.write_bytes(encoded(stored_picture(), "JPEG"))
    assert read_photo(path, SETTINGS).file == path.name

"""Whether a file can be a photo, by its first bytes: what is none is refused before it becomes a hide."""

from pathlib import Path

from hidescan.basics.errors import BadInput

CHOOSE = "Choose a photo: JPEG, PNG, HEIC, TIFF or WebP."
# First bytes: JPEG (ITU-T T.81, B.1.1.3), PNG (ISO/IEC 15948, 5.2), TIFF 6.0 section 2, WebP (RFC 9649, 2.4).
_STARTS = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"II*\x00", b"MM\x00*")
_HEIF = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")  # ISO/IEC 23008-12, 10.2 and B.4


def refuse_no_photo(path: Path, file: str) -> None:
    """Refuse a file that came under a name and is no photo.

    Raises
    ------
    BadInput
        It is none; says what it is where that can be seen.
    """
    with path.open("rb") as data:
        start = data.read(512)
    webp = start.startswith(b"RIFF") and start[8:12] == b"WEBP"
    heif = start[4:8] == b"ftyp" and any(start[at : at + 4] in _HEIF for at in range(8, 64, 4))
    if start.startswith(_STARTS) or webp or heif:
        return
    what = "no photo that can be read here"
    if start.startswith(b"%PDF"):
        what = "a PDF, not a photo"
    elif start.lstrip(b"\xef\xbb\xbf \t\r\n").startswith((b"{", b"[")):
        is_map = b'"hidescan-map"' in start
        what = "a map file, not a photo. Choose the photo that it was made of" if is_map else "a data file, not a photo"
    elif start[4:8] == b"ftyp" or start[:4] in (b"\x1aE\xdf\xa3", b"RIFF"):
        what = "a film, not a photo. Take a single picture"
    raise BadInput(f"{file or 'This file'} is {what}. {CHOOSE}")

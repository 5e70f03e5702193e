"""Pictures that hidescan makes carry its name, so that none is ever mapped as if it were a photo.

PNG: a tEXt chunk with the keyword Software after the header (PNG specification, third edition, 11.3.3). JPEG: a comment
segment after the start of the image (ITU-T T.81, B.2.4.5).
"""

import struct
import zlib

_PNG = b"\x89PNG\r\n\x1a\n"
_PNG_HEADER = 33  # signature and IHDR
_TEXT = b"Software\0hidescan"
_COMMENT = b"picture made by hidescan"
_PNG_TEXTS = (b"tEXt", b"iTXt", b"zTXt")


def stamped(data: bytes) -> bytes:
    """A PNG or JPEG with hidescan's name in it; the same picture otherwise."""
    if data.startswith(_PNG):
        chunk = struct.pack(">I", len(_TEXT)) + b"tEXt" + _TEXT + struct.pack(">I", zlib.crc32(b"tEXt" + _TEXT))
        return data[:_PNG_HEADER] + chunk + data[_PNG_HEADER:]
    segment = b"\xff\xfe" + struct.pack(">H", len(_COMMENT) + 2) + _COMMENT
    return data[:2] + segment + data[2:]


def is_own_picture(data: bytes) -> bool:
    """Whether a picture carries hidescan's name."""
    if data.startswith(_PNG):
        return any(kind in _PNG_TEXTS and text.startswith(_TEXT) for kind, text in _png_chunks(data))
    return data.startswith(b"\xff\xd8") and any(
        marker == 0xFE and text.startswith(_COMMENT) for marker, text in _jpeg_segments(data)
    )


def _png_chunks(data: bytes) -> list[tuple[bytes, bytes]]:
    """Kind and beginning of each chunk before the pixels."""
    found, at = [], len(_PNG)
    while at + 8 <= len(data):
        (size,), kind = struct.unpack(">I", data[at : at + 4]), data[at + 4 : at + 8]
        if kind == b"IDAT":
            break
        found.append((kind, data[at + 8 : at + 8 + min(size, 64)]))
        at += 12 + size
    return found


def _jpeg_segments(data: bytes) -> list[tuple[int, bytes]]:
    """Marker and beginning of each segment before the pixels."""
    found, at = [], 2
    while at + 4 <= len(data) and data[at] == 0xFF and data[at + 1] not in (0xD9, 0xDA):
        size = int.from_bytes(data[at + 2 : at + 4])
        found.append((data[at + 1], data[at + 4 : at + 2 + min(size, 64)]))
        at += 2 + max(size, 2)
    return found

"""Photos broken on purpose: their files, what they say of themselves, and their pixels.

Most breaks leave a file that still decodes in part, so that the stages behind the decoder see odd pixels too. Formats:
JPEG (ITU-T T.81), Exif (CIPA DC-008), PNG (ISO/IEC 15948), TIFF 6.0, WebP (RFC 9649), HEIF (ISO/IEC 23008-12).
"""

import struct
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from io import BytesIO
from typing import Any

import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import Image
from PIL.ExifTags import IFD, Base

Pixels = NDArray[np.uint8]
Rng = np.random.Generator


@dataclass(frozen=True, slots=True, eq=False)
class Whole:
    """A whole photo's pixels and its files in several formats."""

    rgb: Pixels
    files: dict[str, bytes]


def whole(rgb: Pixels) -> Whole:
    """A photo in the formats that phones and programs write."""
    image = Image.fromarray(rgb)
    exif = Image.Exif()
    exif[Base.Orientation], exif[Base.Make], exif[Base.Model] = 1, "Invented", "Phone One"
    exif.get_ifd(IFD.Exif)[Base.FocalLengthIn35mmFilm] = 26
    exif.get_ifd(IFD.Exif)[Base.FocalLength] = 4.2
    exif.get_ifd(IFD.GPSInfo)[1] = "N"
    small = image.resize((image.width // 2, image.height // 2))
    heic = BytesIO()
    pillow_heif.from_pillow(image).save(heic, quality=60)
    alpha = image.convert("RGBA")
    alpha.putalpha(Image.linear_gradient("L").resize(image.size))
    grey16 = np.asarray(image.convert("L")).astype(np.uint16) * 257
    files = {
        "jpeg": saved(image, "JPEG", quality=85, exif=exif),
        "jpeg progressive": saved(image, "JPEG", quality=80, progressive=True, exif=exif),
        "jpeg restarts": saved(image, "JPEG", quality=80, restart_marker_rows=1, subsampling=0, exif=exif),
        "jpeg grey": saved(image.convert("L"), "JPEG", quality=80),
        "jpeg cmyk": saved(image.convert("CMYK"), "JPEG", quality=80),
        "mpo": saved(image, "MPO", quality=80, save_all=True, append_images=[small]),
        "png": saved(image, "PNG", compress_level=1, exif=exif),
        "png palette": saved(image.convert("P"), "PNG", compress_level=1, transparency=7),
        "png 16 bit": saved(Image.fromarray(grey16), "PNG", compress_level=1),
        "png see-through": saved(alpha, "PNG", compress_level=1),
        "tiff": saved(image, "TIFF", exif=exif),
        "tiff lzw": saved(image, "TIFF", compression="tiff_lzw"),
        "tiff jpeg": saved(image, "TIFF", compression="jpeg"),
        "tiff float": saved(image.convert("F"), "TIFF"),
        "tiff cmyk": saved(image.convert("CMYK"), "TIFF"),
        "webp": saved(image, "WEBP", quality=80, method=0, exif=exif),
        "webp animated": saved(image, "WEBP", method=0, save_all=True, append_images=[image.rotate(90)], duration=50),
        "heic": heic.getvalue(),
    }
    return Whole(rgb, files)


def saved(image: Image.Image, fmt: str, **extra: Any) -> bytes:
    """An image's file."""
    out = BytesIO()
    image.save(out, fmt, **extra)
    return out.getvalue()


def mutant(base: Whole, way: str, rng: Rng) -> tuple[str, bytes]:
    """One broken file of a photo by one of `WAYS`; gives its format too."""
    if way in PIXEL_WAYS:
        image = Image.fromarray(PIXEL_WAYS[way](base.rgb.copy(), rng))
        fmt = "PNG" if max(image.size) > 65_500 else "JPEG"  # the longest side that libjpeg writes
        return fmt.lower(), saved(image, fmt, quality=85)
    fmt = str(rng.choice(FORMATS_OF.get(way, list(base.files))))
    return fmt, FILE_WAYS[way](base.files[fmt], rng)


# --- breaks of the file


def _flipped(data: bytes, first: int, last: int, most: int, rng: Rng) -> bytes:
    out = bytearray(data)
    for at in rng.integers(first, max(first + 1, min(last, len(data))), int(rng.integers(1, most + 1))):
        out[int(at)] ^= 1 << int(rng.integers(8))
    return bytes(out)


def _flips_in_header(data: bytes, rng: Rng) -> bytes:
    return _flipped(data, 2, 700, 4, rng)


def _flips_in_body(data: bytes, rng: Rng) -> bytes:
    return _flipped(data, 700, len(data), 20, rng)


def _truncated(data: bytes, rng: Rng) -> bytes:
    return data[: int(len(data) * rng.uniform(0.0, 1.0) ** 0.5)]


def _span(data: bytes, rng: Rng) -> tuple[int, int]:
    first = int(rng.integers(2, len(data) - 1))
    return first, min(len(data), first + int(2 ** rng.uniform(1, 14)))


def _overwritten(data: bytes, rng: Rng) -> bytes:
    first, last = _span(data, rng)
    byte = rng.choice([0x00, 0xFF, -1])
    junk = rng.bytes(last - first) if byte < 0 else bytes([int(byte)]) * (last - first)
    return data[:first] + junk + data[last:]


def _left_out(data: bytes, rng: Rng) -> bytes:
    first, last = _span(data, rng)
    return data[:first] + data[last:]


def _repeated(data: bytes, rng: Rng) -> bytes:
    first, last = _span(data, rng)
    return data[:last] + data[first:last] * int(rng.integers(1, 4)) + data[last:]


def segments(data: bytes) -> tuple[list[bytes], bytes]:
    """A JPEG's marker segments up to and with the first SOS, and what follows (T.81, B.1.1.4)."""
    parts, at = [data[:2]], 2
    while data[at] == 0xFF:
        size = 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        parts.append(data[at : at + size])
        at += size
        if parts[-1][1] == 0xDA:
            break
    return parts, data[at:]


def _swapped_segments(data: bytes, rng: Rng) -> bytes:
    parts, rest = segments(data)
    a, b = rng.integers(1, len(parts), 2)
    parts[a], parts[b] = parts[b], parts[a]
    if rng.random() < 0.3:
        parts.insert(int(rng.integers(1, len(parts))), parts[int(rng.integers(1, len(parts)))])
    return b"".join(parts) + rest


def _odd_tables(data: bytes, rng: Rng) -> bytes:
    """Quantisation, Huffman, frame or restart tables with other numbers in them."""
    parts, rest = segments(data)
    chosen = [n for n, p in enumerate(parts) if p[1] in (0xC0, 0xC2, 0xC4, 0xDB, 0xDA, 0xDD)]
    n = int(rng.choice(chosen))
    parts[n] = parts[n][:4] + _flipped(parts[n][4:], 0, len(parts[n]) - 4, 6, rng)
    return b"".join(parts) + rest


def _other_size(data: bytes, rng: Rng) -> bytes:
    """Another width or height declared, from 1 px to 65535 or 2^31."""
    side = int(2 ** rng.uniform(0, 16)) - 1
    if data[:2] == b"\xff\xd8":
        parts, rest = segments(data)
        n = next(n for n, p in enumerate(parts) if p[1] in (0xC0, 0xC2))
        at = int(rng.choice([5, 7]))
        parts[n] = parts[n][:at] + struct.pack(">H", side) + parts[n][at + 2 :]
        return b"".join(parts) + rest
    if data[:4] == b"\x89PNG":
        header = bytearray(data[12:29])
        at = int(rng.choice([4, 8]))
        header[at : at + 4] = struct.pack(">I", side if rng.random() < 0.8 else 2**31 - 1)
        return data[:12] + bytes(header) + struct.pack(">I", zlib.crc32(header)) + data[33:]
    at = data.find(b"ispe")
    if at > 0:
        at += int(rng.choice([8, 12]))
        return data[:at] + struct.pack(">I", side) + data[at + 4 :]
    if data[:4] == b"RIFF" and data[12:16] == b"VP8X":
        at = int(rng.choice([24, 27]))
        return data[:at] + struct.pack("<I", side)[:3] + data[at + 3 :]
    for tag in (b"\x00\x01\x04\x00", b"\x01\x01\x04\x00"):  # TIFF 6.0: 256 ImageWidth, 257 ImageLength, LONG
        at = data.find(tag, int.from_bytes(data[4:8], "little"))
        if at > 0 and rng.random() < 0.6:
            return data[: at + 8] + struct.pack("<I", side) + data[at + 12 :]
    return _flips_in_header(data, rng)


def _odd_exif(data: bytes, rng: Rng) -> bytes:
    """Exif whose numbers, types, counts or offsets make no sense."""
    entries = []
    for tag in (0x0112, 0x010F, 0x0110, 0x8769, 0x8825, 0xA405, 0x920A, 0x9003):
        kind = int(rng.choice([1, 2, 3, 4, 5, 7, 9, 10, 11, 12, 13, 99]))
        count = int(rng.choice([0, 1, 2, 1000, 2**31 - 1])) if rng.random() < 0.3 else 1
        value = int(rng.choice([0, 1, 3, 6, 8, 9, 26, 120, 255, 65535, 2**31, 2**32 - 1]))
        entries.append(struct.pack("<HHII", tag, kind, count, value))
    body = b"II*\x00\x08\x00\x00\x00" + struct.pack("<H", len(entries)) + b"".join(entries)
    body += struct.pack("<I", int(rng.choice([0, 8, 2**31]))) + rng.bytes(40)
    exif = b"Exif\x00\x00" + body
    if data[:2] != b"\xff\xd8":
        return _chunk_added(data, b"eXIf", body)
    parts, rest = segments(data)
    parts = [p for p in parts if p[1] != 0xE1]
    parts.insert(1, b"\xff\xe1" + struct.pack(">H", len(exif) + 2) + exif)
    return b"".join(parts) + rest


def _junk_segments(data: bytes, rng: Rng) -> bytes:
    """Colour profiles, XMP, multi-picture indexes and text that make no sense."""
    if data[:2] != b"\xff\xd8":
        kind = bytes(rng.choice([b"iCCP", b"tEXt", b"zTXt", b"iTXt", b"gAMA", b"acTL", b"fcTL", b"tRNS"]))
        body = rng.bytes(int(2 ** rng.uniform(0, 10)))
        return _chunk_added(
            data, kind, b"name\x00\x00" + (zlib.compress(bytes(90_000_000)) if rng.random() < 0.05 else body)
        )
    parts, rest = segments(data)
    heads = [
        (0xE2, b"ICC_PROFILE\x00\x01\x02"), (0xE2, b"ICC_PROFILE\x00\x00\x00"), (0xE1, b"http://ns.adobe.com/xap/1.0/\x00<x:"),
        (0xE2, b"MPF\x00II*\x00\x08\x00\x00\x00\x03\x00"), (0xED, b"Photoshop 3.0\x008BIM\x03\xed"), (0xEE, b"Adobe\x00\x64"),
        (0xE0, b"JFIF\x00\x01\x02\x01"), (0xFE, b""),
    ]  # fmt: skip
    for _ in range(int(rng.integers(1, 5))):
        marker, head = heads[int(rng.integers(len(heads)))]
        body = head + rng.bytes(int(2 ** rng.uniform(0, 15)))
        parts.insert(int(rng.integers(1, len(parts))), bytes([0xFF, marker]) + struct.pack(">H", len(body) + 2) + body)
    return b"".join(parts) + rest


def _chunk_added(png: bytes, kind: bytes, body: bytes) -> bytes:
    return png[:33] + struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body)) + png[33:]


def _another_name(data: bytes, rng: Rng) -> bytes:
    """One format's start on another's body, or something else before the photo."""
    heads = [
        b"%!PS-Adobe-3.0\n",
        b"GIF89a",
        b"BM",
        b"8BPS\x00\x01",
        b"\x00\x00\x01\x00",
        b"MM\x00*",
        b"RIFF\xff\xff\xff\xffWEBP",
        bytes(9),
    ]
    head = heads[int(rng.integers(len(heads)))]
    return head + data[len(head) :] if rng.random() < 0.6 else head + data


FILE_WAYS: dict[str, Callable[[bytes, Rng], bytes]] = {
    "bits flipped in the header": _flips_in_header,
    "bits flipped in the body": _flips_in_body,
    "cut short": _truncated,
    "stretch overwritten": _overwritten,
    "stretch left out": _left_out,
    "stretch repeated": _repeated,
    "segments swapped": _swapped_segments,
    "tables changed": _odd_tables,
    "another size declared": _other_size,
    "odd Exif": _odd_exif,
    "junk segments": _junk_segments,
    "another format's start": _another_name,
}
_JPEGS = ["jpeg", "jpeg progressive", "jpeg restarts", "jpeg grey", "jpeg cmyk", "mpo"]
_PNGS = ["png", "png palette", "png 16 bit", "png see-through"]
FORMATS_OF = {
    "segments swapped": _JPEGS,
    "tables changed": _JPEGS,
    "odd Exif": [*_JPEGS, "png"],
    "junk segments": [*_JPEGS, *_PNGS],
}


# --- breaks of the pixels


def _shuffled(rgb: Pixels, rng: Rng) -> Pixels:
    n = int(rng.choice([2, 3, 5, 16]))
    h, w = rgb.shape[0] // n, rgb.shape[1] // n
    tiles = [rgb[y * h : (y + 1) * h, x * w : (x + 1) * w] for y in range(n) for x in range(n)]
    order = rng.permutation(n * n)
    return np.vstack([np.hstack([tiles[order[y * n + x]] for x in range(n)]) for y in range(n)])


def _pasted(rgb: Pixels, rng: Rng) -> Pixels:
    """Parts of the photo again elsewhere: cards twice, hides over cards."""
    h, w = rgb.shape[:2]
    for _ in range(int(rng.integers(1, 6))):
        a, b = int(rng.integers(h // 8, h // 2)), int(rng.integers(w // 8, w // 2))
        y, x, v, u = (int(rng.integers(n)) for n in (h - a, w - b, h - a, w - b))
        rgb[v : v + a, u : u + b] = rgb[y : y + a, x : x + b].copy()
    return rgb


def _covered(rgb: Pixels, rng: Rng) -> Pixels:
    h, w = rgb.shape[:2]
    for _ in range(int(rng.integers(1, 12))):
        y, x = int(rng.integers(h)), int(rng.integers(w))
        rgb[y : y + int(rng.integers(1, h // 3)), x : x + int(rng.integers(1, w // 3))] = rng.integers(0, 256, 3)
    return rgb


def _turned(rgb: Pixels, rng: Rng) -> Pixels:
    """Mirrored (the cards' markers too), turned, negative, or with its channels exchanged."""
    rgb = np.rot90(rgb, int(rng.integers(4)))
    rgb = rgb[:, ::-1] if rng.random() < 0.5 else rgb
    rgb = 255 - rgb if rng.random() < 0.3 else rgb
    return np.ascontiguousarray(rgb[..., rng.permutation(3)])


def _stretched(rgb: Pixels, rng: Rng) -> Pixels:
    width = int(10 ** rng.uniform(0.5, 4.7))
    size = (width, max(1, int(1_050_000 / width) + 1))
    return np.asarray(Image.fromarray(rgb).resize(size, Image.Resampling.NEAREST))


def _toned(rgb: Pixels, rng: Rng) -> Pixels:
    """Nearly black, nearly white, with hardly any contrast, or in two tones."""
    gain, offset = float(10 ** rng.uniform(-2, 1.3)), float(rng.uniform(-200, 255))
    out = np.clip(rgb * gain + offset, 0, 255).astype(np.uint8)
    return np.where(out > out.mean(), 255, 0).astype(np.uint8) if rng.random() < 0.2 else out


def _noisy(rgb: Pixels, rng: Rng) -> Pixels:
    sigma = float(10 ** rng.uniform(0.5, 2.5))
    return np.clip(rgb + rng.normal(0, sigma, rgb.shape), 0, 255).astype(np.uint8)


def _warped(rgb: Pixels, rng: Rng) -> Pixels:
    """Seen through a lens or from a place that no phone has."""
    import cv2

    h, w = rgb.shape[:2]
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32)
    moved = corners + rng.uniform(-0.35, 0.35, (4, 2)).astype(np.float32) * (w, h)
    matrix = cv2.getPerspectiveTransform(corners, moved.astype(np.float32))
    if abs(np.linalg.det(matrix)) < 1e-12 or not np.isfinite(matrix).all():
        return rgb
    return np.asarray(
        cv2.warpPerspective(rgb, matrix, (w, h), borderValue=tuple(int(v) for v in rng.integers(0, 256, 3))), np.uint8
    )


def _plain(rgb: Pixels, rng: Rng) -> Pixels:
    """No photo at all: one tone, a slope, stripes or noise."""
    h, w = rgb.shape[:2]
    kind = int(rng.integers(4))
    if kind == 0:
        rgb[:] = rng.integers(0, 256, 3)
    elif kind == 1:
        rgb[:] = np.linspace(0, 255, w).astype(np.uint8)[None, :, None]
    elif kind == 2:
        rgb[:] = np.where(np.arange(h)[:, None, None] // int(rng.integers(1, 60)) % 2, 255, 0)
    else:
        rgb[:] = rng.integers(0, 256, rgb.shape)
    return rgb


PIXEL_WAYS: dict[str, Callable[[Pixels, Rng], Pixels]] = {
    "tiles shuffled": _shuffled,
    "parts pasted again": _pasted,
    "covered in part": _covered,
    "mirrored, turned, negative": _turned,
    "stretched to any shape": _stretched,
    "tones changed": _toned,
    "noise": _noisy,
    "seen from nowhere": _warped,
    "no photo at all": _plain,
}
WAYS = (*FILE_WAYS, *PIXEL_WAYS)

"""Give a HEIC file a rotation or mirroring in its container, as a phone writes it.

Boxes after ISO/IEC 14496-12 (ISO base media) and 23008-12 (HEIF): the properties `irot` and `imir` are appended to
meta/iprp/ipco and associated with the primary item in meta/iprp/ipma, in the order in which they apply.
"""

import struct


def with_container_transform(data: bytes, quarter_turns: int, mirror: int | None) -> bytes:
    """The file with `irot` (anticlockwise quarters, after any there is is removed) and then `imir` (axis)."""
    properties = [struct.pack(">I4sB", 9, b"irot", quarter_turns)]
    if mirror is not None:
        properties.append(struct.pack(">I4sB", 9, b"imir", mirror))
    at, meta = _find(data, 0, len(data), b"meta")
    body = at + 12  # size, type, version and flags
    iprp_at, iprp = _find(data, body, at + meta, b"iprp")
    ipco_at, ipco = _find(data, iprp_at + 8, iprp_at + iprp, b"ipco")
    ipma_at, ipma = _find(data, iprp_at + 8, iprp_at + iprp, b"ipma")
    primary = _primary_item(data, body, at + meta)
    kept, kinds = b"", []
    i = ipco_at + 8
    while i < ipco_at + ipco:
        size, kind = struct.unpack(">I4s", data[i : i + 8])
        kinds.append(kind)
        kept += data[i : i + size]
        i += size
    assert not {b"irot", b"imir"} & set(kinds), "the fixture must start without a transform of its own"
    new_ipco = _box(b"ipco", kept + b"".join(properties))
    new = [len(kinds) + 1 + k for k in range(len(properties))]
    new_ipma = _with_associations(data[ipma_at : ipma_at + ipma], primary, new)
    new_iprp = _box(b"iprp", new_ipco + new_ipma)
    grown = len(new_iprp) - iprp
    meta_bytes = data[at : at + 12] + data[body:iprp_at] + new_iprp + data[iprp_at + iprp : at + meta]
    meta_bytes = struct.pack(">I", len(meta_bytes)) + meta_bytes[4:]
    return _with_moved_items(data[:at] + meta_bytes + data[at + meta :], at, grown)


def _box(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I4s", 8 + len(body), kind) + body


def _find(data: bytes, start: int, stop: int, kind: bytes) -> tuple[int, int]:
    while start < stop:
        size, found = struct.unpack(">I4s", data[start : start + 8])
        if found == kind:
            return start, size
        start += size
    raise ValueError(f"no {kind!r} box")


def _primary_item(data: bytes, start: int, stop: int) -> int:
    at, _ = _find(data, start, stop, b"pitm")
    return int.from_bytes(data[at + 12 : at + (14 if data[at + 8] == 0 else 16)], "big")


def _with_associations(ipma: bytes, item: int, new: list[int]) -> bytes:
    version, flags = ipma[8], ipma[11]
    wide, id_size = flags & 1, 2 if version == 0 else 4
    count = int.from_bytes(ipma[12:16], "big")
    out, i = ipma[8:16], 16
    for _ in range(count):
        this = int.from_bytes(ipma[i : i + id_size], "big")
        n = ipma[i + id_size]
        end = i + id_size + 1 + n * (2 if wide else 1)
        entry = ipma[i:end]
        if this == item:
            extra = b"".join(struct.pack(">H", 0x8000 | k) if wide else bytes([0x80 | k]) for k in new)
            entry = entry[:id_size] + bytes([n + len(new)]) + entry[id_size + 1 :] + extra
        out, i = out + entry, end
    return _box(b"ipma", out)


def _with_moved_items(data: bytes, meta_at: int, grown: int) -> bytes:
    """Offsets in `iloc` count from the file's start; everything after the grown box moved by as much."""
    at, size = _find(data, meta_at + 12, meta_at + int.from_bytes(data[meta_at : meta_at + 4], "big"), b"iloc")
    box = bytearray(data[at : at + size])
    version = box[8]
    offset_size, length_size, base_size = box[12] >> 4, box[12] & 15, box[13] >> 4
    index_size = box[13] & 15 if version else 0
    wide = 4 if version == 2 else 2
    i = 14
    items = int.from_bytes(box[i : i + wide], "big")
    i += wide
    for _ in range(items):
        i += wide
        method = 0
        if version:
            method = int.from_bytes(box[i : i + 2], "big") & 15
            i += 2
        i += 2
        base_at = i
        i += base_size
        extents = int.from_bytes(box[i : i + 2], "big")
        i += 2
        for e in range(extents):
            i += index_size
            where, width = (base_at, base_size) if base_size else (i, offset_size)
            if method == 0 and (e == 0 or not base_size):
                moved = int.from_bytes(box[where : where + width], "big") + grown
                box[where : where + width] = moved.to_bytes(width, "big")
            i += offset_size + length_size
    return data[:at] + bytes(box) + data[at + size :]

"""A map as its file NAME.hide.json holds it: written, read, and described by a JSON Schema."""

import json
from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from hidescan.basics.errors import BadInput
from hidescan.basics.reading import kind_of
from hidescan.hide_map.identity import with_identity
from hidescan.hide_map.model import FORMAT, VERSION, XY, HideMap
from hidescan.hide_map.validation import first_defect

if TYPE_CHECKING:
    from pydantic import TypeAdapter


def to_json(hide_map: HideMap) -> bytes:
    """The map's file. The same map gives the same bytes; numbers are rounded far below what they can mean."""
    plain = as_saved(hide_map)
    return json.dumps(plain, indent=None, separators=(",", ":"), sort_keys=True, allow_nan=False).encode() + b"\n"


def from_json(data: bytes, name: str) -> HideMap:
    """Read a map's file. One of version 0.1.0, which knew no ids of hides, gets the one it would have been given.

    Raises
    ------
    BadInput
        No map, another version, or a field missing or wrong; says which.
    """
    from pydantic import ValidationError

    try:
        plain = json.loads(data, parse_constant=lambda text: text)  # NaN stays text, so the model refuses it
        if b"\\ud" in data.lower():
            json.dumps(plain, ensure_ascii=False).encode()  # half a character cannot be written again
    except (UnicodeDecodeError, ValueError, RecursionError) as error:
        what = kind_of(data)
        meant = "not JSON" if what in (None, "a map") else f"it is {what}"
        advice = "Map it first, then give its NAME.hide.json." if what == "a photo" else "Give a NAME.hide.json."
        raise BadInput(f"{name}: is not a map file ({meant}). {advice}") from error
    if not isinstance(plain, dict) or plain.get("format") != FORMAT:
        raise BadInput(f"{name}: is not a map file. Give a NAME.hide.json that hidescan wrote.")
    if plain.get("version") != VERSION:
        raise BadInput(
            f"{name}: has version {plain.get('version')}, this program reads version {VERSION}. Update hidescan."
        )
    try:
        hide_map = _adapter().validate_python(plain)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"])
        raise BadInput(
            f"{name}: {where}: {first['msg']}. The file was changed by hand; map the photo again."
        ) from error
    if fault := first_defect(hide_map):
        raise BadInput(f"{name}: {fault}. The file was changed by hand; map the photo again.")
    return with_identity(hide_map)


def json_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of the map's file."""
    schema = _adapter().json_schema(mode="serialization")
    return {**schema, "$schema": "https://json-schema.org/draft/2020-12/schema", "title": "hidescan map"}


def as_saved(value: Any) -> Any:
    """A map, or a part of one, as its file holds it: plain values, floats to 9 significant digits.

    That is 1 um in a hide, far below any uncertainty, and half the file's size. Written out here, not by pydantic,
    which takes longer to load than a map takes to write.
    """
    if isinstance(value, float):
        return float(f"{value:.9g}") + 0.0  # no negative zero
    if is_dataclass(value):
        return {f.name: as_saved(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, dict):
        return {key: as_saved(v) for key, v in value.items()}
    if isinstance(value, tuple | list):
        return _rounded_line(value) if _is_line(value) else [as_saved(v) for v in value]
    return value


def _is_line(value: Sequence[Any]) -> bool:
    return len(value) > 8 and all(type(v) is tuple and len(v) == 2 and type(v[0]) is type(v[1]) is float for v in value)


def _rounded_line(line: Sequence[XY]) -> list[list[float]]:
    """Coordinates of a line or ring at once: the file is mostly these."""
    points = np.array(line, dtype=np.float64)
    size = np.abs(points)
    digits = np.minimum(8.0 - np.floor(np.log10(np.where(size > 0, size, 1.0))), 20.0)
    # Whole numbers over (or times) a power of ten are the doubles nearest to the decimals, which then print short.
    power = 10.0 ** np.abs(digits)
    rounded = np.where(digits >= 0, np.rint(points * power) / power, np.rint(points / power) * power)
    plain: list[list[float]] = (rounded + 0.0).tolist()
    return plain


@cache
def _adapter() -> "TypeAdapter[HideMap]":
    from pydantic import TypeAdapter

    return TypeAdapter(HideMap)

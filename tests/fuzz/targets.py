"""Readers of files from elsewhere, one a target: any bytes give a value or one clear line, never another exception."""

import copy
import json
import random
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from shapely.geometry import Polygon

from hidescan.advice.advise import project_from
from hidescan.basics.errors import BadInput
from hidescan.cli.parsing import gauge_table
from hidescan.costing.cost import cost, extras_from, price_from
from hidescan.costing.report import cost_lines
from hidescan.exports.formats import contents
from hidescan.figures.summary import summary_lines
from hidescan.floor.profile_files import read_profile
from hidescan.hide_map.json_io import from_json, to_json
from hidescan.marks.files import given_marks
from hidescan.marks.grading import read_grades
from hidescan.marks.matching import with_given
from hidescan.marks.report import marks_lines
from hidescan.photo.reading import decode_photo
from hidescan.pieces.file import pieces_from
from hidescan.placing import file as placing_file
from hidescan.settings import PhotoSettings, Settings
from hidescan.settings.uses import PieceSettings
from hidescan.shelf.parsing import placed_pieces
from tests.samples import rectangle_map

BETWEEN = b"\n%%%%\n"  # a drawing and the rules beside it, in one input
SMALL = PhotoSettings(least_megapixels=0.0001, most_megapixels=1.0)
_FOLDER = Path(tempfile.mkdtemp(prefix="hidescan-fuzz-"))
_SETTINGS = Settings()
_PHOTO = rectangle_map().photo

ODD: tuple[Any, ...] = (
    None, True, -1, 0, 1, 2**53, 10**25, 10**400, -0.0, 1e-320, 1e300, 1e999, -1e999, 0.5, "", "NaN", "hole", "found", "x" * 300,
    "\ud800", "a\nb", "\x00", [], {}, [[]], [[0, 0]], [[0, 0], [1, 1], [0, 0]], [1e308, -1e308], {"type": "Polygon", "coordinates": []},
)  # fmt: skip


def photo(data: bytes) -> None:
    decode_photo(data, "p.jpg", SMALL)


def hide_map(data: bytes) -> None:
    """A map that is read can be written, told and exported."""
    made = from_json(data, "m.hide.json")
    to_json(made)
    summary_lines("m", made, "ft")
    marks_lines("m", made, None, "metric", _SETTINGS)
    for form in ("svg", "dxf", "geojson", "csv", "pdf"):
        contents(form, made, name="m")


def svg(data: bytes) -> None:
    _pieces(data, "pieces.svg")


def dxf(data: bytes) -> None:
    _pieces(data, "pieces.dxf")


def marks_csv(data: bytes) -> None:
    _marks(data, "marks.csv")


def marks_geojson(data: bytes) -> None:
    _marks(data, "marks.geojson")


def placed_geojson(data: bytes) -> None:
    """Pieces that were cut, taken off a hide."""
    for cut in placed_pieces(data, "p.geojson"):
        Polygon(rectangle_map().outline.hide_mm.coordinates[0]).difference(cut.hide_mm)


def placing_json(data: bytes) -> None:
    """A placing that is read can be written and costs worked out from it."""
    placing = placing_file.from_json(data, "placing.json")
    placing_file.to_json(placing)
    maps = tuple(replace(rectangle_map(), photo=replace(_PHOTO, sha256=on.photo_sha256)) for on in placing.hides)
    cost_lines(cost(maps, price_from("60 EUR"), placing=placing, digests=tuple(on.map_sha256 for on in placing.hides)))


def gauge_csv(data: bytes) -> None:
    with _as_text(data) as text:
        gauge_table(text, "gauge.csv", 0.05)


def grades_toml(data: bytes) -> None:
    with _as_text(data) as text:
        read_grades(text, "grades.toml")


def extras_toml(data: bytes) -> None:
    with _as_text(data) as text:
        extras_from(text, "extras.toml")


def project_toml(data: bytes) -> None:
    with _as_text(data) as text:
        project_from(text, "project.toml")


def lens_toml(data: bytes) -> None:
    read_profile(_file("lens.toml", data))


TARGETS: dict[str, Callable[[bytes], None]] = {
    f.__name__: f
    for f in (
        photo, hide_map, svg, dxf, marks_csv, marks_geojson, gauge_csv, grades_toml, extras_toml, project_toml, lens_toml,
        placed_geojson, placing_json,
    )
}  # fmt: skip
OF_JSON = ("hide_map", "marks_geojson", "placed_geojson", "placing_json")


def one(name: str, data: bytes) -> str | None:
    """What a target says of bytes: None, or its one line.

    Raises
    ------
    AssertionError
        It says more than a line, or nothing.
    """
    try:
        TARGETS[name](data)
    except BadInput as error:
        line = str(error)
        assert line, "a refusal without a word"
        assert "\n" not in line, f"more than a line: {line!r}"
        return line
    return None


def with_odd_value(data: bytes, seed: int) -> bytes | None:
    """JSON with one to three of its values taken out, doubled or replaced by odd ones; None where it is no JSON."""
    rng = random.Random(seed)
    try:
        plain = json.loads(data)
    except (ValueError, RecursionError):
        return None
    for _ in range(rng.choice((1, 1, 2, 3))):
        places = list(_places(plain))
        if not places:
            return None
        holder, key = rng.choice(places)
        what = rng.random()
        if what < 0.1:
            del holder[key]
        elif what < 0.2 and isinstance(holder, list):
            holder.insert(key, copy.deepcopy(holder[key]))
        elif what < 0.4 and isinstance(holder[key], int | float) and not isinstance(holder[key], bool):
            holder[key] = min(max(holder[key], -1e300), 1e300) * rng.choice((-1, 0, 1e-12, 1e12, 0.5))
        else:
            holder[key] = copy.deepcopy(rng.choice(ODD))
    return json.dumps(plain).encode()


def _places(plain: Any) -> Iterator[tuple[Any, Any]]:
    """Every value's holder and key, shallow ones as often as all points of a ring together."""
    items = (
        list(plain.items()) if isinstance(plain, dict) else list(enumerate(plain)) if isinstance(plain, list) else []
    )
    for key, value in items:
        yield plain, key
        yield from _places(value)


def _pieces(data: bytes, name: str) -> None:
    drawing, between, rules = data.partition(BETWEEN)
    text = rules.decode("utf-8", errors="replace") if between else None
    pieces_from(drawing, name, text, "pieces.toml", PieceSettings())


def _marks(data: bytes, name: str) -> None:
    hide = rectangle_map()
    given = given_marks(_file(name, data), hide, _SETTINGS)
    to_json(with_given(hide, given.marks, _SETTINGS, slack_mm=given.slack_mm))


def _file(name: str, data: bytes) -> Path:
    path = _FOLDER / name
    path.write_bytes(data)
    return path


@contextmanager
def _as_text(data: bytes) -> Iterator[str]:
    """A file's text as the command line reads it, which refuses what is no text by itself."""
    try:
        text = data.decode()
    except UnicodeDecodeError as error:
        raise BadInput("cannot be read as text") from error
    yield text

"""The command that lists a map's marks: `marks`."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hidescan.basics.errors import BadInput
from hidescan.cli.options import MapFile, PhotoFile, Units, UnitsOption

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from hidescan.hide_map.model import HideMap
    from hidescan.marks.grading import GradeTable

_CROP_PX = 600


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(marks)


def marks(
    map_file: MapFile,
    grades: Annotated[
        str | None, typer.Option(help="Grade the hide by a TOML file, or by a table of ours: iso-17551, gost-1904.")
    ] = None,
    crops: Annotated[Path | None, typer.Option(help="Folder to write each mark to, cut out of the photo.")] = None,
    photo: PhotoFile = None,
    json: Annotated[bool, typer.Option("--json", help="Print everything as one line of JSON.")] = False,
    units: UnitsOption = Units.ft,
) -> None:
    """List a hide's marks, what is left to use, the largest clear pieces, and a grade."""
    from json import dumps

    from hidescan.hide_map.revisions import read_map
    from hidescan.marks.report import marks_lines, marks_plain
    from hidescan.pictures.source_pixels import pixels_of_map
    from hidescan.settings import Settings

    hide_map, settings = read_map(map_file), Settings()
    table = None if grades is None else _table(grades)
    name = map_file.name.removesuffix(".json").removesuffix(".hide")
    if json:
        print(dumps(marks_plain(name, hide_map, table, settings), ensure_ascii=False, allow_nan=False))
    else:
        print("\n".join(marks_lines(name, hide_map, table, units.value, settings)))
    if crops is not None:
        _write_crops(crops, name, *pixels_of_map(map_file, hide_map, photo, settings.photo))


def _write_crops(folder: Path, name: str, hide_map: "HideMap", rgb: "NDArray[np.uint8]") -> None:
    """NAME.ID.png for each mark that was not rejected."""
    from PIL import Image

    from hidescan.basics.atomic_files import write_together
    from hidescan.pictures.crops import mark_crop
    from hidescan.pictures.strokes import png

    write_together(
        {
            folder / f"{name}.{mark.id}.png": png(Image.fromarray(mark_crop(rgb, hide_map, mark, 600)))
            for mark in hide_map.marks
            if mark.status != "rejected"
        }
    )


def _table(name: str) -> "GradeTable":
    """A table of grades: a file, or one of those that come with hidescan."""
    from hidescan.basics.reading import read_text
    from hidescan.marks.grading import read_grades, shipped_grades

    if Path(name).exists():
        return read_grades(read_text(Path(name), "Give a TOML file."), name)
    shipped = shipped_grades()
    if name not in shipped:
        raise BadInput(f"--grades {name}: there is no such file, nor a table of ours ({', '.join(sorted(shipped))}).")
    return read_grades(shipped[name], name)

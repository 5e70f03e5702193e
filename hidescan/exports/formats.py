"""The export formats: the one list of them, and the files that each makes."""

import importlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from hidescan.basics.errors import BadInput

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from hidescan.exports.layers import Shape
    from hidescan.hide_map.model import HideMap

PAPERS = ("a4", "letter")


@dataclass(frozen=True, slots=True)
class Format:
    """An export format.

    Attributes
    ----------
    name
        What people call it by.
    label
        What it is, for the page.
    module
        Module of `hidescan.exports` whose ``to_files(hide_map, options)`` gives the content of each file.
    endings
        What the file names end in, one for each file.
    has_faces
        Whether it can be mirrored, to be used from the other face.
    needs_photo
        Whether it needs the photo's pixels.
    on_sheets
        Whether it can be spread over sheets of paper.
    takes_pieces
        Whether placed pieces can be drawn in it.
    """

    name: str
    label: str
    module: str
    endings: tuple[str, ...]
    has_faces: bool = True
    needs_photo: bool = False
    on_sheets: bool = False
    takes_pieces: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class ExportOptions:
    """How a map is to be written: its name, mirrored or not, over which paper, from which pixels, with which pieces."""

    name: str
    mirror: bool = False
    paper: str | None = None
    rgb: "NDArray[np.uint8] | None" = None
    pieces: "tuple[Shape, ...]" = ()


_ALL = (
    Format("svg", "Outline (SVG)", "svg", (".svg",)),
    Format("dxf", "Outline (DXF)", "dxf", (".dxf",)),
    Format("geojson", "Outline (GeoJSON)", "geojson", (".geojson",)),
    Format("csv", "Figures and marks (CSV)", "csv_tables", (".csv", ".marks.csv"), has_faces=False, takes_pieces=False),
    Format("pdf", "True-size outline (PDF)", "pdf.full_size", (".pdf",), on_sheets=True),
    Format("png", "Picture from above (PNG)", "png", (".rectified.png", ".rectified.pgw"), needs_photo=True,
           takes_pieces=False),  # never under the photo's own name
)  # fmt: skip
FORMATS = {entry.name: entry for entry in _ALL}


def formats(text: str) -> tuple[str, ...]:
    """Formats as a person writes them.

    Examples
    --------
    >>> formats("SVG, pdf")
    ('svg', 'pdf')
    """
    names = tuple(dict.fromkeys(part.strip().lower() for part in text.split(",") if part.strip()))
    unknown = [name for name in names if name not in FORMATS]
    if unknown or not names:
        raise BadInput(f"--to {text}: formats are {', '.join(FORMATS)}; write several with commas between.")
    return names


def file_names(form: str, name: str, *, mirror: bool = False, paper: str | None = None) -> tuple[str, ...]:
    """The files that a format makes.

    Examples
    --------
    >>> file_names("pdf", "deer", mirror=True, paper="a4")
    ('deer.mirrored.a4.pdf',)
    """
    entry = FORMATS[form]
    stem = f"{name}.mirrored" if mirror and entry.has_faces else name
    if paper and entry.on_sheets:
        stem = f"{stem}.{paper}"
    return tuple(f"{stem}{ending}" for ending in entry.endings)


def contents(
    form: str,
    hide_map: "HideMap",
    *,
    name: str,
    mirror: bool = False,
    paper: str | None = None,
    rgb: "NDArray[np.uint8] | None" = None,
    pieces: "tuple[Shape, ...]" = (),
) -> Sequence[bytes]:
    """The content of the files of `file_names`.

    Parameters
    ----------
    rgb
        The map's photo, upright, (H, W, 3); for the formats that need it.
    pieces
        Pieces placed on the hide; for the formats that take them.

    Raises
    ------
    ValueError
        The format needs the photo's pixels, and they are not given.
    """
    if FORMATS[form].needs_photo and rgb is None:
        raise ValueError(f"The format {form} needs the photo's pixels.")
    module = importlib.import_module(f"hidescan.exports.{FORMATS[form].module}")
    made: Sequence[bytes] = module.to_files(hide_map, ExportOptions(name, mirror, paper, rgb, pieces))
    return made

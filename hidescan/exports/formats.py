"""Formats by name, and the files that each makes."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.errors import BadInput
from hidescan.hide_map.model import HideMap

FORMATS = ("svg", "dxf", "geojson", "csv", "pdf", "png")
PAPERS = ("a4", "letter")


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
    stem = f"{name}.mirrored" if mirror and form != "csv" else name  # a table has no sides
    if form == "csv":
        return f"{stem}.csv", f"{stem}.marks.csv"
    if form == "png":
        return f"{stem}.rectified.png", f"{stem}.rectified.pgw"  # never the photo's own name
    return (f"{stem}.{paper}.pdf" if form == "pdf" and paper else f"{stem}.{form}",)


def contents(
    form: str,
    hide_map: HideMap,
    *,
    name: str,
    mirror: bool = False,
    paper: str | None = None,
    rgb: NDArray[np.uint8] | None = None,
) -> Sequence[bytes]:
    """What stands in the files of `file_names`; `rgb`, the map's photo, is needed for "png" only."""
    from hidescan.exports import csv_tables, dxf, geojson, png, svg
    from hidescan.exports.pdf import full_size as pdf_full
    from hidescan.exports.pdf import tiles as pdf_tiles

    if form == "csv":
        return csv_tables.measures_csv(hide_map, name=name), csv_tables.marks_csv(hide_map)
    if form == "png":
        if rgb is None:
            raise ValueError("A PNG needs the photo's pixels.")
        return png.to_bytes(hide_map, name=name, rgb=rgb, mirror=mirror), png.world_file(hide_map, mirror=mirror)
    if form == "pdf" and paper:
        return (pdf_tiles.to_bytes(hide_map, name=name, paper=paper, mirror=mirror),)
    writer = {"svg": svg.to_bytes, "dxf": dxf.to_bytes, "geojson": geojson.to_bytes, "pdf": pdf_full.to_bytes}[form]
    return (writer(hide_map, name=name, mirror=mirror),)

"""`hidescan shelf`: the register of hides."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hidescan.basics.errors import BadInput
from hidescan.cli.groups import fact_options, grouped
from hidescan.cli.options import PhotoFile, Texts, Units, UnitsOption, refuse_existing
from hidescan.shelf.facts import Facts, facts_from, read_price

if TYPE_CHECKING:
    from hidescan.shelf.finding import Criteria, Row
    from hidescan.shelf.register import MapDetails
    from hidescan.shelf.shade import Lab

shelf = typer.Typer(no_args_is_help=True, rich_markup_mode=None, help="Your hides and what is left of them.")


def add_to(app: typer.Typer) -> None:
    """Add the commands."""
    app.add_typer(shelf, name="shelf")


class Stage(StrEnum):
    """When a map was made."""

    before = "before"
    after = "after"


ShelfFile = Annotated[Path | None, typer.Option("--shelf", help="The shelf's file; else your own.")]
Label = Annotated[str, typer.Argument(help="The hide's label.", show_default=False)]
Maps = Annotated[list[Path] | None, typer.Argument(help="NAME.hide.json", metavar="[MAP]...", show_default=False)]
FactOptions = Annotated[Texts, fact_options(Facts)]
Stretching = Annotated[Stage | None, typer.Option("--stretching", help="Map made before or after stretching.")]


@shelf.command()
@grouped
def add(
    facts: FactOptions,
    maps: Maps = None,
    label: Annotated[str | None, typer.Option(help="The hide's label; else the map's name.")] = None,
    stretching: Stretching = None,
    photo: PhotoFile = None,
    shelf_file: ShelfFile = None,
) -> None:
    """Put hides on the shelf, by their maps or, without one, by a label."""
    from hidescan.shelf.register import add_hide, shelve_map

    known = facts_from(facts)
    if not maps and label is None:
        raise BadInput("shelf add: give maps, or a --label for a hide that was not mapped.")
    if maps and len(maps) > 1 and (label is not None or photo is not None):
        raise BadInput("shelf add: --label and --photo belong to one map.")
    with _opened(shelf_file) as db:
        if not maps:
            add_hide(db, str(label), known)
            print(f"{label}: on the shelf")
        for path in maps or ():
            data, shade, doubt = _map_and_shade(path, photo)
            kept, changed = shelve_map(
                db, path.name.removesuffix(".hide.json"), data, known, _details(shade, stretching),
                label=label, bring_back=True,
            )  # fmt: skip
            print(f"{kept}: {'on the shelf' if changed else 'was on the shelf already'}{doubt}")


@shelf.command(name="list")
def list_(units: UnitsOption = Units.ft, shelf_file: ShelfFile = None) -> None:
    """List the hides, largest first."""
    from hidescan.shelf.finding import Criteria, find
    from hidescan.shelf.listing import table_lines

    with _opened(shelf_file) as db:
        print("\n".join(table_lines(find(db, Criteria()), units.value)))


@shelf.command()
def show(label: Label, units: UnitsOption = Units.ft, shelf_file: ShelfFile = None) -> None:
    """Show everything about a hide, and what to mind with it."""
    from hidescan.shelf.hides import hide
    from hidescan.shelf.listing import hide_lines

    with _opened(shelf_file) as db:
        print("\n".join(hide_lines(hide(db, label), units.value)))


@shelf.command()
@grouped
def edit(
    label: Label,
    facts: FactOptions,
    new_label: Annotated[str | None, typer.Option("--label", help="A new label.")] = None,
    reading: Annotated[list[str] | None, typer.Option(help="A gauge reading of a zone: butt:1.8mm.")] = None,
    map_file: Annotated[Path | None, typer.Option("--map", help="A further map of this hide.")] = None,
    stretching: Stretching = None,
    photo: PhotoFile = None,
    shelf_file: ShelfFile = None,
) -> None:
    """Note more about a hide, or give it a further map."""
    from hidescan.shelf import parsing, register

    known = facts_from(facts)
    readings = [parsing.reading(text) for text in reading or ()]
    with _opened(shelf_file) as db:
        if map_file is not None:
            data, shade, doubt = _map_and_shade(map_file, photo)
            register.add_map(db, label, data, _details(shade, stretching))
            print(f"{label}: {map_file.name} is its newest map{doubt}")
        for zone, thickness_mm in readings:
            register.read_thickness(db, label, zone, thickness_mm)
        register.edit(db, label, known, new_label)
        print(f"{new_label or label}: kept")


@shelf.command()
def find(
    area: Annotated[str | None, typer.Option(help="Usable area left, at least: 8ft2, 75dm2.")] = None,
    fits: Annotated[str | None, typer.Option(help="A rectangle that fits, along the back first: 800mmx400mm.")] = None,
    thickness: Annotated[
        list[str] | None, typer.Option(help="Thickness of a zone: butt:1.8mm-2.4mm; one figure is the least.")
    ] = None,
    species: Annotated[str | None, typer.Option(help="Species of the animal.")] = None,
    tannage: Annotated[str | None, typer.Option(help="Tannage; of a broad one its kinds will do, too.")] = None,
    state: Annotated[str | None, typer.Option(help="State it lies in.")] = None,
    shade_of: Annotated[str | None, typer.Option(help="Label of the hide whose shade it must be near.")] = None,
    within: Annotated[float, typer.Option(help="How near, in CIEDE2000: 1 is just seen side by side.")] = 3.0,
    allow: Annotated[str | None, typer.Option(help="Kinds of mark it may have: hole,scratch, or none.")] = None,
    price: Annotated[str | None, typer.Option(help='Price at most: "120 EUR".')] = None,
    pieces: Annotated[
        Path | None, typer.Option("--for", help="Pieces (SVG or DXF) that must all find room on one hide.")
    ] = None,
    units: UnitsOption = Units.ft,
    shelf_file: ShelfFile = None,
) -> None:
    """Find hides that will do."""
    from hidescan.basics.units import parse_area_mm2
    from hidescan.shelf import parsing
    from hidescan.shelf.finding import Criteria
    from hidescan.shelf.finding import find as found
    from hidescan.shelf.listing import table_lines

    at_most, currency = (None, None) if price is None else read_price(price)
    criteria = Criteria(
        species=species,
        tannage=tannage,
        state=state,
        least_area_mm2=None if area is None else parse_area_mm2(area),
        fits_mm=None if fits is None else parsing.rectangle_mm(fits),
        thickness=tuple(parsing.thickness_wanted(text) for text in thickness or ()),
        shade_of=shade_of,
        within_delta_e=within,
        marks_allowed=None if allow is None else parsing.mark_kinds(allow),
        price_most=at_most,
        currency=currency,
    )
    with _opened(shelf_file) as db:
        rows = met = found(db, criteria)
        if pieces is not None:
            from hidescan.pieces.file import read_pieces
            from hidescan.placing.hides_that_fit import hides_that_fit
            from hidescan.settings.uses import EnoughSettings, PieceSettings

            rows = hides_that_fit(db, met, read_pieces(pieces, PieceSettings()), EnoughSettings())
        print("\n".join(table_lines(rows, units.value)))
        if not rows:
            print(_nearest_line(db, criteria, met))


def _nearest_line(db: sqlite3.Connection, criteria: "Criteria", met: "tuple[Row, ...]") -> str:
    """What came nearest, where no hide will do; `met` are those that meet all but --for."""
    from hidescan.shelf.finding import nearest_miss

    if met:
        return f"nearest: {met[0].label} meets all but --for"
    nearest = nearest_miss(db, criteria)
    if nearest is None:
        return "the shelf is empty"
    row, missed = nearest
    return f"nearest: {row.label} meets all but {' and '.join(missed)}" if missed else f"nearest: {row.label}"


@shelf.command()
def cut(
    label: Label,
    what: Annotated[str | None, typer.Option(help="What was cut: left vamp.")] = None,
    count: Annotated[int, typer.Option(min=1, max=100_000, help="How many of them.")] = 1,
    area: Annotated[str | None, typer.Option(help="Area of all of them together: 1.2ft2, 11dm2.")] = None,
    placed: Annotated[Path | None, typer.Option(help="placing.json of `place`, or its GeoJSON.")] = None,
    undo: Annotated[bool, typer.Option("--undo", help="Take back what was noted last.")] = False,
    units: UnitsOption = Units.ft,
    shelf_file: ShelfFile = None,
) -> None:
    """Note what was cut from a hide."""
    from hidescan.basics.reading import MOST_TEXT_BYTES, read_bytes
    from hidescan.basics.units import parse_area_mm2
    from hidescan.shelf import cutting, parsing
    from hidescan.shelf.hides import hide
    from hidescan.shelf.listing import left_line

    if undo == (what is not None):
        raise BadInput("shelf cut: name what was cut with --what, or take back the last with --undo.")
    area_mm2 = None if area is None else parse_area_mm2(area)
    pieces = None if placed is None else parsing.placed_pieces(read_bytes(placed, MOST_TEXT_BYTES), placed.name)
    with _opened(shelf_file) as db:
        if what is None:
            print(f"{label}: {cutting.undo_cut(db, label)} was not cut after all")
        else:
            if (area_mm2 is None) == (pieces is None):
                raise BadInput(f"{label}: say how much was cut, as an area or as the placed pieces.")
            leather = area_mm2 if pieces is None else cutting.pieces_on(db, label, pieces)
            cutting.cut(db, label, what, leather or 0.0, count=count, units=units.value)
        print(left_line(hide(db, label), units.value))


@shelf.command()
def remove(
    label: Label,
    undo: Annotated[bool, typer.Option("--undo", help="Bring it back.")] = False,
    shelf_file: ShelfFile = None,
) -> None:
    """Take a hide off the shelf; nothing of it is lost."""
    from hidescan.shelf import register

    with _opened(shelf_file) as db:
        if undo:
            register.bring_back(db, label)
            print(f"{label}: back on the shelf")
        else:
            register.remove(db, label)
            print(f"{label}: removed; shelf remove {label} --undo brings it back")


@shelf.command()
def export(
    out: Annotated[Path, typer.Option("-o", "--out", help="FILE.csv, a line a hide, or FILE.json, everything.")],
    force: Annotated[bool, typer.Option("--force", help="Write over a file that is there.")] = False,
    shelf_file: ShelfFile = None,
) -> None:
    """Write the whole shelf to a file that other programs read."""
    from hidescan.basics.atomic_files import write_whole
    from hidescan.shelf.exporting import to_csv, to_json

    writers = {".csv": to_csv, ".json": to_json}
    if out.suffix.lower() not in writers:
        raise BadInput(f"{out}: write to a .csv or a .json.")
    refuse_existing([out], force=force)
    with _opened(shelf_file) as db:
        write_whole(out, writers[out.suffix.lower()](db))
    print(out)


@shelf.command()
def backup(
    out: Annotated[Path, typer.Option("-o", "--out", help="File for the copy.")],
    force: Annotated[bool, typer.Option("--force", help="Write over a file that is there.")] = False,
    shelf_file: ShelfFile = None,
) -> None:
    """Copy the shelf, also while it is in use, and check the copy."""
    from hidescan.shelf import database

    refuse_existing([out], force=force)
    with _opened(shelf_file) as db:
        count = database.backup(db, out)
    print(f"{out}: {count} hides, checked")


@shelf.command()
def check(shelf_file: ShelfFile = None) -> None:
    """Check the shelf: the file itself, and every map's checksum."""
    from hidescan.shelf.database import copies, damage, default_path

    path = shelf_file or default_path()
    with _opened(shelf_file) as db:
        wrong = damage(db)
    made = copies(path)
    found = f"{len(made)} copies, the newest of {made[0].stem[:10]}" if made else "no copy yet"
    if wrong:
        more = f" and {len(wrong) - 1} more" if len(wrong) > 1 else ""
        raise BadInput(f"{path}: {wrong[0]}{more}. hidescan shelf restore brings back a sound copy ({found}).")
    print(f"{path}: sound; {found}")


@shelf.command()
def restore(
    copy: Annotated[
        Path | None, typer.Argument(help="A copy of the shelf; else the newest that is sound.", show_default=False)
    ] = None,
    shelf_file: ShelfFile = None,
) -> None:
    """Put a copy in the shelf's place; the shelf that was there is kept beside it."""
    from hidescan.shelf import database

    path = shelf_file or database.default_path()
    taken, aside = database.restore(path, copy)
    print(f"{path}: as in {taken}" + ("" if aside is None else f"; what was there is {aside}"))


@contextmanager
def _opened(path: Path | None) -> Iterator[sqlite3.Connection]:
    from hidescan.shelf.database import BROKEN, default_path, open_shelf, unusable

    with closing(open_shelf(path or default_path())) as db:
        try:
            yield db
        except UnicodeEncodeError as error:
            raise BadInput(f"{error.object}: holds characters that are no text. Write it anew.") from error
        except BROKEN as error:
            raise unusable(path or default_path(), error) from error


def _details(shade: "Lab | None", stretching: Stage | None) -> "MapDetails":
    """What is kept with a map."""
    from hidescan.shelf.register import MapDetails

    return MapDetails(shade, None if stretching is None else stretching.value)


def _map_and_shade(path: Path, photo: Path | None) -> "tuple[bytes, Lab | None, str]":
    """A map's file, its hide's shade where the photo is at hand, and why it is not known."""
    from hidescan.basics.reading import read_bytes
    from hidescan.hide_map.json_io import from_json
    from hidescan.hide_map.revisions import MOST_MAP_BYTES
    from hidescan.pictures.source_pixels import pixels_of_map
    from hidescan.settings import Settings
    from hidescan.shelf.settings import ShelfSettings
    from hidescan.shelf.shade import measured_shade

    data = read_bytes(path, MOST_MAP_BYTES)
    hide_map = from_json(data, str(path))
    try:
        hide_map, rgb = pixels_of_map(path, hide_map, photo, Settings().photo)
    except BadInput:
        return data, None, "; shade not measured: its photo is not beside the map (--photo)"
    shade = measured_shade(rgb, hide_map, ShelfSettings().shade)
    if isinstance(shade, tuple):
        return data, shade, ""
    return data, None, f"; shade not measured: {shade}"

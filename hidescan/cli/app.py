"""The command line: read a person's words, call, print, exit.

Exit codes: 0 done; 2 bad input or refused, one line on stderr; 1 a fault of ours.
"""

import logging
import sys
from collections.abc import Iterable
from enum import StrEnum
from io import TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hidescan.basics.errors import BadInput
from hidescan.cli import (
    advise as cli_advise,
)
from hidescan.cli import (
    cost as cli_cost,
)
from hidescan.cli import (
    export as cli_exports,
)
from hidescan.cli import (
    many as cli_folder,
)
from hidescan.cli import (
    marks as cli_marks,
)
from hidescan.cli import (
    page as cli_page,
)
from hidescan.cli import (
    pieces as cli_pieces,
)
from hidescan.cli import (
    place as cli_place,
)
from hidescan.cli import (
    shelf as cli_shelf,
)
from hidescan.cli import (
    stretch as cli_stretch,
)
from hidescan.cli.many import Cluster, Shared, ShelfFile, ToShelf, Watch

if TYPE_CHECKING:
    from concurrent.futures import Future

    from hidescan.hide_map.model import HideMap
    from hidescan.photo.reading import Photo
    from hidescan.settings import Settings

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # plain help, and `--help` need not load a text renderer
    help="Map a hide from a phone photo: outline, back line, holes, and area with an honest ±.",
)


class Units(StrEnum):
    """How figures are shown."""

    ft = "ft"
    metric = "metric"


class Paper(StrEnum):
    """Paper of the printed cards."""

    a4 = "a4"
    letter = "letter"


@app.callback()
def _root() -> None:
    pass  # keeps every command a sub-command, even while there is only one


@app.command()
def card(
    out: Annotated[Path | None, typer.Option("-o", "--out", help="PDF to write.")] = None,
    paper: Annotated[Paper, typer.Option(help="Paper size.")] = Paper.a4,
    numbers: Annotated[str, typer.Option(help="Which cards: 1-4 or 0,2,7.")] = "1-4",
    measured: Annotated[
        str | None, typer.Option(help="The two check bars as printed, mm: 149.2,198.9. Kept for these numbers.")
    ] = None,
) -> None:
    """Make reference cards to print, or keep what their check bars measured."""
    from hidescan.cli import parsing as options

    chosen = options.card_numbers(numbers)
    if out is None and measured is None:
        raise BadInput("card: say where to write the cards (-o cards.pdf) or what their bars measured (--measured).")
    if measured is not None:
        from hidescan.cards.measured_prints import keep_card_scale

        scale = options.measured_bars(measured)
        kept = keep_card_scale(chosen, scale)
        print(f"cards {numbers}: print scale {scale[0]:.4f} across, {scale[1]:.4f} along, kept in {kept}")
    if out is not None:
        from hidescan.basics.atomic_files import write_whole
        from hidescan.cards.printing import cards_pdf

        write_whole(out, cards_pdf(chosen, paper.value))
        print(f"{out}: {len(chosen)} cards for {paper.value}. Print at 100 %, then measure both bars of one page.")


Out = Annotated[Path | None, typer.Option("-o", "--out", help="Folder for the maps; else beside each photo.")]
Thickness = Annotated[str | None, typer.Option(help="Leather thickness: 1.8mm, 4.5oz, 5/64in.")]
CardScale = Annotated[str | None, typer.Option(help="Measured / nominal of the two check bars: SX,SY.")]
TapeWords = Annotated[list[str] | None, typer.Option(help="Tape between two cards' rings: 1-3:1842mm.")]
Lens = Annotated[str | None, typer.Option(help="Lens profile; else one of yours that fits the EXIF.")]
Neck = Annotated[str | None, typer.Option(help="A photo pixel toward the neck: X,Y.")]
Arrow = Annotated[int | None, typer.Option(help="Number of a card whose arrow points to the neck.")]
FormWord = Annotated[str | None, typer.Option(help="whole, side, bend, shoulder, belly or piece.")]
FaceWord = Annotated[str, typer.Option(help="Which face is up: grain, flesh or unknown.")]
SpeciesWord = Annotated[str | None, typer.Option(help="deer, elk, goat, sheep, calf, cattle, pig or bison.")]
Inside = Annotated[list[str] | None, typer.Option(help="A photo pixel that is hide: X,Y.")]
Outside = Annotated[list[str] | None, typer.Option(help="A photo pixel that is not hide: X,Y.")]
Gauge = Annotated[list[str] | None, typer.Option(help="A gauge reading at a photo pixel: X,Y:1.8mm.")]
GaugeFile = Annotated[Path | None, typer.Option(help="CSV of gauge readings: x_px,y_px,value,unit.")]
UnitsWord = Annotated[Units, typer.Option(help="How figures are shown.")]


@app.command(name="map")
def map_(
    photos: Annotated[list[Path], typer.Argument(help="Photos, or folders of photos.", show_default=False)],
    out: Out = None,
    thickness: Thickness = None,
    card_scale: CardScale = None,
    tape: TapeWords = None,
    lens: Lens = None,
    neck: Neck = None,
    arrow: Arrow = None,
    form: FormWord = None,
    face: FaceWord = "unknown",
    species: SpeciesWord = None,
    hide: Annotated[str | None, typer.Option(help="A photo pixel on the hide to map, where there are several.")] = None,
    inside: Inside = None,
    outside: Outside = None,
    gauge: Gauge = None,
    gauge_file: GaugeFile = None,
    units: UnitsWord = Units.ft,
    json: Annotated[bool, typer.Option("--json", help="Print each map as one line of JSON, nothing else.")] = False,
    fresh: Annotated[bool, typer.Option("--fresh", help="Forget what was given for this photo before.")] = False,
    force: Annotated[bool, typer.Option("--force", help="Write over the map of another photo.")] = False,
    join: Annotated[
        bool, typer.Option("--join", help="The photos show one hide that lay still, and its cards: make one map.")
    ] = False,
    watch: Watch = False,
    cluster: Cluster = None,
    shared: Shared = False,
    to_shelf: ToShelf = False,
    shelf: ShelfFile = None,
) -> None:
    """Map photographed hides: NAME.hide.json, the pictures .map.png, .zones.png and .marks.png, and a short summary."""
    from hidescan.settings import Settings

    settings = Settings()
    ahead = None if join or watch else _read_ahead(photos, settings)

    from hidescan.cards.measured_prints import card_scales
    from hidescan.cli.parsing import Words
    from hidescan.many.one_photo import Job, map_one, map_read, photos_in

    words = Words(
        thickness, card_scale, tuple(tape or ()), lens, neck, arrow, form, face, species, tuple(inside or ()),
        tuple(outside or ()), tuple(gauge or ()), _table(gauge_file), str(gauge_file), hide,
    )  # fmt: skip
    many = cli_folder.BatchOptions(watch, cluster, shared, to_shelf, shelf, json)
    found = [] if watch else photos_in(photos)
    if (many.asked or len(found) > 1) and (option := words.name_pixels()):
        raise BadInput(f"{option} names a pixel of one photo; map that photo alone.")
    job = Job(out, words.read(settings.thickness.reading_u_mm), card_scales(), units.value, fresh, force)
    if join and many.asked:
        raise BadInput("--join makes one map here and now: leave --watch, --cluster, --to-shelf and --shelf away.")
    if join:
        from hidescan.many.joined_photos import join_photos

        written, hide_map = join_photos(found, job, settings)
    elif many.asked or len(found) > 1:
        raise typer.Exit(cli_folder.map_many(photos, found, job, settings, many))
    elif ahead is not None:
        written, hide_map = map_read(ahead.result(), found[0].parent, job, settings)
    else:
        written, hide_map = map_one(found[0], job, settings)
    _tell(found[0].stem, hide_map, written, units, json=json)


def _read_ahead(photos: list[Path], settings: "Settings") -> "Future[Photo] | None":
    """Start on a photo that comes alone: it is decoded, and the networks are loaded, beside the imports to come."""
    if len(photos) != 1 or not photos[0].is_file():
        return None
    import gc
    from concurrent.futures import ThreadPoolExecutor

    from hidescan.outline.networks import load_ahead
    from hidescan.photo.reading import read_photo

    gc.disable()  # looking for circles among what one photo leaves takes longer than they are worth
    load_ahead()
    return ThreadPoolExecutor(1).submit(read_photo, photos[0], settings.photo)


def _tell(name: str, hide_map: "HideMap", written: Path, units: Units, *, json: bool) -> None:
    from hidescan.figures.summary import summary_lines
    from hidescan.hide_map.json_io import to_json

    if json:
        sys.stdout.write(to_json(hide_map).decode())
        return
    print("\n".join(summary_lines(name, hide_map, units.value)))
    print(f"  written {written}, and beside it {name}.map.png, .zones.png and .marks.png")


@app.command()
def edit(
    map_file: Annotated[Path, typer.Argument(help="NAME.hide.json", show_default=False, metavar="MAP")],
    photo: Annotated[Path | None, typer.Option(help="The map's photo, where it is not beside the map.")] = None,
    thickness: Thickness = None,
    card_scale: CardScale = None,
    tape: TapeWords = None,
    lens: Lens = None,
    neck: Neck = None,
    arrow: Arrow = None,
    form: FormWord = None,
    face: FaceWord = "unknown",
    species: SpeciesWord = None,
    inside: Inside = None,
    outside: Outside = None,
    gauge: Gauge = None,
    gauge_file: GaugeFile = None,
    state: Annotated[str | None, typer.Option(help="fresh, salted, wet, dried slack, dried on a frame ...")] = None,
    tannage: Annotated[str | None, typer.Option(help="brain-tanned smoked, commercial, vegetable, rawhide ...")] = None,
    conditioning: Annotated[
        str | None,
        typer.Option(help="the air it lay in: two days at 23 C and 50 %, not conditioned ..."),
    ] = None,
    mark: Annotated[list[str] | None, typer.Option(help="ID:confirmed, ID:rejected or ID:KIND.")] = None,
    merge: Annotated[
        list[Path] | None, typer.Option(help="Marks drawn elsewhere (CSV, GeoJSON), or the map of the other face.")
    ] = None,
    zone_line: Annotated[list[str] | None, typer.Option(help="Move a zone line: shoulder=0.6.")] = None,
    units: UnitsWord = Units.ft,
) -> None:
    """Give more about a mapped hide; its map becomes a new revision, nothing is lost."""
    from hidescan.cards.measured_prints import card_scales
    from hidescan.cli import parsing as options
    from hidescan.figures.summary import summary_lines
    from hidescan.hide_map.revisions import read_map
    from hidescan.many.one_photo import Job, edit_one
    from hidescan.settings import Settings

    settings = Settings()
    words = options.Words(
        thickness, card_scale, tuple(tape or ()), lens, neck, arrow, form, face, species, tuple(inside or ()),
        tuple(outside or ()), tuple(gauge or ()), _table(gauge_file), str(gauge_file), None, state, tannage,
        tuple(zone_line or ()), conditioning,
    )  # fmt: skip
    words_on_marks = dict(options.mark_word(text) for text in mark or ())
    job = Job(None, words.read(settings.thickness.reading_u_mm), card_scales(), units.value, False, False)
    old = read_map(map_file)
    if len(old.photos) > 1:
        from hidescan.many.joined_photos import edit_joined

        if option := words.name_pixels():
            raise BadInput(f"{option} names a pixel of one photo; {map_file} was joined from several.")
        hide_map = edit_joined(map_file, job, words_on_marks, settings, tuple(merge or ()))
    else:
        at = photo or map_file.parent / old.photo.file
        hide_map = edit_one(map_file, at, job, words_on_marks, settings, tuple(merge or ()))
    print("\n".join(summary_lines(map_file.name.removesuffix(".hide.json"), hide_map, units.value)))
    if merge:
        before = {m.id: (m.kind, m.status) for m in old.marks}
        new = [m.id for m in hide_map.marks if m.status == "added" and m.id not in before]
        said = [m.id for m in hide_map.marks if m.id in before and before[m.id] != (m.kind, m.status)]
        print(f"  merged: added {', '.join(new) or 'none'}; changed {', '.join(said) or 'none'}")
    print(f"  revision {hide_map.revision} of {map_file}")


def _table(path: Path | None) -> str | None:
    if path is None:
        return None
    try:
        return path.read_text()
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(f"{path}: cannot be read. Give a CSV with the columns x_px, y_px, value, unit.") from error


@app.command()
def lens(
    photos: Annotated[list[Path], typer.Argument(help="Five or more photos of a card.", show_default=False)],
    out: Annotated[Path, typer.Option("-o", "--out", help="TOML file to write.")],
) -> None:
    """Make a lens profile, and keep it so that matching photos use it by themselves."""
    from hidescan.basics.atomic_files import write_whole
    from hidescan.basics.errors import NotFound
    from hidescan.basics.opencv import grey_of
    from hidescan.cards.detection import find_cards
    from hidescan.floor.lens_profile import make_profile
    from hidescan.floor.profile_files import keep_profile, to_toml
    from hidescan.photo.reading import read_photo
    from hidescan.settings import Settings

    settings = Settings()
    seen = []
    for path in _progress(photos, quiet=len(photos) == 1):
        photo = read_photo(path, settings.photo)
        if cards := find_cards(grey_of(photo.rgb), settings.card).cards:
            seen.append((photo, cards))
    profile = make_profile(seen, settings.plane, settings.lens)
    if isinstance(profile, NotFound):
        raise BadInput(f"lens: {profile}")
    write_whole(out, to_toml(profile))
    kept = keep_profile(profile)
    print(f"{out}: {profile.camera}, f {profile.focal_px:.1f} px, k1 {profile.k1:+.4f}, k2 {profile.k2:+.4f}")
    print(f"  from {profile.photos} photos, corners fit to {profile.rms_px:.2f} px rms; kept in {kept}")


@app.command()
def check(
    photo: Annotated[Path, typer.Argument(help="A photo of a card and a plain sheet beside it.", show_default=False)],
    sheet: Annotated[Paper, typer.Option(help="The plain sheet's size.")],
    card_scale: Annotated[str | None, typer.Option(help="Measured / nominal of the two check bars: SX,SY.")] = None,
) -> None:
    """Prove it to yourself: a plain sheet of paper, whose size a standard fixes, measured as if it were a hide."""
    from hidescan.basics.errors import NotFound
    from hidescan.basics.opencv import grey_of
    from hidescan.cards.measured_prints import card_scales
    from hidescan.cli import parsing as options
    from hidescan.figures.paper_check import check_sheet
    from hidescan.figures.summary import check_lines
    from hidescan.hide_map.model import Inputs
    from hidescan.many.one_photo import known_for
    from hidescan.photo.reading import read_photo
    from hidescan.pipeline import find_floor, papers_mm, print_measured
    from hidescan.settings import Settings

    settings = Settings()
    given = Inputs(card_scale=None if card_scale is None else options.card_scale(card_scale))
    taken = read_photo(photo, settings.photo)
    grey = grey_of(taken.rgb)
    floor = find_floor(taken, grey, given, known_for(taken, given, card_scales()), settings)
    if isinstance(floor, NotFound):
        raise BadInput(f"{photo.name}: {floor}")
    measured = print_measured(floor.inputs)
    found = check_sheet(
        grey, floor.plane, papers_mm(floor.plane.places), sheet.value, settings, print_measured=measured
    )
    if isinstance(found, NotFound):
        raise BadInput(f"{photo.name}: {found}")
    print("\n".join(check_lines(sheet.value, found)))


@app.command()
def schema() -> None:
    """Print the JSON Schema of the map file."""
    import json

    from hidescan.hide_map.json_io import json_schema

    print(json.dumps(json_schema(), indent=1))


cli_exports.add_to(app)
cli_stretch.add_to(app)
cli_pieces.add_to(app)
cli_cost.add_to(app)
cli_advise.add_to(app)
cli_marks.add_to(app)
cli_place.add_to(app)
cli_shelf.add_to(app)
cli_page.add_to(app)


def _progress(paths: list[Path], *, quiet: bool) -> Iterable[Path]:
    """The paths, with a bar on stderr where there are several."""
    if quiet:
        return paths
    from rich.console import Console
    from rich.progress import track

    return track(paths, description="mapping", console=Console(stderr=True))


def main() -> None:
    """Run the command line."""
    logging.getLogger().addHandler(logging.NullHandler())  # what libraries log is not for the person
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):  # a terminal that knows no ² or no such name still gets the rest
            stream.reconfigure(errors="backslashreplace")
    try:
        app()
    except BadInput as error:
        print(error, file=sys.stderr)
        sys.exit(2)

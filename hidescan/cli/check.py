"""The command that measures a plain sheet of paper as a proof: `check`."""

from pathlib import Path
from typing import Annotated

import typer

from hidescan.basics.errors import BadInput
from hidescan.cli.options import CardScale, Paper


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(check)


def check(
    photo: Annotated[Path, typer.Argument(help="A photo of a card and a plain sheet beside it.", show_default=False)],
    sheet: Annotated[Paper, typer.Option(help="The plain sheet's size.")],
    card_scale: CardScale = None,
) -> None:
    """Prove it to yourself: a plain sheet of paper, whose size a standard fixes, measured as if it were a hide."""
    from hidescan.basics.errors import NotFound
    from hidescan.basics.opencv import grey_of
    from hidescan.cli import parsing
    from hidescan.figures.paper_check import check_sheet
    from hidescan.figures.summary import check_lines
    from hidescan.hide_map.model import Inputs
    from hidescan.mapping.calibration import kept_calibration
    from hidescan.mapping.floor import papers_mm
    from hidescan.photo.reading import read_photo
    from hidescan.pipeline import Pipeline
    from hidescan.settings import Settings

    settings = Settings()
    given = Inputs(card_scale=None if card_scale is None else parsing.card_scale(card_scale))
    taken = read_photo(photo, settings.photo)
    floor = Pipeline(taken, settings, kept_calibration()).floor(given)
    if isinstance(floor, NotFound):
        raise BadInput(f"{photo.name}: {floor}")
    found = check_sheet(
        grey_of(taken.rgb), floor.plane, papers_mm(floor.plane.places), sheet.value, settings,
        print_measured=floor.print_measured,
    )  # fmt: skip
    if isinstance(found, NotFound):
        raise BadInput(f"{photo.name}: {found}")
    print("\n".join(check_lines(sheet.value, found)))

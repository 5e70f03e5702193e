"""The command that says which leather suits a project: `advise`."""

from contextlib import closing
from pathlib import Path
from typing import Annotated

import typer

from hidescan.basics.errors import BadInput
from hidescan.cli.options import Units, UnitsOption, file_text


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(advise)


def advise(
    project: Annotated[
        str, typer.Argument(help="moccasins, turnshoes, boots, garments, bags, belts, gloves, or a TOML of your own.")
    ],
    shelf: Annotated[
        Path | None, typer.Option("--shelf", help="The shelf's file; else your own, if there is one.")
    ] = None,
    units: UnitsOption = Units.ft,
) -> None:
    """Say which leather suits a project, whether to stretch it first, and what on your shelf would do."""
    from hidescan.advice.advise import advice_lines, chosen, on_shelf, project_from, shipped
    from hidescan.shelf.database import default_path, open_shelf

    if project.lower().endswith(".toml"):
        wanted = project_from(file_text(Path(project), "Give a TOML file with a title and [[parts]]."), project)
    else:
        wanted = chosen(project, shipped())
    path = shelf or default_path()
    if shelf is not None and not shelf.exists():
        raise BadInput(f"{shelf}: there is no shelf. Check the name.")
    there = None
    if path.exists():  # asking must not make one
        with closing(open_shelf(path)) as db:
            there = tuple(on_shelf(db, part) for part in wanted.parts)
    print("\n".join(advice_lines(wanted, there, units.value)))

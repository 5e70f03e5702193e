"""The command line: every command by its name, errors as one line, the exit code.

Exit codes: 0 done; 2 bad input or refused, one line on stderr; 1 a fault of ours.
"""

import errno
import logging
import sys
from io import TextIOWrapper
from typing import Annotated

import typer

from hidescan import __version__
from hidescan.basics.errors import BadInput
from hidescan.cli import (
    advise,
    card,
    check,
    cost,
    edit,
    export,
    lens,
    light,
    manual,
    map,
    marks,
    page,
    pieces,
    place,
    schema,
    sheet,
    shelf,
    stretch,
)

# In the order that `--help` lists them.
COMMANDS = (
    card,
    map,
    edit,
    marks,
    export,
    sheet,
    lens,
    check,
    light,
    stretch,
    pieces,
    place,
    cost,
    advise,
    shelf,
    page,
    schema,
    manual,  # the last, so that it finds every command
)

app = typer.Typer(
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # plain help, and `--help` need not load a text renderer
    help="Map a hide from a phone photo: outline, back line, holes, and area with an honest ±.",
)
for command in COMMANDS:
    command.add_to(app)


def _show_version(asked: bool) -> None:
    if asked:
        print(f"hidescan {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version and exit.")
    ] = False,
) -> None:
    pass


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
    except OSError as error:
        if error.errno != errno.ENAMETOOLONG:
            raise
        print(BadInput(f"{error.filename}: is too long for the name of a file. Check it."), file=sys.stderr)
        sys.exit(2)

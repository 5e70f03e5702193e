"""The command that prints the manual: `manual`; and the line at the end of each command's help that names its page."""

import difflib
from pathlib import Path
from typing import Annotated

import typer

from hidescan.basics.errors import BadInput

MANUAL = Path(__file__).parents[1] / "manual"

# The page of each command; a group's commands share its page.
PAGE_OF_COMMAND = {
    "advise": "advice",
    "card": "cards",
    "check": "cards",
    "cost": "cost",
    "edit": "result",
    "export": "exports",
    "lens": "lens",
    "light": "light",
    "map": "photographing",
    "marks": "marks",
    "page": "page",
    "pieces": "pieces",
    "place": "placing",
    "schema": "python",
    "sheet": "exports",
    "shelf": "shelf",
    "stretch": "stretch",
}


def add_to(app: typer.Typer) -> None:
    """Add the command, and to the help of every command registered so far the name of its manual page."""
    for command in app.registered_commands:
        function = command.callback.__name__ if command.callback else ""
        _name_page(command, PAGE_OF_COMMAND.get(command.name or function.rstrip("_")))
    for group in app.registered_groups:
        page = PAGE_OF_COMMAND.get(str(group.name))
        _name_page(group, page)
        for command in group.typer_instance.registered_commands if group.typer_instance else ():
            _name_page(command, page)
    app.command()(manual)


def _name_page(info: "typer.models.CommandInfo | typer.models.TyperInfo", page: str | None) -> None:
    if page is not None:
        info.epilog = f"More: hidescan manual {page}"


def pages() -> dict[str, str]:
    """The manual's pages by name, each with its one-line summary: the first line below the title."""
    texts = {path.stem: path.read_text("utf-8") for path in sorted(MANUAL.glob("*.md"))}
    return {name: text.splitlines()[2] for name, text in texts.items()}


def manual(
    name: Annotated[str | None, typer.Argument(help="A page; without it, all pages are listed.")] = None,
) -> None:
    """Print a page of the manual, or the list of its pages."""
    known = pages()
    if name is None:
        width = max(map(len, known))
        print("\n".join(f"{page:{width}}  {summary}" for page, summary in known.items()))
        return
    wanted = name.strip().lower()
    if wanted not in known:
        wanted = PAGE_OF_COMMAND.get(wanted, wanted)
    if wanted not in known:
        near = difflib.get_close_matches(wanted, [*known, *PAGE_OF_COMMAND], n=1)
        meant = f"did you mean {near[0]}?" if near else "hidescan manual lists all pages."
        raise BadInput(f"manual: there is no page {name!r}; {meant}")
    print((MANUAL / f"{wanted}.md").read_text("utf-8").rstrip())

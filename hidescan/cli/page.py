"""The command that opens the page: `page`."""

from typing import Annotated

import typer


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(page)


def page(
    lan: Annotated[bool, typer.Option("--lan", help="Serve the workshop's network, behind a code.")] = False,
    browser: Annotated[bool, typer.Option(help="Open it in this machine's browser.")] = True,
) -> None:
    """Open the local page: photograph, look, correct, keep."""
    from hidescan.page.serve import serve_page

    serve_page(lan=lan, browser=browser)

"""The command that makes reference cards: `card`."""

from pathlib import Path
from typing import Annotated

import typer

from hidescan.basics.errors import BadInput
from hidescan.cli.options import Paper


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(card)


def card(
    out: Annotated[Path | None, typer.Option("-o", "--out", help="PDF to write.")] = None,
    paper: Annotated[Paper, typer.Option(help="Paper size.")] = Paper.a4,
    numbers: Annotated[str, typer.Option(help="Which cards: 1-4 or 0,2,7.")] = "1-4",
    measured: Annotated[
        str | None, typer.Option(help="The two check bars as printed, mm: 149.2,198.9. Kept for these numbers.")
    ] = None,
    show: Annotated[bool, typer.Option("--list", help="Show what is remembered about prints.")] = False,
    forget: Annotated[
        str | None, typer.Option(help="Take back what is remembered of these cards: 1-4 or 0,2,7.")
    ] = None,
) -> None:
    """Make reference cards to print, or keep what their check bars measured."""
    from hidescan.cli import parsing

    chosen = parsing.card_numbers(numbers)
    if out is None and measured is None and forget is None and not show:
        raise BadInput("card: say where to write the cards (-o cards.pdf) or what their bars measured (--measured).")
    if forget is not None:
        _forget(parsing.card_numbers(forget, "--forget"))
    if measured is not None:
        from hidescan.cards.measured_prints import keep_card_scale

        scale = parsing.measured_bars(measured)
        kept = keep_card_scale(chosen, scale)
        print(f"cards {numbers}: print scale {scale[0]:.4f} across, {scale[1]:.4f} along, kept in {kept}")
    if out is not None:
        from hidescan.basics.atomic_files import write_whole
        from hidescan.cards.printing import cards_pdf

        write_whole(out, cards_pdf(chosen, paper.value))
        print(f"{out}: {len(chosen)} cards for {paper.value}. Print at 100 %, then measure both bars of one page.")
    if show:
        _list()


def _forget(numbers: tuple[int, ...]) -> None:
    from hidescan.cards.measured_prints import forget_card_scales

    known = forget_card_scales(numbers)
    names = ", ".join(str(number) for number in known or numbers)
    print(f"card {names}: {'forgotten' if known else 'nothing was remembered'}")


def _list() -> None:
    from hidescan.cards.measured_prints import card_scales
    from hidescan.cards.printing import ACROSS_MM, ALONG_MM

    scales = card_scales()
    for number, (across, along) in sorted(scales.items()):
        bars = f"bars {ACROSS_MM * across:.1f} and {ALONG_MM * along:.1f} mm"
        print(f"card {number}: {bars}, print scale {across:.4f} across, {along:.4f} along")
    if not scales:
        print("nothing is remembered about prints: measure both bars of one page (hidescan card --measured A,B)")

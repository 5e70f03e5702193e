"""The command that works out what leather costs: `cost`."""

from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Annotated

import typer

from hidescan.basics.errors import BadInput


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(cost)


def cost(
    map_files: Annotated[list[Path], typer.Argument(help="The hides' maps.", metavar="MAP...", show_default=False)],
    price: Annotated[str, typer.Option(help='For all: "120 EUR"; for a foot as sold: "9.50 EUR/ft2" (/dm2, /m2).')],
    marked: Annotated[
        list[str] | None, typer.Option(help='Area the seller marked: "11 2/4", 11.5ft2; once for each map, in order.')
    ] = None,
    waste: Annotated[
        str | None, typer.Option(help="Leather bought beyond the pieces' own area: 25%; else from the placing.")
    ] = None,
    placing: Annotated[
        Path | None, typer.Option(help="placing.json of `hidescan place`: pieces, pairs, waste.")
    ] = None,
    extras: Annotated[
        Path | None, typer.Option(help="TOML: rate = 18.00, [materials] and [hours], for one set of pieces.")
    ] = None,
) -> None:
    """Say what leather costs: a foot as sold, a usable foot, a piece, a pair."""
    from hidescan.basics.reading import MOST_TEXT_BYTES, read_bytes, read_text
    from hidescan.costing import cost as costing
    from hidescan.costing.report import cost_lines
    from hidescan.figures.marked_area import marked_area
    from hidescan.hide_map.revisions import file_digest, read_map
    from hidescan.placing import file as placing_file

    price_paid = costing.price_from(price)
    made = costing.cost(
        tuple(read_map(path) for path in map_files),
        price_paid,
        marked=tuple(marked_area(text) for text in marked or ()),
        waste_percent=None if waste is None else _percent(waste),
        digests=tuple(file_digest(path) for path in map_files),
        placing=None if placing is None else placing_file.from_json(read_bytes(placing, MOST_TEXT_BYTES), str(placing)),
        extras=None if extras is None else costing.extras_from(read_text(extras), str(extras)),
    )
    print("\n".join(cost_lines(made)))


def _percent(text: str) -> Decimal:
    from hidescan.basics.units import decimal_point

    try:
        percent = Decimal(decimal_point(text.strip().removesuffix("%").strip()))
    except InvalidOperation as error:
        raise BadInput(f"--waste {text}: write a percentage, like 25%.") from error
    if not (percent.is_finite() and 0 <= percent < 1000):
        raise BadInput(f"--waste {text}: must be from 0 to 1000 %.")
    return percent

"""The command that makes pattern pieces of photographed templates: `pieces`."""

from pathlib import Path
from typing import Annotated

import typer

from hidescan.basics.errors import BadInput, NotFound
from hidescan.cli.options import CardScale, Lens


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(pieces)


def pieces(
    photo: Annotated[Path, typer.Argument(help="Photo of card templates beside a reference card.", show_default=False)],
    out: Annotated[Path, typer.Option("-o", "--out", help="SVG to write; .toml and .png are written beside it.")],
    thickness: Annotated[str | None, typer.Option(help="Of the templates: 0.5mm; else that of card.")] = None,
    card_scale: CardScale = None,
    lens: Lens = None,
    force: Annotated[
        bool, typer.Option("--force", help="Write over files that are there; rules that you filled in stay.")
    ] = False,
) -> None:
    """Turn templates laid beside a card into outlines at true scale; an inked arrow becomes the grain."""
    import numpy as np

    from hidescan.basics.atomic_files import write_together
    from hidescan.basics.reading import read_text
    from hidescan.basics.units import parse_thickness_mm
    from hidescan.cli import parsing as options
    from hidescan.hide_map.model import Inputs
    from hidescan.mapping.calibration import kept_calibration
    from hidescan.photo.reading import read_photo
    from hidescan.pieces.templates.files import lines_of, to_png, to_svg, to_toml
    from hidescan.pieces.templates.finding import find_templates, left_out_lines
    from hidescan.pieces.templates.on_floor import sheets_mm
    from hidescan.pipeline import Pipeline
    from hidescan.settings import Settings
    from hidescan.settings.uses import TemplateSettings

    if out.suffix.lower() != ".svg":
        raise BadInput(f"{out}: pieces are written as SVG. Name it {out.with_suffix('.svg').name}.")
    beside = {suffix: out.with_suffix(suffix) for suffix in (".svg", ".toml", ".png")}
    there = [path for path in beside.values() if path.exists()]
    if there and not force:
        raise BadInput(f"{there[0]} is already there. Write over it with --force, or choose another name with -o.")
    settings, template_settings = Settings(), TemplateSettings()
    thick = None if thickness is None else parse_thickness_mm(thickness)
    given = Inputs(card_scale=None if card_scale is None else options.card_scale(card_scale), lens=lens)
    taken = read_photo(photo, settings.photo)
    floor = Pipeline(taken, settings, kept_calibration(lens)).floor(given)
    if isinstance(floor, NotFound):
        raise BadInput(f"{photo.name}: {floor}")
    measured = floor.print_measured
    found = find_templates(
        taken.rgb, floor.plane, sheets_mm(floor), thick, template_settings, settings.measure,
        print_measured=measured,
    )  # fmt: skip
    if isinstance(found, NotFound):
        raise BadInput(f"{photo.name}: {found}")
    z_mm = template_settings.thickness_mm if thick is None else thick
    arrows = [
        None if t.grain is None else floor.plane.camera.px_from_mm(np.array([t.grain.tail_mm, t.grain.head_mm]), z_mm)
        for t in found.templates
    ]
    filled_in = read_text(beside[".toml"]) if beside[".toml"].exists() else None
    rules = to_toml(found.templates, filled_in, str(beside[".toml"]))
    svg, png = to_svg(found.templates, photo.name), to_png(taken.rgb, found, arrows)
    write_together(dict(zip(beside.values(), (svg, rules, png), strict=True)))
    count = len(found.templates)
    print(f"{out}: {count} template{'s' if count > 1 else ''}, length x width along and across the grain; ± is 95 %")
    print("\n".join(lines_of(found.templates)))
    for doubt in floor.plane.doubts:
        print(f"  ! {doubt.message}")
    if not measured:
        print("  ! The card's print was never measured: every size may be off by up to 2 % (hidescan card --measured).")
    for line in left_out_lines(found.left_out):
        print(f"  ! {line}")
    if filled_in is not None:
        print(f"  the rules in {beside['.toml']} stay as you filled them in; look whether each still fits its piece")
    print(f"  fill in {beside['.toml']}; {beside['.png']} shows which is which")

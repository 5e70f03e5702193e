"""What leather costs, in lines of text; amounts are rounded here and nowhere else."""

from decimal import ROUND_HALF_UP, Decimal

from hidescan.costing.cost import Area, Cost, Leather


def shown(amount: Decimal, currency: str = "") -> str:
    """An amount to the hundredth, halves away from zero.

    Examples
    --------
    >>> shown(Decimal("2.345"), "EUR")
    '2.35 EUR'
    """
    rounded = amount.quantize(Decimal("0.01"), ROUND_HALF_UP)
    return f"{rounded} {currency}".rstrip()


def cost_lines(made: Cost) -> list[str]:
    """What is printed."""
    c = made.currency
    sold, name = (made.measured, "measured") if made.marked is None else (made.marked, "marked")
    lines = [f"leather paid {shown(made.paid, c)} for {_area(sold)} ft² {name}"]
    rows = [("marked", made.marked), ("measured", made.measured), ("usable", made.usable)]
    for word, area in rows:
        if area is not None:
            a_foot = made.paid / area.ft2
            pm = "" if area.expanded is None else f" ± {shown(a_foot * area.expanded / area.ft2)}"
            of = " (less counted marks and their margins)" if word == "usable" else ""
            lines.append(f"  a {word} foot{of}: {shown(a_foot, c)}{pm}, of {_area(area)} ft²")
    if (d := made.difference) is not None:
        pm = "; its ± is unknown" if d.worth_expanded is None else f" ± {shown(d.worth_expanded)}"
        way = "more than marked" if d.ft2 >= 0 else "less than marked"
        inside = "the ± explains it" if d.explained else "more than the ± explains"
        lines.append(
            f"  measured is {abs(d.ft2):.2f} ft² {way}, worth {shown(abs(d.worth), c)}{pm} at the marked foot: {inside}"
        )
    if made.waste_share is not None:
        a_foot = made.pieces[0].each / made.pieces[0].ft2 if made.pieces else _a_foot(made)
        percent = f"{100 * made.waste_share:.1f} % waste ({made.waste_source})"
        lines.append(f"  a foot of pieces, with {percent}: {shown(a_foot, c)}")
    if made.leather is not None:
        lines += _leather_lines(made.leather, made)
    for piece in made.pieces:
        pair = f", a pair {shown(2 * piece.each, c)}" if piece.pair else ""
        lines.append(f"  {piece.id}: {shown(piece.each, c)} each{pair}, {piece.ft2:.3f} ft² before waste")
    if made.set_leather is not None and made.set_total is not None:
        of = ", ".join(f"{piece.in_a_set} {piece.id}" for piece in made.pieces)
        name = "pair" if all(piece.pair and piece.in_a_set == 2 for piece in made.pieces) else "set"
        lines.append(f"  leather of a {name} ({of}), {made.sets} placed: {shown(made.set_leather, c)}")
        lines += [f"    {word}: {shown(amount, c)}" for word, amount in made.extras.materials]
        lines += [
            f"    {word}: {hours} h at {shown(made.extras.rate, c)} = {shown(hours * made.extras.rate, c)}"
            for word, hours in made.extras.hours
        ]
        lines.append(f"  a {name} in all: {shown(made.set_total, c)}")
    return lines


def _leather_lines(leather: Leather, made: Cost) -> list[str]:
    """What is cut, kept and lost of the hides, and what the kept leather is credited with."""
    counted = ((leather.offcuts, "offcut"), (leather.hides, "whole hide"))
    kept = ", ".join(f"{count} {word}{'' if count == 1 else 's'}" for count, word in counted if count)
    lines = [
        f"  of {leather.cut + leather.kept + leather.lost:.2f} ft² net {leather.cut:.2f} cut,"
        f" {leather.kept:.2f} kept{f' ({kept})' if kept else ''}, {leather.lost:.2f} lost"
    ]
    if leather.credit and made.waste_source == "from the placing":
        lines.append(f"  kept leather is worth {shown(leather.credit, made.currency)}, which the pieces do not bear")
    return lines


def _a_foot(made: Cost) -> Decimal:
    """A foot of pieces where no placing says how many there are."""
    assert made.waste_share is not None
    return made.paid / made.usable.ft2 * (1 + made.waste_share)


def _area(area: Area) -> str:
    pm = "" if area.expanded is None else f" ± {area.expanded:.2f}"
    return f"{area.ft2:.2f}{pm}"

"""Lines for the terminal from a comparison of maps: the table, doubts, and the cautions that apply."""

from math import isnan

from hidescan.basics.uncertainty import Measured
from hidescan.basics.vocabulary import STATES, TANNAGES
from hidescan.hide_map.model import HideMap
from hidescan.stretch.comparison import Gain, crept_back

HEAT = "No heat on wet leather: no heater, no sun. It shrinks for good (common practice)."
SOAKING = (
    "Soaking to pre-stretch suits commercial and smoked brain-tanned leather;"
    " unsmoked brain-tan sets hard after a soaking (common practice)."
)


def report(gains: tuple[Gain, ...], total: Gain) -> list[str]:
    """Lines for the terminal: the last gain against the first map, each pass, doubts and cautions.

    Parameters
    ----------
    gains
        One for each pass, in order.
    total
        From the first map to the last; the only pass itself where there is one.
    """
    lines = [f"{total.first.name} to {total.second.name}: {_base(total)}; ± is 95 %"]
    for name, change in (("area", total.area), ("length", total.length), ("width", total.width)):
        lines.append(f"  {name:9}{percent(change)}")
    lines.append(f"  {'':9}{'along the back':>18}{'across it':>18}")
    for strain in (total.whole, *total.zones):
        lines.append(f"  {strain.part:9}{percent(strain.along):>18}{percent(strain.across):>18}")
    if len(gains) > 1:
        for one in gains:
            lines.append(f"  {one.first.name} to {one.second.name}: area {percent(one.area)}, {_strains(one)}")
    lines += [f"  {line}" for line in (*_last(gains), *(f"! {doubt}" for doubt in _doubts(gains, total)))]
    return lines + [f"  {line}" for line in cautions([gains[0].first.hide_map, *(g.second.hide_map for g in gains)])]


def percent(change: Measured) -> str:
    """A change with its ±, percent."""
    u = "unknown" if isnan(change.u) else f"{100 * change.expanded:.1f}"
    return f"{100 * change.value + 0.0:+.1f} ± {u} %"


def cautions(maps: list[HideMap]) -> list[str]:
    """What to mind before the next pass."""
    tannages = {TANNAGES.find(m.inputs.tannage) for m in maps if m.inputs.tannage} or {None}
    lines = []
    if TANNAGES["rawhide"] in tannages:
        lines.append(
            "Rawhide softens when wet and sets hard as it dries in whatever shape it then has (common practice)."
        )
    elif any(t is None or (TANNAGES.same(t.name, "brain-tanned") and not t.soakable) for t in tannages):
        lines.append(SOAKING)
    states = [STATES.find(m.inputs.state) for m in maps]
    if any(state is None or state.wet for state in states):  # of a state that is not known, the careful answer
        lines.append(HEAT)
    return lines


def _base(gain: Gain) -> str:
    dots = len(gain.dots_mm[0])
    prints = ", the same printed cards in both" if gain.same_prints else ""
    return (f"by the outline and {dots} dots" if dots else "by the outline alone") + prints


def _strains(gain: Gain) -> str:
    return f"along {percent(gain.whole.along)}, across {percent(gain.whole.across)}"


def _last(gains: tuple[Gain, ...]) -> list[str]:
    """What is true of the last pass."""
    last = gains[-1]
    if last.nothing_sure:
        return ["The gain of the last pass is within the uncertainty."]
    if len(gains) > 1 and -last.area.value > last.area.expanded:
        back = crept_back(gains[0].first.hide_map, last.first.hide_map, last.second.hide_map)
        if not isnan(back.value):
            share = f"{100 * back.value:.0f} ± {100 * back.expanded:.0f} % of the area gained until then"
            return [f"It crept back: {percent(last.area)} of the area in the last pass, {share}."]
    return []


def _doubts(gains: tuple[Gain, ...], total: Gain) -> list[str]:
    maps = [gains[0].first, *(gain.second for gain in gains)]
    doubts = []
    states = {m.hide_map.inputs.state for m in maps}
    if None in states:
        names = ", ".join(m.name for m in maps if m.hide_map.inputs.state is None)
        doubts.append(f"No state is given for {names} (hidescan edit MAP --state): only like compares with like.")
    if len(states - {None}) > 1:
        given = ", ".join(f"{m.name} {m.hide_map.inputs.state}" for m in maps if m.hide_map.inputs.state)
        doubts.append(
            f"Different states ({given}): the change holds that of the state too; one hide may differ by 25 % between"
            " states."
        )
    tannages = {m.hide_map.inputs.tannage for m in maps} - {None}
    if len(tannages) > 1:
        doubts.append(f"Different tannages ({', '.join(sorted(str(t) for t in tannages))}): is it one hide?")
    for gain in gains:
        pair = f"{gain.first.name} and {gain.second.name}"
        if gain.other_hide:
            doubts.append(f"The outlines of {pair} do not fit each other: is it one hide, untrimmed?")
        if gain.registered.turned:
            doubts.append(f"{gain.second.name} fits {gain.first.name} only {gain.registered.turned}; so it was taken.")
    for m in maps:
        if m.hide_map.back_line.source == "none":
            doubts.append(f"{m.name} has no back line: along and across are those of its long and short side.")
    dots = total.first.dots_mm is not None and total.second.dots_mm is not None
    if dots and not len(total.dots_mm[0]):
        doubts.append("No dots found on both: ink some 15 dots or crosses before wetting for a surer strain by zone.")
    return doubts

"""Care by tannage: what a maker must not do to a hide.

Every line is common practice, no source; that heat shrinks wet leather for good, to about a third of its area, is known
from conservation literature (raw skin at 58-64 °C, vegetable tannage at 75-85 °C, alum at 55-60 °C).
"""

from hidescan.basics.vocabulary import STATES, TANNAGES

__all__ = ["cautions", "may_be_soaked"]

_NO_HEAT = "No heat on wet leather: no sun, no heater, no hair dryer. A little heat shrinks it for good."
_WETTING = {
    "brain-tanned smoked": "May be soaked and dried under tension to take the stretch out: the smoke keeps it soft.",
    "brain-tanned unsmoked": "Do not soak: brain-tan never smoked sets hard. Smoke it first, or stretch it dry.",
    "brain-tanned": "Do not soak until you know that it was smoked: brain-tan never smoked sets hard.",
    "commercial": "May be soaked and dried under tension to take the stretch out; try a corner for bleeding dye.",
    "vegetable": "Damp it evenly if at all: wet patches stain and dry stiff; iron and wet leather make black marks.",
    "alum": "Do not soak: water washes the alum out and it dries as hard as rawhide.",
    "rawhide": "Is worked wet and shrinks hard as it dries: let it dry on what it must fit.",
}


def may_be_soaked(tannage: str | None) -> bool | None:
    """Whether soaking to pre-stretch suits a tannage; None where that is not known.

    Examples
    --------
    >>> may_be_soaked("brain-tanned smoked"), may_be_soaked("Brain-tanned unsmoked"), may_be_soaked("seal oil")
    (True, False, None)
    """
    known = TANNAGES.find(tannage)
    return None if known is None else known.soakable


def cautions(tannage: str | None, state: str | None = None) -> tuple[str, ...]:
    """What to mind with a hide of this tannage in this state, most important first.

    Parameters
    ----------
    tannage, state
        As the person wrote them, or None; a tannage that is not known gets the careful answer.
    """
    known, condition = TANNAGES.find(tannage), STATES.find(state)
    if known is None:
        unknown = f"{tannage}: nothing is known" if tannage else "The tannage is not stated: nothing is known"
        wetting = f"{unknown} of how it bears water; wet a corner and let it dry before the hide."
    else:
        wetting = _WETTING.get(known.name) or _WETTING[known.broader]
    lines = [wetting, _NO_HEAT]
    if condition is not None and condition.wet:
        lines.append(f"Its area is that of a {condition.name} hide; dried slack it can lose a quarter. Measure it dry.")
    return tuple(lines)

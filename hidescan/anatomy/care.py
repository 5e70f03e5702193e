"""Care by tannage: what a maker must not do to a hide, said where it matters.

Every line is common practice, no source; that heat shrinks wet leather for good, to about a third of its area, is known
from conservation literature (raw skin at 58-64 °C, vegetable tannage at 75-85 °C, alum at 55-60 °C).
"""

TANNAGES = ("brain-tanned smoked", "brain-tanned unsmoked", "commercial", "vegetable", "alum", "rawhide")
STATES = ("fresh", "salted", "wet", "dried slack", "dried on a frame", "finished")

_NO_HEAT = "No heat on wet leather: no sun, no heater, no hair dryer. A little heat shrinks it for good."
_WETTING = {
    "brain-tanned smoked": "May be soaked and dried under tension to take the stretch out: the smoke keeps it soft.",
    "brain-tanned unsmoked": "Do not soak: brain-tan never smoked sets hard. Smoke it first, or stretch it dry.",
    "commercial": "May be soaked and dried under tension to take the stretch out; try a corner for bleeding dye.",
    "vegetable": "Damp it evenly if at all: wet patches stain and dry stiff; iron and wet leather make black marks.",
    "alum": "Do not soak: water washes the alum out and it dries as hard as rawhide.",
    "rawhide": "Is worked wet and shrinks hard as it dries: let it dry on what it must fit.",
}
_WET_STATES = ("fresh", "salted", "wet")


def may_be_soaked(tannage: str | None) -> bool | None:
    """Whether soaking to pre-stretch suits a tannage; None where that is not known.

    Examples
    --------
    >>> may_be_soaked("brain-tanned smoked"), may_be_soaked("Brain-tanned unsmoked"), may_be_soaked("seal oil")
    (True, False, None)
    """
    name = (tannage or "").strip().lower()
    return name in ("brain-tanned smoked", "commercial") if name in _WETTING else None


def cautions(tannage: str | None, state: str | None = None) -> tuple[str, ...]:
    """What to mind with a hide of this tannage in this state, most important first.

    Parameters
    ----------
    tannage, state
        As the person wrote them, or None; a tannage that is not in `TANNAGES` gets the careful answer.
    """
    name, condition = (tannage or "").strip().lower(), (state or "").strip().lower()
    unknown = f"{tannage}: nothing is known" if name else "The tannage is not said: nothing is known"
    wetting = _WETTING.get(name, f"{unknown} of how it bears water; wet a corner and let it dry before the hide.")
    lines = [wetting, _NO_HEAT]
    if condition in _WET_STATES:
        lines.append(f"Its area is that of a {condition} hide; dried slack it can lose a quarter. Measure it dry.")
    return tuple(lines)

"""Species: the usual size and thickness of their hides, to notice a wrong scale or a wrong species.

Wide bounds for tanned whole hides, common practice put together from merchants' figures, no source. They are there to
catch a hide ten times too large, not to judge one.
"""

from dataclasses import dataclass

from hidescan.basics import vocabulary
from hidescan.basics.units import MM2_PER_FT2

__all__ = ["TYPICAL", "Species", "plausible_size"]


@dataclass(frozen=True, slots=True)
class Species:
    """What a tanned whole hide of a species is like.

    `least_ft2` and `most_ft2` bound its area; `thickness_mm` with standard uncertainty `thickness_u_mm` is typical.
    """

    least_ft2: float
    most_ft2: float
    thickness_mm: float
    thickness_u_mm: float


TYPICAL = {  # by the vocabulary's names
    "deer": Species(4, 18, 1.3, 0.3),  # 3-3.5 oz (merchants)
    "elk": Species(14, 36, 1.8, 0.5),  # 3.5-4 oz garment, 5-6 oz heavy (merchants)
    "goat": Species(2, 10, 0.9, 0.25),  # from here on from memory
    "sheep": Species(3, 14, 0.8, 0.25),
    "calf": Species(5, 20, 1.1, 0.4),  # 1.5-4 oz (merchants)
    "cattle": Species(25, 75, 2.8, 1.0),  # 4-5 to 10-11 oz (merchants)
    "pig": Species(6, 22, 0.9, 0.25),
    "bison": Species(20, 60, 1.9, 0.6),
}

# What share of the whole hide a form makes up, at least and at most: common practice, no source. A piece has no least.
_AREA_SHARES = {
    "whole": (1.0, 1.0),
    "side": (0.4, 0.6),
    "bend": (0.15, 0.35),
    "shoulder": (0.12, 0.45),
    "belly": (0.06, 0.25),
    "piece": (0.0, 1.0),
}
# Square of the length over the whole hide's area: about 1.5 on a broad ox, 2.5 on a deer; bounds for any.
_LEAST_SLENDER, _MOST_SLENDER = 1.0, 4.5


def plausible_size(species: str, form: str, area_mm2: float, length_mm: float) -> str | None:
    """Say what is odd about the size of a hide, or None if nothing is.

    Parameters
    ----------
    species : str
        As the person wrote it; a species not in `TYPICAL` is not judged.
    form : str
        "whole", "side", "bend", "shoulder", "belly" or "piece".
    area_mm2, length_mm : float
        Area, and length along the back line (judged on whole hides and sides only).

    Examples
    --------
    >>> plausible_size("deer", "whole", 0.7e6, 1300.0) is None
    True
    """
    term = vocabulary.SPECIES.find(species)
    known = None if term is None else TYPICAL.get(term.name)
    if known is None:
        return None
    least_share, most_share = _AREA_SHARES[form]
    least_ft2, most_ft2 = least_share * known.least_ft2, most_share * known.most_ft2
    area_ft2 = area_mm2 / MM2_PER_FT2
    what = f"{species} {form}" if form != "whole" else f"whole {species} hide"
    if not least_ft2 <= area_ft2 <= most_ft2:
        usual = f"{least_ft2:.0f} to {most_ft2:.0f}" if least_ft2 else f"up to {most_ft2:.0f}"
        return f"{area_ft2:.1f} ft² is unusual for a {what} ({usual} ft²): check the scale, the species and the form."
    if form in ("whole", "side"):
        shortest = (_LEAST_SLENDER * known.least_ft2 * MM2_PER_FT2) ** 0.5
        longest = (_MOST_SLENDER * known.most_ft2 * MM2_PER_FT2) ** 0.5
        if not shortest <= length_mm <= longest:
            return (
                f"{length_mm:.0f} mm is an unusual length for a {what} ({shortest:.0f} to {longest:.0f} mm): "
                "check the scale, the species and the back line."
            )
    return None

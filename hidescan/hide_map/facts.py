"""The facts about a hide that only a person knows, each declared once: `HideFacts`.

From a field here come the map's model and file, the option of `map` and `edit`, the page's form field, what is merged
with an earlier map, and the line of the record. A field of `Annotated[..., Fact(...)]` is all that a new fact needs.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, get_args, get_type_hints

from annotated_types import Ge, Le

from hidescan.basics import vocabulary
from hidescan.basics.errors import BadInput
from hidescan.basics.units import parse_thickness_mm
from hidescan.basics.vocabulary import Face, FormName, Vocabulary

__all__ = ["MOST", "OTHER", "Fact", "HideFacts", "Number", "facts_of", "read_facts"]

# Far beyond any hide in mm, mm2 or px, and far from where arithmetic on it overflows.
MOST = 1e12
Number = Annotated[float, Ge(-MOST), Le(MOST)]
OTHER = "_other"  # the suffix under which a word outside a fact's list is given on purpose


@dataclass(frozen=True, slots=True)
class Fact:
    """How people give a fact.

    Attributes
    ----------
    label
        What it is called on the page and in the record.
    help
        What the option's help says; the list of `terms` is added to it.
    terms
        The names that it is chosen from; None for free text.
    other
        Whether a word outside `terms` may be kept, under the fact's name with `OTHER`.
    read
        Reads what a person wrote; raises BadInput.
    units
        Units that a figure may be given in, the usual one first.
    option
        Name of the option where it is not the field's.
    unset
        What counts until it is given; empty where nothing does.
    """

    label: str
    help: str = ""
    terms: Vocabulary[Any] | None = None
    other: bool = False
    read: Callable[[str], Any] | None = None
    units: tuple[str, ...] = ()
    option: str = ""
    unset: str = ""


THICKNESS = Fact(
    "Thickness", "Leather thickness: 1.8mm, 4.5oz, 5/64in.", read=parse_thickness_mm, units=("mm", "oz", "in"),
    option="thickness", unset="2 ± 1 mm is taken until you give it.",
)  # fmt: skip
SPECIES = Fact("Species", "The animal", vocabulary.SPECIES, other=True)
TANNAGE = Fact("Tannage", "How it was tanned", vocabulary.TANNAGES, other=True)
STATE = Fact("State", "How it lay", vocabulary.STATES, other=True)


@dataclass(frozen=True, slots=True)
class HideFacts:
    """What a person stated of the hide itself; None where nothing was."""

    thickness_mm: Annotated[Number | None, THICKNESS] = None
    species: Annotated[str | None, SPECIES] = None
    tannage: Annotated[str | None, TANNAGE] = None
    state: Annotated[str | None, STATE] = None
    conditioning: Annotated[
        str | None, Fact("Conditioning", "The air it lay in: two days at 23 C and 50 %, not conditioned ...")
    ] = None
    form: Annotated[FormName | None, Fact("Form", "Which part of a hide it is", vocabulary.FORMS)] = None
    face: Annotated[Face, Fact("Face up", "Which face was photographed", vocabulary.FACES)] = "unknown"


def facts_of(model: type[Any]) -> dict[str, Fact]:
    """The facts that a dataclass declares, by field, in order.

    Examples
    --------
    >>> list(facts_of(HideFacts))[:2]
    ['thickness_mm', 'species']
    """
    hints = get_type_hints(model, include_extras=True)
    found = {name: [part for part in get_args(hint) if isinstance(part, Fact)] for name, hint in hints.items()}
    return {name: facts[0] for name, facts in found.items() if facts}


def read_facts(
    model: type[Any], texts: Mapping[str, str | None], keep: str = "Use --{}-other to keep it."
) -> dict[str, Any]:
    """The values of the facts that were given, by field.

    Parameters
    ----------
    model
        The dataclass that declares the facts.
    texts
        What a person wrote, by field, or by field with `OTHER` for a word outside the list; None is not given.
    keep
        How a word that is not known can be kept, with {} where the fact's name belongs.

    Raises
    ------
    BadInput
        A text that cannot be read; of a name that is not known it asks about the nearest.
    """
    values: dict[str, Any] = {}
    for name, fact in facts_of(model).items():
        text, other = texts.get(name), texts.get(name + OTHER)
        if text is not None and other is not None:
            raise BadInput(f"{name} is given twice, as {text} and as {other}. Give one of them.")
        if other is not None and fact.other:
            known = None if fact.terms is None else fact.terms.find(other)
            values[name] = other.strip() if known is None else known.name
        elif text is None:
            continue
        elif fact.terms is not None:
            where = "" if fact.other else f"--{name}"
            values[name] = fact.terms.read(text, where=where, keep=keep.format(name) if fact.other else "")
        else:
            values[name] = text if fact.read is None else fact.read(text)
    return values

"""The one list of each trade name: kinds of mark, zones, forms, faces, species, tannages, states.

Maps, options, grade tables, projects, the shelf, care and the page take their names from here. A name, once in a map
file, stays; another spelling of it goes into `also`. The parts of the hide are those of ISO 2418; what the other lists
hold is common practice, no source.
"""

import difflib
import re
from dataclasses import dataclass
from typing import Generic, Literal, TypeVar

from hidescan.basics.errors import BadInput

MarkKind = Literal["hole", "cut", "brand", "scratch", "stain", "wrinkle", "thin", "other"]
MarkStatus = Literal["found", "confirmed", "rejected", "added"]
FormName = Literal["whole", "side", "bend", "shoulder", "belly", "piece"]
Face = Literal["grain", "flesh", "unknown"]
T = TypeVar("T", bound="Term")
_LIKELY = 0.6  # difflib's ratio from which a known name is worth asking about alone


@dataclass(frozen=True, slots=True)
class Term:
    """A name as files keep it.

    Attributes
    ----------
    label
        What people are shown; empty where that is the name.
    also
        Other spellings that mean the same. Case, hyphens, commas and the order of words never matter.
    broader
        Name of the term that this one is a kind of; empty where there is none.
    """

    name: str
    label: str = ""
    also: tuple[str, ...] = ()
    broader: str = ""

    @property
    def shown(self) -> str:
        """What people are shown."""
        return self.label or self.name


@dataclass(frozen=True, slots=True)
class Mark(Term):
    """A kind of mark.

    Attributes
    ----------
    plural
        As printed after a number.
    colour
        Red, green, blue of its line on pictures, 0 to 255.
    dashes
        Dashes and gaps of its line in widths of the line (mm on paper); none is solid.
    line_width
        Relative to the others.
    sharp
        Whether it has an edge that a knife could follow: it gets the wider margin, and is located as surely as a rim.
    slender
        Whether its length is measured along its middle line.
    """

    plural: str = ""
    colour: tuple[int, int, int] = (255, 255, 255)
    dashes: tuple[float, ...] = ()
    line_width: float = 1.0
    sharp: bool = False
    slender: bool = False


@dataclass(frozen=True, slots=True)
class Tannage(Term):
    """How a hide was made to last; `soakable` says whether it may be soaked to take the stretch out."""

    soakable: bool = False


@dataclass(frozen=True, slots=True)
class State(Term):
    """How a hide lay when it was measured; `wet` where it will shrink in drying."""

    wet: bool = False


@dataclass(frozen=True, slots=True)
class Vocabulary(Generic[T]):
    """The names of one thing; `what` is that thing with its article."""

    what: str
    terms: tuple[T, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The names as files keep them, in order."""
        return tuple(term.name for term in self.terms)

    def __getitem__(self, name: str) -> T:
        """The term of a name that files keep."""
        return next(term for term in self.terms if term.name == name)

    def find(self, text: str | None) -> T | None:
        """The term that a text means; None where it means none.

        Examples
        --------
        >>> TANNAGES.find("Brain-tanned, smoked").name, TANNAGES.find("seal oil")
        ('brain-tanned smoked', None)
        """
        wanted = _spelled(text or "")
        return next((term for term in self.terms if wanted in map(_spelled, (term.name, *term.also))), None)

    def same(self, text: str | None, wanted: str) -> bool:
        """Whether a text means what is wanted or a kind of it.

        Examples
        --------
        >>> TANNAGES.same("chrome", "commercial"), TANNAGES.same("commercial", "chrome")
        (True, False)
        """
        term, other = self.find(text), self.find(wanted)
        if term is None or other is None:
            return bool(text) and _spelled(text or "") == _spelled(wanted)
        return other.name in (term.name, term.broader)

    def read(self, text: str, *, where: str = "", keep: str = "") -> str:
        """The name that a person's text means.

        Parameters
        ----------
        where
            What to put before the text in a refusal: an option, a file.
        keep
            How a word that is not known can be kept all the same.

        Raises
        ------
        BadInput
            It is not known; asks about the nearest that is.
        """
        term = self.find(text)
        if term is not None:
            return term.name
        by_spelling = {spelling.lower(): term for term in self.terms for spelling in (term.name, *term.also)}
        (near,) = difflib.get_close_matches(text.strip().lower(), by_spelling, n=1, cutoff=0.0)
        likely = difflib.SequenceMatcher(None, text.strip().lower(), near).ratio() >= _LIKELY
        known = "" if likely else f" Known are {', '.join(self.names)}."
        begin = f"{where} {text}".strip()
        raise BadInput(
            f"{begin}: not {self.what} known here; did you mean {by_spelling[near].name}?{known} {keep}".strip()
        )


# Told apart by their dashes alone; the colours are Okabe and Ito's (2008), which colour-blind people tell apart too.
MARKS = Vocabulary(
    "a kind of mark",
    (
        Mark("hole", plural="holes", colour=(213, 94, 0), sharp=True),
        Mark("cut", plural="cuts", colour=(213, 94, 0), line_width=1.8, sharp=True, slender=True),
        Mark("brand", plural="brands", colour=(86, 180, 233), dashes=(7.0, 2.5)),
        Mark("scratch", plural="scratches", colour=(204, 121, 167), dashes=(1.0, 2.5), slender=True),
        Mark("stain", plural="stains", colour=(240, 228, 66), dashes=(3.0, 3.0)),
        Mark("wrinkle", plural="wrinkles", colour=(0, 158, 115), dashes=(6.0, 2.5, 1.0, 2.5), slender=True),
        Mark("thin", label="thin spot", plural="thin spots", colour=(230, 159, 0), dashes=(10.0, 5.0)),
        Mark("other", label="other mark", plural="other marks", dashes=(6.0, 2.5, 1.0, 2.5, 1.0, 2.5)),
    ),
)
ZONES = Vocabulary(
    "a part of the hide",
    (
        Term("neck"),
        Term("shoulder"),
        Term("butt"),
        Term("belly"),
        Term("flank"),
        Term("shank"),
        Term("piece"),
    ),
)
FORMS = Vocabulary(
    "a form of hide",
    (
        Term("whole", label="whole hide", also=("whole hide",)),
        Term("side"),
        Term("bend"),
        Term("shoulder"),
        Term("belly"),
        Term("piece"),
    ),
)
FACES = Vocabulary(
    "a face of the leather",
    (
        Term("grain", also=("grain side",)),
        Term("flesh", also=("flesh side",)),
        Term("unknown", label="not stated"),
    ),
)
SPECIES = Vocabulary(
    "a species",
    (
        Term("deer"),
        Term("elk", also=("wapiti",)),
        Term("goat"),
        Term("sheep"),
        Term("calf"),
        Term("cattle", also=("cow", "ox", "bull", "steer")),
        Term("pig", also=("hog", "swine")),
        Term("bison"),
    ),
)
TANNAGES = Vocabulary(
    "a tannage",
    (
        Tannage("brain-tanned smoked", also=("brain smoked",), broader="brain-tanned", soakable=True),
        Tannage("brain-tanned unsmoked", also=("brain unsmoked",), broader="brain-tanned"),
        Tannage("brain-tanned", label="brain-tanned, smoking not stated", also=("brain", "brain tan")),
        Tannage("commercial", soakable=True),
        Tannage("chrome", also=("chrome-tanned", "chrome tan"), broader="commercial", soakable=True),
        Tannage("vegetable", also=("vegetable-tanned", "veg-tanned", "veg tan", "veg", "bark-tanned")),
        Tannage("alum", also=("alum-tawed", "alum-tanned", "tawed")),
        Tannage("rawhide"),
    ),
)
STATES = Vocabulary(
    "a state of the hide",
    (
        State("fresh", wet=True),
        State("salted", wet=True),
        State("wet", also=("soaked",), wet=True),
        State("dried slack"),
        State("dried on a frame", also=("dried in a frame",)),
        State("finished"),
    ),
)


def _spelled(text: str) -> tuple[str, ...]:
    """A text's words, case, hyphens, commas and order put aside."""
    return tuple(sorted(re.findall(r"[^\W_]+", text.lower())))

"""What can go wrong, and what the person should do about it.

An expected failure of the pictures (no card, hide cut by the frame) is a value, `NotFound`; wrong input from a person
(a length without a unit, a file that is no picture) is an exception, `BadInput`. Both carry one line that says what is
wrong and what to do. A doubt about a result that still stands is a `Warning`-like value, `Doubt`, saved in the map.
"""

import difflib
from collections.abc import Sequence
from dataclasses import dataclass

_LONGEST = 600  # characters of a message


class HidescanError(Exception):
    """Root of every exception that hidescan raises on purpose."""


class BadInput(HidescanError, ValueError):
    """Input from a person that cannot be used; the message is one line that says what is wrong and what to do.

    What it quotes may come from a file of anybody's: of that only what can be printed stays, and no more than a little.
    """

    def __init__(self, message: str) -> None:
        line = "".join(c if c.isprintable() else " " if c.isspace() else "?" for c in message)
        super().__init__(line if len(line) <= _LONGEST else f"{line[: _LONGEST // 2]} ... {line[-_LONGEST // 2 :]}")


class CannotWrite(BadInput):
    """A file that cannot be written; `errno` is the operating system's number for why, where there is one."""

    def __init__(self, message: str, errno: int | None = None) -> None:
        super().__init__(message)
        self.errno = errno


@dataclass(frozen=True, slots=True)
class NotFound:
    """A refusal: something the result needs could not be found in the picture.

    Falsy, so that ``if not outline: return outline`` reads well.
    """

    code: str
    reason: str
    advice: str

    def __bool__(self) -> bool:
        return False

    def __str__(self) -> str:
        return f"{self.reason} {self.advice}"


@dataclass(frozen=True, slots=True)
class Doubt:
    """A doubt about a result that stands: saved under `warnings` in the map and shown to the person."""

    code: str
    message: str


def refuse_unknown(word: object, known: Sequence[str], where: str) -> None:
    """Refuse a word that is not one of those known, with the nearest that is.

    Raises
    ------
    BadInput
        It is not known.
    """
    if word in known:
        return
    near = difflib.get_close_matches(str(word), known, n=1)
    meant = f"did you mean {near[0]}?" if near else f"use one of {', '.join(known)}."
    raise BadInput(f"{where}: {word} is not known; {meant}")

"""What a person wrote on a hide's card: its label and what the seller asks. Kept beside the journal, as written."""

import json
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

from hidescan.basics.atomic_files import write_whole
from hidescan.basics.errors import BadInput
from hidescan.costing.cost import price_from
from hidescan.figures.marked_area import marked_area

_LONGEST = 80  # characters of a line on a card


@dataclass(frozen=True, slots=True)
class Notes:
    """A card's lines, each as written; empty where nothing was.

    `price` is of the whole hide or of a foot of it, `marked` the area that the seller wrote on it.
    """

    label: str = ""
    price: str = ""
    marked: str = ""
    seller: str = ""


def notes_of(work: Path) -> Notes:
    """The lines of a work's card; empty ones where they cannot be read."""
    try:
        plain = json.loads((work / "notes.json").read_bytes())
        return Notes(**{name: str(text) for name, text in plain.items()})
    except (OSError, ValueError, TypeError, AttributeError, RecursionError):
        return Notes()


def keep_notes(work: Path, given: dict[str, Any]) -> None:
    """Write the lines given onto a work's card; the others stay.

    Raises
    ------
    BadInput
        A price or a marked area that cannot be read; nothing was changed.
    """
    known = {field.name for field in fields(Notes)}
    texts = {name: " ".join(str(text).split())[:_LONGEST] for name, text in given.items() if name in known}
    for name, read in (("price", price_from), ("marked", marked_area)):
        if texts.get(name):
            try:
                read(texts[name])
            except BadInput as error:
                raise BadInput(str(error).removeprefix(f"--{name} ")) from error
    write_whole(work / "notes.json", json.dumps(asdict(replace(notes_of(work), **texts))).encode())

"""The user's own settings on this machine: the measured scale of each printed card."""

import json
from pathlib import Path

from platformdirs import user_config_path

from hidescan.basics.atomic_files import write_whole
from hidescan.basics.errors import BadInput
from hidescan.basics.reading import read_text
from hidescan.hide_map.model import XY


def card_scales() -> dict[int, XY]:
    """Measured (SX, SY) by card number; empty where nothing was measured.

    Raises
    ------
    BadInput
        The file was changed by hand and cannot be read.
    """
    path = _path()
    if not path.exists():
        return {}
    try:
        plain = json.loads(read_text(path))
        return {int(number): (float(sx), float(sy)) for number, (sx, sy) in plain["card_scales"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError) as error:
        raise BadInput(f"{path}: cannot be read. Delete it and measure the cards again.") from error


def keep_card_scale(numbers: tuple[int, ...], scale: XY) -> Path:
    """Remember the measured scale of a printed set of cards; returns the file it is kept in."""
    _write(card_scales() | dict.fromkeys(numbers, scale))
    return _path()


def forget_card_scales(numbers: tuple[int, ...]) -> tuple[int, ...]:
    """Take back what was remembered of these cards; returns those of which something was."""
    scales = card_scales()
    known = tuple(number for number in numbers if number in scales)
    if known:
        _write({number: scale for number, scale in scales.items() if number not in known})
    return known


def _write(scales: dict[int, XY]) -> None:
    plain = {"card_scales": {str(number): scales[number] for number in sorted(scales)}}
    write_whole(_path(), (json.dumps(plain, indent=1) + "\n").encode())


def _path() -> Path:
    return Path(user_config_path("hidescan", appauthor=False)) / "cards.json"

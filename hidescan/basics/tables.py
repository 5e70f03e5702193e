"""Tables as CSV (RFC 4180), safe to open, and read whatever is in them."""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence

from hidescan.basics.errors import BadInput

# What spreadsheets take for the start of a formula (OWASP, CSV injection, from memory).
_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?", re.ASCII)
Cell = object


def csv_bytes(rows: Iterable[Sequence[Cell]]) -> bytes:
    r"""A table: None is an empty cell, a text that would be a formula gets an apostrophe before it.

    Characters that are none (of a file's name that is not text) are written as escapes.

    Examples
    --------
    >>> csv_bytes([("a", -1.5, None), ("=1+1", "-3.2", "-x")])
    b"a,-1.5,\r\n'=1+1,-3.2,'-x\r\n"
    """
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows([[_plain(cell) for cell in row] for row in rows])
    return text.getvalue().encode("utf-8", errors="backslashreplace")


def rows_of(text: str, name: str) -> tuple[list[str], Iterator[tuple[int, dict[str, str]]]]:
    """A table's columns, and its rows by the number of their line.

    A cell that is missing is empty.

    Raises
    ------
    BadInput
        Where the rows are read: one that cannot be.
    """
    reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline=""), restval="")
    return list(_header(reader, name)), _rows(reader, name)


def _header(reader: "csv.DictReader[str]", name: str) -> Sequence[str]:
    try:
        return reader.fieldnames or ()
    except csv.Error as error:
        raise _unreadable(reader, name, error) from error


def _rows(reader: "csv.DictReader[str]", name: str) -> Iterator[tuple[int, dict[str, str]]]:
    while True:
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise _unreadable(reader, name, error) from error
        yield reader.line_num, {key: value for key, value in row.items() if isinstance(key, str)}


def _unreadable(reader: "csv.DictReader[str]", name: str, error: csv.Error) -> BadInput:
    return BadInput(f"{name}, line {reader.line_num + 1}: cannot be read ({error}). Mend or shorten it.")


def _plain(cell: Cell) -> str:
    if cell is None:
        return ""
    text = str(cell)
    return f"'{text}" if text.startswith(_STARTS) and not _NUMBER.fullmatch(text) else text

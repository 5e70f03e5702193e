"""Where a study keeps what it printed: calibration/studies/NAME.md, with the command, the version and the date."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stdout
from datetime import date
from io import StringIO, TextIOBase
from itertools import groupby
from pathlib import Path

from hidescan import __version__

STUDIES = Path(__file__).parents[2] / "calibration" / "studies"


class _Both(TextIOBase):
    """A stream that shows what is written at once, and keeps it."""

    def __init__(self) -> None:
        self.kept, self._screen = StringIO(), sys.stdout

    def write(self, text: str) -> int:
        self._screen.write(text)
        return self.kept.write(text)

    def flush(self) -> None:
        self._screen.flush()


@contextmanager
def recorded(name: str, folder: Path = STUDIES) -> Iterator[None]:
    """Show what a study prints, and write it to NAME.md when the study ends; a study that fails writes nothing.

    Call it in the study's `__main__`, so that tests which use the study's functions write nothing.
    """
    both, argv = _Both(), list(sys.argv)  # attacks put commands of their own there
    with redirect_stdout(both):
        yield
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{name}.md").write_text(page(name, argv, both.kept.getvalue(), date.today()), "utf-8")


def page(name: str, argv: list[str], printed: str, day: date) -> str:
    """The page of one run, Markdown: tables as they are, other lines as plain text."""
    # Folders are named by their last part: where they lie is nobody's business.
    words = [Path(word).name if "/" in word else word for word in argv[1:]]
    command = " ".join(["python -m", f"tests.benchmarks.{Path(argv[0]).stem}", *words])
    parts = []
    for is_table, lines in groupby(printed.strip("\n").splitlines(), key=lambda line: line.startswith("|")):
        text = "\n".join(lines).strip("\n")
        if text:
            parts.append(text if is_table else f"```\n{text}\n```")
    head = f"# {name}\n\n`{command}`, version {__version__}, {day.isoformat()}."
    return "\n\n".join([head, *parts]) + "\n"

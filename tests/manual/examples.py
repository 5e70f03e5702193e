"""The console examples of README and manual: run each and compare, or write anew what the program prints now.

    python -m tests.manual.examples        writes the outputs into the pages

A page's ```console blocks run in order in a folder of their own, in which `sample_images` lies and each ```toml or
```svg block that names a file in its first line. A line `...` stands for what is left out.
"""

import os
import re
import shlex
import tempfile
from collections.abc import Iterator
from contextlib import chdir, contextmanager
from pathlib import Path

from typer.testing import CliRunner

from hidescan.basics.errors import BadInput
from hidescan.cli.app import app

ROOT = Path(__file__).parents[2]
PAGES = (ROOT / "README.md", *sorted((ROOT / "hidescan" / "manual").glob("*.md")))
_BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_FILE = re.compile(r"(?:#|<!--) ([\w.]+\.(?:toml|svg))\b")


def with_console(pages: tuple[Path, ...] = PAGES) -> list[Path]:
    """The pages that hold a console example."""
    return [page for page in pages if "```console\n" in page.read_text("utf-8")]


def printed(command: str) -> str:
    """What a command prints; a refusal is its one line, as `main` prints it."""
    result = CliRunner().invoke(app, shlex.split(command)[1:])
    if isinstance(result.exception, BadInput):
        return f"{result.stdout}{result.exception}"
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.stdout


@contextmanager
def at_home(folder: Path) -> Iterator[None]:
    """A working folder with the sample photos, and settings and shelf of its own."""
    (folder / "sample_images").symlink_to(ROOT / "sample_images")
    kept = dict(os.environ)
    os.environ.update(XDG_CONFIG_HOME=str(folder / "config"), XDG_DATA_HOME=str(folder / "data"))
    try:
        with chdir(folder):
            yield
    finally:
        os.environ.clear()
        os.environ.update(kept)


def as_run(text: str) -> str:
    """A page's text with every console block's output as the program prints it now; call it `at_home`."""

    def block(found: re.Match[str]) -> str:
        language, body = found.groups()
        if language != "console":
            if named := _FILE.match(body):
                Path(named[1]).write_text(body)
            return found[0]
        parts = re.split(r"^(\$ .+)$", body, flags=re.MULTILINE)[1:]
        examples = zip(parts[::2], parts[1::2], strict=True)
        shown = "".join(f"{command}\n{_shown(printed(command[2:]), was)}" for command, was in examples)
        return f"```console\n{shown}```"

    return _BLOCK.sub(block, text)


def _shown(output: str, was: str) -> str:
    """The output as far as the page shows it: a page that ends in `...` shows as many lines as before it."""
    lines, shown = output.rstrip().splitlines(), was.strip().splitlines()
    if shown and shown[-1] == "...":
        lines = [*lines[: len(shown) - 1], "..."]
    return "".join(f"{line}\n" for line in lines)


def main() -> None:
    for page in with_console():
        with tempfile.TemporaryDirectory() as folder, at_home(Path(folder)):
            page.write_text(as_run(page.read_text("utf-8")), "utf-8")
        print(page)


if __name__ == "__main__":
    main()

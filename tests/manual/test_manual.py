"""`hidescan manual`: its pages, their names, and what README and pages point to."""

import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
import typer
from typer.testing import CliRunner

from hidescan.basics.errors import BadInput
from hidescan.cli.app import app
from hidescan.cli.manual import MANUAL, PAGE_OF_COMMAND, pages
from tests.manual.examples import PAGES, ROOT

DOCUMENTS = (
    *PAGES,
    ROOT / "DEVELOPERS.md",
    *(ROOT / "calibration").rglob("*.md"),
    ROOT / "sample_images" / "README.md",
)


def commands() -> dict[str, click.Command]:
    """Every command by its words: `map`, `shelf`, `shelf find`."""

    def walk(group: click.Group, before: str) -> Iterator[tuple[str, click.Command]]:
        for name, command in group.commands.items():
            yield f"{before}{name}", command
            if hasattr(command, "commands"):
                yield from walk(command, f"{before}{name} ")  # type: ignore[arg-type]

    return dict(walk(typer.main.get_command(app), ""))  # type: ignore[arg-type]


def test_every_command_names_a_page_of_the_manual_in_its_help() -> None:
    for words in commands():
        page = PAGE_OF_COMMAND.get(words.split()[0])
        if words == "manual":
            continue
        assert page in pages(), f"{words}: add its page to PAGE_OF_COMMAND"
        shown = CliRunner().invoke(app, [*words.split(), "--help"]).output
        assert f"hidescan manual {page}" in " ".join(shown.split())


def test_the_list_names_every_page_on_one_line() -> None:
    lines = CliRunner().invoke(app, ["manual"]).output.splitlines()
    assert [line.split()[0] for line in lines] == sorted(path.stem for path in MANUAL.glob("*.md"))
    assert all(len(line.split()) > 3 and len(line) < 120 for line in lines)


@pytest.mark.parametrize("path", sorted(MANUAL.glob("*.md")), ids=lambda path: path.stem)
def test_a_page_is_printed_whole_and_says_in_its_third_line_what_it_is_about(path: Path) -> None:
    text = path.read_text("utf-8")
    title, blank, summary, after = text.splitlines()[:4]
    assert title.startswith("# ") and summary.endswith(".") and not blank and not after
    assert CliRunner().invoke(app, ["manual", path.stem]).output == text


def test_a_command_is_as_good_as_its_page() -> None:
    assert CliRunner().invoke(app, ["manual", "place"]).output == (MANUAL / "placing.md").read_text("utf-8")


@pytest.mark.parametrize(("name", "line"), [("mraks", "did you mean marks?"), ("../cards", "cards"), ("zzz", "lists")])
def test_an_unknown_page_names_the_nearest(name: str, line: str) -> None:
    result = CliRunner().invoke(app, ["manual", name])
    assert isinstance(result.exception, BadInput) and line in str(result.exception)


def test_the_manual_loads_nothing_heavy() -> None:
    code = (
        "import sys; from hidescan.cli.app import main; sys.argv = ['hidescan', 'manual'];"
        "\ntry: main()\nexcept SystemExit: pass\nprint([m for m in ('numpy', 'cv2', 'shapely', 'rich') if m in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert run.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_lead_to_files(path: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+?)(?:#[^)]*)?\)", path.read_text("utf-8")):
        assert "://" in target or (path.parent / target).exists(), f"{path.name}: {target}"


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_commands_and_their_options_exist(path: Path) -> None:
    """Each `hidescan ...` in a code span or block names a command, options that it has, and a page that is there."""
    known = commands()
    text = path.read_text("utf-8")
    blocks = re.findall(r"^```\w*\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    spans = re.findall(r"`([^`\n]+)`", re.sub(r"^```\w*\n.*?^```", "", text, flags=re.MULTILINE | re.DOTALL))
    lines = [line.removeprefix("$ ") for block in blocks for line in block.splitlines()] + spans
    for line in lines:
        if not (found := re.search(r"(?:^|[ /])hidescan ((?:[a-z]+ ?)+)(?= |$|-|[A-Z<])?", line)):
            continue
        words = found[1].split()
        name = next((w for w in (" ".join(words[:2]), words[0]) if w in known), None)
        assert name is not None, f"{path.name}: {line}"
        own = {option for parameter in known[name].params for option in parameter.opts + parameter.secondary_opts}
        given = set(re.findall(r"(?<=\s)--?[a-z][\w-]*", line[found.end(1) - 1 :]))
        assert given <= {*own, "--help"}, f"{path.name}: {line}: {given - own}"
        if name == "manual" and len(words) > 1:
            assert words[1] in pages(), f"{path.name}: {line}"


def test_the_two_main_documents_are_short() -> None:
    assert len((ROOT / "README.md").read_text("utf-8").split()) <= 1200
    assert len((ROOT / "DEVELOPERS.md").read_text("utf-8").split()) <= 1500

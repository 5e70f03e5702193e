"""What documents and docstrings promise of the project's own shape, and what no screen may show."""

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

import hidescan
from tests.manual.examples import ROOT

PACKAGE = ROOT / "hidescan"
CHAPTERS = sorted(path.parent for path in PACKAGE.glob("*/__init__.py"))


def test_the_table_of_contents_names_every_chapter_in_the_order_of_the_layers() -> None:
    rows = re.split(r"^=.*=$", hidescan.__doc__ or "", flags=re.MULTILINE)[2].strip().splitlines()
    names = [row.split()[0] for row in rows]
    there = {path.name for path in CHAPTERS} | {"manual", *(path.stem for path in PACKAGE.glob("[a-z]*.py"))}
    assert set(names) == there
    contract = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"]["contracts"][0]
    layers = [[name.strip().removeprefix("hidescan.") for name in layer.split("|")] for layer in contract["layers"]]
    height = {name: -number for number, layer in enumerate(layers) for name in layer}
    heights = [height[name] for name in names if name in height]
    assert heights == sorted(heights) and set(names) - {"manual"} <= set(height)


@pytest.mark.parametrize("folder", CHAPTERS, ids=lambda path: path.name)
def test_a_chapter_is_described_in_six_lines(folder: Path) -> None:
    text = ast.get_docstring(ast.parse((folder / "__init__.py").read_text("utf-8")))
    assert text and len(text.splitlines()) <= 6


def shown_texts(path: Path) -> Iterator[str]:
    """Every string of a module that is no docstring."""
    tree = ast.parse(path.read_text("utf-8"))
    statements = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in statements:
            yield node.value


def test_no_screen_or_picture_quotes_from_memory() -> None:
    quoted = [path for path in PACKAGE.rglob("*.py") for text in shown_texts(path) if "from memory" in text]
    shipped = [
        path
        for folder, ending in (
            ("manual", "md"),
            ("advice/projects", "toml"),
            ("marks/grades", "toml"),
            ("page/web", "*s"),
        )
        for path in (PACKAGE / folder).glob(f"*.{ending}")
    ]
    assert len(shipped) > 30
    assert not quoted and not [path for path in shipped if "from memory" in path.read_text("utf-8")]

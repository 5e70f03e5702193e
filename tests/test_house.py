"""Limits on the size of what a reader must hold in mind at once."""

import ast
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "hidescan"
MODULES = sorted(path for path in PACKAGE.rglob("*.py") if "node_modules" not in path.parts)
MOST_LINES_OF_A_FILE = 400
MOST_LINES_OF_A_FUNCTION = 60
MOST_PARAMETERS = 7
MOST_MODULES_AT_THE_TOP = 5

Function = ast.FunctionDef | ast.AsyncFunctionDef


def is_command(path: Path) -> bool:
    """In a command each option is a parameter."""
    return path.relative_to(PACKAGE).parts[0] == "cli"


def functions() -> Iterator[tuple[str, Function]]:
    """Functions and methods of all modules but the commands, with where they are."""
    for path in MODULES:
        if not is_command(path):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if isinstance(node, Function):
                    yield f"{path.relative_to(PACKAGE)}:{node.lineno} {node.name}", node


def parameters(function: Function) -> int:
    """How many, without `self` and `cls`."""
    args = function.args
    named = [arg.arg for arg in (*args.posonlyargs, *args.args, *args.kwonlyargs)]
    return len(named) - (named[:1] in (["self"], ["cls"]))


def test_files_are_short() -> None:
    lines = {path: len(path.read_text("utf-8").splitlines()) for path in MODULES if not is_command(path)}
    assert {str(path.relative_to(PACKAGE)): n for path, n in lines.items() if n > MOST_LINES_OF_A_FILE} == {}


def test_functions_are_short() -> None:
    lines = {where: (node.end_lineno or 0) - node.lineno + 1 for where, node in functions()}
    assert len(lines) > 1000
    assert {where: n for where, n in lines.items() if n > MOST_LINES_OF_A_FUNCTION} == {}


def test_functions_take_few_parameters() -> None:
    taken = {where: parameters(node) for where, node in functions()}
    assert {where: n for where, n in taken.items() if n > MOST_PARAMETERS} == {}


def test_few_modules_lie_at_the_top() -> None:
    assert len(list(PACKAGE.glob("*.py"))) <= MOST_MODULES_AT_THE_TOP


@pytest.mark.parametrize("kind", [".py", ".js"])
def test_files_that_share_a_prefix_have_a_folder(kind: str) -> None:
    names = [
        (str(path.parent.relative_to(PACKAGE)), path.stem.partition("_")[0])
        for path in PACKAGE.rglob(f"*{kind}")
        if not {"node_modules", "built"} & set(path.parts) and not path.stem.startswith("_")
    ]
    assert {where: n for where, n in Counter(names).items() if n > 1} == {}

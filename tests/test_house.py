"""Limits on what a reader must hold in mind at once, and on what a change must wait for."""

import ast
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

TESTS = Path(__file__).parent
PACKAGE = TESTS.parent / "hidescan"
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


def declared_in(path: Path) -> set[str]:
    tree = ast.parse(path.read_text("utf-8"))
    where = path.relative_to(TESTS.parent).as_posix()
    return {f"{where}::{f.name}" for f in tree.body if isinstance(f, Function) and f.name.startswith("test_")}


def test_every_folder_has_quick_tests_and_the_list_of_slow_ones_is_true() -> None:
    slow = set((TESTS / "slow.txt").read_text("utf-8").splitlines())
    by_folder: dict[Path, set[str]] = {}
    for path in TESTS.rglob("test_*.py"):
        by_folder.setdefault(path.parent, set()).update(declared_in(path))
    chapters = {folder: names for folder, names in by_folder.items() if (PACKAGE / folder.relative_to(TESTS)).is_dir()}
    assert len(chapters) > 20
    assert [folder.name for folder, names in chapters.items() if not names - slow] == []
    tests = {name for names in by_folder.values() for name in names}
    assert {name for name in slow if "::test_" in name} - tests == set()

"""Do the tests notice when the code is wrong? Small changes made to modules one at a time, and their tests run on each.

    python -m tests.benchmarks.mutation_check [--count 250] [--seconds 900] [--module floor.solution] [--seed 3]

A change is one operator, number, comparison or returned value. Each is tried in a process of its own, forked when
everything is loaded; it is killed as soon as one test fails, and slow tests are asked only of what the others let pass.
Changes that no test notices are listed with their line.
"""

import argparse
import ast
import contextlib
import copy
import importlib
import os
import random
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from tests.benchmarks.recorded import recorded

ROOT = Path(__file__).parents[2]
TESTS = {
    "floor.solution": ["tests/figures/test_plane_figures.py", "tests/floor/test_solution.py"],
    "figures.measures": ["tests/figures/test_measures.py"],
    "marks.placement": ["tests/marks/test_placement.py", "tests/marks/test_matching.py"],
}
SLOW = (
    "tests/floor/test_solution.py::test_the_claimed_uncertainty_is_the_scatter_of_repeated_photos",
    "tests/floor/test_solution.py::test_flat_cards_are_not_called_bent",
    "tests/figures/test_measures.py::test_the_area_scatters_as_claimed",
)
LONGEST_S = 240
SWAPS: dict[type, tuple[type, ...]] = {
    ast.Add: (ast.Sub,), ast.Sub: (ast.Add,), ast.Mult: (ast.Div,), ast.Div: (ast.Mult,), ast.Pow: (ast.Mult,),
    ast.MatMult: (ast.Mult,), ast.Lt: (ast.GtE, ast.LtE), ast.LtE: (ast.Gt, ast.Lt), ast.Gt: (ast.LtE, ast.GtE),
    ast.GtE: (ast.Lt, ast.Gt), ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.Is: (ast.IsNot,), ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,), ast.NotIn: (ast.In,), ast.And: (ast.Or,), ast.Or: (ast.And,), ast.USub: (ast.UAdd,),
    ast.FloorDiv: (ast.Mult,), ast.Mod: (ast.Mult,), ast.BitAnd: (ast.BitOr,), ast.BitOr: (ast.BitAnd,),
}  # fmt: skip


Change = tuple[int, str, int, Callable[[Any], object]]


def changes(tree: ast.Module) -> list[Change]:
    """Every change that can be made to a module: line, what it is, which node, and what is done to it."""
    nodes = list(ast.walk(tree))
    types = {id(n) for f in nodes for a in _annotations(f) for n in ast.walk(a)}
    return [
        (getattr(node, "lineno", 0), label, at, change)
        for at, node in enumerate(nodes)
        if id(node) not in types
        for label, change in _ways(node)
    ]


def changed(tree: ast.Module, at: int, change: Callable[[Any], object]) -> ast.Module:
    copied = copy.deepcopy(tree)
    change(list(ast.walk(copied))[at])
    return ast.fix_missing_locations(copied)


def _annotations(node: ast.AST) -> list[ast.AST]:
    if isinstance(node, ast.FunctionDef):
        own = [a.annotation for a in (*node.args.args, *node.args.kwonlyargs) if a.annotation]
        return [*own, *([node.returns] if node.returns else []), *node.decorator_list]
    if isinstance(node, ast.ClassDef):
        return [*node.decorator_list]  # frozen, slots: no behaviour that a test should pin
    return [node.annotation] if isinstance(node, ast.AnnAssign) else []


def _ways(node: ast.AST) -> list[tuple[str, Callable[[Any], object]]]:
    """What can be changed in a node: in words, and what does it to the same node of a copy."""
    ways: list[tuple[str, Callable[[Any], object]]] = []
    if isinstance(node, ast.BinOp | ast.UnaryOp | ast.BoolOp | ast.AugAssign):
        for other in SWAPS.get(type(node.op), ()):
            ways.append((f"{type(node.op).__name__} -> {other.__name__}", _put("op", other())))
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        for other in SWAPS.get(type(node.ops[0]), ()):
            ways.append((f"{type(node.ops[0]).__name__} -> {other.__name__}", _put("ops", [other()])))
    if isinstance(node, ast.Constant):
        if isinstance(node.value, bool):
            ways.append((f"{node.value} -> {not node.value}", _put("value", not node.value)))
        elif isinstance(node.value, int | float):
            ways.append((f"{node.value} -> {node.value} + 1", _put("value", node.value + 1)))
        elif isinstance(node.value, str) and node.value.isidentifier():
            ways.append((f"{node.value!r} -> 'XX'", _put("value", "XX")))
    if isinstance(node, ast.IfExp):
        ways.append(("branches exchanged", lambda n: n.__dict__.update(body=n.orelse, orelse=n.body)))
    if isinstance(node, ast.If):
        ways.append(("if never", _put("test", ast.Constant(False))))
    return ways


def _put(name: str, value: object) -> Callable[[Any], object]:
    return lambda node: setattr(node, name, value)


def survives(module: ModuleType, tree: ast.Module, tests: list[str]) -> bool:
    """Whether all tests still pass with a changed module, in a child process."""
    child = os.fork()
    if child == 0:
        os.setpgid(0, 0)
        with Path(os.devnull).open("w") as nowhere:
            os.dup2(nowhere.fileno(), 1)
            os.dup2(nowhere.fileno(), 2)
        code = 1
        with contextlib.suppress(BaseException):
            was = dict(vars(module))
            exec(compile(tree, str(module.__file__), "exec"), vars(module))
            for other in [m for m in list(sys.modules.values()) if m is not module]:
                for name, value in list(vars(other).items()):  # what others have imported of it by name
                    if name in was and value is was[name] and getattr(value, "__module__", None) == module.__name__:
                        setattr(other, name, getattr(module, name, value))
            alone = ["-x", "-q", "-p", "no:cacheprovider", "-n", "0"]
            slow = [name for name in SLOW if name.partition("::")[0] in tests]
            code = int(pytest.main([*alone, *tests, *(f"--deselect={name}" for name in slow)]))
            code = code or (int(pytest.main([*alone, *slow])) if slow else 0)
        os._exit(min(code, 1))
    until = time.monotonic() + LONGEST_S
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status) == 0
        time.sleep(0.02)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return False  # it hangs: noticed


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=250)
    parser.add_argument("--seconds", type=float, default=900.0)
    parser.add_argument("--module", choices=TESTS, default=None)
    parser.add_argument("--seed", type=int, default=3)
    asked = parser.parse_args()
    until = time.monotonic() + asked.seconds
    pool = []
    for name in [asked.module] if asked.module else TESTS:
        module = importlib.import_module(f"hidescan.{name}")
        tests = TESTS[name]
        tree = ast.parse((ROOT / f"hidescan/{name.replace('.', '/')}.py").read_text("utf-8"))
        if not survives(module, tree, tests):
            raise SystemExit(f"{name}: its tests fail without any change")
        pool += [(name, module, tests, tree, *change) for change in changes(tree)]
    chosen = random.Random(asked.seed).sample(pool, min(asked.count, len(pool)))
    tried: Counter[str] = Counter()
    lived: Counter[str] = Counter()
    for name, module, tests, tree, line, label, at, change in chosen:
        if time.monotonic() > until:
            break
        tried[name] += 1
        if survives(module, changed(tree, at, change), tests):
            lived[name] += 1
            print(f"  not noticed: {name}:{line} {label}", flush=True)
    print("| module | changes possible | tried | noticed % (aim 85) |\n|---|---|---|---|")
    for name in tried:
        possible = sum(row[0] == name for row in pool)
        print(f"| {name} | {possible} | {tried[name]} | {100 * (1 - lived[name] / tried[name]):.0f} |")
    total = tried.total()
    print(f"| all | {len(pool)} | {total} | {100 * (1 - lived.total() / max(total, 1)):.1f} |")


if __name__ == "__main__":
    with recorded("mutation"):
        main()

"""Drawings made to keep a reader busy: each is refused in a line with a number, soon and within a bound of memory."""

import json
import re
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from hidescan.basics.errors import BadInput
from hidescan.pieces import apart
from hidescan.pieces.apart import drawing_apart
from hidescan.pieces.drawing import read_drawing
from hidescan.pieces.file import pieces_from
from hidescan.settings.uses import PieceSettings

SETTINGS = PieceSettings()
HEAD = (
    '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="900mm" height="900mm">'
)
SQUARE = '<rect id="a" width="90" height="90"/>'


def svg(inner: str) -> bytes:
    return f"{HEAD}{inner}</svg>".encode()


def doubled(levels: int, reference: str) -> bytes:
    """Each group copies the one before it twice."""
    groups = "".join(
        f'<g id="g{n}"><use {reference.format(n - 1)}/><use {reference.format(n - 1)}/></g>' for n in range(1, levels)
    )
    return svg(f'<g id="g0">{SQUARE}</g>{groups}')


def path_of(points: int) -> str:
    return f'<path id="a" d="M0 0 {" ".join(f"L{n % 90} {n // 90}" for n in range(points))} Z"/>'


def dxf(blocks: str, entities: str) -> bytes:
    head = "0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1024\n9\n$INSUNITS\n70\n4\n0\nENDSEC\n"
    return f"{head}0\nSECTION\n2\nBLOCKS\n{blocks}0\nENDSEC\n0\nSECTION\n2\nENTITIES\n{entities}0\nENDSEC\n0\nEOF\n".encode()


def empty_blocks(levels: int, each: int) -> bytes:
    """Blocks that hold nothing but the next one, many times."""
    insert = "0\nINSERT\n8\na\n2\nB{}\n10\n0\n20\n0\n"
    blocks = "".join(
        f"0\nBLOCK\n8\n0\n2\nB{n}\n70\n0\n10\n0\n20\n0\n3\nB{n}\n1\n\n"
        + (insert.format(n + 1) * each if n < levels - 1 else "")
        + "0\nENDBLK\n8\n0\n"
        for n in range(levels)
    )
    return dxf(blocks, insert.format(0))


READ = """
import json, resource, sys
from hidescan.basics.errors import BadInput
from hidescan.pieces.apart import drawing_apart
from hidescan.settings.uses import PieceSettings
try:
    drawing_apart(sys.stdin.buffer.read(), sys.argv[1], None, PieceSettings())
except BadInput as error:
    print(json.dumps([str(error), resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss]))
"""

HEAVY: dict[str, tuple[str, bytes, str]] = {
    "uses": ("a.svg", doubled(27, 'href="#g{}"'), "shapes, over"),
    "uses by another first letter": ("a.svg", doubled(27, 'href="?g{}"'), "shapes, over"),
    "uses by two references": ("a.svg", doubled(27, 'xlink:href="#none" href="#g{}"'), "shapes, over"),
    "styles": ("a.svg", svg(f"<style>*{{{'a:b;' * 12_500}}}</style>{SQUARE * 2000}"), "characters of styles"),
    "one long shape many times": (
        "a.svg", svg(f"<g id='p'>{path_of(40_000)}</g>" + "<use href='#p'/>" * 900), "characters of shapes",
    ),
    "points": ("a.svg", svg(path_of(100_000)), "points in an outline of a"),
    "outlines": ("a.svg", svg("".join(f'<rect id="r{n}" width="9" height="9"/>' for n in range(3000))), "3000 shapes with"),
    "empty blocks": ("a.dxf", empty_blocks(12, 10), "shapes, over"),
    "a wide spread of blocks": ("a.dxf", empty_blocks(3, 3000), "shapes, over"),
    "points of a polyline": (
        "a.dxf",
        dxf("", "0\nLWPOLYLINE\n5\n1F\n100\nAcDbEntity\n8\na\n100\nAcDbPolyline\n90\n100000\n70\n1\n43\n0\n"
            + "".join(f"10\n{n % 90}\n20\n{n // 90}\n" for n in range(100_000))),
        "points in an outline of a",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", HEAVY)
def test_a_heavy_drawing_is_refused_soon_with_a_number(name: str) -> None:
    file, data, says = HEAVY[name]
    began = time.monotonic()
    # In a process of its own: the most memory that a child took is told of all children that a process ever had.
    done = subprocess.run([sys.executable, "-c", READ, file], input=data, capture_output=True, check=True)
    refused, most_kb = json.loads(done.stdout)
    assert time.monotonic() - began < 10
    assert re.search(says, refused)
    assert "\n" not in refused and any(c.isdigit() for c in refused)
    assert most_kb < 1_200_000


def test_pieces_without_end_are_refused() -> None:
    rules = "[pieces.a]\ncount = 1000\n[pieces.b]\ncount = 1000\npair = true\n"
    data = svg(SQUARE + SQUARE.replace('"a"', '"b"'))
    with pytest.raises(BadInput, match="3000 pieces, over 2000"):
        pieces_from(data, "a.svg", rules, "a.toml", SETTINGS)


def test_whatever_takes_too_long_is_given_up() -> None:
    """A reader that hangs for a reason that nobody thought of: the process of its own is ended."""
    began = time.monotonic()
    with pytest.raises(BadInput, match="given up after 0 s"):
        drawing_apart(svg(SQUARE), "a.svg", None, replace(SETTINGS, most_read_s=0.05))
    assert time.monotonic() - began < 5
    with pytest.raises(BadInput, match="more memory"):
        drawing_apart(svg(SQUARE), "a.svg", None, replace(SETTINGS, read_memory_bytes=60_000_000))


def test_a_drawing_read_apart_is_the_drawing() -> None:
    data = svg(f'{SQUARE}<path id="a-grain" d="M9 9V80"/><path id="open" d="M0 0H50V50"/>')
    here, there = read_drawing(data, "a.svg", None, SETTINGS), drawing_apart(data, "a.svg", None, SETTINGS)
    assert there.problems == here.problems and there.problems
    for one, other in ((here.rings, there.rings), (here.lines, there.lines)):
        assert one.keys() == other.keys() and all((one[key] == other[key]).all() for key in one)


def test_a_module_of_the_folder_that_one_works_in_is_not_loaded(tmp_path: Path) -> None:
    """Drawings come in folders from anybody; such a folder may hold a `shapely.py`."""
    (tmp_path / "shapely.py").write_text("raise SystemExit(9)")
    given = json.dumps({"name": "a.svg", "unit": None, "settings": {}})
    root = str(Path(apart.__file__).parents[2])
    done = subprocess.run(
        [sys.executable, "-P", "-m", "hidescan.pieces.apart", given], input=svg(SQUARE), cwd=tmp_path, capture_output=True,
        env={"PYTHONPATH": root, "PATH": ""}, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr

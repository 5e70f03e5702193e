"""The examples of README and manual are what the program prints.

Where an example does not come out as written, `python -m tests.manual.examples` writes it anew: read the change.
"""

import re
from pathlib import Path

import numpy as np
import pytest
import shapely
from PIL import Image
from shapely.geometry import Polygon

import hidescan
from hidescan.anatomy.zones import lay_zones
from hidescan.hide_map.json_io import to_json
from hidescan.hide_map.model import (
    HideMap,
    Inputs,
    MeasuresEntry,
    MultiPolygonGeometry,
    OutlineEntry,
    PolygonGeometry,
    Ring,
    ZoneEntry,
)
from hidescan.settings import ZoneLines
from tests.manual.examples import PAGES, ROOT, as_run, at_home, printed, with_console
from tests.samples import figure, rectangle_map
from tests.synthetic.cards_on_table import table
from tests.synthetic.strained import Array, strained

MANUAL = ROOT / "hidescan" / "manual"


@pytest.mark.parametrize("page", with_console(), ids=lambda page: page.stem)
def test_console_examples_are_what_the_program_prints(page: Path, tmp_path: Path) -> None:
    text = page.read_text("utf-8")
    with at_home(tmp_path):
        assert as_run(text) == text


def test_the_sample_photo_of_every_console_page_is_there() -> None:
    named = {name for page in PAGES for name in re.findall(r"sample_images/[\w.]+", page.read_text("utf-8"))}
    assert named and all((ROOT / name).exists() for name in named)


def test_the_python_example_runs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code = re.search(r"```python\n(.*?)```", (MANUAL / "python.md").read_text("utf-8"), re.DOTALL)
    assert code is not None
    with at_home(tmp_path):
        exec(compile(code[1], "python.md", "exec"), {"hidescan": hidescan})
    assert re.fullmatch(r"\d\.\d{3} m² ± \d\.\d{3}\n", capsys.readouterr().out)


def _rings(polygon: Polygon) -> tuple[Ring, ...]:
    return tuple(tuple((float(x), float(y)) for x, y in ring.coords) for ring in (polygon.exterior, *polygon.interiors))


def mapped(ring: Array, state: str) -> HideMap:
    """A map of a ring in the hide frame: figures of the ring itself, zones laid on it, a tenth of a percent uncertain."""
    shape = Polygon(ring)
    closed = PolygonGeometry(_rings(shape)[:1])
    width, length = np.ptp(ring, axis=0)
    values = (shape.area, shape.area, shape.area, length, width, shape.length)
    curve = np.array([[0.0, 0.0], [0.0, float(length)]])
    zones = tuple(
        ZoneEntry(
            z.name, MultiPolygonGeometry(tuple(map(_rings, shapely.get_parts(z.polygon)))), z.polygon.area, 1.8, 0.2
        )
        for z in lay_zones(shape, "whole", curve, ZoneLines())
    )
    return rectangle_map(
        outline=OutlineEntry(closed, closed, 0.95, ()),
        measures=MeasuresEntry(*(figure(float(v), 0.001 * float(v)) for v in values)),
        zones=zones,
        marks=(),
        inputs=Inputs(card_scale=(1.0, 1.0), state=state, tannage="commercial"),
    )


def stretch_example(folder: Path) -> str:
    """What `hidescan stretch` prints of an invented hide before and after an uneven pull."""
    hide = strained(np.random.default_rng(5), dots=30)
    (folder / "before.hide.json").write_bytes(to_json(mapped(hide.first, "dried slack")))
    (folder / "after.hide.json").write_bytes(to_json(mapped(hide.second, "dried slack")))
    return printed("hidescan stretch before.hide.json after.hide.json")


def test_the_stretch_example_is_what_the_program_prints(tmp_path: Path) -> None:
    with at_home(tmp_path):
        output = stretch_example(tmp_path)
    assert f"```\n{output}```" in (MANUAL / "stretch.md").read_text("utf-8")


def pieces_example(folder: Path) -> str:
    """What `hidescan pieces` prints of a rendered table with a card and four templates."""
    rgb, _ = table(np.random.default_rng(3), "kraft on white", size_px=(2400, 1800))
    exif = Image.Exif()
    exif.get_ifd(0x8769)[41989] = 27  # focal length in 35 mm film
    Image.fromarray(rgb).save(folder / "table.jpg", quality=95, exif=exif)
    return printed("hidescan pieces table.jpg -o pieces.svg --card-scale 1,1 --thickness 0.02mm")


def test_the_pieces_example_is_what_the_program_prints(tmp_path: Path) -> None:
    with at_home(tmp_path):
        output = pieces_example(tmp_path)
    assert f"```\n{output}```" in (MANUAL / "pieces.md").read_text("utf-8")

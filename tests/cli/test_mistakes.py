"""What people do by mistake, and the line that each gets."""

import os
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from hidescan.basics.errors import BadInput
from hidescan.basics.own_pictures import is_own_picture, stamped
from hidescan.cli.app import main
from hidescan.cli.parsing import card_scale, measured_bars, pair, tape, zone_line
from hidescan.costing.cost import price_from
from hidescan.figures.marked_area import marked_area
from hidescan.hide_map.json_io import to_json
from hidescan.photo.reading import decode_photo, read_photo
from hidescan.pictures.strokes import png
from hidescan.settings import PhotoSettings
from hidescan.shelf.database import open_shelf
from hidescan.shelf.facts import read_price
from hidescan.shelf.parsing import rectangle_mm, thickness_wanted
from hidescan.shelf.register import shelve_map
from tests.samples import rectangle_map

SAMPLES = Path(__file__).parents[2] / "sample_images"
SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="99mm" height="99mm"><rect id="a" width="99" height="99"/></svg>'


@pytest.fixture
def said(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> Callable[..., tuple[int, str]]:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))

    def run(*words: object) -> tuple[int, str]:
        monkeypatch.setattr(sys, "argv", ["hidescan", *map(str, words)])
        try:
            main()
            code = 0
        except SystemExit as stop:
            code = int(stop.code or 0)
        out, error = capsys.readouterr()
        return code, error if code else out + error

    return run


@pytest.mark.parametrize(
    ("read", "comma", "point"),
    [
        (card_scale, "0,998,1,001", "0.998,1.001"),
        (measured_bars, "149,2,198,9", "149.2,198.9"),
        (lambda t: pair(t, "--neck"), "1520,5,803,0", "1520.5,803"),
        (tape, "1-3:184,2cm", "1-3:184.2cm"),
        (zone_line, "shoulder=0,6", "shoulder=0.6"),
        (price_from, "9,50 EUR/ft2", "9.50 EUR/ft2"),
        (read_price, "120,5 EUR", "120.5 EUR"),
        (rectangle_mm, "80,5cmx40cm", "80.5cmx40cm"),
        (thickness_wanted, "butt:1,8mm-2,4mm", "butt:1.8mm-2.4mm"),
    ],
)
def test_decimal_commas_are_read(read: Callable[[str], object], comma: str, point: str) -> None:
    assert read(comma) == read(point)


def test_a_marked_area_is_read_with_a_decimal_comma_but_never_guessed() -> None:
    assert marked_area("11,5ft2").area_mm2 == marked_area("11.5ft2").area_mm2
    for text in ("11,2", "11.2"):
        with pytest.raises(BadInput, match="quarters"):
            marked_area(text)
    with pytest.raises(BadInput, match="may be 1842"):
        tape("1-3:1,842mm")


def test_files_in_the_wrong_order_get_the_right_one(tmp_path: Path, said: Callable[..., tuple[int, str]]) -> None:
    (tmp_path / "m.hide.json").write_bytes(to_json(rectangle_map()))
    (tmp_path / "p.svg").write_text(SVG)
    m, p, photo = tmp_path / "m.hide.json", tmp_path / "p.svg", SAMPLES / "goat_on_concrete.jpg"
    for words, says in (
        (("place", p, m, "-o", tmp_path), f"hidescan place {m} {p} -o DIR"),
        (("place", m, p, p, "-o", tmp_path), "2 drawings"),
        (("place", photo, p, "-o", tmp_path), "it is a photo"),
        (("place", m, photo, "-o", tmp_path), "is a photo, not a drawing"),
        (("map", m), "is a map, not a photo"),
        (("map", p), "is a drawing, not a photo"),
        (("marks", photo), "it is a photo"),
        (("marks", p), "it is a drawing"),
        (("sheet", photo, "-o", tmp_path / "s.pdf"), "it is a photo"),
        (("cost", photo, "--price", "9 EUR"), "it is a photo"),
    ):
        code, line = said(*words)
        assert code == 2 and says in line and line.count("\n") == 1, (words, line)


def test_a_picture_that_hidescan_made_is_no_photo(tmp_path: Path) -> None:
    noise = np.random.default_rng(1).integers(0, 255, (1200, 1600, 3), dtype=np.uint8)
    image, jpeg = Image.fromarray(noise), BytesIO()
    image.save(jpeg, "JPEG", quality=60, exif=Image.Exif())
    own, plain = png(image), jpeg.getvalue()
    assert is_own_picture(own) and not is_own_picture(plain) and is_own_picture(stamped(plain))
    for data in (own, stamped(plain)):
        with Image.open(BytesIO(data)) as read:  # still a sound picture, to another reader
            read.load()
            assert read.size == image.size
        with pytest.raises(BadInput, match="hidescan made"):
            decode_photo(data, "renamed.jpg", PhotoSettings())
    assert (decode_photo(plain, "a.jpg", PhotoSettings()).rgb.shape) == noise.shape
    for name in ("old.map.png", "old.zones.png", "contact-sheet.jpg"):
        (tmp_path / name).write_bytes(plain)
        with pytest.raises(BadInput, match="name of a picture"):
            read_photo(tmp_path / name, PhotoSettings())


def test_no_bytes_break_the_look_at_who_made_a_picture() -> None:
    """Seeded: pictures cut, lengths broken."""
    rng, image = np.random.default_rng(2), Image.new("RGB", (9, 9))
    jpeg = BytesIO()
    image.save(jpeg, "JPEG")
    for whole in (png(image), stamped(jpeg.getvalue())):
        for _ in range(300):
            data = bytearray(whole[: rng.integers(1, len(whole) + 1)])
            data[rng.integers(0, len(data))] ^= 1 << int(rng.integers(0, 8))
            is_own_picture(bytes(data))


def test_the_samples_own_picture_is_refused(said: Callable[..., tuple[int, str]], tmp_path: Path) -> None:
    code, line = said("map", SAMPLES / "mapped_hide.jpg", "-o", tmp_path)
    assert code == 2 and "hidescan made" in line


def test_a_folder_with_folders_inside_says_how_deep_it_is_looked(
    tmp_path: Path, said: Callable[..., tuple[int, str]]
) -> None:
    (tmp_path / "hides" / "spring").mkdir(parents=True)
    code, line = said("map", tmp_path / "hides", "-o", tmp_path / "out")
    assert code == 2 and "one level deep" in line and "spring" in line
    (tmp_path / "hides" / "a.jpg").write_bytes((SAMPLES / "no_card.jpg").read_bytes())
    code, line = said("map", tmp_path / "hides", "-o", tmp_path / "out")
    assert code == 2 and "one level deep" in line and "spring" in line


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="other systems' file names are text")
def test_a_file_name_that_is_no_text_is_named_and_mapping_goes_on(
    tmp_path: Path, said: Callable[..., tuple[int, str]]
) -> None:
    photo = (SAMPLES / "goat_on_concrete.jpg").read_bytes()
    (tmp_path / "goat.jpg").write_bytes(photo)
    Path(os.fsdecode(os.fsencode(tmp_path) + b"/=b\xff.jpg")).write_bytes(photo)
    code, line = said("map", tmp_path, "-o", tmp_path / "out")
    assert code == 2 and "cannot be shown" in line
    table = (tmp_path / "out" / "hides.csv").read_bytes()
    assert b"goat.jpg,yes" in table and b"'=b\\udcff.jpg,no" in table
    assert (tmp_path / "out" / "contact-sheet.jpg").exists()


def test_an_unknown_label_gets_the_nearest_and_find_says_what_came_nearest(
    tmp_path: Path, said: Callable[..., tuple[int, str]]
) -> None:
    path = tmp_path / "s.sqlite"
    with closing(open_shelf(path)) as db:
        shelve_map(db, "buck-2025", to_json(rectangle_map()))
    assert "Did you mean buck-2025?" in said("shelf", "show", "Buck-2052", "--shelf", path)[1]
    assert "shelf list" in said("shelf", "show", "zebra", "--shelf", path)[1]
    line = said("shelf", "find", "--area", "50dm2", "--fits", "3mx2m", "--shelf", path)[1]
    assert "nearest: buck-2025 meets all but --fits" in line
    line = said("shelf", "find", "--area", "500dm2", "--price", "5 EUR", "--shelf", path)[1]
    assert "buck-2025 meets all but --area and --price" in line
    assert "nearest" not in said("shelf", "find", "--area", "50dm2", "--shelf", path)[1]


@pytest.mark.parametrize(
    "words",
    [
        ("cost", "{m}", "--price", "9" * 6000),
        ("cost", "{m}", "--price", "5 EUR", "--waste", "9" * 6000),
        ("cost", "{m}", "--price", "5 EUR", "--marked", "9" * 6000 + "ft2"),
        ("shelf", "cut", "a", "--what", "x", "--count", "9" * 30, "--area", "1dm2"),
        ("shelf", "add", "--label", "a", "--price", "9" * 6000),
        ("shelf", "add", "--label", "a", "--thickness", "9" * 6000 + "mm"),
        ("shelf", "find", "--area", "9" * 6000 + "m2"),
        ("place", "{m}", "{p}", "-o", "{o}", "--seconds", "nan"),
        ("place", "{m}", "{p}", "-o", "{o}", "--rounds", "-5"),
        ("place", "{m}", "{p}", "-o", "{o}", "--rounds", "9" * 30),
        ("place", "{m}", "{p}", "-o", "{o}", "--seed", "9" * 30),
        ("edit", "{m}", "--arrow", "9" * 30),
        ("marks", "{m}", "--grades", "9" * 6000),
        ("shelf", "add", "--label", "a", "--notes", "\udcff"),
        ("shelf", "show", "\udcff"),
        ("edit", "{m}", "--gauge-file", "{g}"),
        ("edit", "{m}", "--merge", "{g}"),
    ],
    ids=lambda words: ascii(" ".join(words))[:60],
)  # fmt: skip
def test_numbers_at_the_edge_get_a_line(words: tuple[str, ...], tmp_path: Path) -> None:
    (tmp_path / "m.hide.json").write_bytes(to_json(rectangle_map()))
    (tmp_path / "p.svg").write_text(SVG)
    (tmp_path / "g.csv").write_text(
        f"x_px,y_px,value,unit,kind,hide_mm\n1,2,{'9' * 320_000},mm,hole,{'1 2, ' * 64_000}\n"
    )
    place = {"m": tmp_path / "m.hide.json", "p": tmp_path / "p.svg", "o": tmp_path / "out", "g": tmp_path / "g.csv"}
    env = {**os.environ, "XDG_DATA_HOME": str(tmp_path / "d"), "XDG_CONFIG_HOME": str(tmp_path / "c")}
    command = [sys.executable, "-c", "from hidescan.cli.app import main; main()", *(w.format(**place) for w in words)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=30, env=env, check=False)
    assert done.returncode == 2 and "Traceback" not in done.stderr, done.stderr[-500:]
    assert len(done.stderr) < 2000

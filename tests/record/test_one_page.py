import sys
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pypdfium2
import pytest

from hidescan.basics.errors import BadInput
from hidescan.cli.app import main
from hidescan.figures.marked_area import compared, marked_area
from hidescan.hide_map.json_io import to_json
from hidescan.hide_map.model import HideMap, PolygonGeometry, WarningEntry
from hidescan.record import comparison as sheet_compare
from hidescan.record import one_page as sheet
from tests.exported import old_map
from tests.samples import figure, rectangle_map

MM_PER_POINT = 25.4 / 72
RGB = np.full((3000, 4000, 3), (150, 110, 70), dtype=np.uint8)
DEAL = sheet.Deal("Invented Hides", "120", "TAG 77", "North Hill")


def words(data: bytes) -> str:
    document = pypdfium2.PdfDocument(data)
    assert len(document) == 1
    return document[0].get_textpage().get_text_range().replace("\r\n", "\n")


def test_the_sheet_stands_alone() -> None:
    hide_map = old_map()
    text = words(sheet.to_bytes(hide_map, name="deer", rgb=RGB, marked=marked_area("6 3/4"), deal=DEAL))
    area = hide_map.measures.area_net
    # 1 ft2 = 9.290304 dm2 exactly.
    assert f"{area.value / 92903.04:.2f} ft²" in text and f"{area.value / 1e4:.1f} dm²" in text
    assert f"± {(area.expanded_uncertainty or 0) / 92903.04:.2f}" in text
    assert "k = 2" in text and "by the quarter foot" in text
    assert "not a type-approved measuring instrument" in text and "not for legal trade" in text
    assert hide_map.photo.sha256 in text and "hidescan 0.1.0" in text and "taken" in text and "settings" in text
    assert "5 mm left round holes" in text  # the rule of the usable area
    for said in ("Usable", "Length", "Width", "State", "Conditioning", "Marked on the hide: 6 3/4 = 6.75 ft²"):
        assert said in text
    for row in hide_map.budget:
        shown = {"corner noise": "card read unsharply", "sampling": "steps along the rim"}.get(row.source, row.source)
        assert shown in text and f"{2 * row.area_percent:.2f} %" in text
    assert text.count("hole\n") == 5
    for said in ("Invented Hides", "120", "TAG 77", "North Hill"):
        assert said in text


def test_a_sheet_for_a_buyer_leaves_the_deal_out() -> None:
    text = words(sheet.to_bytes(rectangle_map(), name="deer", rgb=RGB, deal=None))
    assert not any(label in text for label in ("Seller", "Price", "Licence", "Place"))


@pytest.mark.parametrize(("paper", "size"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_a_full_sheet_keeps_its_lines_apart_on_either_paper(paper: str, size: tuple[float, float]) -> None:
    hole = rectangle_map().marks[0]
    ring = hole.hide_mm.coordinates[0]
    many = tuple(
        replace(
            hole,
            id=f"stain-{n}",
            kind="stain",
            area_mm2=100.0 + n,
            hide_mm=PolygonGeometry((tuple((x + 100, y + 60 * n - 400) for x, y in ring),)),
        )
        for n in range(12)
    )
    doubts = tuple(
        WarningEntry("blur", "The photo is blurred along one direction; hold still and take it again. " * 2)
        for _ in range(6)
    )
    hide_map = rectangle_map(marks=(hole, *many), warnings=doubts, budget=old_map().budget)
    page = pypdfium2.PdfDocument(
        sheet.to_bytes(
            hide_map, name="a rather long name of a hide", paper=paper, rgb=RGB, marked=marked_area("6 1/4"), deal=DEAL
        )
    )[0]
    assert (page.get_width() * MM_PER_POINT, page.get_height() * MM_PER_POINT) == pytest.approx(size, abs=0.01)
    text = page.get_textpage()
    boxes = [text.get_rect(n) for n in range(text.count_rects())]
    for left, bottom, right, top in boxes:
        assert left > 0 and bottom > 0 and right < page.get_width() - 20 and top < page.get_height()
    for (l0, b0, r0, t0), (l1, b1, r1, t1) in combinations(boxes, 2):
        assert min(r0, r1) - max(l0, l1) < 0.5 or min(t0, t1) - max(b0, b1) < 0.5
    assert "smaller marks" in text.get_text_range() and "more warnings" in text.get_text_range()


def test_without_the_photo_it_says_so() -> None:
    text = words(sheet.to_bytes(rectangle_map(), name="deer"))
    assert "without the photo" in text


def test_the_picture_shows_the_hide_in_its_place() -> None:
    data = sheet.to_bytes(old_map(), name="deer", rgb=RGB)
    page = pypdfium2.PdfDocument(data)[0].render(scale=4 * MM_PER_POINT).to_numpy()[..., :3].astype(int)
    brown = (np.abs(page - (70, 110, 150)).max(axis=2) < 12) | (np.abs(page - (150, 110, 70)).max(axis=2) < 12)
    part = brown[4 * 33 : 4 * 160, : 4 * 123]  # the picture's box
    ring = np.array(old_map().outline.hide_mm.coordinates[0])
    (x0, y0), (x1, y1) = ring.min(axis=0), ring.max(axis=0)
    scale = min(108.0 / (x1 - x0), 126.0 / (y1 - y0))
    # What is drawn over it (lines, numbers) takes a few percent.
    assert part.sum() / 16 == pytest.approx(old_map().measures.area_net.value * scale**2, rel=0.06)


def test_the_same_input_gives_the_same_bytes() -> None:
    assert sheet.to_bytes(old_map(), name="x", rgb=RGB) == sheet.to_bytes(old_map(), name="x", rgb=RGB)
    pair = [("a", old_map()), ("b", rectangle_map())]
    assert sheet_compare.to_bytes(pair) == sheet_compare.to_bytes(pair)


def test_a_certainty_is_never_rounded_up_to_certain() -> None:
    mark = replace(rectangle_map().marks[0], confidence=0.9999)
    assert "sure to 99 %" in words(sheet.to_bytes(rectangle_map(marks=(mark,)), name="x"))


# Common practice, no source: whole feet and a small digit for quarters, 34 with a small 2 for 34.5 ft2.
@pytest.mark.parametrize(
    ("text", "ft2", "quarters"),
    [
        ("11 2/4", 11.5, True),
        ("11 1/2", 11.5, True),
        ("11 0/4", 11.0, True),
        ("3/4", 0.75, True),
        ("11 3/4 ft2", 11.75, True),
        ("11.5ft2", 11.5, False),
        ("11.5 sqft", 11.5, False),
        ("9.290304 dm2", 1.0, False),
        ("0.09290304m2", 1.0, False),
    ],
)
def test_marked_areas_are_read(text: str, ft2: float, quarters: bool) -> None:
    read = marked_area(text)
    assert read.area_mm2 == pytest.approx(ft2 * 92903.04)
    assert read.quarters is quarters


@pytest.mark.parametrize("text", ["11.2", "11.1", "34.3"])
def test_a_decimal_that_may_be_quarters_is_asked_back(text: str) -> None:
    whole, digit = text.split(".")
    with pytest.raises(BadInput, match=f"{whole} {digit}/4"):
        marked_area(text)


@pytest.mark.parametrize(
    "text", ["", "11", "11.5", "11 5/4", "0/4", "11 1/3", "-3ft2", "nan", "11 oz", "0ft2", "1e9ft2"]
)
def test_other_marked_areas_are_refused_with_an_example(text: str) -> None:
    with pytest.raises(BadInput, match="11 2/4"):
        marked_area(text)


@pytest.mark.parametrize(
    ("marked", "said"),
    [
        ("10.05ft2", "inside our ±"),
        ("10.15ft2", "outside our ±"),
        ("10 1/4", "outside our ±"),
        ("9 3/4", "outside our ±"),
        ("10 0/4", "inside our ±"),
    ],
)
def test_the_marked_area_is_judged_by_the_plus_or_minus(marked: str, said: str) -> None:
    ours = figure(10 * 92903.04, 0.05 * 92903.04)  # U = 0.1 ft2
    assert compared(marked_area(marked), ours).split(": ")[1].startswith(said)


def test_rounding_to_quarters_is_named_where_it_explains_the_difference() -> None:
    ours = figure(10.05 * 92903.04, 0.05 * 92903.04)
    assert "rounding" in compared(marked_area("10 1/4"), ours)  # 0.2 = 0.1 + up to 0.125
    assert "rounding" not in compared(marked_area("10.25ft2"), ours)
    assert "rounding" not in compared(marked_area("10 2/4"), ours)


def test_two_hides_are_compared_on_one_page() -> None:
    small, large = rectangle_map(), old_map()
    text = words(sheet_compare.to_bytes([("one", small), ("two", large)]))
    assert "6.45 ft²" in text and "two has" in text and "type-approved" in text and "same scale" in text
    # JCGM 100, 5.1.2: U of a difference of independent figures is the root of the sum of squares.
    a, b = small.measures.area_net.expanded_uncertainty or 0, large.measures.area_net.expanded_uncertainty or 0
    assert f"{(a * a + b * b) ** 0.5 / 92903.04:.2f} ft²)" in text


def test_more_hides_than_a_page_holds_are_refused() -> None:
    with pytest.raises(BadInput, match="up to 5"):
        sheet_compare.to_bytes([("x", rectangle_map())] * 6)


def run(monkeypatch: pytest.MonkeyPatch, *words: object) -> int:
    monkeypatch.setattr(sys, "argv", ["hidescan", *map(str, words)])
    try:
        main()
    except SystemExit as stop:
        return int(stop.code or 0)
    return 0


def kept(folder: Path, name: str, hide_map: HideMap) -> Path:
    path = folder / f"{name}.hide.json"
    path.write_bytes(to_json(hide_map))
    return path


def test_the_command_writes_one_sheet_or_a_comparison(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    one, two = kept(tmp_path, "one", rectangle_map()), kept(tmp_path, "two", old_map())
    out = tmp_path / "sheet.pdf"
    assert run(monkeypatch, "sheet", one, "-o", out, "--price", "120", "--marked", "6 2/4") == 0
    assert "without it" in capsys.readouterr().err  # no photo there, in one line
    assert "Price" in words(out.read_bytes())
    assert run(monkeypatch, "sheet", one, "-o", out) == 2
    assert "--force" in capsys.readouterr().err
    assert run(monkeypatch, "sheet", one, "-o", out, "--price", "120", "--for-buyer", "--force") == 0
    assert "Price" not in words(out.read_bytes())
    assert run(monkeypatch, "sheet", one, two, "-o", out, "--force") == 0
    assert "Hides compared" in words(out.read_bytes())
    assert run(monkeypatch, "sheet", one, two, "-o", out, "--force", "--marked", "6 2/4") == 2
    assert run(monkeypatch, "sheet", one, "-o", out, "--force", "--marked", "6.2") == 2

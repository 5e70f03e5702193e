from collections.abc import Callable

import pytest

from hidescan.basics.errors import BadInput
from hidescan.cli import parsing as options
from hidescan.hide_map.model import GaugeInput, TapeInput


def test_what_is_read() -> None:
    assert options.pair("1520,803.5", "--neck") == (1520.0, 803.5)
    assert options.card_scale("0.998,1.001") == (0.998, 1.001)
    assert options.measured_bars("149.2,198.9") == pytest.approx((149.2 / 150, 198.9 / 200))
    assert options.tape("1-3:1842mm") == TapeInput(1, 3, 1842.0)
    assert options.tape("0-9:72.5in") == TapeInput(0, 9, 1841.5)
    assert options.card_numbers("1-4") == (1, 2, 3, 4)


@pytest.mark.parametrize(
    ("reader", "text"),
    [
        (options.card_scale, "1"),
        (options.card_scale, "98,101"),
        (options.card_scale, "nan,1"),
        (options.measured_bars, "200,150"),
        (options.tape, "1-1:900mm"),
        (options.tape, "1-3:900"),
        (options.tape, "13:900mm"),
        (options.card_numbers, "4-1"),
        (options.card_numbers, "12"),
        (options.card_numbers, ""),
        (lambda text: options.pair(text, "--neck"), "1,2,3"),
        (lambda text: options.pair(text, "--neck"), "nan,2"),
    ],
)
def test_what_is_refused_in_one_line(reader: Callable[[str], object], text: str) -> None:
    with pytest.raises(BadInput) as caught:
        reader(text)
    assert "\n" not in str(caught.value)


def test_gauge_readings() -> None:
    """1 oz = 1/64 in = 0.396875 mm exactly (trade definition)."""
    assert options.gauge("1520,803:4oz", 0.08) == GaugeInput((1520.0, 803.0), 1.5875, 0.08)
    table = "x_px,y_px,value,unit\n10,20,1.8,mm\n30,40,5/64,in\n"
    readings = options.gauge_table(table, "g.csv", 0.08)
    assert [r.thickness_mm for r in readings] == pytest.approx([1.8, 25.4 * 5 / 64])
    with pytest.raises(BadInput, match="unit is missing"):
        options.gauge_table("x_px,y_px,value\n1,2,3\n", "g.csv", 0.08)
    with pytest.raises(BadInput, match="line 2"):
        options.gauge_table("x_px,y_px,value,unit\n1,2,3,ft\n", "g.csv", 0.08)


def test_zone_lines_and_marks() -> None:
    assert options.zone_line("shoulder=0.6") == ("shoulder", 0.6)
    assert options.mark_correction("hole-2:rejected") == ("hole-2", "rejected")
    assert options.mark_correction("stain-5:brand") == ("stain-5", "brand")
    for reader, text in (
        (options.zone_line, "shoulder=x"),
        (options.zone_line, "knee=0.4"),
        (options.mark_correction, "hole-2"),
        (options.mark_correction, "hole-2:burn"),
    ):
        with pytest.raises(BadInput):
            reader(text)

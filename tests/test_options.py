from collections.abc import Callable

import pytest

from hidescan import options
from hidescan.hidemap import TapeInput
from hidescan.problems import BadInput


def test_what_is_read() -> None:
    assert options.pair("1520,803.5", "--neck") == (1520.0, 803.5)
    assert options.card_scale("0.998,1.001") == (0.998, 1.001)
    assert options.measured_bars("149.2,198.9") == pytest.approx((149.2 / 150, 198.9 / 200))
    assert options.tape("1-3:1842mm") == TapeInput(1, 3, 1842.0)
    assert options.tape("0-9:72.5in") == TapeInput(0, 9, 1841.5)
    assert options.card_numbers("1-4") == (1, 2, 3, 4)
    assert options.form("side") == "side"
    assert options.form(None) is None
    assert options.face("flesh") == "flesh"


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
        (options.form, "half"),
        (options.face, "hair"),
        (lambda text: options.pair(text, "--neck"), "1,2,3"),
        (lambda text: options.pair(text, "--neck"), "nan,2"),
    ],
)
def test_what_is_refused_in_one_line(reader: Callable[[str], object], text: str) -> None:
    with pytest.raises(BadInput) as caught:
        reader(text)
    assert "\n" not in str(caught.value)

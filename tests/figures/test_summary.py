import re
from dataclasses import replace

from hidescan.figures.summary import MOST_LINES, area_with_u, figure_lines, summary_lines
from hidescan.hide_map.model import MeasureEntry, WarningEntry
from tests.samples import rectangle_map


def test_the_summary_says_the_figures_with_their_uncertainty() -> None:
    """599,600 mm2 is 6.45 ft2 and 60.0 dm2 (1 ft2 = 92,903.04 mm2 exactly)."""
    lines = summary_lines("hide", rectangle_map(), "ft")
    assert "6.45 ft² ± 0.03" in lines[1]
    assert "60.0 dm²" in lines[1]
    assert "6½ ft²" in lines[1]
    assert "1 hole" in "\n".join(lines)


def test_metric_units() -> None:
    assert "60.0 dm² ± 0.3" in summary_lines("hide", rectangle_map(), "metric")[1]
    assert figure_lines(rectangle_map(), "metric")[1] == "1000 mm x 600 mm"


def test_it_never_passes_twelve_lines() -> None:
    many = tuple(WarningEntry(f"w{i}", f"Something {i}.") for i in range(20))
    lines = summary_lines("hide", rectangle_map(warnings=many), "ft")
    assert len(lines) == MOST_LINES
    assert "more warnings" in lines[-1]


def test_an_unsure_neck_asks_to_be_checked() -> None:
    back = rectangle_map().back_line
    unsure = rectangle_map(back_line=replace(back, end_confidence=0.6))
    assert any("CHECK" in line for line in summary_lines("hide", unsure, "ft"))
    assert not any("CHECK" in line for line in summary_lines("hide", rectangle_map(), "ft"))


def test_a_piece_without_back_line_says_what_that_costs() -> None:
    piece = rectangle_map(back_line=replace(rectangle_map().back_line, source="none"))
    assert any("no known stretch direction" in line for line in summary_lines("hide", piece, "ft"))


def test_an_unknown_uncertainty_is_said() -> None:
    assert area_with_u(MeasureEntry(678000.0, None, 2.0), "ft") == "7.30 ft², uncertainty unknown"


def test_metric_output_holds_no_feet_or_inches() -> None:
    text = "\n".join([*summary_lines("hide", rectangle_map(), "metric"), *figure_lines(rectangle_map(), "metric")])
    assert not re.search(r"ft²|\bfoot\b|\d in\b|\boz\b", text)


def test_marks_are_counted_in_their_own_plural() -> None:
    (hole,) = rectangle_map().marks
    scratches = tuple(replace(hole, id=f"scratch-{n}", kind="scratch") for n in (1, 2))
    assert "2 scratches" in "\n".join(summary_lines("hide", rectangle_map(marks=scratches), "ft"))

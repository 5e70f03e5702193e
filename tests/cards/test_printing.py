from pathlib import Path

import numpy as np
import pypdfium2
import pytest

from hidescan.cards.detection import find_cards
from hidescan.cards.pattern import A4_MM, LETTER_MM, PATTERN_MM
from hidescan.cards.printing import Paper, cards_pdf
from hidescan.settings import CardSettings

DPI = 600
CALIBRATION = Path(__file__).parents[2] / "calibration" / "cards"
PAPERS: list[Paper] = ["a4", "letter"]


def rendered_mm(data: bytes, page: int = 0) -> tuple[np.ndarray, float]:
    """The page drawn by PDFium (a second library), grey, and its mm per pixel."""
    document = pypdfium2.PdfDocument(data)
    image = document[page].render(scale=DPI / 72).to_pil().convert("L")
    return np.asarray(image), 25.4 / DPI


def dark_runs(line: np.ndarray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.r_[0, (line < 128).astype(int), 0]))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


@pytest.mark.parametrize("paper", PAPERS)
def test_pattern_and_bars_are_true_to_scale(paper: Paper) -> None:
    """ISO 216 A4 is 210 x 297 mm; ANSI/ASME Y14.1 size A is 8.5 x 11 in."""
    grey, mm = rendered_mm(cards_pdf((1,), paper))
    size = A4_MM if paper == "a4" else LETTER_MM
    np.testing.assert_allclose(np.array(grey.shape[::-1]) * mm, size, atol=0.1)
    left, top = (size[0] - PATTERN_MM[0]) / 2, (size[1] - PATTERN_MM[1]) / 2

    row = grey[int((top + 20) / mm)]  # through the first row's black squares
    column = grey[:, int((left + 20) / mm)]
    inside = [(a, b) for a, b in dark_runs(row) if (b - a) * mm > 40]
    down = [(a, b) for a, b in dark_runs(column) if (b - a) * mm > 40]
    assert inside[0][0] * mm == pytest.approx(left, abs=0.1)
    assert down[0][0] * mm == pytest.approx(top, abs=0.1)
    # The right-hand and bottom edges of the pattern: the second row's last and the last row's first square are black.
    row2 = grey[int((top + 65) / mm)]
    assert max(b for a, b in dark_runs(row2) if (b - a) * mm > 40) * mm == pytest.approx(left + 180, abs=0.1)
    assert down[-1][1] * mm == pytest.approx(top + 225, abs=0.1)

    ticks = [(a + b) / 2 * mm for a, b in dark_runs(grey[int((top + 225 + 9 + 2) / mm)]) if (b - a) * mm < 0.5]
    assert ticks[-1] - ticks[0] == pytest.approx(150.0, abs=0.1)
    ticks = [(a + b) / 2 * mm for a, b in dark_runs(grey[:, int((left + 180 + 6.5 + 1.5) / mm)]) if (b - a) * mm < 0.5]
    assert ticks[-1] - ticks[0] == pytest.approx(200.0, abs=0.1)


@pytest.mark.parametrize("paper", PAPERS)
def test_all_corners_of_every_card_are_read_from_the_print(paper: Paper) -> None:
    data = cards_pdf(tuple(range(10)), paper)
    for number in range(10):
        document = pypdfium2.PdfDocument(data)
        grey = np.asarray(document[number].render(scale=150 / 72).to_pil().convert("L"))
        (card,) = find_cards(grey, CardSettings()).cards
        assert (card.number, len(card.corners_px)) == (number, 12)


@pytest.mark.parametrize("paper", PAPERS)
def test_nothing_is_drawn_where_printers_cannot_print(paper: Paper) -> None:
    """Most desktop printers leave 4 to 6 mm free (common practice, no source)."""
    grey, mm = rendered_mm(cards_pdf((8,), paper))
    edge = int(5.9 / mm)
    assert min(part.min() for part in (grey[:edge], grey[-edge:], grey[:, :edge], grey[:, -edge:])) > 250


@pytest.mark.parametrize("paper", PAPERS)
def test_the_prints_kept_with_the_project_are_these(paper: Paper) -> None:
    assert (CALIBRATION / f"cards-1-4-{paper}.pdf").read_bytes() == cards_pdf((1, 2, 3, 4), paper)


def test_viewers_are_told_not_to_scale() -> None:
    assert b"/PrintScaling /None" in cards_pdf((1,), "a4")

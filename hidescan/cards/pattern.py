"""The reference card's pattern: its measures, its corners and every printed edge.

The card is an OpenCV ChArUco board of 4 x 5 squares of 45 mm with 34 mm markers from DICT_5X5_100; card number k (0-9)
carries the marker ids 10 k ... 10 k + 9. Board frame: origin at the pattern's top left corner, x right, y down, mm.
"""

from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points

if TYPE_CHECKING:
    import cv2

COLUMNS, ROWS = 4, 5
SQUARE_MM, MARKER_MM = 45.0, 34.0
PATTERN_MM = (COLUMNS * SQUARE_MM, ROWS * SQUARE_MM)  # 180 x 225
MARKERS = 10  # a card's count of markers: one in each white square
MARKER_CELLS = 7  # a 5 x 5 marker with its black border
TAPE_MARK_MM = (90.0, -14.0)  # board frame: the cross in a ring above the pattern
A4_MM, LETTER_MM = (210.0, 297.0), (215.9, 279.4)  # ISO 216; ANSI/ASME Y14.1 size A


def inner_corners_mm() -> Points:
    """The 12 inner corners in OpenCV's order, board frame, (12, 2)."""
    x, y = np.meshgrid(np.arange(1, COLUMNS) * SQUARE_MM, np.arange(1, ROWS) * SQUARE_MM)
    return np.column_stack([x.ravel(), y.ravel()])


def paper_corners_mm() -> Points:
    """Corners of the sheet that the pattern is centred on, board frame, (4, 2): the hull of A4 and Letter."""
    middle = np.array(PATTERN_MM) / 2
    half = np.maximum(A4_MM, LETTER_MM) / np.array(2.0)
    corners: Points = middle + half * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    return corners


def dictionary() -> "cv2.aruco.Dictionary":
    """DICT_5X5_100."""
    import cv2

    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)


def board(number: int) -> "cv2.aruco.CharucoBoard":
    """OpenCV's board of card `number`."""
    import cv2

    return cv2.aruco.CharucoBoard(
        (COLUMNS, ROWS), SQUARE_MM, MARKER_MM, dictionary(), np.arange(MARKERS * number, MARKERS * (number + 1))
    )


@dataclass(frozen=True, slots=True, eq=False)
class PrintedEdges:
    """Straight edges between black and white.

    Attributes
    ----------
    start_mm, end_mm
        (M, 2) their ends, board frame.
    outward
        (M, 2) unit vectors across them from black to white.
    clear_mm
        (M,) how far from the edge, on either side, nothing else is printed.
    """

    start_mm: Points
    end_mm: Points
    outward: Points
    clear_mm: NDArray[np.float64]


@cache
def printed_edges(number: int) -> PrintedEdges:
    """Every edge of card `number`: sides of the black squares, and where a marker's cells change tone."""
    border = (SQUARE_MM - MARKER_MM) / 2
    cell = MARKER_MM / MARKER_CELLS
    rows: list[tuple[float, ...]] = []
    markers = iter(range(MARKERS * number, MARKERS * (number + 1)))
    for row in range(ROWS):
        for column in range(COLUMNS):
            corner = np.array([column, row]) * SQUARE_MM
            if (row + column) % 2 == 0:
                rows += cell_edges(np.ones((1, 1), dtype=bool), corner, SQUARE_MM, border)
            else:
                black = dictionary().generateImageMarker(next(markers), MARKER_CELLS) == 0
                rows += cell_edges(black, corner + border, cell, cell)
    table = np.array(rows)
    return PrintedEdges(table[:, 0:2], table[:, 2:4], table[:, 4:6], table[:, 6])


def cell_edges(black: NDArray[np.bool_], corner_mm: Points, cell_mm: float, clear_mm: float) -> list[tuple[float, ...]]:
    """Edges of a grid of cells on white: start, end, direction from black to white, clear distance, one a row."""
    rows: list[tuple[float, ...]] = []
    for upright in (False, True):  # lines along x first, then the same of the grid turned over
        grid = black.T if upright else black
        step = np.diff(np.pad(grid, ((1, 1), (0, 0))).astype(int), axis=0)  # +1 where black begins below the line
        for line, signs in enumerate(step):
            ends = np.flatnonzero(np.diff(np.r_[0, signs, 0]))
            for a, b in pairwise(ends.tolist()):
                if not signs[a]:
                    continue
                along, across = np.array([[a, line], [b, line]]) * cell_mm, np.array([0.0, -float(signs[a])])
                if upright:
                    along, across = along[:, ::-1], across[::-1]
                rows.append((*(along + corner_mm).ravel(), *across, clear_mm))
    return rows

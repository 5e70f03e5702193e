"""The leather's shade: CIELAB (D65), measured against the white and the black of the cards beside it.

Between two photos the light differs in strength and colour. The card's paper white and printed black are the same in
both: each channel is scaled in linear light so that they come out at fixed reflectances (von Kries scaling with a known
white). The difference of two shades is CIEDE2000.
"""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points, rotation_2d
from hidescan.cards.pattern import COLUMNS, MARKER_MM, ROWS, SQUARE_MM, paper_corners_mm
from hidescan.floor.lying import from_board
from hidescan.hide_map.model import HideMap
from hidescan.shelf.settings import ShadeSettings

if TYPE_CHECKING:
    from collections.abc import Iterable

Lab = tuple[float, float, float]


def measured_shade(rgb: NDArray[np.uint8], hide_map: HideMap, settings: ShadeSettings) -> Lab | NotFound:
    """The median shade of the hide in a photo.

    Parameters
    ----------
    rgb
        The upright photo, (H, W, 3), sRGB.
    hide_map
        Its map.

    Returns
    -------
    L*, a*, b* (D65, 2 degree observer), or `NotFound` where no card's white and black can be read.
    """
    from skimage.color import rgb2lab

    ends = _white_and_black(rgb, hide_map, settings)
    if isinstance(ends, NotFound):
        return ends
    white, black = ends
    seen = _linear(_hide_colours(rgb, hide_map, settings))
    share = (seen - black) / (white - black)
    reflectance = settings.black_reflectance + share * (settings.white_reflectance - settings.black_reflectance)
    lab = np.median(rgb2lab(_srgb(np.clip(reflectance, 0.0, 1.0))[None])[0], axis=0)
    return float(lab[0]), float(lab[1]), float(lab[2])


def difference(one: Lab, others: NDArray[np.float64]) -> NDArray[np.float64]:
    """CIEDE2000 between a shade and others (N, 3)."""
    from skimage.color import deltaE_ciede2000

    apart = deltaE_ciede2000(np.broadcast_to(one, others.shape), others)  # type: ignore[no-untyped-call]
    return np.asarray(apart, dtype=np.float64)


def _white_and_black(
    rgb: NDArray[np.uint8], hide_map: HideMap, settings: ShadeSettings
) -> tuple[NDArray[np.float64], NDArray[np.float64]] | NotFound:
    """Linear (3,) of paper white and printed black: the medians over all cards."""
    rim_mm = (SQUARE_MM - MARKER_MM) / 2
    if rim_mm < settings.least_patch_px * hide_map.camera.mm_per_px:
        return NotFound("shade-coarse", "The cards are too small in the photo to read their white.", "Go closer.")
    whites, blacks = [], []
    for row in range(ROWS):
        for column in range(COLUMNS):
            middle = np.array([column + 0.5, row + 0.5]) * SQUARE_MM
            if (row + column) % 2 == 0:  # the pattern starts with a black square
                blacks.append(middle)
            else:  # a white square: the middle of the rim around its marker, on each side
                reach = (SQUARE_MM - rim_mm) / 2
                whites += [middle + reach * np.array(step) for step in ((1, 0), (-1, 0), (0, 1), (0, -1))]
    white = np.median(_linear(_on_cards(rgb, hide_map, np.array(whites))), axis=0)
    black = np.median(_linear(_on_cards(rgb, hide_map, np.array(blacks))), axis=0)
    if (white - black).min() < settings.least_contrast:
        return NotFound("shade-flat", "The cards' white and black are too alike to judge colour by.", "More light.")
    return white, black


def _on_cards(rgb: NDArray[np.uint8], hide_map: HideMap, board_mm: Points) -> NDArray[np.uint8]:
    """Colours of all cards at points of the board frame (x right, y down), (N, 3)."""
    local = from_board(board_mm)
    at = [local @ rotation_2d(card.angle_deg).T + card.center_mm for card in hide_map.cards]
    return _colours(rgb, hide_map.camera_over_hide().px_from_mm(np.vstack(at)))


def _hide_colours(rgb: NDArray[np.uint8], hide_map: HideMap, settings: ShadeSettings) -> NDArray[np.uint8]:
    """Colours of the hide without its rim, its marks and the cards that lie on it, at regularly spaced points."""
    import shapely

    outer, *holes = hide_map.outline.photo_px.coordinates
    region = Polygon(outer, holes).buffer(-settings.rim_mm / hide_map.camera.mm_per_px)
    marks = (Polygon(mark.photo_px.coordinates[0]) for mark in hide_map.marks if mark.status != "rejected")
    region = region.difference(shapely.union_all([*marks, *_papers_px(hide_map)]))
    x0, y0, x1, y1 = region.bounds
    step = max(1.0, ((x1 - x0) * (y1 - y0) / settings.points) ** 0.5)
    x, y = (grid.ravel() for grid in np.meshgrid(np.arange(x0, x1, step), np.arange(y0, y1, step)))
    shapely.prepare(region)
    inside = shapely.intersects_xy(region, x, y)
    return _colours(rgb, np.column_stack([x[inside], y[inside]]))


def _papers_px(hide_map: HideMap) -> "Iterable[Polygon]":
    """The cards' sheets in the photo, with a little around them for their shadow."""
    camera, local = hide_map.camera_over_hide(), 1.1 * from_board(paper_corners_mm())
    for card in hide_map.cards:
        yield Polygon(camera.px_from_mm(local @ rotation_2d(card.angle_deg).T + card.center_mm))


def _colours(rgb: NDArray[np.uint8], px: Points) -> NDArray[np.uint8]:
    at = np.rint(px).astype(np.intp)
    seen = ((at >= 0) & (at < (rgb.shape[1], rgb.shape[0]))).all(axis=1)
    return rgb[at[seen, 1], at[seen, 0]]


def _linear(rgb: NDArray[np.uint8]) -> NDArray[np.float64]:
    """SRGB to linear light (IEC 61966-2-1), 0 to 1."""
    v = rgb / 255.0
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def _srgb(linear: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)

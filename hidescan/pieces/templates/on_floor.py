"""What lies on the floor beside the cards, separated by colour in a reduced copy of the photo.

The picture's border shows what the floor looks like. What else crosses the border (a card's sheet that leaves the
picture, a template that does) keeps to one stretch of it and is of a colour of its own, and is not taken for floor.
GrabCut (Rother, Kolmogorov and Blake 2004) settles the rest.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hidescan.basics import opencv
from hidescan.basics.geometry import Points
from hidescan.cards.pattern import board, paper_corners_mm
from hidescan.floor.lying import from_board
from hidescan.mapping.floor import Floor, papers_mm
from hidescan.settings.uses import TemplateSettings

Image = NDArray[np.uint8]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Thing:
    """Something on the floor, in the reduced copy: its own mask, that of all other things and sheets, its box."""

    mask: Mask
    others: Mask
    box: tuple[int, int, int, int]
    touches: bool


def sheets_mm(floor: Floor) -> list[Points]:
    """Sheets of all cards on the floor, (4, 2) each: also of those of which the picture shows no more than a marker."""
    sheets, local = papers_mm(floor.plane.places), from_board(paper_corners_mm())
    placed = {place.number for place in floor.plane.places}
    for number, marker, corners_px in floor.search.markers:
        if number in placed:
            continue
        own = from_board(np.asarray(board(number).getObjPoints()[marker], dtype=np.float64)[:, :2])
        seen = floor.plane.camera.mm_from_px(corners_px)
        a, b = (points @ np.array([1, 1j]) for points in (own, seen))
        turn = np.vdot(a - a.mean(), b - b.mean())
        sheet = (local @ np.array([1, 1j]) - a.mean()) * turn / abs(turn) + b.mean()
        sheets.append(np.column_stack([sheet.real, sheet.imag]))
    return sheets


def things(rgb: Image, sheets_px: list[Points], settings: TemplateSettings) -> tuple[list[Thing], float]:
    """What lies on the floor, in a reduced copy; and the copy's scale (copy px per photo px)."""
    import cv2

    scale = min(1.0, settings.coarse_px / max(rgb.shape[:2]))
    w, h = (round(scale * side) for side in rgb.shape[1::-1])
    small = opencv.reduced(rgb, (w, h))
    sheets = np.zeros((h, w), np.uint8)
    for corners in sheets_px:
        cv2.fillPoly(sheets, [np.rint((corners + 0.5) * scale - 0.5).astype(np.int32)], 1)
    sheets = np.asarray(cv2.dilate(sheets, np.ones((2 * settings.sheet_px + 1,) * 2, np.uint8)), dtype=np.uint8)
    away, usual = _away_from_floor(small, sheets, settings)
    scaled = np.clip(away * (100.0 / max(usual, 1.0)), 0, 255).astype(np.uint8)
    limit = max(cv2.threshold(scaled[sheets == 0].reshape(-1, 1), 0, 255, cv2.THRESH_OTSU)[0], 100.0)
    mask = np.where(scaled > limit, cv2.GC_PR_FGD, cv2.GC_PR_BGD).astype(np.uint8)
    mask[scaled < 0.3 * limit] = cv2.GC_BGD
    mask[sheets > 0] = cv2.GC_BGD
    if not (mask == cv2.GC_PR_FGD).any():
        return [], scale
    cv2.setRNGSeed(1)
    models = np.zeros((1, 65)), np.zeros((1, 65))
    cv2.grabCut(small, mask, (0, 0, 1, 1), *models, settings.grabcut_rounds, cv2.GC_INIT_WITH_MASK)
    found = ((mask == cv2.GC_PR_FGD) | (mask == cv2.GC_FGD)).astype(np.uint8)
    whole = cv2.morphologyEx(found, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    found &= cv2.dilate(whole, np.ones((7, 7), np.uint8))  # crumbs and hairs are gone, sharp corners come back
    return _apart(found, sheets > 0), scale


def _apart(found: Image, sheets: Mask) -> list[Thing]:
    """One thing for each connected part."""
    import cv2

    h, w = found.shape
    labels, stats = opencv.parts(found)
    made = []
    for label, (x, y, bw, bh, area) in enumerate(stats.tolist()):
        if area < 100:
            continue
        own = (labels == label).astype(np.uint8)
        contours, _ = cv2.findContours(own, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        cv2.drawContours(own, contours, -1, 1, cv2.FILLED)  # ink is no hole
        touches = x <= 1 or y <= 1 or x + bw >= w - 1 or y + bh >= h - 1
        others = ((found > 0) & (own == 0)) | sheets
        made.append(Thing(own > 0, others, (x, y, bw, bh), touches))
    return made


def _away_from_floor(small: Image, sheets: Image, settings: TemplateSettings) -> tuple[NDArray[np.float32], float]:
    """Distance of each pixel's colour to the floor's, (H, W), and how far the floor itself goes (99 of 100)."""
    import cv2

    h, w = small.shape[:2]
    band = max(3, round(settings.border_share * min(h, w)))
    lab = cv2.cvtColor(cv2.GaussianBlur(small, (0, 0), 1.5), cv2.COLOR_RGB2LAB).astype(np.float32)
    lab[..., 0] *= settings.lightness_weight
    border = np.ones((h, w), np.bool_)
    border[band:-band, band:-band] = False
    rows, columns = np.nonzero(border & (sheets == 0))
    colours = lab[rows, columns]
    palette = _palette(colours, settings)
    nearest = np.argmin([np.linalg.norm(colours - colour, axis=1) for colour in palette], axis=0)
    cell = max(band, (h + w) // 40)
    cells = (rows // cell) * (w // cell + 1) + columns // cell
    keep = _of_the_floor(palette, nearest, cells, settings)
    away = np.min([np.linalg.norm(lab - colour, axis=2) for colour in palette[keep]], axis=0).astype(np.float32)
    return away, float(np.percentile(away[rows, columns][keep[nearest]], 99))


def _of_the_floor(
    palette: NDArray[np.float32], nearest: NDArray[np.int64], cells: NDArray[np.int64], settings: TemplateSettings
) -> Mask:
    """Which colours of the border are the floor's: those seen all along it, and those close to them."""
    total = len(np.unique(cells))
    spread = np.array([len(np.unique(cells[nearest == k])) / total for k in range(len(palette))])
    keep = spread >= min(settings.floor_spread, float(spread.max()))
    for _ in palette:  # boards and shade are linked by what lies between
        gaps = np.min([np.linalg.norm(palette - colour, axis=1) for colour in palette[keep]], axis=0)
        keep = keep | (gaps < settings.floor_step)
    return np.asarray(keep)


def _palette(colours: NDArray[np.float32], settings: TemplateSettings) -> NDArray[np.float32]:
    """Colours of the border, (K, 3)."""
    import cv2

    cv2.setRNGSeed(1)
    sample = np.ascontiguousarray(colours[:: max(1, len(colours) // 20000)])
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 20, 0.5)
    labels = np.zeros((len(sample), 1), np.int32)
    _, _, centres = cv2.kmeans(sample, settings.floor_colours, labels, stop, 2, cv2.KMEANS_PP_CENTERS)
    return np.asarray(centres, dtype=np.float32)

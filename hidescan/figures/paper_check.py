"""The user's own proof: a plain sheet of paper, whose size a standard fixes, measured as if it were a hide."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points, counter_clockwise, resample
from hidescan.camera.model import Camera
from hidescan.cards.blur import edge_blur_px
from hidescan.cards.pattern import A4_MM, LETTER_MM
from hidescan.figures.measures import HeightPriors, HideRims, Measures, Rim, measure
from hidescan.floor.parameters import Prior
from hidescan.floor.solution import Plane
from hidescan.settings import Settings, SheetSettings

SHEETS_MM = {"a4": A4_MM, "letter": LETTER_MM}  # ISO 216: A4 is 210 x 297 mm, +/-1.5 and 2 mm; ANSI/ASME Y14.1 size A


@dataclass(frozen=True, slots=True)
class SheetCheck:
    """What came out, beside what should."""

    measures: Measures
    true_area_mm2: float
    true_sides_mm: tuple[float, float]

    @property
    def error_percent(self) -> float:
        """Measured over true area, less one."""
        return 100.0 * (self.measures.area_net.value / self.true_area_mm2 - 1.0)


def check_sheet(
    grey: NDArray[np.uint8],
    plane: Plane,
    papers_mm: list[Points],
    sheet: str,
    settings: Settings,
    *,
    print_measured: bool,
) -> SheetCheck | NotFound:
    """Find a plain sheet of paper on the floor and measure it.

    Parameters
    ----------
    grey
        The photo, (H, W).
    papers_mm
        Sheets of the cards in the floor frame, (4, 2) each: not to be taken for the plain one.
    sheet
        "a4" or "letter".
    """
    short, long = SHEETS_MM[sheet]
    rough = _rough_sheet(grey, plane.camera, papers_mm, sheet, settings.sheet)
    if isinstance(rough, NotFound):
        return rough if not _is_blurred(grey, settings) else _BLURRED
    corners = _refined(grey, plane.camera, rough, settings.plane.paper_mm, settings.sheet)
    if corners is None:
        return _BLURRED if _is_blurred(grey, settings) else _faint(sheet)
    ring_px = plane.camera.px_from_mm(resample(corners, 5.0), settings.plane.paper_mm)
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    along = (corners[1] - corners[0]) if sides[0] > sides[1] else (corners[2] - corners[1])
    thickness = Prior(settings.plane.paper_mm, settings.plane.paper_mm / 2)
    flat = HeightPriors(thickness, Prior(0.0, settings.sheet.lift_u_mm))
    rims = HideRims(Rim(ring_px, np.full(len(ring_px), settings.sheet.edge_u_px)))
    measures = measure(plane, rims, flat, along, settings.measure, print_measured=print_measured)
    return SheetCheck(measures, short * long, (short, long))


def _rough_sheet(
    grey: NDArray[np.uint8],
    camera: Camera,
    papers_mm: list[Points],
    sheet: str,
    settings: SheetSettings,
) -> Points | NotFound:
    """Corners of the bright blob on the floor that has the sheet's size, (4, 2) mm, counter-clockwise; or why not."""
    import cv2

    view, low = _from_above(grey, camera, settings)
    outside = view == 0
    floor = float(np.median(view[~outside]))
    for paper in papers_mm:
        grown = paper + 0.03 * (paper - paper.mean(axis=0))
        cv2.fillPoly(view, [np.rint((grown - low) / settings.view_mm).astype(np.int32)], floor)
    view[outside] = np.uint8(floor)  # outside the picture
    _, white = cv2.threshold(view, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    white = cv2.morphologyEx(white, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    contours, _ = cv2.findContours(white, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    size_mm = SHEETS_MM[sheet]
    rim = cv2.dilate(outside.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    best: tuple[float, Points] | None = None
    cut_off = False
    for contour in contours:
        box = cv2.minAreaRect(contour)
        sides = sorted(s * settings.view_mm for s in box[1])
        off = max(abs(s / true - 1) for s, true in zip(sides, size_mm, strict=True))
        x, y = contour[:, 0].T
        at_rim = rim[y, x].mean() > 0.05 or ((x < 4) | (y < 4) | (x > rim.shape[1] - 5) | (y > rim.shape[0] - 5)).any()
        cut_off |= bool(at_rim) and any(abs(s / size_mm[0] - 1) < 0.1 or abs(s / size_mm[1] - 1) < 0.1 for s in sides)
        filled = cv2.contourArea(contour) / max(box[1][0] * box[1][1], 1.0)
        if off < settings.size_tolerance and filled > settings.least_filled and (best is None or off < best[0]):
            corners = np.asarray(cv2.boxPoints(box), dtype=np.float64) * settings.view_mm + low
            best = off, counter_clockwise(corners)
    if best is not None:
        return best[1]
    return _hangs_out(sheet) if cut_off else _none_found(sheet)


def _is_blurred(grey: NDArray[np.uint8], settings: Settings) -> bool:
    return edge_blur_px(grey) > settings.quality.most_blur_px


_BLURRED = NotFound(
    "photo-blurred",
    "The photo is blurred, so the sheet's edges cannot be measured.",
    "Hold still, more light, tap to focus.",
)


def _hangs_out(sheet: str) -> NotFound:
    return NotFound(
        "sheet-cut-off",
        f"The plain {sheet} sheet hangs out of the picture.",
        "Take the photo again with all of the sheet and of the card in it.",
    )


def _none_found(sheet: str) -> NotFound:
    return NotFound(
        "no-sheet",
        f"No plain {sheet} sheet was found beside the card.",
        "Lay one flat on a darker floor, all of it in the picture, not touching the card.",
    )


def _faint(sheet: str) -> NotFound:
    return NotFound(
        "sheet-faint",
        f"The plain {sheet} sheet hardly stands out from the floor.",
        "Lay it on a darker floor, out of glare and hard shadow.",
    )


def _from_above(grey: NDArray[np.uint8], camera: Camera, settings: SheetSettings) -> tuple[NDArray[np.uint8], Points]:
    """The floor seen from above at `view_mm` a pixel, y up, and the floor point of its first pixel."""
    import cv2

    h, w = grey.shape
    edge = np.array([[x, y] for x in np.linspace(0, w - 1, 9) for y in np.linspace(0, h - 1, 9)])
    seen = camera.mm_from_px(edge)
    seen = seen[np.isfinite(seen).all(axis=1) & (np.abs(seen) < settings.farthest_mm).all(axis=1)]
    low, high = seen.min(axis=0), seen.max(axis=0)
    columns, rows = (np.ceil((high - low) / settings.view_mm) + 1).astype(int)
    x, y = np.meshgrid(low[0] + settings.view_mm * np.arange(columns), low[1] + settings.view_mm * np.arange(rows))
    px = camera.px_from_mm(np.column_stack([x.ravel(), y.ravel()])).astype(np.float32).reshape(rows, columns, 2)
    view = cv2.remap(grey, px[..., 0], px[..., 1], cv2.INTER_LINEAR, borderValue=0)
    return np.asarray(view, dtype=np.uint8), low


def _refined(
    grey: NDArray[np.uint8], camera: Camera, rough: Points, z_mm: float, settings: SheetSettings
) -> Points | None:
    """Corners from straight lines through sub-pixel edge points along the four sides, (4, 2) mm."""
    import cv2

    lines = []
    for a, b in zip(rough, np.roll(rough, -1, axis=0), strict=True):
        along = (b - a) / np.linalg.norm(b - a)
        outward = np.array([along[1], -along[0]])
        feet = a + np.linspace(0.08, 0.92, settings.edge_points)[:, None] * (b - a)
        offsets = np.arange(-settings.search_mm, settings.search_mm, settings.search_step_mm)
        xy = feet[:, None, :] + offsets[None, :, None] * outward
        px = camera.px_from_mm(xy.reshape(-1, 2), z_mm).astype(np.float32).reshape(*xy.shape)
        profile = cv2.remap(grey, px[..., 0], px[..., 1], cv2.INTER_LINEAR).astype(np.float64)
        drop = np.maximum(-np.gradient(cv2.GaussianBlur(profile, (0, 1), 2.0, sigmaY=0.01), axis=1), 0.0)
        peak = np.argmax(drop, axis=1)
        keep = np.abs(np.arange(len(offsets)) - peak[:, None]) * settings.search_step_mm < 1.5
        weight = np.where(keep, drop, 0.0)
        at = (weight * offsets).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-9)
        strong = weight.sum(axis=1) > settings.least_step
        if strong.sum() < settings.edge_points // 2:
            return None
        points = (feet + at[:, None] * outward)[strong].astype(np.float32)
        vx, vy, x, y = (float(v) for v in np.ravel(cv2.fitLine(points, cv2.DIST_HUBER, 0, 0.01, 0.01)))
        lines.append((np.array([x, y]), np.array([vx, vy])))
    corners = [_crossing(*lines[i - 1], *lines[i]) for i in range(4)]
    return np.array(corners) if Polygon(corners).is_valid else None


def _crossing(
    p: NDArray[np.float64], u: NDArray[np.float64], q: NDArray[np.float64], v: NDArray[np.float64]
) -> NDArray[np.float64]:
    t = np.linalg.solve(np.column_stack([u, -v]), q - p)[0]
    crossing: NDArray[np.float64] = p + t * u
    return crossing

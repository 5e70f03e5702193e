"""Pattern pieces from a photo of card templates: outlines at true scale, and the grain from an inked arrow.

Templates may be of any colour on any even floor. They are told from it by colour: the picture's border says what the
floor looks like, and GrabCut (Rother, Kolmogorov and Blake 2004) settles the rest. The edge is then drawn at full
resolution where the picture is halfway between what template and floor look like on both sides of it.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from hidescan.adjustment import Prior
from hidescan.camera import Camera
from hidescan.geometry import Points, without_crossings
from hidescan.heights import Heights, faces_away, plan_view
from hidescan.measure import Measures, Rim, measure
from hidescan.plane import Plane
from hidescan.problems import NotFound
from hidescan.settings import MeasureSettings
from hidescan.uses.settings import TemplateSettings
from hidescan.uses.templates_corners import with_corners
from hidescan.uses.templates_grain import Grain, find_grain

Image = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, eq=False)
class Template:
    """A template as photographed.

    Attributes
    ----------
    ring_mm
        Outline in the floor frame, (N, 2), counter-clockwise.
    ring_px
        The same in the photo.
    grain
        The inked arrow in the floor frame; None where there is none.
    measures
        Its figures with their uncertainty; length and width along and across the grain, else along the floor's y and x.
    sure
        Whether it stands out from the floor well enough for half a millimetre.
    """

    id: str
    ring_mm: Points
    ring_px: Points
    grain: Grain | None
    measures: Measures
    sure: bool


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """All templates in a photo, and how many more left the picture."""

    templates: tuple[Template, ...]
    cut_off: int


def find_templates(
    rgb: Image,
    plane: Plane,
    papers_mm: list[Points],
    thickness_mm: float | None,
    settings: TemplateSettings,
    measure_settings: MeasureSettings,
    *,
    print_measured: bool,
) -> Found | NotFound:
    """Find card templates lying beside a reference card.

    Parameters
    ----------
    rgb
        The upright photo, (H, W, 3).
    plane
        The camera over the floor.
    papers_mm
        Sheets of the reference cards on the floor, (4, 2) each: not templates.
    thickness_mm
        Of the templates; None for what card usually has.
    """
    thick = settings.thickness_mm if thickness_mm is None else thickness_mm
    papers_px = [plane.camera.px_from_mm(paper) for paper in papers_mm]
    blobs, scale = _blobs(rgb, papers_px, settings)
    templates, cut_off = [], 0
    for blob in blobs:
        if blob.touches:
            cut_off += 1
            continue
        edge = _edge(rgb, blob, scale, plane.camera, settings)
        if edge is None:
            continue
        ring_px, step = edge
        smooth = np.mean([np.roll(ring_px, k, axis=0) for k in range(-6, 7)], axis=0)
        away = faces_away(plane.camera, smooth, hole=False)
        ring_mm = plan_view(plane.camera, ring_px, Heights(thick, 0.0), away=away)
        polygon = shapely.simplify(Polygon(without_crossings(ring_mm)), settings.flat_mm)
        if polygon.area < settings.least_area_mm2:
            continue
        ring_mm = without_crossings(np.array(polygon.exterior.coords)[:-1])
        grain = find_grain(rgb, plane.camera, polygon, thick, settings)
        along = np.array([0.0, 1.0]) if grain is None else grain.head_mm - grain.tail_mm
        seen = ring_px[:: max(1, len(ring_px) // 600)]
        measures = measure(
            plane, Rim(seen, np.full(len(seen), 0.3)), (), Prior(thick, settings.thickness_u_mm),
            Prior(0.0, settings.lift_u_mm), along, measure_settings, print_measured=print_measured,
        )  # fmt: skip
        templates.append(Template("", ring_mm, ring_px, grain, measures, step >= settings.least_step))
    if not templates:
        return NotFound(
            "no-template",
            "No template was found on the floor.",
            "Lay card templates apart from each other, all of them in the picture, on a floor of another colour.",
        )
    return Found(tuple(_named(templates)), cut_off)


def _named(templates: list[Template]) -> Iterator[Template]:
    """Ids as one reads: rows from the top of the photo, each from the left."""
    heights = [float(np.ptp(t.ring_px[:, 1])) for t in templates]
    row = max(float(np.median(heights)) / 2, 1.0)
    order = sorted(templates, key=lambda t: (t.ring_px[:, 1].mean() // row, t.ring_px[:, 0].mean()))
    for n, t in enumerate(order, start=1):
        yield Template(f"piece-{n}", t.ring_mm, t.ring_px, t.grain, t.measures, t.sure)


@dataclass(frozen=True, slots=True, eq=False)
class _Blob:
    """A template in the coarse copy: its own mask, that of all things on the floor, its box there."""

    mask: NDArray[np.bool_]
    others: NDArray[np.bool_]
    box: tuple[int, int, int, int]
    touches: bool


def _blobs(rgb: Image, papers_px: list[Points], settings: TemplateSettings) -> tuple[list[_Blob], float]:
    """What lies on the floor, in a reduced copy; and the copy's scale (copy px per photo px)."""
    import cv2

    scale = min(1.0, settings.coarse_px / max(rgb.shape[:2]))
    small = cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    h, w = small.shape[:2]
    paper = np.zeros((h, w), np.uint8)
    for corners in papers_px:
        grown = corners + 0.04 * (corners - corners.mean(axis=0))
        cv2.fillPoly(paper, [np.rint(grown * scale).astype(np.int32)], 1)
    band = max(3, round(settings.border_share * min(h, w)))
    border = np.ones((h, w), np.bool_)
    border[band:-band, band:-band] = False
    floor_like = border & (paper == 0)
    lab = cv2.cvtColor(cv2.GaussianBlur(small, (0, 0), 1.5), cv2.COLOR_RGB2LAB).astype(np.float32)
    lab[..., 0] *= settings.lightness_weight
    away = _distance(lab, _palette(lab[floor_like], settings)).astype(np.float32)
    level = float(np.percentile(away[floor_like], 99))
    scaled = np.clip(away * (100.0 / max(level, 1.0)), 0, 255).astype(np.uint8)
    limit = max(cv2.threshold(scaled[paper == 0].reshape(-1, 1), 0, 255, cv2.THRESH_OTSU)[0], 100.0)
    mask = np.where(scaled > limit, cv2.GC_PR_FGD, cv2.GC_PR_BGD).astype(np.uint8)
    mask[scaled < 0.3 * limit] = cv2.GC_BGD
    mask[paper > 0] = cv2.GC_BGD
    if not (mask == cv2.GC_PR_FGD).any():
        return [], scale
    cv2.setRNGSeed(1)
    models = np.zeros((1, 65)), np.zeros((1, 65))
    cv2.grabCut(small, mask, (0, 0, 1, 1), *models, settings.grabcut_rounds, cv2.GC_INIT_WITH_MASK)
    things = ((mask == cv2.GC_PR_FGD) | (mask == cv2.GC_FGD)).astype(np.uint8)
    whole = cv2.morphologyEx(things, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    things &= cv2.dilate(whole, np.ones((7, 7), np.uint8))  # crumbs and hairs are gone, sharp corners come back
    count, labels, stats, _ = cv2.connectedComponentsWithStats(things)
    found = []
    for label in range(1, count):
        x, y, bw, bh, area = (int(v) for v in stats[label])
        if area < 100:
            continue
        own = (labels == label).astype(np.uint8)
        contours, _ = cv2.findContours(own, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        cv2.drawContours(own, contours, -1, 1, cv2.FILLED)  # ink is no hole
        touches = x <= 1 or y <= 1 or x + bw >= w - 1 or y + bh >= h - 1
        others = ((things > 0) & (own == 0)) | (paper > 0)
        found.append(_Blob(own > 0, others, (x, y, bw, bh), touches))
    return found, scale


def _palette(colours: NDArray[np.float32], settings: TemplateSettings) -> NDArray[np.float32]:
    """Colours of the floor, (K, 3)."""
    import cv2

    cv2.setRNGSeed(1)
    sample = np.ascontiguousarray(colours[:: max(1, len(colours) // 20000)])
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 20, 0.5)
    labels = np.zeros((len(sample), 1), np.int32)
    _, _, centres = cv2.kmeans(sample, settings.floor_colours, labels, stop, 2, cv2.KMEANS_PP_CENTERS)
    return np.asarray(centres, dtype=np.float32)


def _distance(lab: NDArray[np.float32], palette: NDArray[np.float32]) -> NDArray[np.float64]:
    """Distance of each pixel to the nearest colour of the floor, (H, W)."""
    distances = [np.linalg.norm(lab - colour, axis=2) for colour in palette]
    nearest: NDArray[np.float64] = np.min(distances, axis=0)
    return nearest


def _edge(
    rgb: Image, blob: _Blob, scale: float, camera: Camera, settings: TemplateSettings
) -> tuple[Points, float] | None:
    """The template's edge in photo px, (N, 2), and how many grey levels it stands out by; None where it does not."""
    import cv2
    from skimage.measure import find_contours

    x, y, bw, bh = blob.box
    middle = np.array([[(x + bw / 2) / scale, (y + bh / 2) / scale]])
    mm_per_px = float(camera.mm_per_px(middle)[0])
    strip = max(settings.strip_mm / mm_per_px, settings.strip_coarse_px / scale)
    side = settings.side_mm / mm_per_px
    pad = round(strip + 2 * side)
    x0, y0 = max(0, int(x / scale) - pad), max(0, int(y / scale) - pad)
    x1, y1 = min(rgb.shape[1], int((x + bw) / scale) + pad), min(rgb.shape[0], int((y + bh) / scale) + pad)
    part = rgb[y0:y1, x0:x1].astype(np.float32)
    inside, others = (_enlarged(m, scale, (x0, y0, x1, y1)) for m in (blob.mask, blob.others))
    depth = cv2.distanceTransform(inside, cv2.DIST_L2, 5) - cv2.distanceTransform(1 - inside, cv2.DIST_L2, 5)
    clear = cv2.distanceTransform(1 - others, cv2.DIST_L2, 5) > strip
    template = _local_mean(part, (depth > strip).astype(np.float32), side)
    floor = _local_mean(part, ((depth < -strip) & clear).astype(np.float32), side)
    step = template - floor
    size = np.maximum(np.sum(step * step, axis=2), 1e-3)
    share = np.clip(np.sum((part - floor) * step, axis=2) / size, -0.5, 1.5)
    share = cv2.GaussianBlur(share, (0, 0), settings.smooth_px)
    share[depth > strip], share[depth < -strip] = 1.0, 0.0
    contours = find_contours(share, 0.5)  # type: ignore[no-untyped-call]
    if not contours:
        return None
    ring = max(contours, key=len)[:-1, ::-1]
    ring = with_corners(ring, _blur_px(share, ring), settings.corners) + (x0, y0)
    on_edge = np.abs(depth) < 1.5
    return ring, float(np.median(np.sqrt(size[on_edge])))


def _blur_px(share: NDArray[np.float32], ring: Points) -> float:
    """Standard deviation of the blur across the edge: a step of one has the slope 1 / (sqrt(2 pi) sd) half-way."""
    import cv2

    slopes = [cv2.Sobel(share, cv2.CV_32F, dx, dy, ksize=3, scale=1 / 8) for dx, dy in ((1, 0), (0, 1))]
    x, y = np.rint(ring).astype(int).T
    steep = np.hypot(slopes[0][y, x], slopes[1][y, x])
    return float(1 / (np.sqrt(2 * np.pi) * max(float(np.median(steep)), 0.05)))


def _enlarged(mask: NDArray[np.bool_], scale: float, box: tuple[int, int, int, int]) -> Image:
    """A coarse mask over a box of the photo, 0 or 1, with smooth edges."""
    import cv2

    x0, y0, x1, y1 = box
    # Pixel centres: photo px p lies at copy px (p + 1/2) scale - 1/2.
    at_x = ((np.arange(x0, x1) + 0.5) * scale - 0.5).astype(np.float32)
    at_y = ((np.arange(y0, y1) + 0.5) * scale - 0.5).astype(np.float32)
    grid_x, grid_y = np.meshgrid(at_x, at_y)
    soft = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 1.0)
    return (cv2.remap(soft, grid_x, grid_y, cv2.INTER_LINEAR) > 0.5).astype(np.uint8)


def _local_mean(part: NDArray[np.float32], weight: NDArray[np.float32], reach_px: float) -> NDArray[np.float32]:
    """Mean colour near each pixel of those that count."""
    import cv2

    side = 2 * round(reach_px) + 1
    sums = [part * weight[..., None], weight]
    for _ in range(2):
        sums = [cv2.blur(one, (side, side)).astype(np.float32) for one in sums]
    mean: NDArray[np.float32] = sums[0] / np.maximum(sums[1], 1e-6)[..., None]
    return mean

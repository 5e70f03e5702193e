"""The rim at full detail: a closed, sub-pixel line with its uncertainty.

A second small network (calibration/region/) looks at the part of the photo around the region, at about 1 mm a pixel,
with the coarse probability beside the colours, and says for each pixel how probable hide and through hole are. The rim
is the contour at one half of that soft field, never of a binary mask: a mask biases area and perimeter.

Convention, one for all coats: the rim is where the skin ends. Of hair that stands over it the middle of the fringe is
taken, which is what the field's one half gives.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points, outward_normals, resample, signed_area
from hidescan.basics.opencv import parts
from hidescan.basics.parallel import start_in_thread
from hidescan.outline.coarse import Grid, Hint, Region, honour_taps, largest
from hidescan.outline.networks import Maps, run_network
from hidescan.settings import OutlineSettings

FaultKind = Literal["cut", "brand", "stain", "scratch", "wrinkle"]
FAULTS: tuple[FaultKind, ...] = ("cut", "brand", "stain", "scratch", "wrinkle")
"""What the fine network tells besides hide and hole, in the order of its outputs."""


@dataclass(frozen=True, slots=True, eq=False)
class Detail:
    """The fine probabilities around a region.

    Attributes
    ----------
    hide
        (h, w), that a pixel is hide, through holes counted in; pieces not connected with the hide are out.
    hole
        (h, w), that a pixel is seen through a hole.
    faults
        (len(FAULTS), h, w), that a pixel belongs to a fault of that kind.
    coarse
        (h, w), the region's probability on the same grid.
    lab
        (h, w, 3), the picture's colours, CIELAB as OpenCV keeps it in 8 bits.
    grid
        Where the pixels lie in the photo.
    """

    hide: Maps
    hole: Maps
    faults: Maps
    coarse: Maps
    lab: NDArray[np.uint8]
    grid: Grid


def look_closer(rgb: NDArray[np.uint8], region: Region, settings: OutlineSettings, hints: tuple[Hint, ...]) -> Detail:
    """Run the fine network over the box around the region."""
    import cv2

    height, width = rgb.shape[:2]
    rows, columns = np.flatnonzero(region.mask.any(axis=1)), np.flatnonzero(region.mask.any(axis=0))
    margin = settings.fine_margin_px
    step = np.array(region.grid.step_px)
    low = np.maximum(np.floor((np.array([columns[0], rows[0]]) - margin) * step), 0).astype(int)
    high = np.minimum(np.ceil((np.array([columns[-1], rows[-1]]) + 1 + margin) * step), (width, height)).astype(int)
    size = high - low
    affordable = float(np.sqrt(settings.fine_pixels / np.prod(size.astype(float))))
    # a small photo is enlarged: the network was taught on pixels finer than the region's
    least = max(1.0, settings.fine_least_enlarged / float(step.max()))
    enlarge = min(least, affordable, settings.fine_most_enlarged / float(step.max()))
    w, h = (max(32, round(float(side) * enlarge / 32) * 32) for side in size)
    grid = Grid((float(low[0]), float(low[1])), (float(size[0]) / w, float(size[1]) / h))
    window = rgb[low[1] : high[1], low[0] : high[0]]
    # as it was taught: another average is a little softer, and shows it marks that are none
    way = cv2.INTER_AREA if enlarge <= 1.0 else cv2.INTER_CUBIC
    part = np.asarray(cv2.resize(window, (w, h), interpolation=way), dtype=np.uint8)

    ours = cv2.dilate(region.mask.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=3) > 0
    soft = np.where(ours, region.probability, 0.0)
    coarse = _onto(soft.astype(np.float32), region.grid, grid, (w, h))
    slits = _slits(part, coarse, settings)
    coarse[slits] = np.minimum(coarse[slits], settings.slit_probability)
    picture = np.empty((4, h, w), dtype=np.float32)
    np.divide(part.transpose(2, 0, 1), np.float32(255), out=picture[:3])
    picture[3] = coarse
    said = run_network("fine", picture)
    hide, hole, faults = said[0], said[1], said[2:]
    for hint in hints:  # around a tap the word of the network that saw the tap counts
        x, y = grid.from_photo(np.array([hint.photo_px]))[0]
        reach = settings.tap_reach_px * step.max() / max(grid.step_px)
        ys, xs = np.ogrid[:h, :w]
        weight = np.exp(-((xs - x) ** 2 + (ys - y) ** 2) / (2 * reach**2)).astype(np.float32)
        hide = hide * (1 - weight) + coarse * weight
    hide = np.ascontiguousarray(hide, dtype=np.float32)
    for quad in region.cards_on_floor_px:
        cv2.fillConvexPoly(hide, np.rint(grid.from_photo(quad)).astype(np.int32), 0.01)
    _open_cuts(hide, np.maximum(hole, faults[FAULTS.index("cut")]), settings)
    lab = np.asarray(cv2.cvtColor(part, cv2.COLOR_RGB2LAB), dtype=np.uint8)
    return Detail(hide, hole, faults, coarse, lab, grid)


def _slits(picture: NDArray[np.uint8], coarse: Maps, settings: OutlineSettings) -> NDArray[np.bool_]:
    """Narrow things of another colour that run in from the rim: what may be a cut, and the coarse network cannot see.

    The fine network was taught with coarse probabilities that leave a dent even where a cut is narrow; it is asked to
    look where a morphological top hat (Serra 1982) stands out from the texture round it.
    """
    import cv2

    inside = coarse > 0.5
    from_rim = start_in_thread(cv2.distanceTransform, inside.astype(np.uint8), cv2.DIST_L2, 3)
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (settings.slit_width_px,) * 2)
    lab = cv2.cvtColor(cv2.GaussianBlur(picture, (0, 0), 0.7), cv2.COLOR_RGB2LAB)
    brighter = start_in_thread(cv2.morphologyEx, lab, cv2.MORPH_TOPHAT, brush)
    darker = cv2.morphologyEx(lab, cv2.MORPH_BLACKHAT, brush)
    light, *colours = cv2.split(cv2.max(darker, brighter()))
    colour = cv2.max(*colours)
    hat = np.asarray(cv2.max(light, cv2.add(colour, colour)), dtype=np.uint8)
    usual = cv2.blur(hat, (settings.slit_surround_px,) * 2).astype(np.float32)
    away = from_rim()
    strong = (hat > settings.slit_level + settings.slit_over_texture * usual) & inside & (away < settings.slit_depth_px)
    labels, stats = parts(strong.astype(np.uint8))
    slits = np.zeros(len(stats), dtype=np.bool_)
    for label in np.flatnonzero(stats[:, 4] >= settings.least_slit_area_px):
        x, y, bw, bh, area = stats[label].tolist()
        rows, columns = np.nonzero(labels[y : y + bh, x : x + bw] == label)
        _, sides, _ = cv2.minAreaRect(np.column_stack([columns, rows]).astype(np.float32))
        long = max(sides) + 1
        near_rim = away[rows + y, columns + x].min() <= settings.cut_reach_px
        slits[label] = near_rim and long >= settings.least_slit_px and long * long >= settings.cut_slenderness * area
    if not slits.any():
        return np.zeros_like(inside)
    return np.asarray(cv2.dilate(slits[labels].astype(np.uint8), np.ones((3, 3), np.uint8)) > 0)


def _open_cuts(hide: Maps, hole: Maps, settings: OutlineSettings) -> None:
    """A gap that reaches the rim is a cut into it, not a hole: give it back to the floor.

    The mouth of a cut often closes again under the blur of the picture; a long narrow gap that points at the rim from
    close by is joined to it by a straight line.
    """
    import cv2

    floor = hide < 0.5
    gap = (hole > 0.5).astype(np.uint8)
    labels, stats = parts(gap)
    away = cv2.distanceTransform((~floor).astype(np.uint8), cv2.DIST_L2, 5) if len(stats) > 1 else None
    for label, (x, y, w, h, area) in enumerate(stats.tolist()):
        if away is None or area < settings.least_cut_area_px:
            continue
        rows, columns = np.nonzero(labels[y : y + h, x : x + w] == label)
        rows, columns = rows + y, columns + x
        _, (a, b), _ = cv2.minAreaRect(np.column_stack([columns, rows]).astype(np.float32))
        narrow = max(a, b) + 1 > settings.cut_slenderness * (min(a, b) + 1)
        nearest = int(np.argmin(away[rows, columns]))
        reach = settings.cut_reach_px if narrow else settings.hole_rim_px
        if away[rows[nearest], columns[nearest]] > reach:
            continue
        tip = (int(columns[nearest]), int(rows[nearest]))
        r = reach + 2
        near = np.argwhere(floor[max(tip[1] - r, 0) : tip[1] + r + 1, max(tip[0] - r, 0) : tip[0] + r + 1])
        if not len(near):
            continue
        near = near + (max(tip[1] - r, 0), max(tip[0] - r, 0))
        mouth = near[np.argmin(((near - (tip[1], tip[0])) ** 2).sum(axis=1))]
        hide[rows, columns] = np.minimum(hide[rows, columns], 1.0 - hole[rows, columns])
        cv2.line(hide, tip, (int(mouth[1]), int(mouth[0])), 0.2, 2)


def _onto(field: Maps, source: Grid, target: Grid, size: tuple[int, int]) -> Maps:
    """A field on one grid sampled on another, bilinear."""
    import cv2

    corners = source.from_photo(target.to_photo(np.array([[0.0, 0.0], [1.0, 1.0]])))
    (x, y), (sx, sy) = corners[0], corners[1] - corners[0]
    matrix = np.array([[sx, 0.0, x], [0.0, sy, y]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(field, matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE))


@dataclass(frozen=True, slots=True, eq=False)
class RimLine:
    """The rim: ring (N, 2) in photo px, and across each point the probabilities (N, K) at the offsets (K,)."""

    ring_px: Points
    profile: NDArray[np.float64]
    offsets_px: NDArray[np.float64]


def trace(detail: Detail, region: Region, settings: OutlineSettings, hints: tuple[Hint, ...]) -> RimLine | None:
    """Closed contour of the fine field, None where nothing is left of the hide."""
    mask = detail.hide > 0.5
    mask = largest(mask)
    if not mask.any():
        return None
    radius = max(2, round(settings.tap_radius_px * region.grid.step_px[0] / detail.grid.step_px[0] / 2))
    mask = honour_taps(mask, detail.hide, detail.grid, hints, radius)
    # whatever is not this piece is floor, whatever it encloses is hide
    field = np.where(mask, np.maximum(detail.hide, 0.501), np.minimum(detail.hide, 0.499))
    contour = _longest_contour(field)
    if contour is None:
        return None
    ring = detail.grid.to_photo(contour)
    ring = resample(ring, settings.ring_step_px)
    if signed_area(ring) < 0:
        ring = np.ascontiguousarray(ring[::-1])
    normals = outward_normals(ring)
    pixel = float(np.mean(detail.grid.step_px))
    offsets = np.arange(-settings.profile_px, settings.profile_px + 1, dtype=np.float64) * pixel
    at = detail.grid.from_photo((ring[:, None] + normals[:, None] * offsets[:, None]).reshape(-1, 2))
    profile = sample(field, at).reshape(len(ring), len(offsets))
    return RimLine(ring, profile, offsets)


def sample(field: Maps, xy: Points) -> NDArray[np.float64]:
    """Bilinear values of a field (h, w) at (N, 2) points: (N,); of a field (h, w, C): (N, C)."""
    import cv2

    n = len(xy)
    side = 8192  # OpenCV's remap takes maps under 32768 on a side
    padded = np.zeros((-(-n // side) * side, 2), np.float32)
    padded[:n] = xy
    maps = padded.reshape(-1, side, 2)
    out = cv2.remap(field, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(out, dtype=np.float64).reshape(-1, *field.shape[2:])[:n]


def _longest_contour(field: Maps) -> Points | None:
    from skimage.measure import find_contours

    contours = find_contours(np.pad(field, 1, constant_values=0.0), 0.5)  # type: ignore[no-untyped-call]
    if not contours:
        return None
    best = max(contours, key=lambda c: abs(signed_area(c)))
    return np.ascontiguousarray(best[:-1, ::-1] - 1.0)

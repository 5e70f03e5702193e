"""The hide's region in the whole photo, coarse: where is hide, where is floor.

A small U-Net (Ronneberger, Fischer, Brox 2015), trained on invented scenes only (calibration/region/), looks at the
photo reduced to 640 px. Its further inputs are maps of a person's taps, so that a tap corrects a whole wrong patch, as
in interactive segmentation by clicks (Xu et al. 2016; Sofiiuk, Petrov, Konushin 2021). It was taught to see the hide
whole: under a card and across through holes.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points
from hidescan.basics.opencv import reduced
from hidescan.outline.networks import Maps, run_network
from hidescan.settings import OutlineSettings


@dataclass(frozen=True, slots=True, eq=False)
class Hint:
    """A person's word: this photo pixel is inside the hide, or outside it."""

    photo_px: tuple[float, float]
    inside: bool


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Where the pixels of a reduced picture lie in the photo: photo = (grid + 0.5) * step + corner - 0.5."""

    corner_px: tuple[float, float]
    step_px: tuple[float, float]

    def to_photo(self, xy: Points) -> Points:
        """(N, 2) grid pixels to photo pixels, both with centres at integers."""
        return (xy + 0.5) * self.step_px + self.corner_px - 0.5

    def from_photo(self, xy: Points) -> Points:
        """(N, 2) photo pixels to grid pixels."""
        return (np.asarray(xy, dtype=np.float64) + 0.5 - self.corner_px) / self.step_px - 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """The chosen hide in the reduced photo.

    Attributes
    ----------
    probability
        (h, w), that a pixel is this hide, through holes counted in.
    mask
        (h, w) bool, the hide filled.
    cover
        (h, w), probability that paper or another thing lies there.
    grid
        Where its pixels lie in the photo.
    cards_on_floor_px
        The cards' sheets that lie on the floor, (4, 2) photo px each.
    first_word
        (h, w), what the network said before colours were asked.
    """

    probability: Maps
    mask: NDArray[np.bool_]
    cover: Maps
    grid: Grid
    cards_on_floor_px: tuple[Points, ...]
    first_word: Maps


@dataclass(frozen=True, slots=True, eq=False)
class FirstLook:
    """What the network says of a whole photo: probability of hide and of things lying there, (h, w) each.

    `grid` says where their pixels lie in the photo, `small` (h, w, 3) is the photo so reduced.
    """

    probability: Maps
    cover: Maps
    grid: Grid
    small: NDArray[np.uint8]


def find_region(
    look: FirstLook,
    card_quads_px: list[Points],
    settings: OutlineSettings,
    hints: tuple[Hint, ...],
    hide_at: tuple[float, float] | None,
) -> Region | NotFound:
    """Find the hide's region.

    Parameters
    ----------
    look
        What `first_look` says of the photo; left as it is.
    card_quads_px
        Sheets of the cards found, (4, 2) each.
    hints
        Taps; each pixel given is on its side of the region returned.
    hide_at
        A pixel inside the hide meant, where there are several.

    Returns
    -------
    The region; or why there is none: "no-hide", "several-hides".
    """
    probability, cover, grid = look.probability.copy(), look.cover, look.grid
    on_floor = _clamp_on_cards(probability, grid, card_quads_px, settings)
    first_word = probability.copy()
    if _open_share(probability) > settings.colour_open_share:
        probability = _refine_with_grabcut(probability, cover, look.small)
        _clamp_on_cards(probability, grid, card_quads_px, settings)
    _press_taps(probability, grid, hints, settings.tap_radius_px)
    chosen = _choose(probability, grid, settings, hints, hide_at)
    if isinstance(chosen, NotFound):
        return chosen
    mask = honour_taps(chosen, probability, grid, hints, settings.tap_radius_px)
    return Region(probability, mask, cover, grid, on_floor, first_word)


def first_look(rgb: NDArray[np.uint8], settings: OutlineSettings, hints: tuple[Hint, ...] = ()) -> FirstLook:
    """Look at the whole upright photo, (H, W, 3), reduced, and at a person's taps."""
    import cv2

    height, width = rgb.shape[:2]
    long = settings.region_long_side_px
    reduce = long / max(height, width)
    w, h = (max(32, round(side * reduce / 32) * 32) for side in (width, height))
    grid = Grid((0.0, 0.0), (width / w, height / h))
    picture = np.zeros((5, h, w), dtype=np.float32)
    small = reduced(rgb, (w, h))
    picture[:3] = small.transpose(2, 0, 1) / np.float32(255)
    for hint in hints:
        x, y = np.rint(grid.from_photo(np.array([hint.photo_px]))[0]).astype(int)
        cv2.circle(picture[3 if hint.inside else 4], (int(x), int(y)), settings.tap_radius_px, 1.0, -1)
    found = _seen(picture)
    if _open_share(found[0]) > settings.mirror_open_share:
        # look at the mirror images too: what the network says by chance changes, what it sees stays
        views = [found, *(np.flip(_seen(np.flip(picture, axis)), axis) for axis in (1, 2))]
        logits = np.mean([np.log(p / (1 - p)) for p in (np.clip(v, 1e-6, 1 - 1e-6) for v in views)], axis=0)
        found = (1 / (1 + np.exp(-logits))).astype(np.float32)
    return FirstLook(found[0], found[1], grid, small)


def _seen(picture: Maps) -> Maps:
    """The network's word on a picture of any shape; it was taught on landscape pictures."""
    if picture.shape[2] >= picture.shape[1]:
        return run_network("region", np.ascontiguousarray(picture))
    turned = run_network("region", np.ascontiguousarray(np.rot90(picture, axes=(1, 2))))
    return np.ascontiguousarray(np.rot90(turned, -1, axes=(1, 2)))


def _open_share(probability: Maps) -> float:
    """Pixels on which there is no firm word, as a share of the hide's."""
    return float(((probability > 0.05) & (probability < 0.95)).sum()) / max(1.0, float((probability > 0.5).sum()))


def _clamp_on_cards(
    probability: Maps, grid: Grid, quads: list[Points], settings: OutlineSettings
) -> tuple[Points, ...]:
    """A sheet with floor nearly all round it lies on the floor, one with hide nearly all round it on the hide.

    Returns
    -------
    The sheets on the floor. A sheet between the two, over the rim, keeps the network's guess of what it covers.
    """
    import cv2

    on_floor = []
    for quad in quads:
        sheet = np.zeros(probability.shape, dtype=np.uint8)
        cv2.fillConvexPoly(sheet, np.rint(grid.from_photo(quad)).astype(np.int32), 1)
        grown = cv2.dilate(sheet, np.ones((3, 3), np.uint8), iterations=2)
        beyond = cv2.dilate(grown, np.ones((3, 3), np.uint8), iterations=settings.card_surround_px)
        around = probability[(beyond > 0) & (grown == 0)]
        if not len(around):
            continue
        share = float((around > 0.5).mean())
        if share < settings.card_on_floor_share:
            probability[sheet > 0] = np.minimum(probability[sheet > 0], 0.02)
            on_floor.append(quad)
        elif share > settings.card_on_hide_share:
            probability[grown > 0] = np.maximum(probability[grown > 0], 0.98)
    return tuple(on_floor)


def _refine_with_grabcut(probability: Maps, cover: Maps, small: NDArray[np.uint8]) -> Maps:
    """Where the network has no firm word, decide by colour and edges: one cut of a graph (Rother et al. 2004).

    What the network is sure of trains the two colour models and stays. At half the size: the fine network follows.
    """
    import cv2

    half = (probability.shape[1] // 2, probability.shape[0] // 2)
    p = cv2.resize(probability, half, interpolation=cv2.INTER_AREA)
    guess = np.where(p > 0.5, cv2.GC_PR_FGD, cv2.GC_PR_BGD)
    seeds = np.where(p > 0.97, cv2.GC_FGD, np.where(p < 0.03, cv2.GC_BGD, guess)).astype(np.uint8)
    if (p > 0.97).sum() < 50 or (p < 0.03).sum() < 50:
        return probability
    halved = cv2.resize(small, half, interpolation=cv2.INTER_AREA)
    picture = np.asarray(cv2.cvtColor(halved, cv2.COLOR_RGB2LAB), dtype=np.uint8)
    things = cv2.dilate((cv2.resize(cover, half, interpolation=cv2.INTER_AREA) > 0.3).astype(np.uint8), np.ones((5, 5)))
    floor = (p < 0.03) & (things == 0)
    if floor.any():
        # a card's white says nothing of the floor
        picture[(things > 0) & (p < 0.5)] = np.median(picture[floor], axis=0)
    cv2.setRNGSeed(1)  # its k-means starts at random
    models = np.zeros((1, 65)), np.zeros((1, 65))
    cv2.grabCut(picture, seeds, (0, 0, 0, 0), *models, 1, cv2.GC_INIT_WITH_MASK)  # writes into seeds
    hide = np.isin(seeds, (cv2.GC_FGD, cv2.GC_PR_FGD)).astype(np.float32)
    hide = np.asarray(cv2.resize(hide, probability.shape[::-1], interpolation=cv2.INTER_LINEAR), dtype=np.float32)
    hide = np.asarray(cv2.GaussianBlur(hide, (0, 0), 1.0), dtype=np.float32)
    firm = np.abs(probability - 0.5) * 2
    return np.asarray(probability * firm**2 + (0.06 + 0.88 * hide) * (1 - firm**2), dtype=np.float32)


def _press_taps(probability: Maps, grid: Grid, hints: tuple[Hint, ...], radius: int) -> None:
    import cv2

    for hint in hints:
        x, y = np.rint(grid.from_photo(np.array([hint.photo_px]))[0]).astype(int)
        cv2.circle(probability, (int(x), int(y)), max(1, radius // 2), 0.999 if hint.inside else 0.001, -1)


def _choose(
    probability: Maps,
    grid: Grid,
    settings: OutlineSettings,
    hints: tuple[Hint, ...],
    hide_at: tuple[float, float] | None,
) -> NDArray[np.bool_] | NotFound:
    """The connected part that is the hide; parts tapped as inside belong to it."""
    import cv2

    _, found = cv2.connectedComponents((probability > 0.5).astype(np.uint8), connectivity=4)
    labels = np.asarray(found, dtype=np.int32)
    areas = np.bincount(labels.ravel()).astype(float)
    areas[0] = 0.0
    sure = np.bincount(labels.ravel(), probability.ravel(), minlength=len(areas)) / np.maximum(areas, 1.0)
    large = (areas >= settings.least_area_share * probability.size) & (sure >= settings.least_mean_probability)
    tapped = {_label_at(labels, grid, hint.photo_px) for hint in hints if hint.inside} - {0}
    if hide_at is not None:
        pointed = _label_at(labels, grid, hide_at)
        if pointed == 0:
            return NotFound("no-hide", "There is no hide at the pixel given.", "Give a pixel well inside the hide.")
        return np.isin(labels, [pointed, *tapped])
    if tapped:
        # a tap on a speck is a tap on the part of the hide that the speck stands for
        main = max(tapped, key=lambda label: areas[label])
        if areas[main] < settings.rival_share * areas.max():
            main = int(areas.argmax())
        return np.isin(labels, [main, *tapped])
    if not large.any():
        return NotFound(
            "no-hide",
            "No hide was found in the photo.",
            "If there is one, point at it with --inside X,Y; a floor of another colour helps.",
        )
    rivals = int((areas[large] >= settings.rival_share * areas[large].max()).sum())
    if rivals > 1:
        return NotFound(
            "several-hides",
            f"There are {rivals} hides in the photo.",
            "Say which one with --hide X,Y, a pixel inside it.",
        )
    return np.asarray(labels == int(np.where(large, areas, 0.0).argmax()))


def _label_at(labels: NDArray[np.int32], grid: Grid, photo_px: tuple[float, float]) -> int:
    x, y = np.rint(grid.from_photo(np.array([photo_px]))[0]).astype(int)
    h, w = labels.shape
    return int(labels[min(max(y, 0), h - 1), min(max(x, 0), w - 1)])


def filled(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The mask with everything it encloses."""
    import cv2

    padded = np.pad(mask.astype(np.uint8), 1)
    cv2.floodFill(padded, None, (0, 0), 2)
    return np.asarray(padded[1:-1, 1:-1] != 2)


def honour_taps(
    mask: NDArray[np.bool_], probability: Maps, grid: Grid, hints: tuple[Hint, ...], radius: int
) -> NDArray[np.bool_]:
    """The mask filled and in one piece, with every tap on its side.

    A tap on the wrong side is joined to its own side by the cheapest path through the probabilities (Dijkstra), a few
    pixels wide.
    """
    import cv2

    mask = filled(mask)
    if not hints:
        return mask
    from skimage.graph import route_through_array

    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * (radius // 2) + 1,) * 2)
    h, w = mask.shape
    for hint in (*(t for t in hints if t.inside), *(t for t in hints if not t.inside)):
        x, y = np.clip(np.rint(grid.from_photo(np.array([hint.photo_px]))[0]).astype(int), 0, (w - 1, h - 1))
        main = largest(mask) if hint.inside else mask
        if main[y, x] == hint.inside or not main.any() or main.all():
            mask = main
            continue
        goal = main if hint.inside else ~main
        reach = np.argwhere(goal)
        target = reach[np.argmin(((reach - (y, x)) ** 2).sum(axis=1))]
        cost = (1.0 - probability if hint.inside else probability) + 0.02
        start, end = (int(y), int(x)), (int(target[0]), int(target[1]))
        path, _ = route_through_array(cost, start, end, fully_connected=False)  # type: ignore[no-untyped-call]
        line = np.zeros(mask.shape, np.uint8)
        rows, columns = np.array(path).T
        line[rows, columns] = 1
        drawn = np.asarray(cv2.dilate(line, brush) > 0)
        mask = filled(main | drawn) if hint.inside else largest(main & ~drawn)
    return mask


def largest(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The largest connected part (through edges of pixels)."""
    import cv2

    count, labels = cv2.connectedComponents(mask.astype(np.uint8), connectivity=4)
    if count < 2:
        return mask
    return np.asarray(labels == 1 + int(np.bincount(labels.ravel())[1:].argmax()))

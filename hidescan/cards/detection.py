"""Reference cards found in a photo: their corners, their printed edges and how sharp they look."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from hidescan.basics import opencv
from hidescan.basics.geometry import Points
from hidescan.cards.edges import EdgePoints, seen_edges
from hidescan.cards.pattern import MARKERS, SQUARE_MM, board, dictionary, inner_corners_mm, printed_edges
from hidescan.settings import CardSettings

if TYPE_CHECKING:
    import cv2


@dataclass(frozen=True, slots=True, eq=False)
class Card:
    """A card found in a photo.

    Attributes
    ----------
    number
        0 to 9.
    board_mm
        (N, 2) inner corners of the pattern that were seen, board frame, nominal print scale.
    corners_px
        (N, 2) where they are in the photo.
    sharpness
        How its edges look.
    edges
        Its printed edges as seen; None where too few are sharp and large enough.
    """

    number: int
    board_mm: Points
    corners_px: Points
    sharpness: "Sharpness"
    edges: EdgePoints | None = None


@dataclass(frozen=True, slots=True)
class Sharpness:
    """How a card's edges look; NaN where none could be read.

    Attributes
    ----------
    blur_px
        Standard deviation of the edge spread, px (0.5 to 1 in a sharp photo).
    smear
        Spread across the blurrier of the pattern's two edge directions over that across the other: 1 where the photo
        is out of focus, more where the camera moved.
    smear_deg
        Direction of the greater spread in the photo, 0 to 180 from its x axis, y down.
    contrast, white_level
        Grey levels from black to white, and of white, 0-255.
    """

    blur_px: float
    smear: float
    smear_deg: float
    contrast: float
    white_level: float


@dataclass(frozen=True, slots=True, eq=False)
class CardSearch:
    """What a search found.

    Attributes
    ----------
    cards
        Cards measured, by number.
    doubled
        Numbers that more than one card carries (none of those is used).
    markers
        Every marker seen: its card's number, its own on the card (0 to 9), its corners in the photo, (4, 2).
    """

    cards: tuple[Card, ...]
    doubled: tuple[int, ...]
    markers: tuple[tuple[int, int, Points], ...]


def find_cards(grey: NDArray[np.uint8], settings: CardSettings) -> CardSearch:
    """Find every card in a grey photo.

    Markers are looked for in a reduced copy, since a card needs far fewer pixels to be recognised than to be
    measured; the corners are then found at full resolution, inside each card's own part of the picture. When the
    reduced copy shows a card badly, the full picture is searched.

    Parameters
    ----------
    grey
        (H, W) uint8.

    Returns
    -------
    Cards with at least `settings.least_corners` corners that do not lie on one line. A number that is seen at two
    places is left out: which of the two prints is which cannot be told.
    """
    markers = _markers(grey, settings.search_long_side_px)
    if len(markers) < settings.least_markers_reduced or any(
        len(m) < settings.least_markers_card for m in _by_card(markers).values()
    ):
        markers = max(markers, _markers(grey, None), key=len)
    by_card = _by_card(markers)
    cards = (_measure_card(grey, number, found, settings) for number, found in sorted(by_card.items()))
    doubled = {marker // MARKERS for marker, _ in markers} - by_card.keys()
    return CardSearch(
        tuple(card for card in cards if card is not None),
        tuple(sorted(doubled)),
        tuple((*divmod(marker, MARKERS), corners) for marker, corners in markers),
    )


def is_inverted(grey: NDArray[np.uint8], settings: CardSettings) -> bool:
    """Whether the photo shows cards printed with black and white exchanged."""
    return len(_markers(255 - grey, settings.search_long_side_px)) >= 2  # one alone may be chance


def _detector_parameters() -> "cv2.aruco.DetectorParameters":
    import cv2

    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = 0.01  # the default 0.03 misses far cards in 12 MP photos
    return parameters


def _markers(grey: NDArray[np.uint8], long_side_px: int | None) -> list[tuple[int, Points]]:
    """Marker ids with their corners in full-size pixels; an id may come twice."""
    import cv2

    scale = min(1.0, long_side_px / max(grey.shape)) if long_side_px else 1.0
    size = (round(grey.shape[1] * scale), round(grey.shape[0] * scale))
    if scale > 0.5:
        picture = cv2.resize(grey, size, interpolation=cv2.INTER_LINEAR) if scale < 1 else grey
    else:
        picture = opencv.reduced(grey, size)
    parameters = _detector_parameters()
    if scale < 1:
        # Two windows for the threshold, 5 and 23 px: on photos made smaller, blurred and noisy they find as many
        # markers as OpenCV's 3, 13 and 23, in three quarters of the time.
        parameters.adaptiveThreshWinSizeMin, parameters.adaptiveThreshWinSizeStep = 5, 18
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary(), parameters).detectMarkers(picture)
    if ids is None:
        return []
    zoom = np.array(grey.shape[::-1]) / picture.shape[::-1]
    return [(int(i), (opencv.points(c) + 0.5) * zoom - 0.5) for i, c in zip(ids.ravel(), corners, strict=True)]


def _by_card(markers: list[tuple[int, Points]]) -> dict[int, list[tuple[int, Points]]]:
    """Markers by card number; a number with an id seen twice is left out."""
    cards: dict[int, list[tuple[int, Points]]] = {}
    for marker, corners in markers:
        cards.setdefault(marker // MARKERS, []).append((marker, corners))
    return {number: found for number, found in cards.items() if len({m for m, _ in found}) == len(found)}


def _measure_card(
    grey: NDArray[np.uint8], number: int, markers: list[tuple[int, Points]], settings: CardSettings
) -> Card | None:
    import cv2

    outline = np.vstack([corners for _, corners in markers])
    side = max(float(np.linalg.norm(corners[0] - corners[2])) for _, corners in markers)
    low = np.maximum(np.floor(outline.min(axis=0) - 2 * side), 0).astype(int)  # two diagonals: the outermost squares
    high = np.minimum(np.ceil(outline.max(axis=0) + 2 * side) + 1, grey.shape[::-1]).astype(int)
    crop = np.ascontiguousarray(grey[low[1] : high[1], low[0] : high[0]])
    charuco = cv2.aruco.CharucoParameters()
    charuco.minMarkers = 1
    charuco.tryRefineMarkers = True
    parameters = _detector_parameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    # In a noisy photo thousands of specks would be tried for the markers not found yet; those found say how large.
    round_px = (np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).sum() for _, corners in markers)
    parameters.minMarkerPerimeterRate = settings.least_marker_share * float(min(round_px)) / max(crop.shape)
    this_board = board(number)
    corners: Any  # None where nothing was found, which OpenCV's stubs do not say
    corners, ids, _, _ = cv2.aruco.CharucoDetector(this_board, charuco, parameters).detectBoard(crop)
    if corners is None or len(ids) < settings.least_corners or this_board.checkCharucoCornersCollinear(ids):
        return None
    board_mm = inner_corners_mm()[ids.ravel()]
    corners_px = opencv.points(corners)
    sharpness = edge_sharpness(crop, board_mm, corners_px)
    edges = seen_edges(crop, printed_edges(number), board_mm, corners_px, sharpness.blur_px, settings)
    if edges is not None:
        edges = replace(edges, px=edges.px + low)
    return Card(number, board_mm, corners_px + low, sharpness, edges)


def edge_sharpness(grey: NDArray[np.uint8], board_mm: Points, corners_px: Points) -> Sharpness:
    """How sharp and how well exposed the pattern is.

    Profiles are read across the middle of each edge between two neighbouring inner corners, where one side is a black
    square and the other the white border round a marker. A step blurred by a Gaussian has its steepest slope at
    step / (sqrt(2 pi) sigma).
    """
    import cv2

    at = {tuple(mm): px for mm, px in zip(board_mm.tolist(), corners_px, strict=True)}
    found: list[tuple[int, float, float, float, float]] = []  # direction, blur, angle across, contrast, white
    for (x, y), a in at.items():
        for direction, other in enumerate(((x + SQUARE_MM, y), (x, y + SQUARE_MM))):
            if other not in at:
                continue
            b = at[other]
            length = float(np.linalg.norm(b - a))
            reach = 0.09 * length  # 4 of the 5.5 mm white border between a square's edge and its marker
            if reach < 2.0:
                continue
            normal = np.array([a[1] - b[1], b[0] - a[0]]) / length
            t = np.arange(-reach, reach + 1e-9, 0.25)
            along = np.linspace(0.3, 0.7, 9)  # averaged along the edge: noise falls, a straight edge stays
            xy = a + along[:, None, None] * (b - a) + t[None, :, None] * normal
            patch = cv2.remap(grey, xy[..., 0].astype(np.float32), xy[..., 1].astype(np.float32), cv2.INTER_LINEAR)
            profile = patch.astype(np.float64).mean(axis=0)
            dark, light = float(profile.min()), float(profile.max())
            slope = float(np.abs(np.gradient(profile, 0.25)).max())
            if light - dark < 10 or slope <= 0:
                continue
            across = float(np.rad2deg(np.arctan2(normal[1], normal[0]))) % 180.0
            found.append((direction, (light - dark) / (np.sqrt(2 * np.pi) * slope), across, light - dark, light))
    if not found:
        return Sharpness(*(float("nan"),) * 5)
    blurs = [[row for row in found if row[0] == direction] for direction in (0, 1)]
    spreads = [float(np.mean([row[1] for row in rows])) if rows else float("nan") for rows in blurs]
    wide = int(spreads[1] > spreads[0])
    return Sharpness(
        blur_px=float(np.mean([row[1] for row in found])),
        smear=spreads[wide] / spreads[1 - wide],
        smear_deg=blurs[wide][0][2] if blurs[wide] else float("nan"),
        contrast=float(np.median([row[3] for row in found])),
        white_level=float(np.median([row[4] for row in found])),
    )

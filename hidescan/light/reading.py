"""What a backlit photo says of a hide: how much light came through where, laid on the map's own photo."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import contains_xy
from shapely.geometry import Polygon

from hidescan.basics.errors import Doubt, NotFound
from hidescan.basics.geometry import Points
from hidescan.hide_map.model import HideMap
from hidescan.light.illumination import light_behind
from hidescan.light.registration import Registration, registered
from hidescan.light.silhouette import Backlit, Light, Silhouette, backlit, silhouette
from hidescan.settings import LightSettings

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class LightReading:
    """Light through a hide.

    Attributes
    ----------
    density
        (R, C) optical density, ln of light without over light through, at photo pixels (c step_px, r step_px) of the
        map; NaN where it is not known.
    step_px
        Distance of the values in the map's photo, px.
    u
        Standard uncertainty of each.
    known_share
        Share of the hide's area where it is known.
    mirrored
        Whether the other face was photographed.
    misfit_mm
        Root mean square distance between the map's rim and the silhouette's.
    doubts
        What a person should know.
    """

    density: Array
    step_px: float
    u: float
    known_share: float
    mirrored: bool
    misfit_mm: float
    doubts: tuple[Doubt, ...]


def read_light(
    rgb: NDArray[np.uint8],
    hide_map: HideMap,
    settings: LightSettings,
    empty_rgb: NDArray[np.uint8] | None = None,
    mirrored: bool | None = None,
) -> LightReading | NotFound:
    """Read a backlit photo of a mapped hide.

    Parameters
    ----------
    rgb
        The backlit photo, (H, W, 3) upright sRGB.
    hide_map
        The hide's map.
    empty_rgb
        The same pane without the hide, taken from the same place.
    mirrored
        Whether it shows the face that the map does not; None: as the outlines say.

    Returns
    -------
    The reading, or a refusal where light says nothing that could be trusted.
    """
    seen = backlit(rgb, settings)
    hide = silhouette(seen, settings)
    if isinstance(hide, NotFound):
        return hide
    laid = registered(np.array(hide_map.outline.hide_mm.coordinates[0][:-1]), hide.ring_px, settings, mirrored)
    if isinstance(laid, NotFound):
        return laid
    behind = light_behind(seen, hide, None if empty_rgb is None else backlit(empty_rgb, settings), settings)
    if isinstance(behind, NotFound):
        return behind
    light, light_u = behind
    share: Light = np.asarray(seen.light / np.maximum(light, 1e-6), dtype=np.float32)
    if float(np.median(share[hide.hide & ~hide.holes])) < settings.least_share:
        return _too_little(0.0)
    front = _front_share(seen, hide)
    if front > settings.most_front_share:
        return NotFound(
            "room-light",
            f"The room throws light on the hide's front, {100 * front:.0f} % of what is seen of it.",
            "Darken the room behind the camera: no lamp, no other window, no flash.",
        )
    share[_unreadable(seen, settings)] = np.nan
    density, known = _on_map(share, hide_map, laid, settings)
    if known < settings.least_known_share:
        return _too_little(known)
    doubts = () if known > settings.well_known_share else (_partly(known),)
    return LightReading(
        density, _step_px(hide_map, settings), float(np.hypot(light_u, settings.front_u_share * front)), known,
        laid.mirrored, laid.misfit_mm, doubts,
    )  # fmt: skip


def as_rows(density: Array) -> tuple[tuple[int | None, ...], ...]:
    """Density as the map's file holds it: in thousandths, None where it is not known."""
    return tuple(tuple(None if np.isnan(v) else max(0, round(1000 * v)) for v in row) for row in density.tolist())


def _front_share(seen: Backlit, hide: Silhouette) -> float:
    """Light on the front over what is seen of the hide: from what is neither pane nor hide and so is lit from the room.

    0 where the pane fills the picture: then the front is not seen.
    """
    within = cv2.dilate((hide.pane | hide.hide).astype(np.uint8), np.ones((9, 9), np.uint8)).astype(np.bool_)
    round_it = ~within
    if round_it.mean() < 0.01:
        return 0.0
    inner = cv2.erode(hide.hide.astype(np.uint8), np.ones((9, 9), np.uint8)).astype(np.bool_)
    if not inner.any():
        return 0.0
    return float(np.median(seen.light[round_it]) / max(float(np.median(seen.light[inner & ~hide.holes])), 1e-6))


def _unreadable(seen: Backlit, settings: LightSettings) -> NDArray[np.bool_]:
    return seen.cut_off | (seen.light < settings.least_value)


def _step_px(hide_map: HideMap, settings: LightSettings) -> float:
    return max(1.0, round(settings.step_mm / hide_map.camera.mm_per_px))


def _on_map(share: Light, hide_map: HideMap, laid: Registration, settings: LightSettings) -> tuple[Array, float]:
    """Density on squares of the map's photo, averaged over each; and the share of the hide's squares that are known."""
    step = _step_px(hide_map, settings)
    size = (hide_map.photo.width_px, hide_map.photo.height_px)
    columns, rows = (int(np.ceil(n / step)) + 1 for n in size)
    px = np.stack(np.meshgrid(np.arange(columns) * step, np.arange(rows) * step), axis=-1).reshape(-1, 2)
    at_mm = hide_map.camera_over_hide().mm_from_px(px, hide_map.upper_face_mm())
    rings = [np.array(ring) for ring in hide_map.outline.hide_mm.coordinates]
    net = Polygon(rings[0], rings[1:])
    inner = net.buffer(-settings.rim_mm)
    on_hide = contains_xy(inner, at_mm[:, 0], at_mm[:, 1])
    density = np.full(len(px), np.nan)
    if on_hide.any():
        density[on_hide] = _sampled(share, laid, at_mm[on_hide], settings)
    known = float(np.isfinite(density[on_hide]).mean()) if on_hide.any() else 0.0
    return density.reshape(rows, columns), known


def _sampled(share: Light, laid: Registration, at_mm: Points, settings: LightSettings) -> Array:
    """Density at places, each averaged over its square: where more than half of that can be read."""
    here = laid.px_from_mm(at_mm)
    beside = laid.px_from_mm(at_mm + (settings.step_mm, 0.0))
    reach = max(1.0, 0.5 * float(np.median(np.linalg.norm(beside - here, axis=1))))
    valid = np.isfinite(share)
    log = np.where(valid, -np.log(np.maximum(np.where(valid, share, 1.0), 1e-6)), 0.0).astype(np.float32)
    size = (2 * round(reach) + 1,) * 2
    weight = cv2.blur(valid.astype(np.float32), size)
    mean = cv2.blur(log, size)
    density = []
    for part in np.array_split(here.astype(np.float32), len(here) // 30_000 + 1):  # OpenCV's most in a row is 32 766
        x, y = part[:, :1], part[:, 1:]
        m, w = (cv2.remap(field, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT) for field in (mean, weight))
        density.append(np.where(w > 0.5, m / np.maximum(w, 1e-6), np.nan).ravel())
    found = np.concatenate(density)
    return np.where(np.exp(-found) >= settings.least_share, found, np.nan)


def _too_little(known: float) -> NotFound:
    return NotFound(
        "too-little-light",
        f"Light came through {100 * known:.0f} % of the hide only: it is too thick or too dense for this light.",
        "Use a brighter window or table, or gauge its thickness: heavy vegetable-tanned leather lets hardly any.",
    )


def _partly(known: float) -> Doubt:
    return Doubt(
        "light-partly",
        f"Light could be read on {100 * known:.0f} % of the hide; elsewhere its thickness is not known from light.",
    )

"""Corner-level scenes: what the adjustment gets, without pixels."""

from dataclasses import replace

import numpy as np

from hidescan.cards.detection import Card, Sharpness
from hidescan.cards.edges import EdgePoints
from hidescan.cards.pattern import printed_edges
from hidescan.floor.parameters import Prior, Priors, Tape
from hidescan.floor.priors import exif_ln_focal_u
from hidescan.settings import PlaneSettings
from tests.synthetic.scenes import Array, TrueCamera, TrueCard, board_corners, corners_px

S = PlaneSettings()
SHARP = Sharpness(blur_px=0.7, smear=1.0, smear_deg=0.0, contrast=200.0, white_level=220.0)


def seen_card(camera: TrueCamera, card: TrueCard, sd_px: float, rng: np.random.Generator) -> Card:
    """The card as the finder would give it."""
    return Card(card.number, board_corners(), corners_px(camera, card, sd_px, rng), SHARP)


def seen_by_edges(
    camera: TrueCamera,
    card: TrueCard,
    sd_px: float,
    rng: np.random.Generator,
    *,
    rise_mm: float = 0.0,
    ink_mm: float = 0.0,
) -> Card:
    """The card with its edges as the finder would give them; curled about its long axis, its black grown by `ink_mm`."""
    printed = printed_edges(card.number)
    share = np.array([0.2, 0.5, 0.8])
    way = printed.end_mm - printed.start_mm
    middle = (printed.start_mm[:, None] + share[None, :, None] * way[:, None]).reshape(-1, 2)
    outward = np.repeat(printed.outward, 3, axis=0)

    def px(board_mm: Array) -> Array:
        s = board_mm[:, 0] - 90.0
        k = 2 * rise_mm / 100.0**2
        laid = board_mm - np.c_[k**2 * s**3 / 6, np.zeros(len(s))]  # the sheet keeps its length
        xyz = card.floor(laid)
        xyz[:, 2] += 0.5 * k * s**2
        return camera.project(xyz)

    at = px(middle + ink_mm * outward)
    along = px(middle + 0.5 * outward[:, ::-1]) - px(middle - 0.5 * outward[:, ::-1])
    across = np.c_[-along[:, 1], along[:, 0]] / np.linalg.norm(along, axis=1, keepdims=True)
    across *= np.sign(np.sum(across * (px(middle + outward) - px(middle)), axis=1))[:, None]
    at = at + rng.normal(0, sd_px, len(at))[:, None] * across
    edges = EdgePoints(middle, outward, at, across, np.repeat(np.arange(len(way)), 3))
    corners = px(board_corners()) + rng.normal(0, 0.05, (12, 2))
    return Card(card.number, board_corners(), corners, SHARP, edges)


def priors(
    camera: TrueCamera | None = None,
    *,
    exif: bool = True,
    measured: bool = True,
    tapes: tuple[Tape, ...] = (),
    mount_mm: float = 0.0,
    on_hide: Prior | None = None,
) -> Priors:
    """Priors as the program would set them; `camera` gives an exact EXIF focal length."""
    typical = np.log(27 / np.hypot(36, 24) * np.hypot(4000, 3000))
    known = camera is not None and exif
    return Priors(
        ln_focal=Prior(
            float(np.log(camera.focal_px)) if camera is not None and exif else float(typical),
            exif_ln_focal_u(27.0, S) if known else S.broad_ln_focal_u,
        ),
        k1=Prior(0.0, S.k1_u),
        k2=Prior(0.0, S.k2_u),
        ln_scale=Prior(0.0, S.measured_ln_scale_u if measured else S.unmeasured_ln_scale_u),
        skew=Prior(0.0, S.measured_skew_u if measured else S.unmeasured_skew_u),
        on_hide_mm=on_hide or Prior(2.0, 1.0),
        mount_mm=mount_mm,
        tapes=tapes,
    )


def bent(card: Card, camera: TrueCamera, true: TrueCard, sagitta_mm: float) -> Card:
    """The card curled about its long axis: its middle lies on the floor, its sides stand up by `sagitta_mm`."""
    xyz = true.floor(card.board_mm)
    xyz[:, 2] += sagitta_mm * ((card.board_mm[:, 0] - 90.0) / 90.0) ** 2
    return replace(card, corners_px=camera.project(xyz))


def lifted(card: Card, camera: TrueCamera, true: TrueCard, rise_mm: float) -> Card:
    """The card flat but tilted: one long side on the floor, the other `rise_mm` up."""
    xyz = true.floor(card.board_mm)
    xyz[:, 2] += rise_mm * card.board_mm[:, 0] / 180.0
    return replace(card, corners_px=camera.project(xyz))


def floor_to_floor(a: TrueCard, b: TrueCard) -> float:
    """True distance between the tape marks of two cards, mm."""
    mark = np.array([[90.0, -14.0]])
    gap: Array = a.floor(mark)[0] - b.floor(mark)[0]
    return float(np.linalg.norm(gap))

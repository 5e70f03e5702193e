"""Corner-level scenes: what the adjustment gets, without pixels."""

from dataclasses import replace

import numpy as np

from hidescan.cards.detection import Card, Sharpness
from hidescan.floor.parameters import Prior, Priors, Tape
from hidescan.floor.priors import exif_ln_focal_u
from hidescan.settings import PlaneSettings
from tests.synthetic.scenes import Array, TrueCamera, TrueCard, board_corners, corners_px

S = PlaneSettings()
SHARP = Sharpness(blur_px=0.7, smear=1.0, smear_deg=0.0, contrast=200.0, white_level=220.0)


def seen_card(camera: TrueCamera, card: TrueCard, sd_px: float, rng: np.random.Generator) -> Card:
    """The card as the finder would give it."""
    return Card(card.number, board_corners(), corners_px(camera, card, sd_px, rng), SHARP)


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

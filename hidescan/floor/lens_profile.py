"""A lens profile: focal length and distortion of one camera setting, from several photos of a card.

All photos are adjusted together: the lens is common, everything else belongs to one photo and is eliminated from the
normal equations (Schur complement), so the work grows with the number of photos only.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from hidescan.basics.errors import NotFound
from hidescan.cards.detection import Card
from hidescan.floor.adjustment import Adjustment
from hidescan.floor.fit import adjusted
from hidescan.floor.noise import estimated_noise
from hidescan.floor.parameters import Array, Prior, Priors, State
from hidescan.floor.priors import focal_prior
from hidescan.photo.reading import Photo
from hidescan.settings import LensSettings, PlaneSettings

_LENS = slice(0, 3)  # ln f, k1, k2 among the adjustment's parameters


@dataclass(frozen=True, slots=True, eq=False)
class LensProfile:
    """What is known of a lens at one setting.

    Attributes
    ----------
    camera, focal_mm, focal_35mm, long_side_px, short_side_px
        What a photo's EXIF and size must say for the profile to be used.
    focal_px, k1, k2
        The lens, at that picture size.
    covariance
        (3, 3) over ln focal length, k1, k2.
    photos, rms_px
        How many photos it was made from, and how well their corners fit.
    taken
        EXIF date of the last photo, None when absent.
    """

    camera: str
    focal_mm: float | None
    focal_35mm: float | None
    long_side_px: int
    short_side_px: int
    focal_px: float
    k1: float
    k2: float
    covariance: Array
    photos: int
    rms_px: float
    taken: str | None

    def __eq__(self, other: object) -> bool:
        """Whether two profiles say the same, the covariance by its values."""
        return isinstance(other, LensProfile) and all(
            np.array_equal(getattr(self, field.name), getattr(other, field.name)) for field in fields(self)
        )

    __hash__ = None  # type: ignore[assignment]  # as for any value that holds an array

    def fits(self, photo: Photo) -> bool:
        """Whether a photo was made with this lens at this setting: a zoomed or cropped one says otherwise."""
        if not self.camera or (self.focal_mm is None and self.focal_35mm is None):
            return False  # nothing to tell it by
        size = max(photo.size_px), min(photo.size_px)
        return (self.camera, self.focal_mm, self.focal_35mm, self.long_side_px, self.short_side_px) == (
            photo.camera,
            photo.focal_mm,
            photo.focal_35mm,
            *size,
        )

    def on(self, priors: Priors, settings: LensSettings) -> Priors:
        """The priors with this lens in the place of what EXIF says.

        Focusing nearer or further changes a phone's focal length a little; that is added here.
        """
        covariance = self.covariance + np.diag([settings.focus_ln_focal_u**2, 0.0, 0.0])
        means = math.log(self.focal_px), self.k1, self.k2
        u = np.sqrt(np.diag(covariance))
        ln_focal, k1, k2 = (Prior(float(m), float(s)) for m, s in zip(means, u, strict=True))
        return replace(priors, ln_focal=ln_focal, k1=k1, k2=k2, lens_covariance=covariance)


def make_profile(
    photos: Sequence[tuple[Photo, tuple[Card, ...]]], plane: PlaneSettings, settings: LensSettings
) -> LensProfile | NotFound:
    """Adjust one lens to the cards of several photos.

    Parameters
    ----------
    photos
        Each photo with the cards found in it; pixels are not read.

    Returns
    -------
    The profile, or NotFound where the photos do not fix the lens, saying which photo to add.
    """
    if len(photos) < settings.least_photos:
        return NotFound(
            "lens-few",
            f"A lens profile needs {settings.least_photos} photos or more, {len(photos)} show a card.",
            "Photograph a card from all sides: square-on, tilted 40 degrees each way, near and far.",
        )
    first = photos[0][0]
    for photo, _ in photos[1:]:
        if not _same_setting(first, photo):
            return NotFound(
                "lens-mixed",
                f"{photo.file} was made with another camera, zoom or picture size than {first.file}.",
                "Use photos of one camera at one zoom.",
            )
    fits = [_alone(photo, cards, plane) for photo, cards in photos]
    usable = [fit for fit in fits if fit is not None]
    if len(usable) < settings.least_photos:
        return NotFound("lens-few", "In too many photos the card lies bent or is not seen.", "Lay it flat.")
    adjustments = [adjustment for adjustment, _ in usable]
    states, covariance, rms_px = _together(adjustments, [state for _, state in usable])
    tilts = [state.camera(a.size_px).tilt_deg for a, state in zip(adjustments, states, strict=True)]
    advice = _what_is_missing(tilts, covariance, settings)
    if advice is not None:
        return NotFound("lens-weak", "These photos do not fix the lens.", advice)
    ln_f, k1, k2 = (float(x) for x in states[0].parameters[_LENS])
    return LensProfile(
        camera=first.camera,
        focal_mm=first.focal_mm,
        focal_35mm=first.focal_35mm,
        long_side_px=max(first.size_px),
        short_side_px=min(first.size_px),
        focal_px=math.exp(ln_f),
        k1=k1,
        k2=k2,
        covariance=covariance,
        photos=len(usable),
        rms_px=rms_px,
        taken=max((p.taken for p, _ in photos if p.taken is not None), default=None),
    )


def _same_setting(a: Photo, b: Photo) -> bool:
    return (a.camera, a.focal_mm, a.focal_35mm, sorted(a.size_px)) == (
        b.camera,
        b.focal_mm,
        b.focal_35mm,
        sorted(b.size_px),
    )


def _alone(photo: Photo, cards: tuple[Card, ...], settings: PlaneSettings) -> tuple[Adjustment, State] | None:
    """One photo adjusted by itself, as a start; None where its card misfits."""
    priors = Priors(
        ln_focal=focal_prior(photo, settings),
        k1=Prior(0.0, settings.k1_u),
        k2=Prior(0.0, settings.k2_u),
        ln_scale=Prior(0.0, settings.measured_ln_scale_u),
        skew=Prior(0.0, settings.unmeasured_skew_u),
        on_hide_mm=Prior(0.0, 1.0),
    )
    fit = adjusted(Adjustment(cards, photo.size_px, priors, frozenset(), settings))
    return (fit.adjustment, fit.state) if fit is not None and not fit.misfit_cards() else None


def _together(adjustments: list[Adjustment], states: list[State]) -> tuple[list[State], Array, float]:
    """Gauss-Newton over all photos with one lens: states, covariance of the lens (3, 3), rms of what was seen, px."""
    lens = np.mean([state.parameters[_LENS] for state in states], axis=0)
    for _ in range(12):
        for state in states:
            state.parameters[_LENS] = lens
        reduced, pull, parts = _eliminated(adjustments, states)
        step = -np.linalg.solve(reduced, pull)
        lens = lens + step
        states = [
            state.stepped(np.concatenate([step, -own[:, 3] - own[:, :3] @ step]))
            for state, own in zip(states, parts, strict=True)
        ]
        if float(np.abs(step).max()) < 1e-8:
            break
    misfits = [a.misfits(s)[0] for a, s in zip(adjustments, states, strict=True)]
    learnt = [
        replace(a, noise=estimated_noise(a, misfit, a.weights(misfit)))
        for a, misfit in zip(adjustments, misfits, strict=True)
    ]
    covariance = np.asarray(np.linalg.inv(_eliminated(learnt, states)[0]), dtype=np.float64)
    return states, covariance, float(np.sqrt(np.mean(np.concatenate(misfits) ** 2)))


def _eliminated(adjustments: list[Adjustment], states: list[State]) -> tuple[Array, Array, list[Array]]:
    """Normal equations of the lens alone, (3, 3) and (3,), and for each photo what its own parameters follow by."""
    reduced: Array = np.zeros((3, 3))
    pull: Array = np.zeros(3)
    parts: list[Array] = []
    for adjustment, state in zip(adjustments, states, strict=True):
        misfits = adjustment.misfits(state)
        residual, J = adjustment.whitened(state, misfits, adjustment.weights(misfits[0]))
        keep = np.ones(len(residual), dtype=bool)
        keep[len(misfits[0]) : len(misfits[0]) + 3] = False  # the lens has no prior here: the cards alone decide
        N, g = J[keep].T @ J[keep], J[keep].T @ residual[keep]
        own = np.linalg.solve(N[3:, 3:], np.column_stack([N[3:, _LENS], g[3:]]))
        reduced += N[_LENS, _LENS] - N[_LENS, 3:] @ own[:, :3]
        pull += g[_LENS] - N[_LENS, 3:] @ own[:, 3]
        parts.append(own.astype(np.float64))
    return reduced, pull, parts


def _what_is_missing(tilts_deg: list[float], covariance: Array, settings: LensSettings) -> str | None:
    """The photo to add, or None where the lens is fixed well enough."""
    if max(tilts_deg) < settings.least_tilt_deg:
        return "All look straight down; add two photos tilted about 40 degrees, from different sides."
    if np.sqrt(covariance[0, 0]) > settings.most_ln_focal_u:
        return "Add photos tilted about 40 degrees and closer, with the card across half the picture."
    if np.sqrt(covariance[1, 1]) > settings.most_k1_u:
        return "Add photos with the card in the corners of the picture."
    return None

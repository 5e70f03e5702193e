"""What the floor's adjustment is solved for: parameters, what is known of them beforehand, and points in their space.

Parameters, in this order: ln focal length, k1, k2; a small turn of the camera frame (3) and the camera's shift (3);
the print's ln mean scale and its skew (scale in x minus in y, over the mean); the height of cards lying on the hide;
then x, y and angle of every card after the first; ln scale and skew of every print that has its own; and for every
card read by its edges its sheet: seven of its bend (`sheet`), and how far its ink has grown across edges along y and x.
Rotation is kept as a matrix beside the vector: its three parameters are a turn away from that matrix, folded into it
after each step, so they are always 0 at the point of linearisation.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from hidescan.camera.model import Camera

Array = NDArray[np.float64]

LN_F, K1, K2 = 0, 1, 2
TURN = slice(3, 6)
SHIFT = slice(6, 9)
OF_CAMERA = 9  # parameters before this one make the camera
LN_SCALE, SKEW = 9, 10
ON_HIDE = 11
FIRST_PLACE = 12  # x, y, angle of the second card; the first card is the floor frame
OF_BEND, OF_INK = 7, 2  # of a sheet


@dataclass(frozen=True, slots=True)
class Prior:
    """What is known of a parameter beforehand: mean and standard uncertainty."""

    mean: float
    u: float


@dataclass(frozen=True, slots=True)
class Tape:
    """A taped distance between the tape marks of two cards."""

    first: int
    second: int
    distance_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Priors:
    """Everything known before the cards are looked at.

    Attributes
    ----------
    ln_focal, k1, k2
        Logarithm of the focal length in px; radial distortion.
    ln_scale, skew
        Logarithm of the print's mean scale; (scale in x - scale in y) / mean.
    on_hide_mm
        Height of the cards that lie on the hide.
    mount_mm
        Height of a card's face over what it lies on: paper, or the board it is mounted on.
    tapes
        Taped distances between cards.
    lens_covariance
        (3, 3) over ln f, k1, k2, from a lens profile; takes the place of their three `u`.
    own_prints
        Scale and skew of cards, by number, whose print is known apart from the others'.
    """

    ln_focal: Prior
    k1: Prior
    k2: Prior
    ln_scale: Prior
    skew: Prior
    on_hide_mm: Prior
    mount_mm: float = 0.0
    tapes: tuple[Tape, ...] = ()
    lens_covariance: Array | None = None
    own_prints: Mapping[int, tuple[Prior, Prior]] = field(default_factory=dict)

    def whitened(self, parameters: Array) -> tuple[Array, Array]:
        """Residuals of lens, print and height (6,) and their Jacobian (6, P), in units of standard uncertainty."""
        columns = [LN_F, K1, K2, LN_SCALE, SKEW, ON_HIDE]
        priors = [self.ln_focal, self.k1, self.k2, self.ln_scale, self.skew, self.on_hide_mm]
        root = np.diag([1 / prior.u for prior in priors])
        if self.lens_covariance is not None:
            root[:3, :3] = np.linalg.cholesky(np.linalg.inv(self.lens_covariance)).T
        jacobian = np.zeros((6, len(parameters)))
        jacobian[:, columns] = root
        return root @ (parameters[columns] - [prior.mean for prior in priors]), jacobian


@dataclass(frozen=True, slots=True)
class Layout:
    """Where each card's parameters lie in the vector.

    Attributes
    ----------
    own_print
        For each card, which of the own prints it is (from 0); None where it is of the common print.
    has_sheet
        For each card, whether its sheet is solved for.
    """

    own_print: tuple[int | None, ...]
    has_sheet: tuple[bool, ...]

    @property
    def first_print(self) -> int:
        """Column of the first own print's ln scale."""
        return FIRST_PLACE + 3 * (len(self.has_sheet) - 1)

    @property
    def first_sheet(self) -> int:
        """Column of the first sheet's first parameter."""
        return self.first_print + 2 * len({k for k in self.own_print if k is not None})

    @property
    def size(self) -> int:
        """Count of all parameters, P."""
        return self.first_sheet + (OF_BEND + OF_INK) * sum(self.has_sheet)

    def scale_column(self, j: int) -> int:
        """Column of card j's ln scale; its skew follows."""
        own = self.own_print[j]
        return LN_SCALE if own is None else self.first_print + 2 * own

    def sheet(self, j: int) -> slice:
        """Columns of card j's sheet; empty where it has none."""
        if not self.has_sheet[j]:
            return slice(0, 0)
        first = self.first_sheet + (OF_BEND + OF_INK) * sum(self.has_sheet[:j])
        return slice(first, first + OF_BEND + OF_INK)


@dataclass(frozen=True, slots=True, eq=False)
class State:
    """A point in parameter space: the vector (P,) and the rotation, camera from floor."""

    parameters: Array
    rotation: Array

    def stepped(self, step: Array) -> "State":
        """The state moved by `step` (P,)."""
        parameters = self.parameters + step
        parameters[TURN] = 0.0
        return State(parameters, _turned(self.rotation, step[TURN]))

    def camera(self, size_px: tuple[int, int]) -> Camera:
        """The camera of this state; the principal point is the middle of the picture."""
        return Camera(
            focal_px=float(np.exp(self.parameters[LN_F])),
            k1=float(self.parameters[K1]),
            k2=float(self.parameters[K2]),
            principal_point_px=np.array([(size_px[0] - 1) / 2, (size_px[1] - 1) / 2]),
            rotation=self.rotation,
            translation_mm=self.parameters[SHIFT].copy(),
        )

    def place(self, j: int) -> Array:
        """X mm, y mm and angle (radians) of card j."""
        return self.parameters[FIRST_PLACE + 3 * j - 3 : FIRST_PLACE + 3 * j] if j else np.zeros(3)


def cross_matrices(vectors: Array) -> Array:
    """[v]x for each row, (N, 3, 3)."""
    matrices = np.zeros((len(vectors), 3, 3))
    matrices[:, 0, 1], matrices[:, 0, 2], matrices[:, 1, 2] = -vectors[:, 2], vectors[:, 1], -vectors[:, 0]
    return matrices - matrices.transpose(0, 2, 1)


def _turned(rotation: Array, turn: Array) -> Array:
    """`rotation` followed by a turn of the camera frame (rotation vector, radians; Rodrigues' formula)."""
    angle = float(np.linalg.norm(turn))
    if angle < 1e-15:
        return rotation
    K = cross_matrices((turn / angle)[None])[0]
    result: Array = (np.eye(3) + np.sin(angle) * K + (1 - np.cos(angle)) * K @ K) @ rotation
    return result

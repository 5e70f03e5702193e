"""The least-squares adjustment behind the floor plane: parameters, model, analytic Jacobian, solver.

Parameters, in this order: ln focal length, k1, k2; a small turn of the camera frame (3) and the camera's shift (3);
the print's ln mean scale and its skew (scale in x minus in y, over the mean); the height of cards lying on the hide;
then x, y and angle of every card after the first. Rotation is kept as a matrix beside the vector: its three parameters
are a turn away from that matrix, folded into it after each step, so they are always 0 at the point of linearisation.

All observations are whitened: corners by their standard deviation and robust weight, priors and tapes by their own
uncertainty. The cost is then one sum of squares, and (J'J)^-1 its covariance.
"""

from dataclasses import dataclass, field
from typing import Protocol, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points
from hidescan.camera.model import Camera
from hidescan.cards.detection import PATTERN_MM, TAPE_MARK_MM, Card
from hidescan.settings import PlaneSettings

Array = NDArray[np.float64]

LN_F, K1, K2 = 0, 1, 2
TURN = slice(3, 6)
SHIFT = slice(6, 9)
LN_SCALE, SKEW = 9, 10
ON_HIDE = 11
FIRST_PLACE = 12  # x, y, angle of the second card; the first card is the floor frame


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
    """Everything known before the corners are looked at.

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

    def whitened(self, parameters: Array) -> tuple[Array, Array]:
        """Residuals of the priors (6,) and their Jacobian (6, P), in units of standard uncertainty."""
        columns = [LN_F, K1, K2, LN_SCALE, SKEW, ON_HIDE]
        priors = [self.ln_focal, self.k1, self.k2, self.ln_scale, self.skew, self.on_hide_mm]
        root = np.diag([1 / prior.u for prior in priors])
        if self.lens_covariance is not None:
            root[:3, :3] = np.linalg.cholesky(np.linalg.inv(self.lens_covariance)).T
        jacobian = np.zeros((6, len(parameters)))
        jacobian[:, columns] = root
        return root @ (parameters[columns] - [prior.mean for prior in priors]), jacobian


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


@dataclass(frozen=True, slots=True, eq=False)
class Adjustment:
    """The observations of one photo: cards (the first defines the floor frame), priors, which cards lie on the hide.

    The rest is the same in one row a corner: nominal place on its card, place in the photo, index of its card.
    """

    cards: tuple[Card, ...]
    size_px: tuple[int, int]
    priors: Priors
    on_hide: frozenset[int]
    settings: PlaneSettings
    nominal_mm: Points = field(init=False)
    observed_px: Points = field(init=False)
    owner: NDArray[np.intp] = field(init=False)
    owner_on_hide: NDArray[np.bool_] = field(init=False)

    def __post_init__(self) -> None:
        owner = np.repeat(np.arange(len(self.cards)), [len(card.corners_px) for card in self.cards])
        lying = np.array([card.number in self.on_hide for card in self.cards])
        object.__setattr__(self, "nominal_mm", np.vstack([from_board(card.board_mm) for card in self.cards]))
        object.__setattr__(self, "observed_px", np.vstack([card.corners_px for card in self.cards]))
        object.__setattr__(self, "owner", owner)
        object.__setattr__(self, "owner_on_hide", lying[owner])

    def starts(self) -> list[State]:
        """First guesses: both planar poses of the first card (Collins and Bartoli 2014), the others placed by each."""
        import cv2

        p = self.priors
        parameters = np.zeros(FIRST_PLACE + 3 * (len(self.cards) - 1))
        parameters[[LN_F, K1, K2, LN_SCALE, SKEW, ON_HIDE]] = (
            p.ln_focal.mean, p.k1.mean, p.k2.mean, p.ln_scale.mean, p.skew.mean, p.on_hide_mm.mean,
        )  # fmt: skip
        first = self.cards[0]
        floor = np.column_stack([from_board(first.board_mm), np.zeros(len(first.board_mm))])
        middle = np.array([(self.size_px[0] - 1) / 2, (self.size_px[1] - 1) / 2])
        normalised = (first.corners_px - middle) / np.exp(p.ln_focal.mean)
        _, turns, shifts, _ = cv2.solvePnPGeneric(floor, normalised, np.eye(3), None, flags=cv2.SOLVEPNP_IPPE)
        states = []
        for turn, shift in zip(turns, shifts, strict=True):
            state = State(parameters.copy(), np.asarray(cv2.Rodrigues(turn)[0], dtype=np.float64))
            state.parameters[SHIFT] = shift.ravel()
            camera = state.camera(self.size_px)
            seen = [camera.mm_from_px(card.corners_px) for card in self.cards]
            if camera.rotation[2, 2] >= 0 or not all(np.isfinite(s).all() for s in seen):
                continue  # the floor seen from below, or a card beyond its horizon
            for j, card in enumerate(self.cards[1:], start=1):
                state.place(j)[:] = rigid_fit(from_board(card.board_mm), seen[j])
            states.append(state)
        return states

    def whitened(self, state: State, corners: tuple[Array, Array], sd_px: float, weights: Array) -> tuple[Array, Array]:
        """All residuals in units of their standard deviation, and their Jacobian by the parameters.

        Parameters
        ----------
        corners
            What `corner_misfits` gave for this state.
        sd_px
            Standard deviation of a corner's coordinate.
        weights
            (2N,) robust weights of the corner coordinates.
        """
        root = np.sqrt(weights) / sd_px
        prior, J_prior = self.priors.whitened(state.parameters)
        tape, J_tape = self.tape_misfits(state)
        residual = np.concatenate([root * corners[0], prior, tape])
        return residual, np.vstack([root[:, None] * corners[1], J_prior, J_tape])

    def corner_misfits(self, state: State) -> tuple[Array, Array]:
        """Predicted minus observed corner coordinates, px (2N,), and their Jacobian (2N, P).

        Chain: card -> floor X -> camera R X + t -> n = (x, y) / z -> n (1 + k1 r^2 + k2 r^4) -> f n_d + c.
        """
        camera = state.camera(self.size_px)
        _, J_scale, J_skew, J_angle = self._on_floor(self.nominal_mm, self.owner, state)
        rotated = self.floor_points(state) @ camera.rotation.T
        in_camera = rotated + camera.translation_mm
        z = in_camera[:, 2:]
        with np.errstate(divide="ignore", invalid="ignore"):  # a wild trial step may put a card behind the camera
            n = in_camera[:, :2] / z
        r2 = np.sum(n**2, axis=1)
        radial = 1 + r2 * (camera.k1 + r2 * camera.k2)
        n_d = n * radial[:, None]

        bend = 2 * camera.k1 + 4 * camera.k2 * r2
        J_nd_n = radial[:, None, None] * np.eye(2) + bend[:, None, None] * (n[:, :, None] * n[:, None, :])
        J_n_camera = np.zeros((len(n), 2, 3))
        J_n_camera[:, 0, 0] = J_n_camera[:, 1, 1] = 1 / z[:, 0]
        J_n_camera[:, :, 2] = -n / z
        J_px_camera = camera.focal_px * (J_nd_n @ J_n_camera)
        J_px_floor = J_px_camera @ camera.rotation

        J = np.zeros((len(n), 2, len(state.parameters)))
        J[:, :, LN_F] = camera.focal_px * n_d
        J[:, :, K1] = camera.focal_px * n * r2[:, None]
        J[:, :, K2] = camera.focal_px * n * (r2**2)[:, None]
        J[:, :, TURN] = J_px_camera @ -_cross_matrices(rotated)
        J[:, :, SHIFT] = J_px_camera
        J[:, :, LN_SCALE] = _apply(J_px_floor, J_scale)
        J[:, :, SKEW] = _apply(J_px_floor, J_skew)
        J[:, :, ON_HIDE] = J_px_floor[:, :, 2] * self.owner_on_hide[:, None]
        placed = np.flatnonzero(self.owner)
        column = FIRST_PLACE + 3 * self.owner[placed] - 3
        J[placed, :, column], J[placed, :, column + 1] = J_px_floor[placed, :, 0], J_px_floor[placed, :, 1]
        J[placed, :, column + 2] = _apply(J_px_floor, J_angle)[placed]
        predicted = camera.focal_px * n_d + camera.principal_point_px
        return (predicted - self.observed_px).ravel(), J.reshape(2 * len(n), -1)

    def possible(self, state: State) -> bool:
        """Whether the camera looks down on the floor."""
        return bool(state.rotation[2, 2] < 0)

    def floor_points(self, state: State) -> Array:
        """Where the corners lie in the floor frame, (N, 3) mm."""
        height = self.priors.mount_mm + np.where(self.owner_on_hide, state.parameters[ON_HIDE], 0.0)
        return np.column_stack([self._on_floor(self.nominal_mm, self.owner, state)[0], height])

    @staticmethod
    def _on_floor(nominal_mm: Points, owner: NDArray[np.intp], state: State) -> tuple[Points, Points, Points, Points]:
        """Points of cards on the floor, and their derivatives by ln scale, skew and the card's angle, each (N, 2)."""
        scale, skew = float(np.exp(state.parameters[LN_SCALE])), float(state.parameters[SKEW])
        places = np.vstack([np.zeros(3), state.parameters[FIRST_PLACE:].reshape(-1, 3)])[owner]
        c, s = np.cos(places[:, 2:]), np.sin(places[:, 2:])

        def turned(xy: Points) -> Points:
            return np.column_stack([c * xy[:, :1] - s * xy[:, 1:], s * xy[:, :1] + c * xy[:, 1:]])

        local = turned(nominal_mm * (scale * (1 + skew / 2), scale * (1 - skew / 2)))
        skewed = turned(nominal_mm * (scale / 2, -scale / 2))
        return local + places[:, :2], local, skewed, local[:, ::-1] * (-1.0, 1.0)

    def tape_misfits(self, state: State) -> tuple[Array, Array]:
        """(Measured - taped) distances in units of the tape's uncertainty (T,), and their Jacobian (T, P)."""
        numbers = [card.number for card in self.cards]
        misfits, rows = [], []
        for tape in self.priors.tapes:
            if not {tape.first, tape.second} <= set(numbers):
                continue
            (a, J_a), (b, J_b) = (self._tape_mark(numbers.index(k), state) for k in (tape.first, tape.second))
            length = float(np.linalg.norm(b - a))
            u = self.settings.tape_u_mm + self.settings.tape_u_share * tape.distance_mm
            misfits.append((length - tape.distance_mm) / u)
            rows.append((b - a) / length @ (J_b - J_a) / u)
        return np.array(misfits), np.array(rows).reshape(-1, len(state.parameters))

    def _tape_mark(self, j: int, state: State) -> tuple[Array, Array]:
        xy, J_scale, J_skew, J_angle = self._on_floor(from_board(np.array([TAPE_MARK_MM])), np.array([j]), state)
        J = np.zeros((2, len(state.parameters)))
        J[:, LN_SCALE], J[:, SKEW] = J_scale[0], J_skew[0]
        if j:
            column = FIRST_PLACE + 3 * j - 3
            J[:, column : column + 2] = np.eye(2)
            J[:, column + 2] = J_angle[0]
        return xy[0], J


class Point(Protocol):
    """A point in some parameter space that a step moves."""

    def stepped(self, step: Array) -> Self:
        """The point moved by `step`."""
        ...


AnyState = TypeVar("AnyState", bound=Point)
SomeState = TypeVar("SomeState", bound=Point, contravariant=True)


class Problem(Protocol[SomeState]):
    """What `minimised` asks of a problem: `Adjustment`'s own methods, over one photo or several."""

    @property
    def settings(self) -> PlaneSettings:
        """How corners are weighed and when to stop."""
        ...

    def corner_misfits(self, state: SomeState) -> tuple[Array, Array]:
        """Corner coordinates' misfit and its Jacobian."""
        ...

    def whitened(
        self, state: SomeState, corners: tuple[Array, Array], sd_px: float, weights: Array
    ) -> tuple[Array, Array]:
        """All residuals in units of their standard deviation, and their Jacobian."""
        ...

    def possible(self, state: SomeState) -> bool:
        """Whether the state can be."""
        ...


def minimised(
    adjustment: Problem[AnyState], start: AnyState, beat: float = np.inf
) -> tuple[AnyState, Array, float] | None:
    """Levenberg-Marquardt with Huber weights renewed in each round.

    Own code rather than SciPy's, whose import alone takes longer than the whole solution.

    Parameters
    ----------
    beat
        Cost that another start reached. The right pose converges in 4 or 5 rounds; the wrong one of two wanders long,
        far above, and is given up.

    Returns
    -------
    The state, the corners' weights (2N,), the cost; None where the state found cannot be, or was given up.
    """
    settings, sd_px = adjustment.settings, adjustment.settings.corner_sd_px
    state, corners, damping = start, adjustment.corner_misfits(start), 1e-6
    if not np.isfinite(corners[0]).all():
        return None
    for round_ in range(settings.most_rounds):
        weights = huber_weights(corners[0], _spread(corners[0], sd_px), settings.huber_sigma)
        residual, jacobian = adjustment.whitened(state, corners, sd_px, weights)
        cost = float(residual @ residual)
        information, gradient = jacobian.T @ jacobian, jacobian.T @ residual
        while damping < 1e8:
            damped = information + damping * np.diag(np.diag(information))
            step = -np.linalg.solve(damped, gradient).astype(np.float64)
            trial = state.stepped(step)
            trial_corners = adjustment.corner_misfits(trial)
            trial_residual, _ = adjustment.whitened(trial, trial_corners, sd_px, weights)
            trial_cost = float(trial_residual @ trial_residual)
            if trial_cost <= cost * (1 + 1e-12):  # false for NaN
                break
            damping *= 10
        else:
            break
        state, corners, damping = trial, trial_corners, max(damping / 30, 1e-9)
        if cost - trial_cost < settings.converged_cost:
            break
        if round_ >= settings.rounds_to_beat and trial_cost > 10 * beat:
            return None
    return (state, weights, trial_cost) if adjustment.possible(state) else None


def from_board(board_mm: Points) -> Points:
    """Board frame (x right, y down, origin top left) to the card's own floor frame (y up, origin at its centre)."""
    return (board_mm - np.array(PATTERN_MM) / 2) * (1.0, -1.0)


def huber_weights(misfit: Array, sd_px: float, threshold_sigma: float) -> Array:
    """Huber weights (Huber 1964) by corner: both coordinates of a corner share the weight of its distance, (2N,)."""
    distance = np.linalg.norm(misfit.reshape(-1, 2), axis=1) / sd_px
    return np.repeat(np.minimum(1.0, threshold_sigma / np.maximum(distance, 1e-12)), 2)


def _spread(misfit: Array, least_px: float) -> float:
    """Spread of the corners by their median deviation, never below the prior, so that weights stay tame."""
    return max(least_px, 1.4826 * float(np.median(np.abs(misfit))))


def rigid_fit(source: Points, target: Points) -> Array:
    """Shift and angle (x, y, radians) that best carry `source` onto `target` (Kabsch 1976, in the plane)."""
    a, b = source - source.mean(axis=0), target - target.mean(axis=0)
    angle = float(np.arctan2(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]), np.sum(a * b)))
    c, s = np.cos(angle), np.sin(angle)
    shift = target.mean(axis=0) - np.array([[c, -s], [s, c]]) @ source.mean(axis=0)
    return np.array([shift[0], shift[1], angle])


def _cross_matrices(vectors: Array) -> Array:
    """[v]x for each row, (N, 3, 3)."""
    matrices = np.zeros((len(vectors), 3, 3))
    matrices[:, 0, 1], matrices[:, 0, 2], matrices[:, 1, 2] = -vectors[:, 2], vectors[:, 1], -vectors[:, 0]
    return matrices - matrices.transpose(0, 2, 1)


def _apply(J_px_floor: Array, floor_xy: Points) -> Points:
    """Row-wise product of (N, 2, 3) with vectors in the floor (N, 2), giving (N, 2)."""
    result: Points = np.einsum("nij,nj->ni", J_px_floor[:, :, :2], floor_xy)
    return result


def _turned(rotation: Array, turn: Array) -> Array:
    """`rotation` followed by a turn of the camera frame (rotation vector, radians; Rodrigues' formula)."""
    angle = float(np.linalg.norm(turn))
    if angle < 1e-15:
        return rotation
    K = _cross_matrices((turn / angle)[None])[0]
    result: Array = (np.eye(3) + np.sin(angle) * K + (1 - np.cos(angle)) * K @ K) @ rotation
    return result

"""The least-squares adjustment behind the floor plane: observations, model and analytic Jacobian.

A card read by its edges is observed across them only; another by its corners. All observations are whitened: by their
standard deviation and robust weight, stretches of one printed edge by what they share as well; priors and tapes by
their own uncertainty. The cost is then one sum of squares, and (J'J)^-1 its covariance.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points
from hidescan.cards.detection import Card
from hidescan.cards.pattern import TAPE_MARK_MM
from hidescan.floor import sheet
from hidescan.floor.least_squares import Noise, by_group, huber_weights, spread
from hidescan.floor.lying import Lying, from_board, rigid_fit
from hidescan.floor.parameters import (
    K1,
    K2,
    LN_F,
    LN_SCALE,
    OF_BEND,
    OF_INK,
    ON_HIDE,
    SHIFT,
    SKEW,
    TURN,
    Array,
    Layout,
    Prior,
    Priors,
    State,
    Tape,
    cross_matrices,
)
from hidescan.settings import PlaneSettings


@dataclass(frozen=True, slots=True, eq=False)
class Observations:
    """What was seen of the cards: in one row a point, all corners first; its card is `owner`.

    Attributes
    ----------
    nominal_mm, observed_px
        (N, 2) place in the card's own frame, and in the photo.
    owner
        (N,) index of its card.
    outward, across
        (E, 2) of the edges' points alone: unit vector from black to white on the card, and in the photo.
    line_starts
        Where among the edges' points those of another printed edge begin.
    """

    nominal_mm: Points
    observed_px: Points
    owner: NDArray[np.intp]
    outward: Points
    across: Points
    line_starts: NDArray[np.intp]

    @property
    def corners(self) -> int:
        """Count of corners; each makes two rows of misfit, an edge's point one."""
        return len(self.owner) - len(self.across)

    def of_card(self, j: int) -> slice:
        """Where card j's points are; they are either all corners or all edges'."""
        mine = np.flatnonzero(self.owner == j)
        return slice(int(mine[0]), int(mine[-1]) + 1) if len(mine) else slice(0, 0)

    @property
    def row_owner(self) -> NDArray[np.intp]:
        """Index of the card of each row of misfit, (R,)."""
        return np.concatenate([np.repeat(self.owner[: self.corners], 2), self.owner[self.corners :]])

    def rows(self, of_points: Array) -> Array:
        """What belongs to points in the photo, (N, 2, M), by rows of misfit, (R, M): edges across themselves only."""
        corners = self.corners
        of_edges = np.einsum("ei,eim->em", self.across, of_points[corners:])
        return np.vstack([of_points[:corners].reshape(2 * corners, of_points.shape[2]), of_edges])

    @property
    def line_of(self) -> NDArray[np.intp]:
        """Index of the printed edge of each edge's point, (E,)."""
        many = np.diff(np.append(self.line_starts, len(self.across)))
        return np.repeat(np.arange(len(self.line_starts)), many)


def observations_of(cards: tuple[Card, ...]) -> Observations:
    """The cards' observations, in the order that the adjustment keeps."""
    corners = [(j, card) for j, card in enumerate(cards) if card.edges is None]
    edges = [(j, card.edges) for j, card in enumerate(cards) if card.edges is not None]
    owner = [np.full(len(c.corners_px), j) for j, c in corners] + [np.full(len(e.px), j) for j, e in edges]
    nothing = [np.zeros((0, 2))]
    lines = np.concatenate([np.zeros(0, dtype=np.intp), *(1000 * (j + 1) + e.line for j, e in edges)])
    return Observations(
        nominal_mm=np.vstack(
            nothing + [from_board(c.board_mm) for _, c in corners] + [from_board(e.board_mm) for _, e in edges]
        ),
        observed_px=np.vstack(nothing + [c.corners_px for _, c in corners] + [e.px for _, e in edges]),
        owner=np.concatenate([np.zeros(0, dtype=np.intp), *owner]).astype(np.intp),
        outward=np.vstack(nothing + [e.outward * (1.0, -1.0) for _, e in edges]),
        across=np.vstack(nothing + [e.across for _, e in edges]),
        line_starts=np.flatnonzero(np.diff(lines, prepend=-1)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Adjustment:
    """The observations of one photo: cards (the first defines the floor frame), priors, which cards lie on the hide."""

    cards: tuple[Card, ...]
    size_px: tuple[int, int]
    priors: Priors
    on_hide: frozenset[int]
    settings: PlaneSettings
    noise: Noise | None = None
    seen: Observations = field(init=False)
    layout: Layout = field(init=False)

    def __post_init__(self) -> None:
        prints = [self.priors.own_prints.get(card.number) for card in self.cards]
        own = list(dict.fromkeys(known for known in prints if known is not None))
        layout = Layout(
            tuple(None if known is None else own.index(known) for known in prints),
            tuple(card.edges is not None for card in self.cards),
        )
        object.__setattr__(self, "seen", observations_of(self.cards))
        object.__setattr__(self, "layout", layout)
        if self.noise is None:
            s = self.settings
            object.__setattr__(self, "noise", Noise(s.corner_sd_px, s.edge_sd_px, s.line_sd_px))

    @property
    def sd_px(self) -> float:
        """Standard deviation of a corner's coordinate, or without corners of a stretch of edge across it, px."""
        assert self.noise is not None
        if self.seen.corners:
            return self.noise.corner_px
        return float(np.hypot(self.noise.edge_px, self.noise.line_px))

    def starts(self) -> list[State]:
        """First guesses: both planar poses of the first card (Collins and Bartoli 2014), the others placed by each."""
        import cv2

        p = self.priors
        parameters = np.zeros(self.layout.size)
        parameters[[LN_F, K1, K2, LN_SCALE, SKEW, ON_HIDE]] = (
            p.ln_focal.mean, p.k1.mean, p.k2.mean, p.ln_scale.mean, p.skew.mean, p.on_hide_mm.mean,
        )  # fmt: skip
        for j, card in enumerate(self.cards):
            if card.number in p.own_prints:
                column = self.layout.scale_column(j)
                parameters[column : column + 2] = [prior.mean for prior in p.own_prints[card.number]]
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

    def whitened(self, state: State, misfits: tuple[Array, Array], weights: Array) -> tuple[Array, Array]:
        """All residuals in units of their standard deviation, and their Jacobian by the parameters.

        Parameters
        ----------
        misfits
            What `misfits` gave for this state.
        weights
            (R,) robust weights of its rows.
        """
        seen = self.whitened_rows(np.column_stack(misfits), weights)
        known = self.known(state).values()
        residual = np.concatenate([seen[:, 0], *(r for r, _ in known)])
        return residual, np.vstack([seen[:, 1:], *(J for _, J in known)])

    def whitened_rows(self, rows: Array, weights: Array) -> Array:
        """Rows of misfits or of their Jacobian, (R, M), times the root of the inverse of their covariance.

        The covariance of one printed edge's stretches is s^2 / w on the diagonal plus what they share, l^2, everywhere.
        """
        assert self.noise is not None
        corners = 2 * self.seen.corners
        v = np.sqrt(weights)
        v[:corners] /= self.noise.corner_px
        v[corners:] /= self.noise.edge_px
        whitened = v[:, None] * rows
        if corners < len(rows):
            edge, root = whitened[corners:], v[corners:]
            starts, line = self.seen.line_starts, self.seen.line_of
            total = np.maximum(by_group(root * root, starts), 1e-12)
            factor = (1 - 1 / np.sqrt(1 + self.noise.line_px**2 * total)) / total
            edge -= root[:, None] * (factor[:, None] * by_group(root[:, None] * edge, starts))[line]
        return np.asarray(whitened)

    def weights(self, misfit: Array) -> Array:
        """Robust weights: Huber's for corners; for edges their square, which lets a leaf or a shadow go altogether."""
        assert self.noise is not None
        corners = 2 * self.seen.corners
        of_corners, of_edges = misfit[:corners], misfit[corners:]
        weights = np.ones(len(misfit))
        if corners:
            sd_px = spread(of_corners, self.settings.corner_sd_px)
            weights[:corners] = huber_weights(of_corners, sd_px, self.settings.huber_sigma)
        if len(of_edges):
            limit = self.settings.edge_huber_sigma * spread(
                of_edges, float(np.hypot(self.noise.edge_px, self.noise.line_px))
            )
            weights[corners:] = np.minimum(1.0, limit / np.maximum(np.abs(of_edges), 1e-12)) ** 2
        return weights

    def known(self, state: State) -> dict[str, tuple[Array, Array]]:
        """What was known beforehand, by kind: whitened residuals and their Jacobians."""
        prior, J = self.priors.whitened(state.parameters)
        own, J_own = self._own_prints(state)
        bend, J_bend = self._sheets(state)
        tape, J_tape = self.tape_misfits(state)
        return {
            "lens": (prior[:3], J[:3]),
            "print scale": (np.concatenate([prior[3:5], own]), np.vstack([J[3:5], J_own])),
            "card on the hide": (prior[5:], J[5:]),
            "card not flat": (bend, J_bend),
            "tape": (tape, J_tape),
        }

    def _own_prints(self, state: State) -> tuple[Array, Array]:
        """Priors of the prints that are known apart, and of how far ink has grown."""
        priors: dict[int, Prior] = {}
        for j, card in enumerate(self.cards):
            for i, prior in enumerate(self.priors.own_prints.get(card.number, ())):
                priors[self.layout.scale_column(j) + i] = prior
            ink = self.layout.sheet(j)
            for column in range(ink.stop - OF_INK, ink.stop) if ink.stop else ():
                priors[column] = Prior(0.0, self.settings.ink_u_mm)
        columns = list(priors)
        means, u = (np.array([getattr(prior, part) for prior in priors.values()]) for part in ("mean", "u"))
        J = np.zeros((len(columns), self.layout.size))
        J[np.arange(len(columns)), columns] = 1 / u
        return (state.parameters[columns] - means) / u, J

    def _sheets(self, state: State) -> tuple[Array, Array]:
        s = self.settings
        residuals, rows = [np.zeros(0)], [np.zeros((0, self.layout.size))]
        for j, has_sheet in enumerate(self.layout.has_sheet):
            if has_sheet:
                columns = self.bend_columns(j)
                r, part = sheet.prior(state.parameters[columns], s.curl_u_mm, s.one_sided_u_mm, s.doubly_bent_u_mm2)
                J = np.zeros((len(r), self.layout.size))
                J[:, columns] = part
                residuals.append(r)
                rows.append(J)
        return np.concatenate(residuals), np.vstack(rows)

    def bend_columns(self, j: int) -> slice:
        """Columns of card j's bend; empty where its sheet is not solved for."""
        columns = self.layout.sheet(j)
        return slice(columns.start, columns.start + OF_BEND) if columns.stop else columns

    def misfits(self, state: State) -> tuple[Array, Array]:
        """Predicted minus observed: corners' coordinates, then edges across themselves, px (R,); and Jacobian (R, P).

        Chain: card -> floor X -> camera R X + t -> n = (x, y) / z -> n (1 + k1 r^2 + k2 r^4) -> f n_d + c.
        """
        camera = state.camera(self.size_px)
        floor, parts = self._on_floor(state)
        rotated = floor @ camera.rotation.T
        in_camera = rotated + camera.translation_mm
        z = in_camera[:, 2:]
        with np.errstate(divide="ignore", invalid="ignore"):  # a wild trial step may put a card behind the camera
            n = in_camera[:, :2] / z
        r2 = np.sum(n**2, axis=1)
        radial = 1 + r2 * (camera.k1 + r2 * camera.k2)
        n_d = n * radial[:, None]

        slope = 2 * camera.k1 + 4 * camera.k2 * r2
        J_nd_n = radial[:, None, None] * np.eye(2) + slope[:, None, None] * (n[:, :, None] * n[:, None, :])
        J_n_camera = np.zeros((len(n), 2, 3))
        J_n_camera[:, 0, 0] = J_n_camera[:, 1, 1] = 1 / z[:, 0]
        J_n_camera[:, :, 2] = -n / z
        J_px_camera = camera.focal_px * (J_nd_n @ J_n_camera)
        J_of_lens = camera.focal_px * np.stack([n_d, n * r2[:, None], n * (r2**2)[:, None]], axis=2)
        J_turn = J_px_camera @ -cross_matrices(rotated)
        misfit_px = camera.focal_px * n_d + camera.principal_point_px - self.seen.observed_px

        rows, corners = self.seen.rows, self.seen.corners
        J = np.zeros((len(self.seen.row_owner), len(state.parameters)))
        J[:, LN_F : K2 + 1] = rows(J_of_lens)
        J[:, TURN], J[:, SHIFT] = rows(J_turn), rows(J_px_camera)
        J_floor = rows(J_px_camera @ camera.rotation)
        for block, columns, J_own in parts:
            if block.stop <= corners:
                block, J_own = slice(2 * block.start, 2 * block.stop), np.repeat(J_own, 2, axis=0)
            else:
                block = slice(block.start + corners, block.stop + corners)
            J[block, columns] += np.matmul(J_floor[block, None, :], J_own)[:, 0]
        return rows(misfit_px[:, :, None])[:, 0], J

    def possible(self, state: State) -> bool:
        """Whether the camera looks down on the floor."""
        return bool(state.rotation[2, 2] < 0)

    def floor_points(self, state: State) -> Array:
        """Where the corners and the edges' points lie in the floor frame, (N, 3) mm."""
        return self._on_floor(state)[0]

    def _on_floor(self, state: State) -> tuple[Array, list[tuple[slice, NDArray[np.intp], Array]]]:
        """Every point in the floor frame, (N, 3) mm; for each card its points, columns and derivatives by them."""
        seen = self.seen
        points, parts = np.zeros((len(seen.owner), 3)), []
        for j, card in enumerate(self.cards):
            block = seen.of_card(j)
            if block.stop > block.start:
                lies = Lying(self.layout, j, self.priors.mount_mm, card.number in self.on_hide)
                edges = slice(max(block.start - seen.corners, 0), max(block.stop - seen.corners, 0))
                points[block], J = lies.on_floor(state, seen.nominal_mm[block], seen.outward[edges])
                parts.append((block, lies.columns(), J))
        return points, parts

    def tape_misfits(self, state: State) -> tuple[Array, Array]:
        """(Measured - taped) distances in units of the tape's uncertainty (T,), and their Jacobian (T, P)."""
        misfits, rows = [], []
        for tape in self.used_tapes():
            (a, J_a), (b, J_b) = (self._tape_mark(number, state) for number in (tape.first, tape.second))
            length = float(np.linalg.norm(b - a))
            u = tape_u_mm(tape, self.settings)
            misfits.append((length - tape.distance_mm) / u)
            rows.append((b - a) / length @ (J_b - J_a) / u)
        return np.array(misfits), np.array(rows).reshape(-1, len(state.parameters))

    def used_tapes(self) -> list[Tape]:
        """The tapes between cards of this adjustment."""
        numbers = {card.number for card in self.cards}
        return [tape for tape in self.priors.tapes if {tape.first, tape.second} <= numbers]

    def _tape_mark(self, number: int, state: State) -> tuple[Array, Array]:
        j = [card.number for card in self.cards].index(number)
        lies = Lying(self.layout, j, self.priors.mount_mm, False)
        xyz, J_own = lies.on_floor(state, from_board(np.array([TAPE_MARK_MM])), np.zeros((1, 2)))
        J = np.zeros((2, len(state.parameters)))
        J[:, lies.columns()] = J_own[0, :2]
        return xyz[0, :2], J


def tape_u_mm(tape: Tape, settings: PlaneSettings) -> float:
    """Standard uncertainty of a taped distance, mm."""
    return settings.tape_u_mm + settings.tape_u_share * tape.distance_mm

"""A card that was moved between the photos.

Each card in each photo is given a place of its own beside all the adjustment's parameters, linearised at the solution;
the drop of the sum of squares is judged by an F-test, as for a bent card (`bend`). A card that only one photo shows has
no other place to differ from.
"""

from dataclasses import dataclass

import numpy as np

from hidescan.adjustment import Array, from_board
from hidescan.bend import f_sigma
from hidescan.card import inner_corners_mm
from hidescan.join.bundle import Joint
from hidescan.join.settings import BundleSettings
from hidescan.problems import NotFound

_FREED = 3  # x, y, angle


@dataclass(frozen=True, slots=True)
class Moved:
    """A card that seems to have been moved before photo k: how far its corners went at most, and how sure that is."""

    number: int
    photo: int
    way_mm: float
    sigma: float
    drop: float


def card_moves(joint: Joint) -> list[Moved]:
    """Every card in every photo, most telling first, with the move that would explain its misfit best."""
    state, sd_px = joint.state, joint.corner_sd_px
    misfit, J = joint.bundle.corner_misfits(state)
    root = np.concatenate(
        [np.full(2 * len(a.observed_px), 1 / sd) for a, sd in zip(joint.bundle.adjustments, sd_px, strict=True)]
    )
    known = joint.bundle.known(state).values()
    residual = np.concatenate([root * misfit, *(r for r, _ in known)])
    q, _ = np.linalg.qr(np.vstack([root[:, None] * J, *(K for _, K in known)]))
    left = residual - q @ (q.T @ residual)
    total, moves, first = float(left @ left), [], 0
    free = len(left) - q.shape[1] - _FREED
    for k, adjustment in enumerate(joint.bundle.adjustments):
        J_place = _by_place(joint, k)
        for j, card in enumerate(adjustment.cards):
            mine = np.repeat(adjustment.owner == j, 2)
            if not mine.any():
                continue
            columns = np.zeros((len(left), _FREED))
            rows = first + np.flatnonzero(mine)
            columns[rows] = J_place[mine] / sd_px[k]
            own = columns - q @ (q.T @ columns)
            if np.linalg.cond(own.T @ own) > 1e10 or np.linalg.norm(own) < 1e-6 * np.linalg.norm(columns):
                continue  # shown by this photo alone
            move, *_ = np.linalg.lstsq(own, -left, rcond=None)
            drop = total - float(np.sum((left + own @ move) ** 2))
            sigma = f_sigma(drop / _FREED / max((total - drop) / max(free, 1), 1e-12), _FREED, max(free, 3))
            moves.append(Moved(card.number, k, _way_mm(move), sigma, drop))
        first += 2 * len(adjustment.observed_px)
    return sorted(moves, key=lambda move: -move.drop)


def moved_card(joint: Joint, settings: BundleSettings) -> NotFound | None:
    """The refusal where a card was moved, naming it, or those of which one was; None where all lay still."""
    moves = card_moves(joint)
    if not moves or moves[0].sigma < settings.moved_sigma or moves[0].way_mm < settings.moved_mm:
        return None
    best = moves[0]
    as_good = [m for m in moves if m.drop >= settings.moved_as_good * best.drop and m.way_mm > best.way_mm / 3]
    names = " or ".join(str(n) for n in sorted({m.number for m in as_good}))
    return NotFound(
        "card-moved",
        f"Card {names} was moved between the photos, by {best.way_mm:.0f} mm ({joint.names[best.photo]}).",
        "Leave cards and hide where they lie and take all photos again, or leave that photo out.",
    )


def _by_place(joint: Joint, k: int) -> Array:
    """Derivatives of photo k's corners by their card's x, y (mm) and angle (radians) on the floor, (2N, 3)."""
    camera, adjustment = joint.camera(k), joint.bundle.adjustments[k]
    state = joint.state.of(k)
    floor = adjustment.floor_points(state)
    centres = np.array([state.place(j)[:2] for j in range(len(adjustment.cards))])[adjustment.owner]
    by_x, by_y = (
        camera.px_from_mm(floor + step) - camera.px_from_mm(floor - step)
        for step in (np.array([0.5, 0.0, 0.0]), np.array([0.0, 0.5, 0.0]))
    )
    x, y = (floor[:, :2] - centres).T
    return np.column_stack([by_x.ravel(), by_y.ravel(), (by_y * x[:, None] - by_x * y[:, None]).ravel()])


def _way_mm(move: Array) -> float:
    """The way of the corner that went furthest."""
    local = from_board(inner_corners_mm())
    way = move[:2] + move[2] * local[:, ::-1] * (-1.0, 1.0)
    return float(np.linalg.norm(way, axis=1).max())

"""A card, or the hide itself, that was moved between the photos.

Each card in each photo is given a place of its own beside all the adjustment's parameters, linearised at the solution;
the drop of the sum of squares is judged by an F-test, as for a bent card (`flatness`). A card that only one photo shows
has no other place to differ from. The hide is tested in the same way: in each photo its rim is let go where it likes.
"""

from dataclasses import dataclass

import numpy as np

from hidescan.basics.errors import NotFound
from hidescan.cards.pattern import inner_corners_mm
from hidescan.floor.flatness import f_sigma
from hidescan.floor.lying import from_board
from hidescan.floor.parameters import Array
from hidescan.join.bundle import Joint
from hidescan.join.rims import JoinedRim
from hidescan.join.settings import BundleSettings, RimSettings

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
    state = joint.state
    misfits = joint.bundle.misfits(state)
    residual, design = joint.bundle.whitened(state, misfits, np.ones(len(misfits[0])))
    q, _ = np.linalg.qr(design)
    left = residual - q @ (q.T @ residual)
    total, moves, first = float(left @ left), [], 0
    free = len(left) - q.shape[1] - _FREED
    for k, adjustment in enumerate(joint.bundle.adjustments):
        J_place = _by_place(joint, k)
        for j, card in enumerate(adjustment.cards):
            mine = adjustment.seen.row_owner == j
            if not mine.any():
                continue
            columns = np.zeros((len(left), _FREED))
            columns[first : first + len(mine)] = adjustment.whitened_rows(J_place * mine[:, None], np.ones(len(mine)))
            own = columns - q @ (q.T @ columns)
            if np.linalg.cond(own.T @ own) > 1e10 or np.linalg.norm(own) < 1e-6 * np.linalg.norm(columns):
                continue  # shown by this photo alone
            move, *_ = np.linalg.lstsq(own, -left, rcond=None)
            drop = total - float(np.sum((left + own @ move) ** 2))
            sigma = f_sigma(drop / _FREED / max((total - drop) / max(free, 1), 1e-12), _FREED, max(free, 3))
            moves.append(Moved(card.number, k, _way_mm(move.astype(np.float64)), sigma, drop))
        first += len(adjustment.seen.row_owner)
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


def hide_moves(joint: Joint, rim: JoinedRim) -> list[Moved]:
    """The hide in every photo, most telling first, with the move that would explain the rims' misfit best.

    What was taken for the mean lift beforehand is let go: it is a judgement, and no witness against a hide.
    """
    nodes, solution = rim.nodes, rim.solution
    k, j = np.nonzero(np.isfinite(nodes.offset_mm))
    loose = np.zeros((len(solution.residual), 1))
    loose[len(k) + len(nodes.ring_mm)] = 1.0  # the mean lift's prior: after the rims' rows and those of the lifts

    def freed(columns: Array) -> Array:
        """What the solution cannot explain of some columns."""
        return np.asarray(columns - solution.design @ (solution.covariance @ (solution.design.T @ columns)))

    let_go = freed(loose)
    let_go /= np.linalg.norm(let_go)
    residual = solution.residual - let_go[:, 0] * float(let_go[:, 0] @ solution.residual)
    root = solution.design[np.arange(len(k)), j]
    middle = nodes.ring_mm.mean(axis=0)
    arm = nodes.ring_mm - middle
    by_move = np.column_stack([nodes.normals, nodes.normals[:, 1] * arm[:, 0] - nodes.normals[:, 0] * arm[:, 1]])
    total = float(residual @ residual)
    free = max(len(k) - len(nodes.ring_mm), 3)
    moves = []
    for photo in range(nodes.offset_mm.shape[0]):
        mine = np.flatnonzero(k == photo)
        columns = np.zeros((len(residual), _FREED))
        columns[mine] = root[mine, None] * by_move[j[mine]]
        own = freed(columns)
        own -= let_go @ (let_go.T @ own)
        if np.linalg.cond(own.T @ own) > 1e10:
            continue  # seen by this photo alone
        move, *_ = np.linalg.lstsq(own, residual, rcond=None)
        drop = total - float(np.sum((residual - own @ move) ** 2))
        sigma = f_sigma(drop / _FREED / max((total - drop) / free, 1e-12), _FREED, free)
        way = move[:2] + move[2] * arm[:, ::-1] * (-1.0, 1.0)
        moves.append(Moved(0, photo, float(np.linalg.norm(way, axis=1).mean()), sigma, drop))
    return sorted(moves, key=lambda move: -move.drop)


def moved_hide(joint: Joint, rim: JoinedRim, settings: RimSettings) -> NotFound | None:
    """The refusal where the hide was moved, or a card that its photo hangs by alone; None where it lay still.

    A move along the way from one camera to the other looks like a hide that floats or is sunk: of that the rim's lowest
    places tell, which lie on the floor.
    """
    moves = hide_moves(joint, rim)
    if moves and moves[0].sigma >= settings.moved_sigma and moves[0].way_mm >= settings.moved_mm:
        best = moves[0]
        shown = [{card.number for card in a.cards if len(card.corners_px)} for a in joint.bundle.adjustments]
        others = set().union(*(numbers for k, numbers in enumerate(shown) if k != best.photo))
        common = sorted(shown[best.photo] & others)
        what = "The hide" if len(common) > 1 else f"The hide, or card {common[0]},"
        return NotFound(
            "hide-moved",
            f"{what} was moved between {joint.names[best.photo]} and the other photos, by {best.way_mm:.0f} mm.",
            "Leave hide and cards where they lie and take all photos again, or leave that photo out.",
        )
    lift, u = lift_without_judgement(rim)
    sure = settings.lowest_sigma * u
    lowest, highest = (float(np.quantile(bound, settings.lowest_share)) for bound in (lift - sure, lift + sure))
    if highest < settings.least_lowest_mm:
        lowest = highest
    elif lowest <= settings.most_lowest_mm:
        return None
    return NotFound(
        "hide-moved",
        f"The hide was moved between the photos along the way from one camera to the other, or it does not lie on the"
        f" cards' floor: its rim would be {lowest:.0f} mm over it where it is lowest.",
        "Leave hide and cards where they lie and take all photos again; if it lies on something, lay the cards on it.",
    )


def lift_without_judgement(rim: JoinedRim) -> tuple[Array, Array]:
    """Lift at the nodes (M,) and its standard uncertainty as the photos know it, the prior on its mean let go."""
    solution, m = rim.solution, len(rim.nodes.ring_mm)
    x, C, column = solution.unknowns, solution.covariance, 2 * m
    row = np.flatnonzero(np.isfinite(rim.nodes.offset_mm)).size + m  # after the rims' rows and those of the lifts
    root = solution.design[row, column]
    misfit = solution.residual[row] / root
    # a row taken out again (Sherman and Morrison 1950); photos that say nothing of the mean would leave nothing
    left = max(root**-2 - C[column, column], 1e-6 * root**-2)
    x = x - C[:, column] * misfit / left
    common = C[column, column] + C[column, column] ** 2 / left
    each = np.diag(C)[m : 2 * m] + C[m : 2 * m, column] ** 2 / left
    both = C[m : 2 * m, column] + C[m : 2 * m, column] * C[column, column] / left
    return x[m : 2 * m] + x[column], np.sqrt(np.maximum(each + 2 * both + common, 0.0))


def _by_place(joint: Joint, k: int) -> Array:
    """Derivatives of what photo k shows by its card's x, y (mm) and angle (radians) on the floor, (R, 3)."""
    camera, adjustment = joint.camera(k), joint.bundle.adjustments[k]
    state = joint.state.of(k)
    floor = adjustment.floor_points(state)
    centres = np.array([state.place(j)[:2] for j in range(len(adjustment.cards))])[adjustment.seen.owner]
    by_x, by_y = (
        camera.px_from_mm(floor + step) - camera.px_from_mm(floor - step)
        for step in (np.array([0.5, 0.0, 0.0]), np.array([0.0, 0.5, 0.0]))
    )
    x, y = (floor[:, :2] - centres).T
    return adjustment.seen.rows(np.stack([by_x, by_y, by_y * x[:, None] - by_x * y[:, None]], axis=2))


def _way_mm(move: Array) -> float:
    """The way of the corner that went furthest."""
    local = from_board(inner_corners_mm())
    way = move[:2] + move[2] * local[:, ::-1] * (-1.0, 1.0)
    return float(np.linalg.norm(way, axis=1).max())

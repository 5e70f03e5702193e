"""One least-squares adjustment over several photos: one set of card places, a lens a camera, a pose a photo.

Every photo is a one-photo `Adjustment` over all cards, those it does not show having no corners; its parameters are
picked from the shared ones by a matrix of noughts and ones, so the analytic Jacobians are those of one photo, and
blocks that photos do not share are 0 (bundle adjustment: Triggs, McLauchlan, Hartley, Fitzgibbon 2000).

Shared parameters, in this order: ln scale, skew, height of cards on the hide; x, y, angle of every card after the
first; ln f, k1, k2 of each lens; then for each photo its turn (3), shift (3) and the change of its ln f by focusing.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from hidescan.basics.errors import Doubt, NotFound
from hidescan.basics.geometry import Points, rotation_2d
from hidescan.camera.model import Camera
from hidescan.floor.adjustment import Adjustment
from hidescan.floor.contradictions import taped_gaps, tapes_refused
from hidescan.floor.least_squares import minimised
from hidescan.floor.noise import estimated_noise
from hidescan.floor.parameters import (
    FIRST_PLACE,
    K1,
    K2,
    LN_F,
    LN_SCALE,
    ON_HIDE,
    SHIFT,
    SKEW,
    TURN,
    Array,
    Prior,
    State,
)
from hidescan.floor.solution import CardPlace
from hidescan.join.settings import BundleSettings
from hidescan.join.views import View, by_use, cards_of, chained, own_prints
from hidescan.settings import PlaneSettings

_OF_PHOTO = 7  # turn, shift, focus


@dataclass(frozen=True, slots=True, eq=False)
class JointState:
    """A point in the shared parameters' space (G,): with each photo's rotation, and how each picks its own."""

    parameters: Array
    rotations: tuple[Array, ...]
    picks: tuple[Array, ...]

    def of(self, k: int) -> State:
        """Photo k's own state."""
        return State(self.picks[k] @ self.parameters, self.rotations[k])

    def stepped(self, step: Array) -> "JointState":
        """The state moved by `step` (G,)."""
        moved = [self.of(k).stepped(pick @ step) for k, pick in enumerate(self.picks)]
        parameters = self.parameters + step
        for k in range(len(self.picks)):
            parameters[_turn(k, len(parameters), len(self.picks))] = 0.0
        return JointState(parameters, tuple(state.rotation for state in moved), self.picks)


@dataclass(frozen=True, slots=True, eq=False)
class Bundle:
    """The observations of all photos; `minimised` solves it as it does one photo's."""

    adjustments: tuple[Adjustment, ...]
    lenses: tuple[int, ...]
    picks: tuple[Array, ...]
    settings: PlaneSettings
    focus_u: float

    def misfits(self, state: JointState) -> tuple[Array, Array]:
        """Predicted minus observed corners and edges of all photos, px (R,), and their Jacobian (R, G)."""
        parts = [a.misfits(state.of(k)) for k, a in enumerate(self.adjustments)]
        jacobian = [J @ pick for (_, J), pick in zip(parts, self.picks, strict=True)]
        return np.concatenate([misfit for misfit, _ in parts]), np.vstack(jacobian)

    def by_photo(self, rows: Array) -> list[Array]:
        """Rows of misfits, their Jacobian or weights, (R, ...), split by photo."""
        ends = np.cumsum([len(a.seen.row_owner) for a in self.adjustments])[:-1]
        return np.split(rows, ends)

    def weights(self, misfit: Array) -> Array:
        """Robust weights, photo by photo."""
        parts = zip(self.adjustments, self.by_photo(misfit), strict=True)
        return np.concatenate([a.weights(part) for a, part in parts])

    def whitened(self, state: JointState, misfits: tuple[Array, Array], weights: Array) -> tuple[Array, Array]:
        """All residuals in units of their standard deviation, and their Jacobian by the shared parameters."""
        parts = zip(self.adjustments, self.by_photo(np.column_stack(misfits)), self.by_photo(weights), strict=True)
        seen = np.vstack([a.whitened_rows(rows, w) for a, rows, w in parts])
        known = self.known(state)
        residual = np.concatenate([seen[:, 0], *(r for r, _ in known.values())])
        return residual, np.vstack([seen[:, 1:], *(J for _, J in known.values())])

    def with_noise(self, state: JointState, weights: Array) -> "Bundle":
        """The same with each photo's noise as the state leaves it.

        A photo's share of the parameters that are determined is taken to be its share of what was seen.
        """
        misfits = self.by_photo(self.misfits(state)[0])
        determined = len(state.parameters) - 3 - len(self.picks)  # scale, height and focusing are priors' matter
        total = sum(len(misfit) for misfit in misfits)
        learnt = [
            replace(a, noise=estimated_noise(a, misfit, w, determined * len(misfit) / total))
            for a, misfit, w in zip(self.adjustments, misfits, self.by_photo(weights), strict=True)
        ]
        return replace(self, adjustments=tuple(learnt))

    def known(self, state: JointState) -> dict[str, tuple[Array, Array]]:
        """What was known beforehand, by kind: whitened residuals and their Jacobians."""
        of_lens = []
        for lens in dict.fromkeys(self.lenses):
            k = self.lenses.index(lens)
            residual, jacobian = self.adjustments[k].priors.whitened(self._of_lens(state, k))
            of_lens.append((residual[:3], jacobian[:3] @ self._lens_pick(k)))
        focus = self.focus_columns()
        J_focus = np.zeros((len(focus), len(state.parameters)))
        J_focus[np.arange(len(focus)), focus] = 1 / self.focus_u
        of_cards = self.adjustments[0].known(state.of(0))
        of_lenses = (
            np.concatenate([*(r for r, _ in of_lens), state.parameters[focus] / self.focus_u]),
            np.vstack([*(J for _, J in of_lens), J_focus]),
        )
        shared = {kind: (r, J @ self.picks[0]) for kind, (r, J) in of_cards.items() if kind != "lens"}
        return {"lens": of_lenses, **shared}

    def focus_columns(self) -> list[int]:
        """Where each photo's change of focal length stands among the shared parameters."""
        count = self.picks[0].shape[1]
        return [_turn(k, count, len(self.picks)).start + 6 for k in range(len(self.picks))]

    def _lens_pick(self, k: int) -> Array:
        """Photo k's pick without its own change by focusing: what the priors of its lens speak of."""
        pick = self.picks[k].copy()
        pick[LN_F, self.focus_columns()[k]] = 0.0
        return pick

    def _of_lens(self, state: JointState, k: int) -> Array:
        return np.asarray(self._lens_pick(k) @ state.parameters)

    def possible(self, state: JointState) -> bool:
        """Whether every camera looks down on the floor."""
        return all(rotation[2, 2] < 0 for rotation in state.rotations)


@dataclass(frozen=True, slots=True, eq=False)
class Joint:
    """The adjusted cameras over one floor.

    Attributes
    ----------
    bundle, state, covariance, information
        As in `floor.solution.Plane`, over the shared parameters (G,).
    names, sizes_px
        Of the photos.
    places
        One for each card used, by number.
    corner_sd_px
        Standard deviation of a corner's coordinate in each photo, a posteriori.
    doubts
        Focal lengths that the cards contradict.
    """

    bundle: Bundle
    state: JointState
    covariance: Array
    information: Mapping[str, Array]
    names: tuple[str, ...]
    sizes_px: tuple[tuple[int, int], ...]
    places: tuple[CardPlace, ...]
    corner_sd_px: tuple[float, ...]
    doubts: tuple[Doubt, ...]

    def camera(self, k: int) -> Camera:
        """Photo k's camera in the shared floor frame."""
        return self.state.of(k).camera(self.sizes_px[k])

    def camera_after(self, k: int, step: Array) -> Camera:
        """Photo k's camera with the shared parameters moved by `step` (G,), for derivatives."""
        return self.state.of(k).stepped(self.state.picks[k] @ step).camera(self.sizes_px[k])


def solve_joint(views: tuple[View, ...], settings: BundleSettings, plane: PlaneSettings) -> Joint | NotFound:
    """Adjust all photos at once.

    Parameters
    ----------
    views
        At least one; each shares a card with the others, directly or through others.

    Returns
    -------
    The cameras; or why there are none: "photo-apart", "card-misfit", "tapes-disagree".
    """
    numbers = by_use(views)
    started = chained(views, numbers)
    if isinstance(started, NotFound):
        return started
    bundle = _bundle(views, numbers, settings, plane)
    result = minimised(bundle, _start(bundle, views, started, numbers))
    if result is not None:
        bundle = bundle.with_noise(result[0], result[1])
        result = minimised(bundle, result[0])
    if result is None:
        return NotFound(
            "card-misfit",
            "The photos' cards fit no cameras above one flat floor.",
            "Lay the cards flat; map one by one.",
        )
    bundle, result, doubts = _cards_over_exif(bundle, views, result)
    state, weights, _ = result
    information, sd_px = _information(bundle, state, weights)
    covariance: Array = np.linalg.inv(np.sum(list(information.values()), axis=0))
    tapes = bundle.adjustments[0].used_tapes()
    known = bundle.known(state)["tape"]
    refusal = tapes_refused(taped_gaps(tapes, known, covariance, views[0].priors.ln_scale, plane))
    if refusal is not None:
        return refusal
    return Joint(
        bundle,
        state,
        covariance,
        information,
        tuple(view.name for view in views),
        tuple(view.plane.size_px for view in views),
        _places(bundle, state),
        sd_px,
        tuple(doubts),
    )


def _bundle(views: tuple[View, ...], numbers: list[int], settings: BundleSettings, plane: PlaneSettings) -> Bundle:
    names = list(dict.fromkeys(view.lens for view in views))
    lenses = tuple(names.index(view.lens) for view in views)
    on_hide = frozenset(p.number for view in views for p in view.plane.places if p.on_hide)
    known_apart = own_prints(views)
    adjustments = [
        Adjustment(cards, view.plane.size_px, replace(view.priors, own_prints=known_apart), on_hide, plane)
        for view, cards in zip(views, cards_of(views, numbers), strict=True)
    ]
    size = adjustments[0].layout.size
    shared = 3 + size - FIRST_PLACE
    count = shared + 3 * len(names) + _OF_PHOTO * len(views)
    picks = []
    for k in range(len(views)):
        pick = np.zeros((size, count))
        pick[[LN_SCALE, SKEW, ON_HIDE], [0, 1, 2]] = 1.0
        pick[np.arange(FIRST_PLACE, len(pick)), np.arange(3, shared)] = 1.0
        pick[[LN_F, K1, K2], shared + 3 * lenses[k] + np.arange(3)] = 1.0
        turn = _turn(k, count, len(views))
        pick[TURN, turn] = pick[SHIFT, turn.start + 3 : turn.start + 6] = np.eye(3)
        pick[LN_F, turn.start + 6] = 1.0
        picks.append(pick)
    return Bundle(tuple(adjustments), lenses, tuple(picks), plane, settings.focus_ln_focal_u)


def _turn(k: int, count: int, photos: int) -> slice:
    """Where photo k's turn stands among `count` shared parameters."""
    first = count - _OF_PHOTO * (photos - k)
    return slice(first, first + 3)


def _start(
    bundle: Bundle, views: tuple[View, ...], floors: list[tuple[float, Points]], numbers: list[int]
) -> JointState:
    """What the photos say alone, brought into one frame; where several speak, the first."""
    count = bundle.picks[0].shape[1]
    parameters, rotations = np.zeros(count), []
    for k in reversed(range(len(views))):
        angle_deg, origin_mm = floors[k]
        own = views[k].plane.state.parameters
        camera = views[k].plane.camera.moved(-angle_deg, -origin_mm @ rotation_2d(-angle_deg).T)
        local = np.zeros(len(bundle.picks[k]))
        local[[LN_F, K1, K2, LN_SCALE, SKEW, ON_HIDE]] = own[[LN_F, K1, K2, LN_SCALE, SKEW, ON_HIDE]]
        local[SHIFT] = camera.translation_mm
        used = bundle.picks[k].any(axis=1) & (local != 0)
        for row in np.flatnonzero(used):
            parameters[np.flatnonzero(bundle.picks[k][row])[0]] = local[row]
        for place in views[k].plane.places:
            if j := numbers.index(place.number):
                xy = place.centre_mm @ rotation_2d(angle_deg).T + origin_mm
                parameters[3 * j : 3 * j + 3] = *xy, np.deg2rad(place.angle_deg + angle_deg)
        rotations.append(camera.rotation)
    return JointState(parameters, tuple(reversed(rotations)), bundle.picks)


_Result = tuple[JointState, Array, float]


def _cards_over_exif(bundle: Bundle, views: tuple[View, ...], result: _Result) -> tuple[Bundle, _Result, list[Doubt]]:
    """Solve again without a lens's given focal length where the cards contradict it (as for one photo)."""
    plane = bundle.settings
    doubts = []
    for lens in dict.fromkeys(bundle.lenses):
        k = bundle.lenses.index(lens)
        prior = bundle.adjustments[k].priors.ln_focal
        if prior.u >= plane.broad_ln_focal_u:
            continue
        information, _ = _information(bundle, result[0], result[1])
        column = int(np.flatnonzero(bundle.picks[k][LN_F])[0])
        u = float(np.sqrt(np.linalg.inv(np.sum(list(information.values()), axis=0))[column, column]))
        change = float(result[0].parameters[column]) - prior.mean
        expected = float(np.sqrt(max(prior.u**2 - u**2, 1e-12)))
        if abs(change) <= plane.focal_contradiction_sigma * expected:
            continue
        broad = Prior(prior.mean, plane.broad_ln_focal_u)
        freed = replace(
            bundle,
            adjustments=tuple(
                replace(a, priors=replace(a.priors, ln_focal=broad, lens_covariance=None)) if of == lens else a
                for a, of in zip(bundle.adjustments, bundle.lenses, strict=True)
            ),
        )
        again = minimised(freed, result[0])
        if again is None:
            continue
        bundle, result = freed, again
        percent = 100 * (float(np.exp(result[0].parameters[column] - prior.mean)) - 1)
        names = ", ".join(view.name for view, of in zip(views, bundle.lenses, strict=True) if of == lens)
        message = f"The cards say the focal length of {names} is {percent:+.0f} % off what the photos claim."
        doubts.append(Doubt("focal-doubtful", f"{message} The cards were believed."))
    return bundle, result, doubts


def _information(bundle: Bundle, state: JointState, weights: Array) -> tuple[dict[str, Array], tuple[float, ...]]:
    """What each kind of observation knows of the shared parameters, (G, G) each, and each photo's corner deviation."""
    learnt = bundle.with_noise(state, weights)
    J = learnt.misfits(state)[1]
    corners, edges, deviations = np.zeros((J.shape[1], J.shape[1])), np.zeros((J.shape[1], J.shape[1])), []
    for a, part, w in zip(learnt.adjustments, learnt.by_photo(J), learnt.by_photo(weights), strict=True):
        rows, first = a.whitened_rows(part, w), 2 * a.seen.corners
        corners += rows[:first].T @ rows[:first]
        edges += rows[first:].T @ rows[first:]
        deviations.append(a.sd_px)
    known = {kind: jacobian.T @ jacobian for kind, (_, jacobian) in learnt.known(state).items()}
    return {"corner noise": corners, "edge noise": edges, **known}, tuple(deviations)


def _places(bundle: Bundle, state: JointState) -> tuple[CardPlace, ...]:
    misfits = [a.misfits(state.of(k))[0] for k, a in enumerate(bundle.adjustments)]
    places = []
    for j, card in enumerate(bundle.adjustments[0].cards):
        mine = np.concatenate([m[a.seen.row_owner == j] for m, a in zip(misfits, bundle.adjustments, strict=True)])
        x, y, angle = state.of(0).place(j)
        corners = max(len(a.cards[j].corners_px) for a in bundle.adjustments)
        on_hide = card.number in bundle.adjustments[0].on_hide
        rms = float(np.sqrt(np.mean(mine**2)))
        places.append(CardPlace(card.number, corners, rms, np.array([x, y]), float(np.rad2deg(angle)), on_hide))
    return tuple(sorted(places, key=lambda place: place.number))

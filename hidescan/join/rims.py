"""One rim from all photos, and its height where two of them see the same stretch from different sides.

A rim that stands z above the floor is displaced by z (X - C) / C_z in a photo taken from C. Two photos displace it by
different amounts, so place and height are solved for together: at nodes along the rim the place across it and the lift
of the leather's lower edge; then what all nodes share: the mean lift, the leather's thickness (the upper edge is seen
where the edge faces away from the camera, the lower where it faces it, or a place between if the edge's wall is dark),
how far every photo draws the rim outside the true one, and the cameras themselves, which the cards know with the
adjustment's own covariance. Lift along the rim is a first-order autoregressive process about its mean. One linear
least-squares problem, weighted as the photos deserve (closed form for two views and one point: Hartley and Sturm 1997);
its covariance holds everything the area needs.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points
from hidescan.figures.measures import HeightPriors
from hidescan.join.bundle import Joint
from hidescan.join.region_vote import Array, Cover, SeenRim
from hidescan.join.seams import along, drawn, filled
from hidescan.join.settings import JoinSettings, RimSettings
from hidescan.join.strip import Base, Strip, base_of, strip_of
from hidescan.settings import MeasureSettings


@dataclass(frozen=True, slots=True, eq=False)
class Nodes:
    """Means of the photos' strips over the stretches about M nodes along the base; NaN where a photo says nothing.

    `offset_mm`, `u_mm`, `per_height`, `bias_mm` (K, M); `away` (K, M); `px` (K, M, 2); `ring_mm`, `normals` (M, 2);
    `length_mm` (M,) of base that each stands for.
    """

    ring_mm: Points
    normals: Points
    length_mm: Array
    offset_mm: Array
    u_mm: Array
    per_height: Array
    away: NDArray[np.bool_]
    bias_mm: Array
    px: Array


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """The linear problem solved.

    Attributes
    ----------
    unknowns
        Place across the base (M,), lift about its mean (M,), mean lift, thickness, how far up the edge's wall a photo
        draws it where the wall is seen, common bias, biases (K,), changes of the shared camera parameters (G,).
    covariance
        Of the unknowns.
    rows
        Whitened rows of the Jacobian by kind of observation; their J'J sum to the inverse covariance.
    residual, design
        All whitened residuals after the solution, and their Jacobian.
    shift_mm
        (K, M) by how much each photo's rim is off the joined one for what is known of height, bias and camera; NaN
        where it says nothing.
    """

    unknowns: Array
    covariance: Array
    rows: Mapping[str, Array]
    residual: Array
    design: Array
    shift_mm: Array


@dataclass(frozen=True, slots=True, eq=False)
class JoinedRim:
    """The joined rim.

    Attributes
    ----------
    ring_mm
        (N, 2) plan view, floor frame, counter-clockwise.
    lift_mm, lift_u_mm
        (N,) of the leather's lower edge over the floor, and its standard uncertainty.
    thickness_mm
        Of the leather at the rim.
    photo
        (N,) index of the photo that drew it there; -1 where none sees it.
    confidence
        (N,) of that photo there.
    node
        (N,) which node it belongs to.
    nodes, solution
        For the figures' uncertainty and for telling whether the hide was moved.
    """

    ring_mm: Points
    lift_mm: Array
    lift_u_mm: Array
    thickness_mm: float
    photo: NDArray[np.intp]
    confidence: Array
    node: NDArray[np.intp]
    nodes: Nodes
    solution: Solution

    @property
    def mean_lift_mm(self) -> float:
        """Mean lift of the leather's lower edge all round."""
        return float(self.solution.unknowns[2 * len(self.nodes.ring_mm)])


def joined_rim(
    joint: Joint,
    cover: Cover,
    rims: tuple[SeenRim, ...],
    heights: HeightPriors,
    settings: JoinSettings,
    measure: MeasureSettings,
) -> JoinedRim:
    """Join the photos' rims.

    Parameters
    ----------
    cover
        The first guess.
    heights
        What is known beforehand of its thickness and of its rim's mean lift.
    """
    from hidescan.basics.geometry import counter_clockwise, resample, without_crossings

    s = settings.rim
    ring = resample(cover.ring_mm, s.point_mm)
    z_low, t_mm = np.full(len(ring), heights.lift.mean), heights.thickness.mean
    for round_ in range(2):
        base = base_of(ring, 3)
        strips = _strips(joint, rims, base, z_low, t_mm, settings)
        nodes = _nodes(base, strips, measure.rim_common_share, s)
        solution = _solve(joint, nodes, heights, z_low, t_mm, (1, s.rounds)[round_], s)
        shifts = [along(filled(shift), len(ring)) for shift in solution.shift_mm]
        rim = drawn(base, strips, shifts, s)
        z_low, z_u, t_mm = _heights(nodes, solution, len(ring))
        ring = ring + rim.offset_mm[:, None] * base.normals
        if round_ == 0:
            again = resample(counter_clockwise(without_crossings(ring)), s.point_mm)
            z_low = z_low[_nearest(ring, again)]
            ring = again
    at, count = np.rint(rim.at).astype(np.intp) % len(z_low), len(nodes.ring_mm)
    node = at * count // len(z_low)
    return JoinedRim(rim.ring_mm, z_low[at], z_u[at], t_mm, rim.photo, rim.confidence, node, nodes, solution)


def _nearest(of: Points, to: Points) -> NDArray[np.intp]:
    from scipy.spatial import cKDTree

    return np.asarray(cKDTree(of).query(to)[1], dtype=np.intp)


def _strips(
    joint: Joint, rims: tuple[SeenRim, ...], base: Base, z_low: Array, t_mm: float, settings: JoinSettings
) -> list[Strip]:
    return [
        strip_of(
            joint.camera(k),
            rim,
            rim.inside_frame(joint.sizes_px[k], settings.cover.border_share),
            base,
            z_low,
            z_low + t_mm,
            settings.rim,
        )
        for k, rim in enumerate(rims)
    ]


def _nodes(base: Base, strips: list[Strip], common_share: float, settings: RimSettings) -> Nodes:
    """Weighted means over equal stretches of the base."""
    n = len(base.ring_mm)
    length = n * base.step_mm
    count = int(min(settings.most_nodes, max(12, length / settings.node_mm)))
    owner = (np.arange(n) * count // n).astype(np.intp)
    size = np.bincount(owner, minlength=count)
    node_mm = length / count

    def mean(values: Array, weights: Array) -> Array:
        sums = np.bincount(owner, np.where(weights > 0, values * weights, 0.0), minlength=count)
        total = np.bincount(owner, weights, minlength=count)
        return np.asarray(np.divide(sums, total, out=np.full(count, np.nan), where=total > 0))

    def pair(values: Points, weights: Array) -> Points:
        return np.column_stack([mean(values[:, 0], weights), mean(values[:, 1], weights)])

    photos, one = len(strips), np.ones(n)
    offset, u, per_height, bias = (np.full((photos, count), np.nan) for _ in range(4))
    away, px = np.zeros((photos, count), dtype=np.bool_), np.full((photos, count, 2), np.nan)
    for k, strip in enumerate(strips):
        w = np.where(strip.seen, 1 / np.where(strip.seen, strip.u_mm, 1.0) ** 2, 0.0)
        enough = np.bincount(owner[strip.seen], minlength=count) >= size / 2
        offset[k] = np.where(enough, mean(strip.offset_mm, w), np.nan)
        # points within the correlation length say the same thing; a node stands for node_mm of it
        u[k] = np.sqrt(mean(strip.u_mm**2, w) * max(1.0, settings.node_mm / node_mm))
        per_height[k] = mean(strip.per_height, w)
        away[k] = mean(strip.away.astype(float), one) > 0.5
        bias[k] = common_share * mean(strip.px_mm, w)
        px[k] = pair(strip.px, w)
    normals = pair(base.normals, one)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-9)
    return Nodes(
        pair(base.ring_mm, one),
        normals,
        np.asarray(size * base.step_mm, dtype=np.float64),
        offset,
        u,
        per_height,
        away,
        bias,
        px,
    )


@dataclass(frozen=True, slots=True)
class _Columns:
    """Where the unknowns stand."""

    nodes: int
    photos: int
    shared: int

    @property
    def mean_lift(self) -> int:
        return 2 * self.nodes

    @property
    def thickness(self) -> int:
        return 2 * self.nodes + 1

    @property
    def wall(self) -> int:
        return 2 * self.nodes + 2

    @property
    def bias(self) -> int:
        return 2 * self.nodes + 3

    @property
    def cameras(self) -> slice:
        first = self.bias + 1 + self.photos
        return slice(first, first + self.shared)

    @property
    def count(self) -> int:
        return int(self.cameras.stop)


def columns_of(nodes: Nodes, joint: Joint) -> _Columns:
    """Where the unknowns of these nodes stand."""
    return _Columns(nodes.offset_mm.shape[1], nodes.offset_mm.shape[0], len(joint.covariance))


def _solve(
    joint: Joint, nodes: Nodes, heights: HeightPriors, z_low: Array, t_mm: float, rounds: int, settings: RimSettings
) -> Solution:
    c = columns_of(nodes, joint)
    owner = np.arange(len(z_low)) * c.nodes // len(z_low)
    taken = np.bincount(owner, z_low) / np.bincount(owner)
    z = taken + np.where(nodes.away, t_mm, 0.0)
    k, j = np.nonzero(np.isfinite(nodes.offset_mm))
    g, u = nodes.per_height[k, j], nodes.u_mm[k, j]
    seen = np.zeros((len(k), c.count))
    row = np.arange(len(k))
    seen[row, j] = 1.0
    seen[row, c.nodes + j] = g
    seen[row, c.mean_lift] = g
    seen[row, c.thickness] = np.where(nodes.away[k, j], g, 0.0)
    seen[row, c.wall] = np.where(nodes.away[k, j], 0.0, g)
    seen[row, c.bias] = seen[row, c.bias + 1 + k] = nodes.bias_mm[k, j] / np.sqrt(2)
    for photo in range(c.photos):
        seen[k == photo, c.cameras] = -_by_cameras(joint, photo, nodes, j[k == photo], z[photo])
    # offsets were read with the heights taken so far: what they would be on the floor
    on_floor = g * z[k, j]
    value = nodes.offset_mm[k, j] + on_floor
    prior, prior_value = _priors(joint, c, nodes, heights, settings)
    known, known_value = np.vstack(list(prior.values())), np.concatenate(list(prior_value.values()))
    fixed, fixed_right = known.T @ known, known.T @ known_value
    weights = np.ones(len(k))
    for _ in range(rounds):
        root = np.sqrt(weights) / u
        white = root[:, None] * seen
        information = white.T @ white + fixed
        unknowns = np.linalg.solve(information, white.T @ (root * value) + fixed_right)
        off = np.abs(value - seen @ unknowns) / u
        weights = np.minimum(1.0, settings.huber_sigma / np.maximum(off, 1e-9))
    covariance = np.asarray(np.linalg.inv(information), dtype=np.float64)
    design = np.vstack([white, known])
    residual = np.concatenate([root * value, known_value]) - design @ unknowns
    shift = np.full(nodes.offset_mm.shape, np.nan)
    shift[k, j] = seen @ unknowns - unknowns[j] - on_floor
    rows = {"rim": np.vstack([white, prior.pop("bias")]), **prior}
    return Solution(unknowns, covariance, rows, residual, design, shift)


def _priors(
    joint: Joint, c: _Columns, nodes: Nodes, heights: HeightPriors, settings: RimSettings
) -> tuple[dict[str, Array], dict[str, Array]]:
    """Whitened rows of what is known beforehand and their values, by kind."""
    rho = np.exp(-nodes.length_mm / settings.lift_length_mm)
    at = np.arange(c.nodes)
    lifts = np.zeros((c.nodes + 1, c.count))
    u = settings.lift_sd_mm * np.sqrt(1 - rho**2)
    lifts[at, c.nodes + at] = 1 / u
    lifts[at, c.nodes + (at - 1) % c.nodes] = -rho / u
    lifts[-1, c.mean_lift] = 1 / heights.lift.u
    thick = np.zeros((2, c.count))
    thick[0, c.thickness] = 1 / heights.thickness.u
    thick[1, c.wall] = 1 / (settings.wall_share * heights.thickness.mean)
    bias = np.zeros((1 + c.photos, c.count))
    bias[np.arange(1 + c.photos), c.bias + np.arange(1 + c.photos)] = 1.0
    blind = np.flatnonzero(~np.isfinite(nodes.offset_mm).any(axis=0))
    unseen = np.zeros((len(blind), c.count))  # a place that no photo's rim crosses is still near the first guess
    unseen[np.arange(len(blind)), blind] = 1 / settings.wrong_mm
    rows = {"lift of the rim": lifts, "leather thickness": thick, "bias": np.vstack([bias, unseen])}
    values = {kind: np.zeros(len(part)) for kind, part in rows.items()}
    values["lift of the rim"][-1] = heights.lift.mean / heights.lift.u
    values["leather thickness"][0] = heights.thickness.mean / heights.thickness.u
    for kind, information in joint.information.items():
        known = np.zeros((c.shared, c.count))
        known[:, c.cameras] = _root(information)
        rows[kind], values[kind] = known, np.zeros(c.shared)
    return rows, values


def _root(information: Array) -> Array:
    """A matrix whose transpose times itself is the information."""
    scale = 1 / np.sqrt(np.maximum(np.diag(information), 1e-30))  # parameters differ by ten orders of magnitude
    values, vectors = np.linalg.eigh(information * scale[:, None] * scale[None, :])
    root: Array = np.sqrt(np.maximum(values, 0.0))[:, None] * vectors.T / scale[None, :]
    return root


def _by_cameras(joint: Joint, photo: int, nodes: Nodes, j: NDArray[np.intp], z_mm: Array) -> Array:
    """By how much a photo's offsets grow with the shared parameters, (len(j), G), by central differences."""
    px, normals, z = nodes.px[photo, j], nodes.normals[j], z_mm[j]
    u = np.sqrt(np.diag(joint.covariance))
    slopes = np.zeros((len(j), len(u)))
    for p in np.flatnonzero(np.abs(joint.state.picks[photo][:9]).sum(axis=0)):
        step = np.zeros(len(u))
        step[p] = 0.1 * u[p]
        up, down = (joint.camera_after(photo, s * step).mm_from_px(px, z) for s in (1, -1))
        slopes[:, p] = np.sum((up - down) * normals, axis=1) / (0.2 * u[p])
    return slopes


def _heights(nodes: Nodes, solution: Solution, points: int) -> tuple[Array, Array, float]:
    """Lift at the base's points with its uncertainty, and the thickness."""
    m = nodes.offset_mm.shape[1]
    at_nodes = solution.unknowns[m : 2 * m] + solution.unknowns[2 * m]
    both = solution.covariance[m : 2 * m, 2 * m]
    variance = np.diag(solution.covariance)[m : 2 * m] + 2 * both + solution.covariance[2 * m, 2 * m]
    z, u = (along(values, points) for values in (at_nodes, np.sqrt(variance)))
    return z, u, float(solution.unknowns[2 * m + 1])

"""What part of a hide an outline is: whole, side, bend, shoulder, belly or piece.

A side shows one long straight edge, the cut along the back; a whole hide has none and mirrors onto itself; a bend has
straight edges all round. The probabilities come from a multinomial logistic model on such figures, fitted to
generated outlines (calibration/shape/); none of its inputs depends on how the outline is turned or mirrored.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from hidescan.anatomy.symmetry import Mirror, UnitOutline, to_axis_frame
from hidescan.basics import vocabulary
from hidescan.basics.geometry import Points, perimeter
from hidescan.settings import FormSettings

__all__ = ["FORMS", "Form", "StraightEdge", "edge_frame", "form_features", "form_probabilities", "straight_edge"]

FORMS = vocabulary.FORMS.names  # in this order the weights of `form_probabilities` were fitted


@dataclass(frozen=True, slots=True)
class Form:
    """Which part of a hide this is (one of `FORMS`), and the probability that it is so."""

    name: str
    confidence: float


@dataclass(frozen=True, slots=True, eq=False)
class StraightEdge:
    """The longest straight edge of an outline that has all of the outline on its left.

    Attributes
    ----------
    start, end
        Ends (2,), in the direction in which the outline runs (counter-clockwise).
    straight_length
        Length of rim that lies on the line; with nicks less than from start to end.
    extent
        Extent of the whole outline along the line.
    sag
        Greatest distance of the fitted curve from the line, positive to the left (into the outline).
    angle_sd_deg
        Standard deviation of the line's direction.
    """

    start: NDArray[np.float64]
    end: NDArray[np.float64]
    straight_length: float
    extent: float
    sag: float
    angle_sd_deg: float

    @property
    def angle_deg(self) -> float:
        """Direction from start to end, counter-clockwise from +x."""
        return float(np.rad2deg(np.arctan2(*(self.end - self.start)[::-1])))


def straight_edge(outline: UnitOutline, settings: FormSettings, avoid_deg: float | None = None) -> StraightEdge:
    """Find the longest straight edge on the outside of an outline.

    For each direction the rim near the supporting line is summed up; the best is refined by a robust line through
    that rim (Tukey's biweight).

    Parameters
    ----------
    avoid_deg : float, optional
        Skip directions within 30 degrees of this one: for the second longest edge.
    """
    points = outline.points
    step = perimeter(points) / len(points)
    # Tied to the shape, so that a turned outline gives the turned edge.
    directions = outline.long_axis_deg + np.arange(0.0, 360.0, settings.edge_step_deg)
    if avoid_deg is not None:
        directions = directions[np.abs((directions - avoid_deg + 180) % 360 - 180) > settings.edges_apart_deg]
    radians = np.deg2rad(directions)
    # height over the line to its left; the outline runs counter-clockwise, so all of it lies there
    height = points @ np.array([-np.sin(radians), np.cos(radians)])
    height -= height.min(axis=0)
    length = np.clip(1 - height / settings.edge_search_band, 0, None).sum(axis=0)
    return _refined(points, float(directions[length.argmax()]), step, settings)


def edge_frame(outline: UnitOutline, edge: StraightEdge, settings: FormSettings) -> Points:
    """Outline with y along a straight edge from its start and x to its right.

    The rim beyond the edge and the edge's own waves are laid on x = 0, so that a section meets the edge there once.
    """
    frame = to_axis_frame(outline.points - edge.start, edge.angle_deg)
    frame[frame[:, 0] > -settings.edge_band, 0] = 0.0
    return frame


def _refined(points: Points, direction_deg: float, step: float, settings: FormSettings) -> StraightEdge:
    along = np.array([np.cos(np.deg2rad(direction_deg)), np.sin(np.deg2rad(direction_deg))])
    left = np.array([-along[1], along[0]])
    t, height = points @ along, points @ left
    near = height < height.min() + settings.edge_search_band
    middle = float(t[near].mean())
    design = np.column_stack([np.ones(near.sum()), t[near] - middle])
    fit = np.array([height[near].min() + settings.edge_band / 2, 0.0])
    for _ in range(settings.edge_iterations):
        off = height[near] - design @ fit
        weight = np.clip(1 - (off / settings.edge_band) ** 2, 0, None) ** 2
        normal = design.T @ (weight[:, None] * design) + 1e-9 * np.eye(2)
        fit = np.linalg.solve(normal, design.T @ (weight * height[near]))
    off = height[near] - design @ fit
    on = np.abs(off) < settings.edge_band / 2
    if on.sum() < 3:
        on = np.abs(off) <= np.sort(np.abs(off))[2]
    low, high = t[near][on].min(), t[near][on].max()
    ends = [at * along + (fit[0] + fit[1] * (at - middle)) * left for at in (low, high)]
    half = max((high - low) / 2, step)
    u = (t[near][on] - (low + high) / 2) / half
    # A bow vanishing at both ends, beside a free line, so that the tilt does not feed it.
    bow = np.column_stack([1 - u**2, np.ones(len(u)), u])
    sag = float(np.linalg.lstsq(bow, off[on], rcond=None)[0][0]) if on.sum() > 5 else 0.0
    rms = float(np.sqrt(np.mean(off[on] ** 2))) + settings.edge_band / 20
    angle_sd = rms / half * np.sqrt(3 / max(on.sum() / settings.edge_correlated, 1.0))
    return StraightEdge(
        start=ends[0],
        end=ends[1],
        straight_length=float(min(on.sum() * step, high - low)),
        extent=float(np.ptp(t)),
        sag=sag,
        angle_sd_deg=float(np.rad2deg(angle_sd)),
    )


def form_features(
    outline: UnitOutline, mirrors: list[Mirror], edge: StraightEdge, settings: FormSettings
) -> NDArray[np.float64]:
    """Figures that tell the forms apart, shape (F,), all unchanged by turning, shifting and mirroring.

    In order: 1; best overlap; best agreement; |sin| of the angle between that axis and the straight edge; length of the
    straight edge; its share of the extent along it; length of the second straight edge; height of the outline over
    the edge by its extent; height of the centroid by that of the outline; area by that of the hull; area by that of
    the smallest rectangle; shape of that rectangle; perimeter; logarithms of the area in m2 and of the edge in m;
    height over the edge near its lower and near its higher end by that of the middle.
    """
    points = outline.points
    best = max(mirrors, key=lambda mirror: mirror.agreement)
    second = straight_edge(outline, settings, avoid_deg=edge.angle_deg)
    along = (edge.end - edge.start) / np.linalg.norm(edge.end - edge.start)
    height = (points - edge.start) @ np.array([-along[1], along[0]])
    t = (points - edge.start) @ along / np.linalg.norm(edge.end - edge.start)
    first, middle, last = (
        height[(t > low) & (t < high)].max(initial=0.0)
        for low, high in ((0.0, settings.corner), (0.35, 0.65), (1 - settings.corner, 1.0))
    )
    hull = cv2.convexHull(points.astype(np.float32))
    _, (width, length), _ = cv2.minAreaRect(hull)
    return np.array(
        [
            1.0,
            max(mirror.overlap for mirror in mirrors),
            best.agreement,
            abs(np.sin(np.deg2rad(best.angle_deg - edge.angle_deg))),
            edge.straight_length,
            edge.straight_length / edge.extent,
            second.straight_length,
            height.max() / edge.extent,
            (-edge.start @ np.array([-along[1], along[0]])) / height.max(),
            1.0 / cv2.contourArea(hull),
            1.0 / (width * length),
            min(width, length) / max(width, length),
            perimeter(points),
            np.log(outline.scale_mm**2 * 1e-6),
            np.log(np.linalg.norm(edge.end - edge.start) * outline.scale_mm * 1e-3),
            min(first, last) / max(middle, 0.05),
            max(first, last) / max(middle, 0.05),
        ]
    )


def form_probabilities(features: NDArray[np.float64], settings: FormSettings) -> dict[str, float]:
    """Probability of each form, from `form_features`."""
    score = np.array(settings.weights) @ ((features - np.array(settings.centre)) / np.array(settings.spread))
    share = np.exp(score - score.max())
    share = share / share.sum()
    # A share of doubt for shapes that were never generated.
    share = (1 - settings.doubt) * share + settings.doubt / len(FORMS)
    return dict(zip(FORMS, map(float, share), strict=True))

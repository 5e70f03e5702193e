"""Back line and neck end of an outline, and the form they depend on.

On a whole hide the back line is the axis of mirror symmetry; on a side, a bend or a belly it is (or runs along) the
long straight cut edge; a shoulder's stands square to its cut. A piece has none to be seen, unless the neck is given.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from hidescan.anatomy.ends import axis_crossings, end_figures, neck_probability, reach_past_both
from hidescan.anatomy.form import (
    FORMS,
    Form,
    StraightEdge,
    edge_frame,
    form_features,
    form_probabilities,
    straight_edge,
)
from hidescan.anatomy.symmetry import (
    Mirror,
    UnitOutline,
    from_axis_frame,
    mirror_axes,
    mirror_fit,
    mirror_frame,
    to_axis_frame,
    unit_outline,
)
from hidescan.basics.geometry import Points
from hidescan.settings import ShapeSettings

__all__ = ["BackLine", "Shape", "drawn_back_line", "find_shape"]

Source = Literal["shape", "given", "none"]

# Standard deviation of an angle of which nothing is known: rectangular over half a circle.
UNKNOWN_SD_DEG = 180 / np.sqrt(12)


@dataclass(frozen=True, slots=True, eq=False)
class BackLine:
    """The line of the back, from tail to neck, in the frame of the outline.

    Attributes
    ----------
    tail_mm, neck_mm
        Where the back line meets the outline (2,); a tail left on the hide belongs to it. With `source` "none" these
        are the ends of the outline along its long axis, good for a frame and nothing else.
    curve_mm
        The back line from tail to neck (K, 2), gently curved where the hide lies crooked; else the straight chord.
    angle_sd_deg
        Standard deviation of the direction of the chord.
    end_confidence
        Probability that neck and tail are the right way round (and the axis the right one); 1 when given.
    source
        "shape", "given" (a person gave the neck), or "none".
    """

    tail_mm: NDArray[np.float64]
    neck_mm: NDArray[np.float64]
    curve_mm: Points
    angle_sd_deg: float
    end_confidence: float
    source: Source


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """Form and back line of an outline."""

    form: Form
    back_line: BackLine


@dataclass(frozen=True, slots=True, eq=False)
class _Axis:
    """A candidate in the unit frame: curve (K, 2) low to high, and the probability that the neck is at its high end."""

    curve: Points
    angle_sd_deg: float
    share: float
    neck_high: float

    @property
    def direction_deg(self) -> float:
        along = self.curve[-1] - self.curve[0]
        return float(np.rad2deg(np.arctan2(along[1], along[0])))


def find_shape(
    ring_mm: Points, settings: ShapeSettings, *, neck_mm: NDArray[np.float64] | None = None, form: str | None = None
) -> Shape:
    """Find form, back line and neck end from an outline.

    Parameters
    ----------
    ring_mm : ndarray of shape (N, 2)
        Outline on the floor, mm, x right, y up; not repeated at the end, either direction, any start.
    neck_mm : ndarray of shape (2,), optional
        A point at or towards the neck, given by a person: it settles the neck end.
    form : str, optional
        The form, given by a person: one of `FORMS`.

    Raises
    ------
    ValueError
        If `form` is none of `FORMS`.
    """
    if form is not None and form not in FORMS:
        raise ValueError(f"form must be one of {', '.join(FORMS)}, not {form!r}")
    outline = unit_outline(ring_mm, settings.symmetry)
    mirrors = [mirror_fit(outline, *start, settings.symmetry) for start in mirror_axes(outline, settings.symmetry)]
    edge = straight_edge(outline, settings.form)
    if form is None:
        shares = form_probabilities(form_features(outline, mirrors, edge, settings.form), settings.form)
        form = max(shares, key=lambda name: shares[name])
        found = Form(form, shares[form])
    else:
        found = Form(form, 1.0)
    axes = _axes(form, outline, mirrors, edge, settings)
    if neck_mm is not None:
        return Shape(found, _given(form, outline, axes, (neck_mm - outline.centre_mm) / outline.scale_mm, settings))
    if not axes:
        return Shape(found, _unknown(outline, settings))
    axis = max(axes, key=lambda axis: axis.share * max(axis.neck_high, 1 - axis.neck_high))
    confidence = axis.share * max(axis.neck_high, 1 - axis.neck_high)
    # Where the form itself is doubtful, so is an end that was told on the strength of it.
    confidence = 0.5 + (confidence - 0.5) * min(1.0, found.confidence / settings.form_sure)
    high = axis.neck_high > 0.5 or (axis.neck_high == 0.5 and _leans(outline, axis.direction_deg))
    curve = axis.curve if high else axis.curve[::-1]
    return Shape(found, _back_line(outline, curve, axis.angle_sd_deg, confidence, "shape"))


def drawn_back_line(tail_mm: NDArray[np.float64], neck_mm: NDArray[np.float64], settings: ShapeSettings) -> BackLine:
    """The back line that a person drew, straight from tail to neck."""
    curve_mm = np.linspace(tail_mm, neck_mm, settings.curve_points)
    return BackLine(tail_mm, neck_mm, curve_mm, settings.given_sd_deg, 1.0, "given")


def _axes(
    form: str, outline: UnitOutline, mirrors: list[Mirror], edge: StraightEdge, settings: ShapeSettings
) -> list[_Axis]:
    if form == "piece":
        return []
    if form == "whole":
        return _symmetry_axes(outline, mirrors, settings)
    if form == "shoulder":
        return _square_axis(outline, mirrors, edge, settings)
    return [_edge_axis(form, outline, edge, settings)]


def _symmetry_axes(outline: UnitOutline, mirrors: list[Mirror], settings: ShapeSettings) -> list[_Axis]:
    """Every mirror axis that crosses the outline, with its share of the probability and its likelier neck."""
    found = []
    for mirror in mirrors:
        frame = mirror_frame(outline, mirror)
        crossings = axis_crossings(frame)
        if crossings is None or crossings[1] - crossings[0] < 0.1:
            continue
        figures = end_figures(frame, *crossings, settings.ends)
        neck_high = neck_probability(figures, settings.ends.whole_neck_weights, settings.ends)
        score = float(np.array(settings.axis_weights) @ [mirror.agreement, mirror.overlap, reach_past_both(figures)])
        found.append((score, _mirror_curve(mirror, *crossings, settings), mirror.angle_sd_deg, neck_high))
    scores = np.array([score for score, *_ in found])
    shares = np.exp(scores - scores.max(initial=-np.inf))
    certain = 1 - settings.axis_doubt
    return [
        _Axis(curve, sd, certain * float(share), neck_high)
        for share, (_, curve, sd, neck_high) in zip(shares / shares.sum(), found, strict=True)
    ]


def _mirror_curve(mirror: Mirror, low: float, high: float, settings: ShapeSettings) -> Points:
    y = np.linspace(low, high, settings.curve_points)
    curve = np.column_stack([mirror.offset + mirror.sag * mirror.bow(y), y])
    return from_axis_frame(_straight_if_flat(curve, settings), mirror.angle_deg)


def _straight_if_flat(curve: Points, settings: ShapeSettings) -> Points:
    """The chord instead of a curve that hardly leaves it."""
    chord = np.linspace(curve[0], curve[-1], len(curve))
    sag = np.linalg.norm(curve - chord, axis=1).max()
    return chord if sag < settings.least_sag * np.linalg.norm(chord[-1] - chord[0]) else curve


def _square_axis(
    outline: UnitOutline, mirrors: list[Mirror], edge: StraightEdge, settings: ShapeSettings
) -> list[_Axis]:
    """A shoulder's axis: the mirror axis most nearly square to the long cut, neck away from the cut."""
    square = max(mirrors, key=lambda mirror: abs(np.sin(np.deg2rad(mirror.angle_deg - edge.angle_deg))))
    crossings = axis_crossings(mirror_frame(outline, square))
    if crossings is None:
        return []
    curve = _mirror_curve(square, *crossings, settings)
    away = np.sin(np.deg2rad(square.angle_deg - edge.angle_deg)) > 0
    return [_Axis(curve, square.angle_sd_deg, 1.0, settings.cut_is_rear if away else 1 - settings.cut_is_rear)]


def _edge_axis(form: str, outline: UnitOutline, edge: StraightEdge, settings: ShapeSettings) -> _Axis:
    """The straight edge as back line; a bend shows no neck."""
    length = float(np.linalg.norm(edge.end - edge.start))
    neck_high = 0.5
    if form != "bend":
        figures = end_figures(edge_frame(outline, edge, settings.form), 0.0, length, settings.ends, left_only=True)
        neck_high = neck_probability(figures, settings.ends.side_neck_weights, settings.ends)
    angle_sd_deg = edge.angle_sd_deg
    if form == "belly":
        neck_high = 0.5 + settings.belly_trust * (neck_high - 0.5)
    if form == "bend":
        angle_sd_deg = float(np.hypot(angle_sd_deg, settings.bend_sd_deg))
    y = np.linspace(0.0, length, settings.curve_points)
    t = y / length
    curve = _straight_if_flat(np.column_stack([-edge.sag * 4 * t * (1 - t), y]), settings)
    return _Axis(from_axis_frame(curve, edge.angle_deg) + edge.start, angle_sd_deg, 1.0, neck_high)


def _given(
    form: str, outline: UnitOutline, axes: list[_Axis], neck: NDArray[np.float64], settings: ShapeSettings
) -> BackLine:
    """The likeliest axis that points to the given neck; else the line from the given neck through the centroid."""
    towards = float(np.rad2deg(np.arctan2(neck[1], neck[0])))
    off = [abs((axis.direction_deg - towards + 180) % 360 - 180) for axis in axes]
    # A cut edge lies far from the middle, where directions say little: there the neck only chooses the end.
    near = [
        (axis.share, k)
        for k, axis in enumerate(axes)
        if form != "whole" or min(off[k], 180 - off[k]) < settings.given_within_deg
    ]
    if near:
        axis = axes[max(near)[1]]
        curve = axis.curve if off[max(near)[1]] < 90 else axis.curve[::-1]
        return _back_line(outline, curve, axis.angle_sd_deg, 1.0, "given")
    crossings = axis_crossings(to_axis_frame(outline.points, towards))
    if crossings is None:
        return _unknown(outline, settings)
    line = from_axis_frame(np.column_stack([[0.0, 0.0], crossings]), towards)
    curve = np.linspace(line[0], line[1], settings.curve_points)
    return _back_line(outline, curve, settings.given_sd_deg, 1.0, "given")


def _leans(outline: UnitOutline, direction_deg: float) -> bool:
    """Which way to point where nothing tells: by the outline's third moment, so that it turns and mirrors with it."""
    along = to_axis_frame(outline.points, direction_deg)[:, 1]
    return bool((along**3).sum() > 0)


def _unknown(outline: UnitOutline, settings: ShapeSettings) -> BackLine:
    axis_deg = outline.long_axis_deg + (0.0 if _leans(outline, outline.long_axis_deg) else 180.0)
    along = to_axis_frame(outline.points, axis_deg)[:, 1]
    line = from_axis_frame(np.column_stack([[0.0, 0.0], [along.min(), along.max()]]), axis_deg)
    curve = np.linspace(line[0], line[1], settings.curve_points)
    return _back_line(outline, curve, UNKNOWN_SD_DEG, 0.5, "none")


def _back_line(outline: UnitOutline, curve: Points, angle_sd_deg: float, confidence: float, source: Source) -> BackLine:
    curve_mm = outline.to_mm(curve)
    return BackLine(curve_mm[0], curve_mm[-1], curve_mm, float(angle_sd_deg), float(confidence), source)

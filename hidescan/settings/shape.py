"""Back line, form, ends, zones, sampling, thickness."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SymmetrySettings:
    """Finding the mirror axis of an outline. Lengths are in units of the square root of its area."""

    # Points of the rim used: one each centimetre or so on a deer hide.
    points: int = 400
    # Step of the sweep for candidate axes: an axis 3 degrees off still overlaps within 2 % of the best.
    sweep_step_deg: float = 4.0
    # Side of the raster of the sweep, cells: about 20 mm each on a deer hide; the fit does the rest.
    sweep_raster: int = 72
    # Whole hides have two axes of near symmetry, along and across; a third is kept for odd shapes.
    most_axes: int = 3
    # A candidate that overlaps less than this share of the best is none.
    least_of_best: float = 0.88
    # Distance at which a mirrored point of the rim counts half: starts wide so that a poor start still pulls, ends at
    # about 3 cm on a deer hide, wider than a wavy rim and narrower than the difference of two limbs.
    loose_match: float = 0.15
    tight_match: float = 0.035
    most_iterations: int = 25
    # Movement of the far end of the axis at which the fit stops: 0.1 mm on a deer hide.
    converged: float = 1e-4
    # Hides are laid out by eye: the spine's sag is taken as 1.5 % of its length (sd). Weight of that prior: weaker, and
    # wrong axes bend until they fit; stronger, and a true sag is held down (both seen on generated outlines).
    sag_sd: float = 0.015
    sag_prior_weight: float = 1 / 100
    # Points of the rim err together over a limb's width: the sd of the angle from independent points is raised by
    # this factor, set so that the errors of generated outlines keep to it (calibration/shape/).
    sd_inflation: float = 12.0


@dataclass(frozen=True, slots=True)
class FormSettings:
    """Telling the forms apart. Lengths are in units of the square root of the area."""

    # Step of the directions tried for the straight edge; the line is then fitted.
    edge_step_deg: float = 1.0
    # How far from its line a straight edge may run: 2 cm on a deer's side, 3 cm on an ox's; wider while searching,
    # because a cut that bows inward touches its supporting line at its ends only.
    edge_band: float = 0.022
    edge_search_band: float = 0.04
    edge_iterations: int = 8
    # The second straight edge is sought away from the first.
    edges_apart_deg: float = 30.0
    # Share of the edge, at either end, that counts as near the end.
    corner: float = 0.07
    # Points of a cut edge that err together (a knife wanders over a hand's breadth).
    edge_correlated: float = 6.5
    # Share of doubt for shapes that were never generated.
    doubt: float = 0.03
    # Fitted to generated outlines by calibration/shape/fit_shape.py.
    centre: tuple[float, ...] = (
        0.0,
        0.901,
        0.527,
        0.784,
        1.185,
        0.663,
        0.578,
        0.729,
        0.419,
        0.761,
        0.602,
        0.661,
        5.616,
        -0.865,
        -0.354,
        0.673,
        1.075,
    )
    spread: tuple[float, ...] = (
        1.0,
        0.063,
        0.152,
        0.357,
        0.743,
        0.306,
        0.444,
        0.314,
        0.064,
        0.124,
        0.118,
        0.238,
        0.783,
        1.3,
        0.642,
        0.498,
        0.662,
    )
    weights: tuple[tuple[float, ...], ...] = (
        (1.97, 1.42, 0.15, -0.71, -1.68, -1.22, -1.09, 1.09, 1.58, -1.21, -0.11, 1.94, 0.81, 2.03, 0.59, 0.05, -0.43),
        (-1.04, -0.35, -1.33, 0.34, -2.61, 3.65, -1.1, -1.27, -2.27, -0.45, 1.69, -0.46, 0.11, 0.47, 0.53, -0.98, 0.98),
        (-1.94, 0.51, 1.35, -0.5, -0.19, 0.04, 1.14, 0.06, 0.37, -0.58, 0.95, -0.12, 0.5, -0.03, -0.34, 0.28, 0.43),
        (0.88, 0.37, 0.44, 0.66, -0.1, -0.94, -0.56, -1.55, 0.87, 0.71, -0.99, -0.41, -0.32, 0.05, -0.3, 0.69, -2.3),
        (-1.7, -0.92, -0.16, 0.33, 1.77, 0.69, 0.51, 0.84, -0.26, 0.12, -0.78, -1.42, -0.68, -0.7, 0.05, 0.13, 1.14),
        (1.83, -1.03, -0.46, -0.12, 2.8, -2.21, 1.1, 0.83, -0.28, 1.4, -0.76, 0.46, -0.42, -1.81, -0.52, -0.17, 0.19),
    )


@dataclass(frozen=True, slots=True)
class EndSettings:
    """Telling neck from tail."""

    # Cross sections along the axis at which widths are taken.
    stations: int = 60
    # Share of doubt for shapes that were never generated: no more than 0.99 is ever said.
    doubt: float = 0.02
    # Fitted to generated outlines by calibration/shape/fit_shape.py; order of END_FEATURES in ends.py.
    whole_neck_weights: tuple[float, ...] = (-15.65, 11.16, 3.22, 86.92, 3.14, -12.28, 1.72, 1.63, -1.83)
    side_neck_weights: tuple[float, ...] = (-13.07, 5.26, 6.71, 62.73, 2.98, -8.8, 0.56, 0.27, -1.01)


@dataclass(frozen=True, slots=True)
class ShapeSettings:
    """Back line and form."""

    symmetry: SymmetrySettings = SymmetrySettings()
    form: FormSettings = FormSettings()
    ends: EndSettings = EndSettings()
    # Choice among the axes of a whole hide: weights of the rim's agreement, of the overlap, and of how far limbs reach
    # past both ends. Fitted to generated outlines by calibration/shape/fit_shape.py.
    axis_weights: tuple[float, float, float] = (16.9, 13.7, -26.5)
    # Share of doubt about the axis for shapes that were never generated.
    axis_doubt: float = 0.01
    # A belly's neck end is told by the side's model, which was fitted to other outlines: of its excess over one half
    # this much is kept (seen on generated bellies).
    belly_trust: float = 0.6
    # The back cut of a bend cannot be told from its belly cut, which leans a few degrees against it.
    bend_sd_deg: float = 2.0
    # A form said with less than this takes from the confidence of the neck end in proportion.
    form_sure: float = 0.8
    # A sag below this share of the length is taken for straight: it is within the error of the fit.
    least_sag: float = 0.006
    # Probability that a shoulder's longest straight cut is the one that parted it from the butt.
    cut_is_rear: float = 0.95
    # A given neck may lie this far off an axis of symmetry and still choose it; beyond, the person's line is taken.
    given_within_deg: float = 30.0
    # Points of the curved back line.
    curve_points: int = 41
    # A neck given by hand on a piece fixes its direction no better than this.
    given_sd_deg: float = 5.0


@dataclass(frozen=True, slots=True)
class ZoneLines:
    """Where the zones of a hide part; a person may move them.

    Lengthwise in shares of the back line, tail 0 to neck 1; crosswise in half widths of the trunk from the back line.
    ISO 2418:2017, 4.1.1: the size of a segment cannot be uniquely defined. These lines give a good cattle hide a butt
    of about half its area (trade glossary); the rest is common practice, no source.
    """

    shoulder: float = 0.65
    neck: float = 0.86
    belly: float = 0.77
    shank: float = 1.08
    flank: float = 0.4
    hind_shank: float = 0.32
    fore_shank: float = 0.68
    # On a belly cut off alone: in widths of its own strip.
    belly_shank: float = 1.3


@dataclass(frozen=True, slots=True)
class SamplingSettings:
    """The sampling position of ISO 2418, from memory."""

    # A lies at a third of the back line from the tail: AC = 2 AB.
    a_share: float = 1 / 3
    # AE.
    e_mm: float = 50.0


@dataclass(frozen=True, slots=True)
class ThicknessSettings:
    """Thickness over the hide."""

    # A reading without a stated uncertainty: a dial gauge read to 0.1 mm on leather that yields under its foot.
    reading_u_mm: float = 0.08
    # How the thickness varies within a hand's breadth, as a share of the hide's thickness: not followed by the field.
    # Tried on a grid, all taken as equally likely.
    nugget_shares: tuple[float, ...] = (0.0, 0.02, 0.05)
    # Standard deviation of the field as a share of the hide's thickness, tried on a grid. Prior: log-normal about
    # 15 %, a factor of 1.9 either way; merchants sell a hide as a range of about that (3 to 3.5 oz, 4 to 5 oz).
    amplitude_shares: tuple[float, ...] = (0.04, 0.08, 0.14, 0.22, 0.34, 0.5)
    amplitude_centre: float = 0.15
    amplitude_log_sd: float = 0.65
    # Range over which it varies, in square roots of the hide's area: a flank to about the whole hide.
    range_shares: tuple[float, ...] = (0.12, 0.25, 0.5, 1.0)
    # A component of the mixture below this share of the likeliest is left out.
    least_weight: float = 1e-3
    # Zones taken as thinner than the rest when nothing was gauged (trade sources agree on flank and belly only).
    thinner_zones: tuple[tuple[str, float], ...] = (("belly", 0.85), ("flank", 0.8), ("shank", 0.85))
    # Standard uncertainty of every zone's ratio to the hide's figure: studies do not agree on the order of the zones.
    zone_ratio_u: float = 0.2

"""Figures and pictures."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class MeasureSettings:
    """Areas, lengths and their uncertainty."""

    # Leather nobody measured: garment and upholstery leather 0.5-1.2 mm, deer 1.2-1.4, cattle 2-5 (trade sources).
    typical_thickness_mm: float = 2.0
    typical_thickness_u_mm: float = 1.0
    # A given thickness holds where it was gauged; over one hide it varies by a good tenth.
    given_thickness_u_share: float = 0.15
    # A hide laid flat by hand: parts of the rim touch the floor, others stand up to some 4 mm (8 on a stiff hide);
    # the mean is what counts for the area (a judgement; nobody seems to have published figures).
    lift_mm: float = 1.9
    lift_u_mm: float = 1.3
    # A gauge reading this far off the rim, of the hide's longer side in the photo, was not taken on the hide.
    gauge_off_share: float = 0.01
    # From this tilt on the lift's uncertainty is raised by tan(tilt) / tan(this): a hide seen from low down shows its
    # humps instead of its rim.
    lift_steep_deg: float = 30.0
    # Neighbouring stretches of rim are off alike over about the width of the strip that they were found in.
    rim_correlation_mm: float = 15.0
    # A ragged rim is the longer the finer it is followed: its length is stated as walked with a divider of this opening
    # (Richardson 1961; Mandelbrot 1967), coarse beside the rim's own uncertainty and fine beside any leg.
    perimeter_step_mm: float = 20.0
    # What makes lengths doubtful beside the camera, by the study calibration/studies/figures.md: the thin ends that
    # length and width are measured between; of the perimeter, how ragged the rim is beside how it was found; of each,
    # the parts that an outline of no confidence at all has wrong, and what open area does to a side.
    fringe_u_mm: float = 1.5
    ragged_u_share: float = 0.008
    wrong_extent_share: float = 0.085
    wrong_perimeter_share: float = 0.12
    open_extent_share: float = 0.5
    # Points of the rim that derivatives are taken on.
    derivative_points: int = 600
    # Share of the rim's uncertainty that is the same all round: a wider blur or a shadow pulls every edge one way:
    # on rendered photos with good cards most areas come out a little too large.
    rim_common_share: float = 0.7


@dataclass(frozen=True, slots=True)
class MarkRate:
    """How marks of a kind are found, by `calibration/studies/figures.md`."""

    kind: str
    # On a square metre of hide, and the share of them that is found.
    per_m2: float
    recall: float
    # What a missed one takes with its margin, root mean square.
    missed_mm2: float
    # Share of the found ones that are marks, over the confidence that they were found with.
    trust: float


@dataclass(frozen=True, slots=True)
class UsableSettings:
    """Usable area."""

    # Leather next to a hole or a cut is stretched and may tear on: leave 5 mm; beside other marks 3 mm (a choice).
    hole_margin_mm: float = 5.0
    other_margin_mm: float = 3.0
    # Growth marks are part of the skin; most makers cut over them.
    count_wrinkles: bool = False
    # Where a mark ends, one standard deviation: the edge of a hole or a cut is as sharp as the rim; a stain, a scratch
    # or a brand fades out, and two people draw it some millimetres apart (a judgement).
    edge_u_mm: float = 0.7
    soft_edge_u_mm: float = 2.5
    # As for the rim: stretches that are off alike, and the share that all outlines are off together.
    outline_correlation_mm: float = 15.0
    outline_common_share: float = 0.5
    rates: tuple[MarkRate, ...] = (
        MarkRate("hole", 3.0, 0.84, 400.0, 1.0),
        MarkRate("cut", 0.76, 0.71, 1400.0, 0.4),
        MarkRate("brand", 0.60, 0.64, 10700.0, 1.0),
        MarkRate("stain", 0.65, 0.67, 13400.0, 1.0),
        MarkRate("scratch", 0.43, 0.5, 1800.0, 1.0),
    )
    # Of the rate of missed marks from hide to hide, over its square: on one hide in five nearly all are missed.
    rate_variance: float = 2.0


@dataclass(frozen=True, slots=True)
class ClearSettings:
    """Largest clear rectangle and circle."""

    # Cells along the longer side of the hide: 7 mm on a deer hide, searched in a few hundredths of a second.
    cells: int = 200
    # How far the circle's radius may be from the largest.
    circle_tolerance_mm: float = 0.5


@dataclass(frozen=True, slots=True)
class OtherFaceSettings:
    """Laying the outline of the other face on a map's."""

    # Distance of the rim's points that are fitted, and of those they are fitted to.
    step_mm: float = 8.0
    target_step_mm: float = 2.0
    # Share of the rim that each step believes: a leg that lies otherwise must not pull.
    kept_share: float = 0.8
    most_rounds: int = 60
    converged_mm: float = 0.05
    # Intersection over union below which the outlines are not those of one hide: on invented hides, one laid out again
    # with its rim 4 to 10 mm off shares 0.94 to 0.99, two of one species brought to one size at most 0.82.
    least_shared: float = 0.92
    # Where a face is unknown, how many times farther apart the rims must lie the other way round: the two sides of a
    # hide are alike, but no more alike than it lies twice.
    clearly_apart: float = 1.3
    least_apart_mm: float = 1.0


@dataclass(frozen=True, slots=True)
class DrawSettings:
    """Pictures."""

    # Readable on a phone, small enough to send.
    long_side_px: int = 1600


@dataclass(frozen=True, slots=True)
class MarksPictureSettings:
    """The picture of the marks."""

    # Long side of the hide: on a phone's screen, 1000 px wide or so, all of it is seen.
    hide_px: int = 900
    # Letters of a phone's 4 mm when the picture fills its width.
    letter_px: float = 28.0
    line_px: int = 3
    # Room for the list's two columns.
    least_width_px: int = 980
    # More numbers than this nobody reads; the smaller marks are drawn without.
    most_marks: int = 40

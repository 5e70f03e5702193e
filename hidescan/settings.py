"""Every tunable of every stage: its unit, and why it has this value.

The settings in force are saved inside each map, so that a map says how it was made.
"""

from dataclasses import asdict, dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class PhotoSettings:
    """Reading photos."""

    # Below about one megapixel a card's squares are under 15 px across on a deer hide that fills the frame, and its
    # corners are no longer found reliably.
    least_megapixels: float = 1.0
    # Phones make up to 50 (some 64) megapixels; a decoded picture needs 3 bytes a pixel.
    most_megapixels: float = 80.0
    # Long side over short side: a phone's widest panorama has about 10; a strip beyond that shows no hide.
    most_elongated: float = 20.0


@dataclass(frozen=True, slots=True)
class CardSettings:
    """Finding cards."""

    # Long side of the copy in which markers are looked for. In a cattle hide's 12 MP photo a marker then still has
    # 20 px, 3 px for each of its 7 cells.
    search_long_side_px: int = 2200
    # Fewer markers than this in the reduced copy, or fewer of the ten of any card: search the full picture too. One or
    # two that are missing are found again when the card is measured, at full size.
    least_markers_reduced: int = 4
    least_markers_card: int = 8
    # Four corners fix a plane; two more leave something to check it by.
    least_corners: int = 6
    # Of the smallest marker found of a card the others have this share of its perimeter at least: on one card even a
    # steep view does not halve it.
    least_marker_share: float = 0.25


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
class PlaneSettings:
    """Adjusting camera and floor."""

    # Standard deviation of a corner coordinate before the photo is seen: 0.02-0.1 px on sharp saddle points, 0.1-0.3 px
    # when blurred or compressed (Duda and Frese 2018, from memory); and how many observations that is worth.
    corner_sd_px: float = 0.15
    corner_sd_dof: float = 6.0
    # Huber's threshold, in standard deviations: 95 % efficient on clean corners (Huber 1964).
    huber_sigma: float = 2.0
    # The sum of squares is in units of variance: a change of 1e-4 is a hundredth of a standard deviation.
    converged_cost: float = 1e-4
    most_rounds: int = 40
    rounds_to_beat: int = 2
    # EXIF focal length: rounded to whole mm (26 mm: 2 %), and focusing close changes it by as much.
    exif_ln_focal_u: float = 0.03
    # No EXIF: phone main cameras lie between 23 and 35 mm equivalent; two-fold zoom is common. 27 mm with a factor
    # 1.35 either way covers them.
    typical_focal_35mm: float = 27.0
    broad_ln_focal_u: float = 0.30
    # A phone's main camera after its own correction: k1 seldom beyond 0.1, k2 beyond 0.04.
    k1_u: float = 0.07
    k2_u: float = 0.025
    # Print scale never measured: rectangular, 2 % common and 0.5 % between the directions; divided by sqrt(3).
    # Laser engines are specified at 2 % and differ in x and y (printer makers' figures, 1988-1999).
    unmeasured_ln_scale_u: float = 0.02 / 3**0.5
    unmeasured_skew_u: float = 0.005 / 3**0.5
    # Check bars of 150 and 200 mm read to 0.2 mm each: u = 0.2 / sqrt(3) mm, a share of 0.0006-0.0008 each.
    measured_ln_scale_u: float = 0.0005
    measured_skew_u: float = 0.001
    # A tape read to the millimetre at both ends; a cloth or class II steel tape is wrong by some 0.3 mm a metre.
    tape_u_mm: float = 0.5
    tape_u_share: float = 0.0003
    # A card misfits when its corners are further off (rms) than sharp and blurred corners ever are.
    misfit_rms_px: float = 0.6
    misfit_rms_mm: float = 0.2
    # Height of a plain print over the floor; and how far the hide under a card lying on it may stand up from the floor.
    paper_mm: float = 0.1
    on_hide_lift_u_mm: float = 1.0
    # A card is bent when a curved surface explains its corners better with a significance of this many standard
    # deviations, and stands up by more than this.
    bent_sigma: float = 3.5
    bent_depth_mm: float = 1.0
    # Beyond this no figure is worth printing.
    hopeless_rms_px: float = 5.0
    # Two statements contradict when they differ by more than this many standard deviations. For the focal length the
    # limit is lower: the price of a false alarm is a somewhat wider ±, that of a missed zoom a wrong area.
    contradiction_sigma: float = 3.0
    focal_contradiction_sigma: float = 2.0


@dataclass(frozen=True, slots=True)
class SnapSettings:
    """Drawing the rim to the edge at full resolution. Fine pixels are those that the fine network saw."""

    # How far the edge is looked for on either side, and the standard deviation with which the network's rim is trusted.
    # These and the next three are the best of eleven sets on 40 held-out made scenes (calibration/region/).
    reach_fine_px: float = 3.0
    trust_fine_px: float = 1.4
    # Samples across the strip, photo px; blur before differences; distance of the two sides that are compared.
    step_px: float = 1.0
    blur_px: float = 0.4
    sides_px: float = 1.0
    # Change of colour (CIELAB units of OpenCV's 8-bit scale) that texture and noise make; and that a clear edge makes.
    noise_level: float = 3.0
    clear_level: float = 15.0
    # Price of a step aside from one point of the rim to the next, in units of the logarithm of the change.
    # A step is a pixel to the side on three along, steep enough a limit by itself.
    bend_cost: float = 0.0
    # Uncertainty of a clear edge: 0.35 px on rendered scenes.
    clear_u_px: float = 0.35


@dataclass(frozen=True, slots=True)
class KindSettings:
    """Finding one kind of fault."""

    # Probability from which a pixel counts, and the width of gaps that are closed: strokes of a brand lie apart.
    level: float
    gap_mm: float
    # Shorter candidates are left alone.
    least_mm: float
    # Constant and weights of `fault_measures`: logistic regression on held-out scenes (calibration/region/).
    weights: tuple[float, ...]
    # A candidate less sure than this is not reported.
    least_confidence: float = 0.5


@dataclass(frozen=True, slots=True)
class FaultSettings:
    """Finding cuts, brands, stains, scratches and wrinkles."""

    cut: KindSettings = KindSettings(0.5, 0.0, 12.0, (-9.581, 0.82, 0.976, -0.652, 0.99, 2.048, -0.317, 0.662))
    brand: KindSettings = KindSettings(0.4, 16.0, 35.0, (-6.171, 0.817, 0.286, -0.139, 0.675, -9.216, 0.215, 2.013))
    stain: KindSettings = KindSettings(0.4, 5.0, 20.0, (-1.67, 1.209, 0.211, 2.339, -0.35, 2.38, 0.074, 0.126))
    scratch: KindSettings = KindSettings(0.4, 8.0, 30.0, (-6.871, 1.634, 0.87, -2.784, -0.2, -12.395, 0.209, -2.89))
    # Of wrinkles there were too few to say what nearness to the rim means.
    wrinkle: KindSettings = KindSettings(0.4, 8.0, 40.0, (-9.904, 1.135, 0.628, 3.291, 1.231, 0.0, -0.89, -3.608))
    # How far beyond the rim a cut's mouth may reach, px of the fine copy.
    rim_px: int = 4
    # Border round a candidate that is looked at with it.
    surround_px: int = 10


@dataclass(frozen=True, slots=True)
class OutlineSettings:
    """Finding the hide's region, rim and through holes."""

    snap: SnapSettings = field(default_factory=SnapSettings)
    faults: FaultSettings = field(default_factory=FaultSettings)
    # Long side of the copy that the region network sees; what it was trained on.
    region_long_side_px: int = 640
    # Radius of a person's tap on that copy; what the network was trained on.
    tap_radius_px: int = 5
    # How far (same px, standard deviation) a tap sets the region network's word over the fine network's.
    tap_reach_px: float = 30.0
    # A sheet whose surroundings are hide on less than this share lies on the floor (a leg may touch it); on more than
    # the second, on the hide.
    card_on_floor_share: float = 0.3
    card_on_hide_share: float = 0.9
    # Width of the surroundings looked at: over the blur of the region's own edge.
    card_surround_px: int = 4
    # Beyond this open share the network looks at two mirror images as well, half a second more.
    mirror_open_share: float = 0.08
    # When the network has no firm word on more than this share of the hide's pixels, colours are asked too. The blur of
    # a rim alone is 0.03 to 0.08. Chosen on rendered photos, where a cut helped beyond this; not checked on others.
    colour_open_share: float = 0.15
    # A gap nearer to the rim than this, px of the fine copy, is a cut into it; a long narrow one may be further away.
    hole_rim_px: int = 3
    cut_reach_px: int = 24
    # How many times longer than wide a cut is at least.
    cut_slenderness: float = 2.5
    # Smaller gaps are noise.
    least_cut_area_px: int = 12
    # What may be a cut, px of the fine copy: how wide at most, how long and large at least, how near to the rim its
    # mouth and how deep its end. The coarse network closes the mouth of a narrow cut over some of its own pixels.
    slit_width_px: int = 13
    least_slit_px: float = 14.0
    least_slit_area_px: int = 30
    slit_depth_px: float = 150.0
    # Grey levels by which it differs from both sides, beyond this many times what is usual within the surroundings:
    # strands of hair and grain differ too.
    slit_level: float = 16.0
    slit_over_texture: float = 2.5
    slit_surround_px: int = 81
    # The coarse probability put there: "look again", not "floor".
    slit_probability: float = 0.4
    # A region below this share of the picture is no hide that anybody photographs.
    least_area_share: float = 0.02
    # Mean probability of a region; what the network half believes in is no hide of its own.
    least_mean_probability: float = 0.75
    # A second region of more than this share of the largest is another hide, not a splinter of the same.
    rival_share: float = 0.2
    # Share of the photo's frame that the hide may touch: a tip at the edge is no cut.
    most_on_frame: float = 0.012
    # Border round the region's box for the fine network, px of the reduced copy: more than the region is ever off.
    fine_margin_px: int = 14
    # Pixels the fine network sees: about 1 mm on a deer hide, 1.7 mm on a cattle hide, in 0.3 s on two cores.
    fine_pixels: float = 1.1e6
    # Its pixels are at least this part of the region's: the finest scale it was trained on.
    fine_most_enlarged: float = 6.0
    # Distance of the rim's points, photo px.
    ring_step_px: float = 3.0
    # How far the probabilities are read on each side of the rim, px of the fine copy.
    profile_px: int = 12
    # "Near the truth": what a person would want to be shown.
    near_mm: float = 5.0
    # The same where there is no scale, px of the fine copy.
    near_px: float = 4.0
    # Spread of the probabilities to uncertainty of the rim: from held-out invented scenes (calibration/region/).
    u_scale: float = 0.635
    # No rim is better known than this part of a fine pixel.
    u_floor: float = 0.2
    # Rim points over which a point's measures are averaged: a person looks at stretches, not points.
    confidence_window: int = 25
    # Constant and weights of `rim_measures`: logistic regression on held-out scenes (calibration/region/).
    rim_weights: tuple[float, ...] = (-6.551, 0.899, 2.58, -0.596, 4.363, -1.811, -0.073, 5.235)
    # Below this a stretch is doubtful: see the study of calibration/region/.
    doubt_below: float = 0.9
    # Shorter stretches are not worth a person's look.
    least_doubt_points: int = 8
    # Constant and weights of `whole_measures`: logistic regression on held-out scenes (calibration/region/).
    whole_weights: tuple[float, ...] = (-8.279, 1.748, -0.626, -0.215)
    # A whole of less confidence carries a warning: below 0.7 stand 19 of 20 wrong outlines and 1 of 9 good ones of
    # those scenes, a quarter of which come out wrong because they are harder than what people photograph.
    whole_doubt_below: float = 0.7
    # Holes below 6 mm are pinpricks in the leather trade's eyes; below 4 mm they are not looked for.
    least_hole_mm: float = 4.0
    # The same without a scale, px of the fine copy.
    least_hole_px: float = 3.0
    # Constant and weights of `hole_measures`: logistic regression on held-out scenes (calibration/region/).
    hole_weights: tuple[float, ...] = (-0.38, 0.807, 5.634, 0.547, -0.84)
    # A gap less sure than this is no hole.
    least_hole_confidence: float = 0.5


@dataclass(frozen=True, slots=True)
class RedrawnSettings:
    """The rim where a person drew it."""

    # A thumb or a mouse on a picture shown at about one photo pixel to one of the screen's: a judgement.
    hand_u_px: float = 2.0
    # Distance of the rim's points, as where it was found (`OutlineSettings.ring_step_px`), with room for rounding.
    step_px: float = 4.0


@dataclass(frozen=True, slots=True)
class LensSettings:
    """Lens profiles."""

    least_photos: int = 5
    # Square-on photos leave focal length and distance one; from 25 degrees on they part.
    least_tilt_deg: float = 25.0
    # A profile less certain than this is worth little over EXIF's 3 %.
    most_ln_focal_u: float = 0.006
    most_k1_u: float = 0.02
    # Focusing from 2 m to 1 m changes a phone's focal length by about half a percent.
    focus_ln_focal_u: float = 0.004


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
    # From this tilt on the lift's uncertainty is raised by tan(tilt) / tan(this): a hide seen from low down shows its
    # humps instead of its rim.
    lift_steep_deg: float = 30.0
    # Neighbouring stretches of rim are off alike over about the width of the strip that they were found in.
    rim_correlation_mm: float = 15.0
    # Points of the rim that derivatives are taken on.
    derivative_points: int = 600
    # Share of the rim's uncertainty that is the same all round: a wider blur or a shadow pulls every edge one way.
    rim_common_share: float = 0.5


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


@dataclass(frozen=True, slots=True)
class SheetSettings:
    """Checking oneself with a plain sheet of paper."""

    # The view from above in which the sheet is looked for; further than this nobody lays a sheet.
    view_mm: float = 1.0
    farthest_mm: float = 2500.0
    # A found blob may be this far off the sheet's size before its edges are refined, and must fill its box.
    size_tolerance: float = 0.06
    least_filled: float = 0.93
    # Edge points a side, how far to look for the edge on either side, and in what steps.
    edge_points: int = 80
    search_mm: float = 5.0
    search_step_mm: float = 0.1
    # Least grey levels between sheet and floor.
    least_step: float = 12.0
    # Straight lines through 80 points each are good to well under a tenth of a pixel; blur takes its share.
    edge_u_px: float = 0.1
    # A sheet on a flat floor stands up by less than this.
    lift_u_mm: float = 0.3


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


@dataclass(frozen=True, slots=True)
class QualitySettings:
    """When a photo is worth a warning."""

    # Beyond 50 degrees the far rim is seen at a grazing angle, foreshortened to under two thirds of its size.
    most_tilt_deg: float = 50.0
    # From 30 degrees on, what stands 1 mm over the floor shifts the rim by over 0.6 mm: the rim's unknown lift rules
    # the uncertainty.
    low_camera_tilt_deg: float = 30.0
    # The limits below are where tests/benchmarks/quality_study.py sees corners suffer.
    # Edge spread, as measured: up to 1.2 px corners are off by 0.02 px, at 2 px by 0.06, beyond 2.5 cards are lost.
    most_blur_px: float = 2.0
    # Out of focus, both directions of edges spread alike; moved, one of them more.
    moved_smear: float = 1.5
    # Clipping alone costs little (0.02 to 0.03 px), but white that bleeds over the black shifts every edge alike, and
    # what clips the paper clips pale leather too.
    most_white: float = 254.0
    # Markers of 19 px: corners off by 0.05 px; of 14 px: 0.18; of 12 px: half of them lost.
    least_marker_px: float = 17.0
    # Below this a person is asked to check form and neck end: three in ten would be wrong.
    least_shape_confidence: float = 0.7
    # A card further from the hide than this share of the hide's length measures the floor beside it, not under it.
    card_gap_share: float = 0.4


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


@dataclass(frozen=True, slots=True)
class Settings:
    """The settings of all stages."""

    photo: PhotoSettings = field(default_factory=PhotoSettings)
    card: CardSettings = field(default_factory=CardSettings)
    plane: PlaneSettings = field(default_factory=PlaneSettings)
    lens: LensSettings = field(default_factory=LensSettings)
    outline: OutlineSettings = field(default_factory=OutlineSettings)
    redrawn: RedrawnSettings = field(default_factory=RedrawnSettings)
    shape: ShapeSettings = field(default_factory=ShapeSettings)
    zones: ZoneLines = field(default_factory=ZoneLines)
    sampling: SamplingSettings = field(default_factory=SamplingSettings)
    thickness: ThicknessSettings = field(default_factory=ThicknessSettings)
    measure: MeasureSettings = field(default_factory=MeasureSettings)
    sheet: SheetSettings = field(default_factory=SheetSettings)
    usable: UsableSettings = field(default_factory=UsableSettings)
    clear: ClearSettings = field(default_factory=ClearSettings)
    other_face: OtherFaceSettings = field(default_factory=OtherFaceSettings)
    quality: QualitySettings = field(default_factory=QualitySettings)
    draw: DrawSettings = field(default_factory=DrawSettings)
    marks_picture: MarksPictureSettings = field(default_factory=MarksPictureSettings)


def settings_as_saved(settings: Settings) -> dict[str, Any]:
    """The settings as plain values, for the map's file."""
    return asdict(settings)

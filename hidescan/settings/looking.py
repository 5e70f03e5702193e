"""Photo, cards, floor, lens, and what makes a photo doubtful."""

from dataclasses import dataclass


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
    # An uncompressed TIFF of that many pixels has 240 MB, with 16 bits a channel twice that.
    most_file_bytes: int = 500_000_000


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
    # Without a card: from this blur of a photo's sharpest edges on it is called blurred (cards are lost from 2.5 on).
    most_blur_unread_px: float = 2.0
    # Edges are read in stretches of this length: 4 on a square's side, one on a marker's cell. Shorter than this many
    # pixels they tell nothing.
    stretch_mm: float = 11.0
    least_stretch_px: float = 3.0
    # How far across an edge its profile reaches: beyond some 2.5 times the blur nothing more is learnt.
    edge_reach_px: float = 5.0
    # A profile that reaches less far, in standard deviations of the blur, takes in the blur of the next edge.
    least_reach_blurs: float = 2.4
    # Without a corner nearby it is not known where an edge should be.
    edge_near_corner_mm: float = 56.0
    # A profile is believed when it has contrast and is a blurred step to within a share of it and some grey levels.
    least_edge_contrast: float = 15.0
    edge_misfit_share: float = 0.05
    edge_misfit_grey: float = 2.0
    # A card is measured by its edges where this many stretches are read; there are some 600.
    least_edges: int = 60


@dataclass(frozen=True, slots=True)
class PlaneSettings:
    """Adjusting camera and floor."""

    # Standard deviation of a corner coordinate before the photo is seen: 0.02-0.1 px on sharp saddle points, 0.1-0.3 px
    # when blurred or compressed (Duda and Frese 2018, from memory); and how many observations that is worth.
    corner_sd_px: float = 0.15
    corner_sd_dof: float = 6.0
    # The same of a stretch of a printed edge, across it; of what all stretches of one edge share; and their worth.
    edge_sd_px: float = 0.04
    line_sd_px: float = 0.03
    # What edges leave in a photo of flat cards, at most; and times how much of the usual, or of what is left without a
    # claimed focal length, the claim strains the fit.
    usual_edge_px: float = 0.06
    strained_noise: float = 1.5
    edge_sd_dof: float = 20.0
    # A sheet lying by itself: how far a curl lifts it 100 mm from its middle, and one side more than the other; and
    # 4 a c - b^2 of its surface: stretching resists what rises by more than a few thicknesses of paper (0.1 mm).
    curl_u_mm: float = 1.5
    one_sided_u_mm: float = 0.7
    doubly_bent_u_mm2: float = 1.0
    # Ink spreads by up to 0.2 mm; a phone's tone curve makes black look up to half a pixel smaller.
    ink_u_mm: float = 0.3
    # A bend is solved for up to this rise over the pattern, and mentioned from that one on.
    most_bend_mm: float = 8.0
    named_bend_mm: float = 2.0
    # Robust threshold for edges, in standard deviations: what lies over a card is far off, and there are many edges.
    edge_huber_sigma: float = 2.5
    # Huber's threshold, in standard deviations: 95 % efficient on clean corners (Huber 1964).
    huber_sigma: float = 2.0
    # The sum of squares is in units of variance: a change of 1e-2 is a tenth of a standard deviation.
    converged_cost: float = 1e-2
    most_rounds: int = 40
    rounds_to_beat: int = 2
    # EXIF's 35 mm equivalent is rounded to whole mm: a rectangle of half a millimetre either way; and focusing close
    # changes the focal length, by this share. Beyond these limits no camera that is used for this has it.
    exif_rounding_mm: float = 0.5
    exif_focus_u: float = 0.007
    exif_least_mm: float = 10.0
    exif_most_mm: float = 250.0
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
    # Check bars are refused from this difference of their proportion on: a millimetre misread is 0.5 % and more.
    least_bars_off: float = 0.004
    focal_contradiction_sigma: float = 2.0


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

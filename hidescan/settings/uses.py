"""Every tunable of the uses of a map: its unit, and why it has this value."""

from dataclasses import dataclass, field

from hidescan.settings import UsableSettings


@dataclass(frozen=True, slots=True)
class PieceSettings:
    """Reading pieces."""

    # Ends that are this near are one point: drawing programs round to 0.01 mm, a hand on a screen does not.
    closed_mm: float = 0.1
    # Curves become chords that leave them by no more: a tenth of what a knife follows.
    flat_mm: float = 0.02
    # Smaller than this no piece is; a wrong unit usually is.
    least_area_mm2: float = 25.0
    # A sheet of patterns holds some thousand shapes; a drawing that copies its own copies could hold any number.
    most_shapes: int = 20_000
    # Text of all shapes and of the styles that count for each, copies counted; a sheet of patterns has some 100 kB.
    most_text: int = 20_000_000
    most_style: int = 20_000
    # An outline off a digitizer has some thousand points, a curve becomes one a half millimetre.
    most_points_of_one: int = 50_000
    most_points: int = 500_000
    # Outlines with a name of their own, and pieces to be cut of them in all.
    most_outlines: int = 1_000
    most_pieces: int = 2_000
    # Reading a sheet of patterns takes less than a second.
    most_read_s: float = 8.0
    read_memory_bytes: int = 1_500_000_000
    # No sheet of patterns is longer; a wrong unit or a broken number is.
    most_extent_mm: float = 100_000.0


@dataclass(frozen=True, slots=True)
class EnoughSettings:
    """Which hides hold a set of pieces."""

    # Hides on which the pieces are placed: the rest of a long list is judged by size alone.
    most_placed: int = 20
    # Rounds of improvement on each: rounds and not seconds, so that the answer repeats.
    rounds_each: int = 40
    # Length and width of a hide are known to a few mm, and its rim is wavy beyond its back line's ends.
    slack_mm: float = 150.0


@dataclass(frozen=True, slots=True)
class StretchSettings:
    """Comparing maps of one hide. Shares of size are of the square root of the hide's area."""

    # Rim points taken for the registration: neighbours 50-70 mm apart on a deer hide.
    rim_points: int = 80
    # A rim lifts, curls and is ragged over the width of a hand: distance over which its matches are off alike (1/e).
    rim_alike_mm: float = 50.0
    # Spacing of the after-outline's points that the nearest is looked for among.
    rim_step_mm: float = 4.0
    # A mapped rim point and its match must look the same way within 60 degrees, or it is another part of the rim.
    least_normal_cosine: float = 0.5
    # Rounds of matching and fitting; displacements settle to 0.1 mm in about 10.
    rounds: tuple[int, int, int] = (8, 6, 8)
    # Standard uncertainty of a rim match in those rounds: wide while the fit is affine, so that far limbs still pull.
    round_rim_u_mm: tuple[float, float, float] = (25.0, 8.0, 3.0)
    # Field while matching: strain that varies by a few percent over half the hide.
    round_strain_sd: float = 0.02
    round_range_share: float = 0.5
    # Prior of the even part: strain, shear and turn of 10 % (1 sd) and a shift that the frames may have, mm.
    affine_sd: float = 0.1
    shift_sd_mm: float = 100.0
    # Grids over which the uneven part is averaged, weighted by their evidence: sd of the strain about its mean, and the
    # range over which it changes, share of size. From 'hardly any' to what a hard pull at one flank makes.
    strain_sds: tuple[float, ...] = (0.002, 0.007, 0.015, 0.03, 0.05)
    range_shares: tuple[float, ...] = (0.3, 0.55, 1.0)
    # Without dots an even rim does not prove an even inside: 'hardly any' is not tried then. With it, zones of hides
    # whose inside was worked lay within their ± in 87 % of cases instead of 90, those of all hides in 93, not 95.
    outline_strain_sds: tuple[float, ...] = (0.007, 0.015, 0.03, 0.05)
    # The same for the smoother kind of field, whose range is shorter for waves of the same length.
    smooth_range_shares: tuple[float, ...] = (0.2, 0.35, 0.6)
    # How many shapes (kind and range) and pairs of uncertainties are gone on with when both directions part.
    most_shapes: int = 3
    most_noises: int = 3
    # Standard uncertainties tried for a dot's position (ink runs, two photos) and for a rim match (lift, curl).
    dot_us_mm: tuple[float, ...] = (0.3, 0.6, 1.2)
    rim_us_mm: tuple[float, ...] = (0.8, 1.6, 3.2)
    # Fields with less than this share of the evidence change nothing that is printed.
    least_share: float = 5e-3
    # Tukey's biweight on rim matches: 95 % efficient at 4.685 standard deviations (Holland and Welsch 1977).
    tukey: float = 4.685
    # Points over the hide at which the strain is taken: about one each 75 mm on a deer hide.
    grid_share: float = 0.075
    # Turned or mirrored maps: the other way round is believed where its rim misfit is below this share of the first's.
    believe_turn: float = 0.6
    # Rim misfit (rms, share of size) beyond which two outlines are hardly those of one hide: on invented hides it is
    # 0.001-0.0025 between maps of one and 0.015-0.1 between those of two.
    other_hide_share: float = 0.008
    # Fewer matched dots than this say no more than the outline does.
    least_dots: int = 4


@dataclass(frozen=True, slots=True)
class DotSettings:
    """Finding inked dots and crosses in the rectified photo."""

    # Scale at which they are looked for: a 4 mm dot then has 8 px. Finer than most photos see, so the photo decides.
    px_per_m: int = 2000
    # Smallest and largest extent of a dot or cross that a felt pen makes.
    least_mm: float = 2.5
    most_mm: float = 16.0
    # Darker than its surroundings by this many grey levels, and by this many robust deviations of the leather's grain.
    least_contrast: float = 18.0
    least_sigma: float = 6.0
    # Width over length of its bounding box: a scratch is longer.
    least_round: float = 0.45
    # Area over that of its bounding box: a cross covers a fifth or more.
    least_filled: float = 0.15
    # Nearer to the rim than this, shadows look like ink.
    rim_mm: float = 12.0
    # The strongest kept: nobody inks more, and chance matches grow with the square.
    most: int = 80
    # How far from its predicted place a dot may lie, first and last round, share of size.
    gate_shares: tuple[float, float] = (0.05, 0.012)
    # What the outline leaves unexplained between dots: strain of 1.5 % (1 sd) that changes over half the hide's size,
    # an even strain of 2 %, a shift of 2 % of its size, and 0.8 mm for each dot.
    neighbour_field: tuple[float, float, float, float, float] = (0.015, 0.5, 0.02, 0.02, 0.8)
    # A dot this many standard deviations off its neighbours' prediction is not the same dot.
    outlier_sigma: float = 4.0


@dataclass(frozen=True, slots=True)
class PlaceSettings:
    """Placing pieces on hides."""

    # What marks count and how far pieces keep off them.
    usable: UsableSettings = field(default_factory=UsableSettings)
    # Outlines are taken this much larger with fewer corners, rims this much smaller: speed against leather. At 0.3 mm a
    # deer hide loses 0.1 %.
    coarse_mm: float = 0.3
    # Outlines with no more corners than this are taken as they are.
    few_corners: int = 24
    # How deep two pieces without margin may touch: positions that fit exactly would else be lost to rounding. A tenth
    # of what a knife follows.
    slack_mm: float = 0.02
    # Squares in which the interpolated thickness is looked up; a gauge foot covers 10 mm.
    thickness_step_mm: float = 10.0
    # Turns tried: shares of the largest allowed; and for pieces that may turn freely, steps of 15 degrees.
    turn_shares: tuple[float, ...] = (0.0, -0.5, 0.5, -1.0, 1.0)
    free_step_deg: float = 15.0
    # Turns tried for each insertion after the first layout: two take twice the time of one and place more.
    turns_each: int = 2
    # Raster on which the contact with rim and neighbours is judged, and how far beyond the outline.
    contact_step_mm: float = 4.0
    contact_reach_mm: float = 4.0
    contact_points: int = 48
    # Weights of contact and of lying far along the preferred direction, in the choice among free positions.
    contact_weight: float = 1.0
    direction_weight: float = 0.6
    # Where there is leather to spare: the best of it lies along the back (common practice, no source).
    back_weight: float = 0.8
    thickness_weight: float = 0.5
    noise_weight: float = 0.1
    # Pieces taken up in each round, at most; local rounds are quick, wide ones get out of dead ends.
    most_taken_up: int = 7
    # A round's result is kept if it is no worse than the result this many rounds ago (late acceptance, Burke and Bykov
    # 2017).
    late: int = 15
    # When everything has its place, this many rounds without anything better are enough.
    patience: int = 60
    # Weight of how well pieces lie against how many lie: never worth a piece.
    quality_weight: float = 0.02
    # Left and right this near to mirrored places count as alike.
    mate_mm: float = 100.0
    # Left and right from two hides differ by no more in thickness: a third of what a maker skives off (a judgement).
    mate_thickness_mm: float = 0.2
    # How finely the room that a piece lacks is told.
    miss_step_mm: float = 0.5
    miss_thickness_mm: float = 0.02
    # What the last check allows a rule to be missed by: the slack of two pieces, and rounding.
    tolerance_mm: float = 0.05


@dataclass(frozen=True, slots=True)
class OffcutSettings:
    """Which offcuts are worth keeping: a strap or a patch can still be cut from them (a judgement)."""

    least_area_mm2: float = 10_000.0
    least_width_mm: float = 50.0
    # Parts that hang together by less than this are parted.
    bridge_mm: float = 30.0


@dataclass(frozen=True, slots=True)
class PlaceDrawSettings:
    """The picture of a placing."""

    long_side_px: int = 1800  # as the other overlays: readable on a phone


@dataclass(frozen=True, slots=True)
class CornerSettings:
    """Corners of templates that the blur has rounded."""

    step_px: float = 0.5  # between the points looked at: an edge is drawn at every pixel it crosses
    # Beyond this many standard deviations the blur of a right angle moves its sides by less than a hundredth of one.
    skip_blurs: float = 3.0
    # Length of the sides that are fitted: the edge's noise is averaged, and a curve is still a parabola.
    side_px: float = 15.0
    # Less than this is a bend of the curve.
    least_turn_deg: float = 25.0
    # A side that leaves a straight line by no more is straight: it is drawn on with less noise than a parabola.
    straight_rms_px: float = 0.12
    straighter: float = 1.4
    # A tip sharper than this is an edge that doubles back on itself, not a corner.
    least_tip_deg: float = 15.0
    # Sides that leave their parabola by more hold another corner.
    most_rms_px: float = 0.25
    # An edge that stays short of the tip by more than so many times what the blur explains was cut round; noise comes
    # on top. It is drawn no farther than so many times what the blur explains.
    most_short: float = 1.6
    noise_px: float = 0.3
    most_drawn: float = 1.25
    # Where the edge is rough, sides may stray by so many times as much, and are fitted over so many times their length.
    most_rough: float = 2.5
    most_side: float = 3.0


@dataclass(frozen=True, slots=True)
class EdgeLook:
    """One look at a template's edge."""

    # Half width of the strip along the edge as known so far in which it is looked for.
    strip_mm: float
    # JPEG keeps colour at half the size, in blocks: what it adds to the noise of colour, grey levels. The less, the
    # less a dark joint looks like a darker template; the more, the finer is the edge drawn.
    colour_noise_levels: float


@dataclass(frozen=True, slots=True)
class TemplateSettings:
    """Card templates from a photo."""

    corners: CornerSettings = field(default_factory=CornerSettings)

    # Long side of the copy in which templates are told from the floor: some 1.2 mm a pixel over a table.
    coarse_px: int = 900
    # Band along the picture's border, share of its side, taken for floor; and colours a floor is described by: boards,
    # their joints, light and shade.
    border_share: float = 0.03
    floor_colours: int = 5
    # Lightness counts less than colour: light falls off over a floor.
    lightness_weight: float = 0.7
    grabcut_rounds: int = 2
    # Smaller than this it is a crumb, a pen or a ruler's end.
    least_area_mm2: float = 800.0
    # Sheets are widened by this in the copy: their paper may curl, and their place is known to a pixel.
    sheet_px: int = 2
    # A colour seen in this share of the border's parts is the floor's; so is one that lies no farther from those that
    # are: boards and shade. A sheet or a template that crosses the border takes one part in ten and lies apart.
    floor_spread: float = 0.3
    floor_step: float = 30.0
    # First in a copy of half the size, where the reduced copy may have cut a corner or filled a notch; then in the
    # photo. The picture's blur reaches so far at least.
    first_look: EdgeLook = EdgeLook(strip_mm=8.0, colour_noise_levels=3.0)
    second_look: EdgeLook = EdgeLook(strip_mm=3.0, colour_noise_levels=6.0)
    strip_px: float = 3.5
    # Reach of the means of template and floor beyond the strip: past any ink line, within even light.
    side_mm: float = 12.0
    # What a camera's noise and JPEG leave in an even surface, grey levels.
    noise_levels: float = 3.0
    # Share by which a shadow darkens the floor: a way in which it varies although the floor beside shows none of it.
    shade: float = 0.1
    # Share by which floor or template may differ beside the edge from what they are around, where a streak or a joint
    # of the table runs into it: that part of the edge is trusted half as far (a quarter, squared).
    trust_share: float = 0.25
    # An edge is smoothed by parabolas over so much of it to both sides: a knife goes no closer bends.
    smooth_mm: float = 6.0
    # Template against floor at the worst twentieth of its edge, grey levels, and standard deviations of what both vary:
    # below it is not returned. On tables of eight kinds edges that were millimetres off had 1.0 to 2.8.
    least_step: float = 10.0
    least_clear: float = 3.0
    # The farthest error of an edge is about so many times a pixel over those deviations.
    edge_noise: float = 9.5
    # Half a millimetre is less than a pixel then.
    most_mm_per_px: float = 0.75
    # A shadow takes such a share of the floor's light; where it looks like so much of the template, the line of shadow
    # at the template's foot counts as template: edges lay 0.1 to 0.4 mm too far out there.
    shadow: float = 0.3
    most_shadow: float = 0.15
    # A template's edge is not to be told from a sheet's that is nearer: the sheet's own place is known to a pixel or
    # two, and the paper's size is that of A4 and Letter together.
    near_sheet_mm: float = 5.0
    # Half a pixel of smoothing before the edge is drawn: sensor noise, without rounding corners further.
    smooth_px: float = 0.7
    # Points leave the edge by no more when it is thinned.
    flat_mm: float = 0.05
    # Card and stiff paper; a person may say.
    thickness_mm: float = 0.5
    thickness_u_mm: float = 0.3
    # Taped down or lying by its own weight.
    lift_u_mm: float = 0.3
    # An arrow: at least this long; its shaft covers nearly all of that length and keeps to a line.
    arrow_mm: float = 25.0
    arrow_covered: float = 0.9
    shaft_mm: float = 1.5
    # Ink against card, grey levels and robust deviations; farther from the edge than shadows reach.
    ink_contrast: float = 25.0
    ink_sigma: float = 6.0
    ink_edge_mm: float = 3.0
    # Broader than a felt pen's line, it is a shape and no stroke.
    ink_most_mm: float = 9.0

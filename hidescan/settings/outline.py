"""Hide against floor: region, rim, holes, faults, and what a person draws."""

from dataclasses import dataclass, field


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
    # The coarse network's mean word there from which it is refused as cut; of less it is mapped and doubted.
    least_frame_probability: float = 0.7
    # A tap this near to where the hide meets the frame says that nothing is cut off there; share of the long side.
    frame_tap_reach: float = 0.06
    # Border round the region's box for the fine network, px of the reduced copy: more than the region is ever off.
    fine_margin_px: int = 14
    # Pixels the fine network sees: about 1 mm on a deer hide, 1.7 mm on a cattle hide, in 0.3 s on two cores.
    fine_pixels: float = 1.1e6
    # Its pixels are at least this part of the region's: the finest scale it was trained on.
    fine_most_enlarged: float = 6.0
    # Its pixels are at most this part of the region's, near the coarsest scale it was trained on: on 24 real photos of
    # 533 px, 18 outlines instead of 11 reach an IoU of 0.965.
    fine_least_enlarged: float = 1.7
    # Distance of the rim's points, photo px.
    ring_step_px: float = 3.0
    # How far the probabilities are read on each side of the rim, px of the fine copy.
    profile_px: int = 12
    # "Near the truth": what a person would want to be shown.
    near_mm: float = 5.0
    # The same where there is no scale, px of the fine copy.
    near_px: float = 4.0
    # Spread of the probabilities to uncertainty of the rim: from made and rendered photos (calibration/region/).
    u_scale: float = 0.72
    # No rim is better known than this part of a fine pixel.
    u_floor: float = 0.2
    # Rim points over which a point's measures are averaged: a person looks at stretches, not points.
    confidence_window: int = 25
    # Constant and weights of `rim_measures`: logistic regression on made, rendered and real photos together.
    rim_weights: tuple[float, ...] = (-5.924, 0.428, 2.008, 1.829, 3.113, -7.742, 0.176, 2.954)
    # Below this a stretch is doubtful: there lie 0.5 to 0.75 of the rim that is off, and 0.06 to 0.16 of the rim of
    # good outlines (made, rendered and real photos; calibration/region/).
    doubt_below: float = 0.8
    # Shorter stretches are not worth a person's look.
    least_doubt_points: int = 8
    # Constant and weights of `whole_measures`: logistic regression on made, rendered and real photos together.
    whole_weights: tuple[float, ...] = (-12.747, 0.881, -0.299, -0.109, -1.468, -1.184)
    # The same where there is no scale, on real photos without a card (IoU of at least 0.975).
    whole_weights_unscaled: tuple[float, ...] = (-11.374, 0.653, -0.614, -0.338, -1.362, -0.787)
    # A whole of less confidence carries a warning. With other people's photos left out in turn: 17 of 20 wrong ones
    # (IoU below 0.965) and 20 of 137 right ones of real photos, 3 of 3 and 2 of 20 of rendered ones, 41 of 58 and 3 of
    # 71 (0.985) of made ones, which are harder than what people photograph.
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

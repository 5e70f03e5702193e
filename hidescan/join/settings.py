"""Tunables of joining photos: each with its unit and why it has this value."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class BundleSettings:
    """The adjustment over several photos."""

    # Focusing changes a phone's focal length by half a percent from 2 m to 1 m; photos of one hide are taken from much
    # the same distance.
    focus_ln_focal_u: float = 0.002
    # A card in one photo that is off its place in the others: significance in standard deviations of a normal, and
    # the least way that any of its corners went. A card that is slightly bent seems to move by less when it is seen
    # from another side.
    moved_sigma: float = 3.3
    moved_mm: float = 1.5
    # A card whose move explains nearly as much as the best one's is named with it.
    moved_as_good: float = 0.8


@dataclass(frozen=True, slots=True)
class CoverSettings:
    """One region from all photos."""

    # Size of the floor's cells: a pixel or two of a photo; no finer than this many along the hide.
    cell_mm: float = 2.0
    most_cells: int = 900
    # Depth inside or outside a photo's rim from which on its word counts in full.
    firm_mm: float = 20.0
    # Border of a photo that is left alone: lens and network are at their worst there.
    border_share: float = 0.01
    # Over this share of its width a photo's word fades in from its border.
    fade_share: float = 0.06
    # Rim that ends at a photo's border and goes on in no other: below this it is a nick at the border.
    least_missing_mm: float = 25.0


@dataclass(frozen=True, slots=True)
class RimSettings:
    """One rim from all photos."""

    # Distance of the joined rim's points: a photo's own rim has one each 1.5 to 2.5 mm.
    point_mm: float = 2.0
    # Distance of the nodes at which height and place are solved for: neighbouring stretches of rim err alike over about
    # this length. No more nodes than the second: the solution takes the third power of them.
    node_mm: float = 15.0
    most_nodes: int = 240
    # How far from the first guess a photo's rim is looked for: a lift of 15 mm seen at 45 degrees.
    reach_mm: float = 25.0
    # A stretch of rim that runs this much off the guess's direction is another stretch.
    least_cosine: float = 0.5
    # Over this length one photo gives way to the next.
    fade_mm: float = 60.0
    # A photo draws no less than this at a time.
    stretch_mm: float = 10.0
    # What a change of photo costs: as much as this length drawn by one twice as unsure as the best; and for each mm
    # that the two differ by at most within the fade, twice as much again. A gap counts as the greatest difference.
    change_mm: float = 100.0
    apart_cost: float = 200.0
    most_apart_mm: float = 5.0
    # Between two places that it has in common with the first guess a photo's rim may go this much further than one and
    # a half times that, down a nick and up again; and this much less than half of it: what most photos show and it
    # left out, a leg perhaps, is for the others to draw.
    nick_mm: float = 60.0
    left_out_mm: float = 5.0
    # No photo is worse for a stretch than one this many times as unsure as the best.
    most_unsure: float = 10.0
    # A point of the joined rim this far off the median of its neighbours was read across a gap or at a tip.
    jump_mm: float = 1.5
    # A rim that is wrong is wrong by some 8 mm: standard uncertainty where a photo's confidence in it is 0.
    wrong_mm: float = 8.0
    # Huber's threshold for a photo's rim against the others'.
    huber_sigma: float = 2.0
    rounds: int = 3
    # Lift of the rim about its mean: standard deviation, and the length over which it keeps to itself. Laid by hand it
    # touches the floor every few hands' breadths (a judgement; nobody seems to have published figures).
    lift_sd_mm: float = 3.0
    lift_length_mm: float = 150.0
    # The edge's wall, seen where it faces the camera, may be as dark as its shadow: then its rim is drawn further up.
    # Standard deviation of how far, of the thickness (a judgement).
    wall_share: float = 0.5
    # The hide in one photo is off its place in the others: significance in standard deviations of a normal, and the
    # mean way its rim went. On 30 made sets still hides reached 5.6 (and then 1.6 mm), moved ones 7.7 and more but one.
    moved_sigma: float = 6.5
    moved_mm: float = 1.5
    # A hide touches the floor somewhere: over this share of its rim the lift may lie between the last two figures, the
    # uncertainty there taken this many times in its favour. Still hides, up to 15 mm high elsewhere, came out at -0.3
    # and more, 2.4 and less.
    lowest_share: float = 0.05
    lowest_sigma: float = 2.0
    least_lowest_mm: float = -1.0
    most_lowest_mm: float = 3.0


@dataclass(frozen=True, slots=True)
class MarkSettings:
    """Marks seen in several photos."""

    # Rims of one mark from two photos are off by height and cameras; two marks this near are hardly two.
    near_mm: float = 3.0
    # Where photos differ on the kind, the least share that both places have in common of what they cover together.
    retyped_overlap: float = 0.3
    # What a photo says that shows the place and finds nothing there; a photo at this many times the scale of the best
    # has no say.
    unfound: float = 0.3
    coarser: float = 1.6
    # As for one photo (`OutlineSettings.least_hole_confidence`, `FaultSettings`).
    least_hole_confidence: float = 0.5
    least_confidence: float = 0.4


@dataclass(frozen=True, slots=True)
class JoinSettings:
    """Joining photos."""

    bundle: BundleSettings = field(default_factory=BundleSettings)
    cover: CoverSettings = field(default_factory=CoverSettings)
    rim: RimSettings = field(default_factory=RimSettings)
    marks: MarkSettings = field(default_factory=MarkSettings)

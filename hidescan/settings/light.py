"""Thickness from light."""

from dataclasses import dataclass, field

from hidescan.settings.shape import ThicknessSettings


@dataclass(frozen=True, slots=True)
class LightSettings:
    """Reading a backlit photo. Densities are natural logarithms of light without over light with the hide."""

    # ln of the depth in mm over which light dies out, ln(c - 1), ln of the tone exponent. The depth is left open
    # (parchment to harness), c is that of white to brown leather, phones' curves lie within some 20 % of sRGB's.
    law_prior: tuple[float, float, float] = (0.0, 1.4, 0.0)
    law_prior_sd: tuple[float, float, float] = (3.0, 0.8, 0.2)
    # As thick, leather lets through more or less light by its density and its fat: share of its thickness, k = 1.
    leather_share_u: float = 0.04
    most_rounds: int = 60
    # Light is read in squares of the map's own photo, as wide as this on the hide.
    step_mm: float = 8.0
    # Below this share of the light (or of full scale) the sensor's noise and stray light rule: not known.
    least_share: float = 0.004
    least_value: float = 0.004
    # From this value on, of 255, a channel may be cut off.
    saturated_value: int = 250
    # Light that falls on the front: told by how the darkest stretch of the hide compares with what shines round it.
    most_front_share: float = 0.35
    # The light is fitted to the surround and the holes: degree of the polynomial in ln(light).
    field_degree: int = 3
    # ln(light) beyond the surround: standard uncertainty where nothing is seen of it for as long as the hide is wide.
    field_u: float = 0.04
    # Outlines must share this much; and a mirrored fit must be this much worse than the best to be ruled out.
    least_shared: float = 0.93
    mirror_margin_mm: float = 1.0
    # A thin spot is this much thinner than its surroundings and at least this wide.
    thin_share: float = 0.2
    thin_width_mm: float = 25.0
    surround_mm: float = 160.0
    # The reduced copy of the backlit photo in which light is read, px.
    copy_px: int = 1600
    # Of the pane, the hide must cover so much.
    least_hide_share: float = 0.05
    rim_step_mm: float = 6.0
    starts_kept: int = 6
    # How the readings may stay off the law: smoothly over the hide, as a share of its thickness.
    off: ThicknessSettings = field(
        default_factory=lambda: ThicknessSettings(
            nugget_shares=(0.005, 0.015, 0.03), amplitude_shares=(0.005, 0.015, 0.03, 0.06), amplitude_centre=0.02
        )
    )
    # Light near an edge is blurred: left out of the pane, px of the copy, and of the hide.
    edge_px: int = 6
    rim_mm: float = 9.0
    least_bare_px: int = 4000
    # More of the surround than this at the end of the sensor's range, and its light is not known.
    most_cut_off: float = 0.15
    field_samples: int = 20000
    # The photo without the hide must agree with the surround: robust spread of ln(ratio).
    most_empty_spread: float = 0.06
    # Of the hide's area so much must be read at least, and without a doubt.
    least_known_share: float = 0.5
    well_known_share: float = 0.9
    # What front light adds to the uncertainty of ln(light), as a share of its own share.
    front_u_share: float = 0.5
    # Blurred by the squares they are read in, spots look shallower and narrower than they are: so much is asked.
    found_share: float = 0.6
    found_width_share: float = 0.7

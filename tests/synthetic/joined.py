"""Corner-level scenes of several photos, as the joint adjustment gets them."""

from collections.abc import Collection
from dataclasses import replace

import numpy as np

from hidescan.floor.solution import Plane, solve_plane
from hidescan.join.views import View
from hidescan.settings import PlaneSettings
from tests.synthetic.corners import priors, seen_card
from tests.synthetic.views import ViewsScene


def views_of(
    scene: ViewsScene,
    rng: np.random.Generator,
    *,
    sd_px: float = 0.15,
    measured: bool = True,
    moved: int = 0,
    by_mm: tuple[float, float] = (0.0, 0.0),
    photos: Collection[int] = (),
) -> tuple[View, ...]:
    """Every photo with its own plane; card `moved` lies off its place in `photos`."""
    views = []
    for k, camera in enumerate(scene.cameras):
        seen = []
        for card in scene.cards_seen(k):
            if card.number == moved and k in photos:
                card = replace(card, centre=(card.centre[0] + by_mm[0], card.centre[1] + by_mm[1]))
            seen.append(seen_card(camera, card, sd_px, rng))
        known = priors(camera, measured=measured)
        plane = solve_plane(tuple(seen), camera.size_px, known, PlaneSettings())
        assert isinstance(plane, Plane)
        used = {place.number for place in plane.places}
        views.append(View(f"{k}.jpg", tuple(c for c in seen if c.number in used), plane, known, "phone"))
    return tuple(views)

from dataclasses import replace

import numpy as np
import pytest

from hidescan.cards.detection import Card, CardSearch
from hidescan.floor.solution import Plane, solve_plane
from hidescan.hide_map.model import TapeInput
from hidescan.mapping.floor import Floor, FloorInputs
from hidescan.mapping.photo_checks import photo_doubts
from hidescan.settings import PlaneSettings, QualitySettings
from tests.synthetic.corners import SHARP, priors, seen_card
from tests.synthetic.scenes import TrueCard, circle, look_at

MEASURED = FloorInputs(card_scale=(1.0, 1.0))
CARDS = [TrueCard(1, (-450, 300), 20), TrueCard(2, (450, -300), 140)]


def codes(
    cards: list[TrueCard] = CARDS,
    tilt: float = 20,
    inputs: FloorInputs = MEASURED,
    doubled: tuple[int, ...] = (),
    **sharp: float,
) -> dict[str, str]:
    camera = look_at((0, 0), 1600, tilt, 60)
    rng = np.random.default_rng(0)
    seen: tuple[Card, ...] = tuple(
        replace(seen_card(camera, card, 0.1, rng), sharpness=replace(SHARP, **sharp)) for card in cards
    )
    plane = solve_plane(seen, camera.size_px, priors(camera), PlaneSettings())
    assert isinstance(plane, Plane)
    middle = camera.project(np.c_[circle(300, 60), np.zeros(60)])
    ring = plane.camera.mm_from_px(middle)
    floor = Floor(CardSearch(seen, doubled, ()), plane, priors(camera), inputs)
    found = photo_doubts(floor, ring, QualitySettings())
    return {doubt.code: doubt.message for doubt in found}


def test_a_good_photo_has_no_doubts() -> None:
    assert codes() == {}


@pytest.mark.parametrize(
    ("changes", "code", "says"),
    [
        ({"cards": CARDS[:1]}, "one-card", "two at opposite corners"),
        ({"inputs": FloorInputs()}, "scale-unmeasured", "--measured"),
        ({"tilt": 55}, "tilt", "higher"),
        ({"tilt": 40}, "camera-low", "higher"),
        ({"cards": [TrueCard(1, (-1300, 0), 20), TrueCard(2, (-1300, 300), 20)]}, "card-far", "close"),
        ({"blur_px": 3.0}, "blur", "focus"),
        ({"blur_px": 3.0, "smear": 2.0, "smear_deg": 92.0}, "blur", "moved up or down"),
        ({"blur_px": 3.0, "smear": 2.0, "smear_deg": 178.0}, "blur", "moved sideways"),
        ({"white_level": 255.0}, "over-exposed", "shade"),
        ({"doubled": (4,)}, "card-dropped", "number 4"),
    ],
)
def test_each_doubt_has_its_code_and_one_line_of_advice(changes: dict[str, object], code: str, says: str) -> None:
    found = codes(**changes)  # type: ignore[arg-type]
    assert set(found) == {code}
    assert says in found[code]
    assert "\n" not in found[code]


def test_a_tape_measures_the_scale_too() -> None:
    assert codes(inputs=FloorInputs(tapes=(TapeInput(1, 2, 1000.0),))) == {}
    assert "scale-unmeasured" in codes(inputs=FloorInputs(tapes=(TapeInput(1, 7, 1000.0),)))

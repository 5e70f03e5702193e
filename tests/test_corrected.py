import pytest
from shapely.geometry import Polygon

from hidescan.corrected import carried_statuses, with_statuses
from hidescan.settings import Settings
from hidescan.usable import lost_to_marks
from tests.samples import HOLE, SQUARE, rectangle_map

S = Settings()


def test_a_rejected_hole_is_leather_again() -> None:
    """600 x 1000 mm; a hole of 20 x 20 mm with its 5 mm margin takes 20 x 20 + 4 x 20 x 5 + pi 5^2."""
    kept = with_statuses(rectangle_map(), {"hole-1": "confirmed"}, S)
    assert kept.measures.area_net.value == pytest.approx(600_000 - 400)
    assert kept.measures.area_usable.value == pytest.approx(600_000 - (400 + 400 + 78.5), abs=1.0)
    gone = with_statuses(kept, {"hole-1": "rejected"}, S)
    assert gone.measures.area_net.value == pytest.approx(600_000)
    assert gone.measures.area_usable.value == pytest.approx(600_000)
    assert len(gone.outline.hide_mm.coordinates) == 1
    assert gone.marks[0].status == "rejected"


def test_usable_and_lost_sum_to_net() -> None:
    """The identity: usable + union of the grown marks within the hide = net (Shapely)."""
    net = Polygon(SQUARE, [HOLE])
    marks = [
        ("hole", Polygon(HOLE)),
        ("stain", Polygon([(290, 500), (400, 500), (400, 600)])),
        ("wrinkle", Polygon(HOLE)),
    ]
    lost = lost_to_marks(net, marks, S.usable)
    assert net.difference(lost).area + lost.area == pytest.approx(net.area, abs=1.0)


def test_statuses_follow_a_mark_to_its_new_id() -> None:
    from dataclasses import replace

    old = with_statuses(rectangle_map(), {"hole-1": "rejected"}, S)
    new = rectangle_map()
    new = replace(new, marks=(replace(new.marks[0], id="hole-7"),))
    assert carried_statuses(old, new) == {"hole-7": "rejected"}
    assert carried_statuses(rectangle_map(), new) == {}


def test_an_unknown_id_is_an_error() -> None:
    with pytest.raises(KeyError):
        with_statuses(rectangle_map(), {"hole-9": "confirmed"}, S)

"""What must hold of every placing, whichever map it is on: by Shapely on the written outlines, money in Fractions."""

from fractions import Fraction

import numpy as np
from shapely import union_all
from shapely.geometry import Polygon

from hidescan.basics.errors import BadInput
from hidescan.costing.cost import cost, price_from
from hidescan.hide_map.model import HideMap
from hidescan.hide_map.revisions import read_map
from hidescan.pieces.file import Piece
from hidescan.placing import file as placing_file
from hidescan.placing.file import Placing, whole_sets
from hidescan.placing.layout import place_pieces
from hidescan.placing.leather import leather_of
from hidescan.placing.offcuts import with_offcuts
from hidescan.placing.search import Effort
from hidescan.settings import Settings
from hidescan.settings.uses import OffcutSettings, PlaceSettings
from tests.workshop.books import Hide

SMALL = OffcutSettings(least_area_mm2=400.0, least_width_mm=15.0, bridge_mm=8.0)


def laid(
    hide: Hide, pieces: tuple[Piece, ...], *, fill: bool, keep: Placing | None = None
) -> tuple[Placing, dict[str, HideMap]]:
    """Lay pieces on a hide as its map is now, and look at what came of it: placing, offcuts."""
    version, hide_map = hide.versions[-1], read_map(hide.path)
    leather = leather_of("it", hide_map, Settings())
    made = place_pieces(
        (leather,), (version.sha256,), pieces, PlaceSettings(), fill=fill, keep=keep, effort=Effort(rounds=0)
    )
    made, offcuts = with_offcuts(made, leather, Settings(), SMALL)
    shapes = [(p, Polygon(p.hide_mm.coordinates[0])) for p in made.placed]
    margins = {piece.id: piece.rules.margin_mm for piece in pieces}
    net = version.frame.to_map(version.net)
    for k, (p, shape) in enumerate(shapes):
        assert net.buffer(0.05).covers(shape)
        assert all(shape.distance(o) >= max(margins[p.piece], margins[q.piece]) - 0.06 for q, o in shapes[k + 1 :])
    pieces_mm = union_all([shape for _, shape in shapes])
    here = made.hides[0]
    assert abs(here.net_mm2 - net.area) < 1e-3 and 0.0 <= made.yield_share <= 1.0
    assert abs(here.used_mm2 - sum(shape.area for _, shape in shapes)) < 0.01
    assert here.offcuts_mm2 is not None and here.used_mm2 + here.offcuts_mm2 <= here.net_mm2 + 0.5
    if made.placed:
        assert abs(sum(m.measures.area_net.value for m in offcuts.values()) - here.offcuts_mm2) <= 1e-5 * here.net_mm2
        assert here.offcuts_mm2 <= net.difference(pieces_mm).area + 0.5
    if fill and keep is None and whole_sets(made.pieces):
        sets = whole_sets(made.pieces)
        assert [k.placed for k in made.pieces] == [sets * k.rules.count * (1 + k.rules.pair) for k in made.pieces]
    charged(hide, hide_map, made)
    assert placing_file.from_json(placing_file.to_json(made), "x").hides[0].hide_id == version.hide_id
    return made, offcuts


def charged(hide: Hide, hide_map: HideMap, made: Placing) -> None:
    """In Fractions: the sets and what is kept cost no more than the hide did; another map is not charged."""
    if hide_map.measures.area_usable.value < 1.0:
        return
    sums = cost((hide_map,), price_from("97.30"), placing=made, digests=(hide.versions[-1].sha256,))
    assert sums.waste_share is None or sums.waste_share >= 0
    assert sums.leather is not None
    bears = sums.sets * Fraction(sums.set_leather or 0) + (Fraction(sums.leather.credit) if made.placed else 0)
    assert bears <= Fraction("97.30") + Fraction(1, 10**18)
    for other in [v for v in hide.versions if v.sha256 != hide.versions[-1].sha256][-1:]:
        try:
            cost((hide_map,), price_from("97.30"), placing=made, digests=(other.sha256,))
            raise AssertionError("another map was charged")
        except BadInput:
            pass


def parent_origin(parent: HideMap, offcut: HideMap) -> tuple[float, float]:
    """Where an offcut's origin lies in its parent's frame: both are seen by one camera."""
    at = parent.camera_over_hide().mm_from_px(offcut.camera_over_hide().px_from_mm(np.zeros((1, 2))))[0]
    return float(at[0]), float(at[1])

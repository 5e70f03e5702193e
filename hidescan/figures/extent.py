"""What makes a hide's length, width and perimeter doubtful beside the camera: its axis, its fringe, its parts.

Length and width are the distances of the tangents square to the axis (the Feret diameters of ISO 9276-6:2008, from
memory), so a turned axis and the last few millimetres of a leg move them; the perimeter is that of a divider's walk.
What moves an area by little can move them by much: a leg that was missed is a hundredth of the area and a tenth of the
width.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points, divider_perimeter, rotation_2d
from hidescan.basics.uncertainty import Measured, root_sum_square
from hidescan.figures.measures import Measures
from hidescan.settings import MeasureSettings


def with_extent(
    measures: Measures,
    ring_mm: Points,
    along: NDArray[np.float64],
    *,
    angle_sd_deg: float | None,
    confidence: float,
    open_area_u: float,
    settings: MeasureSettings,
) -> Measures:
    """Return the measures with length, width and perimeter by their rules, and what makes them doubtful.

    Parameters
    ----------
    ring_mm
        (N, 2) the rim in plan view, floor frame.
    along
        Direction of the back line in it, (2,).
    angle_sd_deg
        Standard deviation of that direction; None where there is no back line.
    confidence
        Of the whole outline, 0 to 1.
    open_area_u
        Share of the area that may be hide or floor, as a standard uncertainty.
    """
    sides = extents(ring_mm, along)
    turned = [extents(ring_mm, rotation_2d(sign * (angle_sd_deg or 0.0)) @ along) for sign in (-1.0, 1.0)]
    axis_u = np.sqrt(np.mean([(t - sides) ** 2 for t in turned], axis=0))
    # The less sure an outline is, the likelier a part of it is wrong, and the larger that part.
    wrong = (1.0 - confidence) ** 1.5

    def doubtful(stated: Measured, value: float, part_share: float, *u: float) -> Measured:
        scaled = stated.u * value / stated.value if stated.value else stated.u
        shares = part_share * wrong, settings.open_extent_share * open_area_u
        return Measured(value, root_sum_square(scaled, *u, *(share * value for share in shares)))

    length, width = (
        doubtful(stated, float(side), settings.wrong_extent_share, float(u), settings.fringe_u_mm)
        for stated, side, u in zip((measures.length, measures.width), sides, axis_u, strict=True)
    )
    around = divider_perimeter(ring_mm, settings.perimeter_step_mm)
    ragged = settings.ragged_u_share * around
    return replace(
        measures,
        length=length,
        width=width,
        perimeter=doubtful(measures.perimeter, around, settings.wrong_perimeter_share, ragged),
    )


def extents(ring_mm: Points, along: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the length along a direction and the width across it, (2,): the distances of the tangents square to each.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    >>> extents(square, np.array([1.0, 1.0])).round(4).tolist()
    [1.4142, 1.4142]
    """
    unit = along / np.linalg.norm(along)
    return np.asarray(np.ptp(ring_mm @ np.column_stack([unit, (-unit[1], unit[0])]), axis=0))

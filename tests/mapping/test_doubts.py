"""Doubts about outline, form and size: when they are raised and what they advise."""

from dataclasses import replace

import numpy as np
import pytest

from hidescan.anatomy.back_line import BackLine, Shape
from hidescan.anatomy.form import Form
from hidescan.basics.uncertainty import Measured
from hidescan.camera.model import Camera
from hidescan.figures.measures import Measures
from hidescan.hide_map.model import Inputs
from hidescan.mapping.doubts import outline_doubts, shape_doubts, size_doubts
from hidescan.outline.finding import Outline
from hidescan.settings import OutlineSettings, QualitySettings

# One pixel of it is one mm of the floor: straight above, f = height.
ABOVE = Camera(1000.0, 0.0, 0.0, np.zeros(2), np.diag([1.0, -1.0, -1.0]), np.array([0.0, 0.0, 1000.0]))
BACK = BackLine(np.zeros(2), np.array([0.0, 900.0]), np.array([[0.0, 0.0], [0.0, 900.0]]), 1.0, 0.99, "shape")
SURE = Shape(Form("whole", 0.99), BACK)


def square(confidence: float = 0.99, doubtful: tuple[tuple[int, int], ...] = ()) -> Outline:
    """A square of 400 mm, a point every 10 mm."""
    side = np.arange(0.0, 400.0, 10.0)
    zero, full = np.zeros(40), np.full(40, 400.0)
    ring = np.vstack([np.c_[side, zero], np.c_[full, side], np.c_[400 - side, full], np.c_[zero, 400 - side]])
    return Outline(ring, np.full(160, 0.5), np.ones(160), (), confidence, doubtful, 0.0)


def test_a_sure_outline_raises_no_doubt() -> None:
    assert outline_doubts(square(), ABOVE, OutlineSettings()) == []


def test_doubtful_stretches_are_told_by_their_length_together() -> None:
    """11 and 21 points 10 mm apart, the second round the ring's end: 100 + 200 mm."""
    (doubt,) = outline_doubts(square(doubtful=((5, 16), (150, 171))), ABOVE, OutlineSettings())
    assert doubt.code == "rim-doubtful" and doubt.message.startswith("300 mm ")


def test_of_an_outline_doubtful_as_a_whole_no_stretch_is_named() -> None:
    low = OutlineSettings().whole_doubt_below - 0.01
    (doubt,) = outline_doubts(square(low, ((5, 16),)), ABOVE, OutlineSettings())
    assert doubt.code == "outline-doubtful" and "--outside" in doubt.message


@pytest.mark.parametrize(
    ("shape", "inputs", "codes"),
    [
        (SURE, Inputs(), []),
        (replace(SURE, form=Form("side", 0.5)), Inputs(), ["form-doubtful"]),
        (replace(SURE, form=Form("side", 0.5)), Inputs(form="side"), []),
        (replace(SURE, back_line=replace(BACK, end_confidence=0.5)), Inputs(), ["ends-doubtful"]),
        (replace(SURE, back_line=replace(BACK, source="none")), Inputs(), ["ends-doubtful"]),
    ],
)
def test_form_and_ends_are_doubted_where_they_are_unsure(shape: Shape, inputs: Inputs, codes: list[str]) -> None:
    assert [doubt.code for doubt in shape_doubts(inputs, shape, QualitySettings())] == codes


def measures(area_m2: float, length_mm: float) -> Measures:
    area, length = Measured(1e6 * area_m2, 1000.0), Measured(length_mm, 1.0)
    return Measures(area, area, length, length, length, ())


def test_a_size_is_doubted_only_for_the_species_given() -> None:
    """No deer has a hide of five square metres; cattle hides have that (common practice, no source)."""
    large = measures(5.0, 2400.0)
    assert size_doubts(Inputs(), SURE, large) == []
    assert size_doubts(Inputs(species="cattle"), SURE, large) == []
    assert [doubt.code for doubt in size_doubts(Inputs(species="deer"), SURE, large)] == ["size-unusual"]

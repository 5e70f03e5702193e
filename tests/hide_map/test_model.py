import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hidescan.basics.errors import BadInput
from hidescan.hide_map.json_io import as_saved, from_json, json_schema, to_json
from hidescan.hide_map.model import GaugeInput, HintInput, Inputs, TapeInput
from tests.samples import rectangle_map


def number(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high).map(lambda x: float(f"{x:.9g}") + 0.0)


NUMBER = number(-1e5, 1e5)
THICKNESS, SCALE, TAPE = number(0.01, 30.0), number(0.91, 1.09), number(1.0, 1e5)
XY = st.tuples(NUMBER, NUMBER)
INPUTS = st.builds(
    Inputs,
    thickness_mm=st.none() | THICKNESS,
    card_scale=st.none() | st.tuples(SCALE, SCALE),
    tapes=st.lists(st.builds(TapeInput, st.integers(0, 9), st.integers(0, 9), TAPE), max_size=2).map(tuple),
    neck_px=st.none() | XY,
    species=st.none() | st.text(max_size=10),
    face=st.sampled_from(["grain", "flesh", "unknown"]),
    hints=st.lists(st.builds(HintInput, XY, st.booleans()), max_size=2).map(tuple),
    gauge=st.lists(st.builds(GaugeInput, XY, THICKNESS, NUMBER, XY), max_size=2).map(tuple),
)


@settings(deadline=None)  # the first map read loads pydantic
@given(INPUTS)
def test_a_map_survives_its_file(inputs: Inputs) -> None:
    made = rectangle_map(inputs=inputs)
    assert from_json(to_json(made), "m") == made


def test_the_same_map_gives_the_same_bytes() -> None:
    assert to_json(rectangle_map()) == to_json(rectangle_map())


def test_the_fixed_fields_stand_in_the_file() -> None:
    plain = json.loads(to_json(rectangle_map()))
    assert (plain["format"], plain["version"], plain["revision"]) == ("hidescan-map", 1, 1)
    assert plain["measures"]["area_net"] == {"value": 599600.0, "expanded_uncertainty": 3000.0, "coverage_factor": 2.0}
    assert plain["outline"]["hide_mm"]["type"] == "Polygon"
    assert plain["back_line"]["source"] == "shape"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda p: p.pop("camera"), "camera"),
        (lambda p: p["measures"]["area_net"].update(value=float("nan")), "area_net"),
        (lambda p: p["form"].update(name="left half"), "form.name"),
        (lambda p: p["form"].update(confidence=float("inf")), "form.confidence"),
        (lambda p: p.update(version=2), "version 2"),
        (lambda p: p.update(format="other"), "not a map file"),
        (lambda p: p["outline"]["hide_mm"].update(coordinates=[[[0, "x"]]]), "outline"),
        (lambda p: p["outline"]["hide_mm"]["coordinates"][0].insert(2, [-300.0, 800.0]), "outline.*Self-intersection"),
        (
            lambda p: p["outline"]["hide_mm"]["coordinates"].insert(1, [[0, 2e3], [9, 2e3], [9, 3e3], [0, 2e3]]),
            "outside",
        ),
        (lambda p: p["outline"]["hide_mm"].update(coordinates=[]), "outline.hide_mm is no ring"),
        (lambda p: p["marks"][0]["hide_mm"].update(coordinates=[[[0, 0], [9, 9], [0, 0]]]), "hole-1"),
    ],
)
def test_a_map_changed_by_hand_gets_one_clear_line(change: object, says: str) -> None:
    plain = json.loads(to_json(rectangle_map()))
    change(plain)  # type: ignore[operator]
    with pytest.raises(BadInput, match=says) as caught:
        from_json(json.dumps(plain).encode(), "m.hide.json")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("data", [b"", b"{", b"\xff\xfe", b"[]", b"[" * 100_000])
def test_what_is_no_json_is_refused(data: bytes) -> None:
    with pytest.raises(BadInput, match="not a map"):
        from_json(data, "m")


def test_nan_is_never_written() -> None:
    bad = rectangle_map()
    bad = replace(bad, camera=replace(bad.camera, focal_px=float("nan")))
    with pytest.raises(ValueError, match="JSON"):
        to_json(bad)


def test_the_schema_says_what_the_file_holds() -> None:
    schema = json_schema()
    assert set(schema["required"]) >= {"photo", "outline", "measures", "marks"}
    assert schema["properties"]["format"]["const"] == "hidescan-map"


@pytest.mark.parametrize("text", [b"1e999", b"-1e999"])
def test_numbers_beyond_a_floats_range_are_refused(text: bytes) -> None:
    data = to_json(rectangle_map()).replace(b'"confidence":0.9', b'"confidence":' + text, 1)
    assert text in data
    with pytest.raises(BadInput, match="confidence"):
        from_json(data, "a.hide.json")


@given(st.lists(st.tuples(*2 * (st.floats(-1e12, 1e12),)), min_size=9, max_size=30))
def test_a_ring_is_rounded_as_each_number_would_be(line: list[tuple[float, float]]) -> None:
    printed = [[float(f"{v:.9g}") for v in pair] for pair in line]
    # a number on the edge between two decimals may go to either
    assert np.allclose(as_saved(tuple(line)), printed, rtol=1.1e-8, atol=1e-19)


def test_rounded_coordinates_print_short() -> None:
    line = tuple((x, -x / 7) for x in np.geomspace(1e-3, 1e5, 200).tolist())
    digits = [len(repr(abs(v)).replace(".", "").lstrip("0")) for pair in as_saved(line) for v in pair]
    assert max(digits) <= 10  # nine, and the nought of a whole number

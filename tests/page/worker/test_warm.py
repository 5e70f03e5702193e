"""A photo kept warm gives what a photo read anew gives, sooner."""

import numpy as np
import pytest

from hidescan.hide_map.model import HideMap, HintInput, Inputs
from hidescan.outline.networks import Memory, remembering, run_network
from hidescan.page.worker.warm import Warm, solve
from hidescan.photo.reading import read_photo
from hidescan.pipeline import Known, run
from hidescan.settings import Settings
from tests.page.served import SAMPLES

SETTINGS = Settings()


def test_the_same_map_as_from_the_start() -> None:
    photo = read_photo(SAMPLES / "goat_on_concrete.jpg", SETTINGS.photo)
    told: list[str] = []
    warm = Warm(photo, Known(), 4)
    first = solve(warm, Inputs(), SETTINGS, told.append, quick=True)
    assert told == ["finding the cards", "finding the rim", "measuring"]
    assert isinstance(first, HideMap)
    ring = np.array(first.outline.photo_px.coordinates[0])
    tapped = Inputs(hints=(HintInput(tuple(ring.mean(axis=0).tolist()), True),), species="goat")
    told.clear()
    quick = solve(warm, tapped, SETTINGS, told.append, quick=True)
    assert told == ["finding the rim", "measuring"]
    whole = solve(warm, tapped, SETTINGS, told.append, quick=False)
    again = run(photo, tapped, SETTINGS)
    assert isinstance(quick, HideMap) and isinstance(whole, HideMap) and whole == again
    assert quick.measures.area_gross.value == pytest.approx(whole.measures.area_gross.value, rel=0.002)


def test_the_fine_network_looks_again_only_where_something_changed() -> None:
    rng = np.random.default_rng(5)
    picture = rng.random((4, 320, 384)).astype(np.float32)
    whole, memory = run_network("fine", picture), Memory()
    with remembering(memory):
        assert np.array_equal(run_network("fine", picture), whole)
        other = picture.copy()
        other[3, 40:60, 50:90] = 1.0 - other[3, 40:60, 50:90]
        partly = run_network("fine", other)
    exact = run_network("fine", other)
    assert np.array_equal(partly[:, 250:, 300:], whole[:, 250:, 300:])  # far off: as it was
    assert np.abs(partly - exact)[:, 40:60, 50:90].max() < 0.02  # there: as it is

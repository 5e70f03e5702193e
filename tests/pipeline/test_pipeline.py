"""One way from photo to map: what it keeps never shows in a result, and whoever asks gets the same map."""

import ast
from collections.abc import Iterator
from dataclasses import fields, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import hidescan
from hidescan.basics.errors import BadInput, NotFound
from hidescan.cards.measured_prints import keep_card_scale
from hidescan.floor.lens_profile import LensProfile
from hidescan.floor.profile_files import keep_profile
from hidescan.hide_map.facts import HideFacts, facts_of
from hidescan.hide_map.json_io import to_json
from hidescan.hide_map.model import GaugeInput, HideMap, HintInput, Inputs, LightInput, TapeInput
from hidescan.many.one_photo import Keeping, map_one
from hidescan.mapping.calibration import Calibration, kept_calibration
from hidescan.mapping.floor import FloorInputs
from hidescan.mapping.projection import only
from hidescan.mapping.rim import OutlineInputs, RimInputs
from hidescan.outline.networks import Memory, remembering, run_network
from hidescan.photo.reading import Photo, read_photo
from hidescan.pipeline import Pipeline
from hidescan.settings import Settings
from tests.small_photo import write_small_photo

PACKAGE = Path(hidescan.__file__).parent
SETTINGS = Settings()


@pytest.fixture(autouse=True)
def own_config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small photo with two cards."""
    return write_small_photo(tmp_path_factory.mktemp("sample") / "side.jpg")


@pytest.fixture(scope="module")
def photo(sample: Path) -> Photo:
    """The same, read; its camera told apart from others."""
    return replace(read_photo(sample, SETTINGS.photo), camera="Invented Phone", focal_35mm=26.0)


@pytest.fixture(scope="module")
def first(photo: Photo) -> HideMap:
    made = Pipeline(photo).hide_map(Inputs())
    assert isinstance(made, HideMap)
    return made


def lens_for(photo: Photo, **changes: Any) -> LensProfile:
    """An invented lens that fits a photo by its EXIF, a little off what the EXIF says."""
    assert photo.focal_px is not None
    plain = LensProfile(
        camera=photo.camera, focal_mm=photo.focal_mm, focal_35mm=photo.focal_35mm,
        long_side_px=max(photo.size_px), short_side_px=min(photo.size_px), focal_px=1.004 * photo.focal_px,
        k1=0.01, k2=-0.002, covariance=np.diag([1e-5, 1e-5, 1e-5]), photos=6, rms_px=0.2, taken=None,
    )  # fmt: skip
    return replace(plain, **changes)


def changed_inputs(made: HideMap) -> dict[str, Any]:
    """A value for each field of the inputs that differs from its default, where the hide of a map lies."""
    ring = np.array(made.outline.photo_px.coordinates[0][:-1])
    middle: Any = tuple(ring.mean(axis=0).tolist())
    tail: Any = made.back_line.tail_px
    whole: Any = tuple(map(tuple, (middle + 0.9 * (ring[::20] - middle)).tolist()))
    return dict.fromkeys(facts_of(HideFacts), "invented") | {
        "thickness_mm": 2.5,
        "card_scale": (0.99, 1.0),
        "tapes": (TapeInput(made.cards[0].number, made.cards[1].number, taped_mm(made)),),
        "lens": "invented",
        "neck_px": tail,
        "arrow": made.cards[0].number,
        "hide_at_px": middle,
        "form": "bend",
        "face": "flesh",
        "species": "deer",
        "hints": (HintInput(middle, True),),
        "gauge": (GaugeInput(middle, 1.4, 0.1), GaugeInput(tuple((0.5 * (ring[0] + middle)).tolist()), 1.7, 0.1)),
        "zone_lines": (("shoulder", 0.6),),
        "rim_px": ((*whole, whole[0]),),
        "back_line_px": (made.back_line.neck_px, tail),
        "light": lit(made),
    }


def lit(made: HideMap) -> LightInput:
    """Light that comes through evenly, but for one thin spot in the middle of the hide."""
    middle = np.array(made.outline.photo_px.coordinates[0][:-1]).mean(axis=0)
    step = max(1.0, round(8.0 / made.camera.mm_per_px))
    size = np.array([made.photo.width_px, made.photo.height_px])
    columns, rows = np.ceil(size / step).astype(int) + 1
    off = np.hypot(*np.meshgrid(np.arange(columns) - middle[0] / step, np.arange(rows) - middle[1] / step))
    density = np.where(off < 3, 1500, 2500)
    return LightInput("lit.jpg", "cd" * 32, step, 0.04, False, tuple(map(tuple, density.tolist())))


def taped_mm(made: HideMap) -> float:
    """Distance of two cards' tape marks, roughly: by their middles."""
    a, b = (np.array(card.center_mm) for card in made.cards[:2])
    return float(np.linalg.norm(a - b))


def same(a: HideMap | NotFound, b: HideMap | NotFound) -> bool:
    """Whether two results are the same to the last byte."""
    if isinstance(a, NotFound) or isinstance(b, NotFound):
        return a == b
    return to_json(a) == to_json(b)


def test_any_input_changed_in_turn_gives_what_a_run_from_nothing_gives(photo: Photo, first: HideMap) -> None:
    changes = changed_inputs(first)
    assert set(changes) == {field.name for field in fields(Inputs)}, "a new input needs a value here"
    calibration = Calibration(lenses={"invented": lens_for(photo, camera="Another")})  # fits no photo by itself
    kept = Pipeline(photo, SETTINGS, calibration, most_kept=3)
    results = {"": to_json(first)}
    assert same(kept.hide_map(Inputs()), first)
    for name, value in changes.items():
        given = Inputs(**{name: value})
        again, new = kept.hide_map(given), Pipeline(photo, SETTINGS, calibration).hide_map(given)
        assert isinstance(new, HideMap), (name, new)
        assert same(again, new), name
        results[name] = to_json(new)
        assert same(kept.hide_map(Inputs()), first), f"back from {name}"
    assert len(set(results.values())) == len(results), "each change shows in the map"


def test_what_a_stage_reads_is_what_the_inputs_call_it() -> None:
    """Each stage's inputs are some of the person's, with the same defaults; a later stage has those of the one before."""
    for kind in (FloorInputs, OutlineInputs, RimInputs):
        assert only(kind, Inputs()) == kind()
    names = [{field.name for field in fields(kind)} for kind in (FloorInputs, OutlineInputs, RimInputs, Inputs)]
    assert all(before < after for before, after in pairwise(names))


def test_a_stage_is_run_again_only_where_what_it_reads_changed(photo: Photo, first: HideMap) -> None:
    done: list[str] = []
    kept, changes = Pipeline(photo, most_kept=4), changed_inputs(first)

    def stages(name: str) -> list[str]:
        done.clear()
        kept.hide_map(Inputs(**{name: changes[name]}), done.append)
        return list(done)

    floor, outline, rest = "finding the cards", "finding the rim", "measuring"
    kept.hide_map(Inputs(), done.append)
    assert done == [floor, outline, rest]
    assert stages("species") == stages("thickness_mm") == stages("rim_px") == [rest]
    assert stages("hints") == [outline, rest]
    assert stages("card_scale") == [floor, outline, rest]
    assert stages("hints") == [rest]  # an undone tap is made again at once


def test_other_settings_calibration_and_photos_are_never_mixed(photo: Photo, first: HideMap) -> None:
    kept = Pipeline(photo)
    kept.hide_map(Inputs())
    hints = replace(SETTINGS, outline=replace(SETTINGS.outline, near_mm=2 * SETTINGS.outline.near_mm))
    prints = Calibration({card.number: (0.99, 0.99) for card in first.cards})
    lens = Calibration(lenses={"invented": lens_for(photo)})
    for changes in ({"settings": hints}, {"calibration": prints}, {"calibration": lens}, {"photo": turned(photo)}):
        other = replace(kept, **changes)
        new = Pipeline(**{"photo": photo, **changes})  # type: ignore[arg-type]
        again = other.hide_map(Inputs())
        assert same(again, new.hide_map(Inputs())), changes
        assert not same(again, first), changes
        assert same(kept.hide_map(Inputs()), first)


def turned(photo: Photo) -> Photo:
    """The photo held upside down."""
    return replace(photo, rgb=np.ascontiguousarray(photo.rgb[::-1, ::-1]), sha256="1" * 64)


def test_calibrations_compare_by_what_they_say(photo: Photo) -> None:
    one, other = (Calibration({1: (1.0, 0.99)}, {"a": lens_for(photo)}) for _ in range(2))
    assert one == other
    assert one != replace(one, card_scales={1: (1.0, 1.0)})
    assert one != replace(one, lenses={"a": lens_for(photo, covariance=np.diag([1e-5, 1e-5, 2e-5]))})


def test_a_lens_that_is_not_known_is_refused(photo: Photo) -> None:
    with pytest.raises(BadInput, match=r"nobody\.toml: is not a lens profile known here"):
        Pipeline(photo).hide_map(Inputs(lens="nobody.toml"))
    small = Calibration(lenses={"small": lens_for(photo, long_side_px=10)})
    with pytest.raises(BadInput, match="Was the photo cropped"):
        Pipeline(photo, SETTINGS, small).hide_map(Inputs(lens="small"))


def test_the_quick_way_after_a_tap_is_near_and_the_whole_way_is_kept_apart(photo: Photo, first: HideMap) -> None:
    kept = Pipeline(photo, most_kept=4)
    assert same(kept.hide_map(Inputs(), quick=True), first)
    tapped = Inputs(hints=changed_inputs(first)["hints"], species="goat")
    quick, whole = (kept.hide_map(tapped, quick=quick) for quick in (True, False))
    assert isinstance(quick, HideMap) and isinstance(whole, HideMap)
    assert same(whole, Pipeline(photo).hide_map(tapped))
    assert quick.measures.area_gross.value == pytest.approx(whole.measures.area_gross.value, rel=0.002)
    assert same(kept.hide_map(tapped, quick=True), whole)  # what is known whole is not given away for less


def test_python_gives_the_map_that_the_command_gives(
    sample: Path, tmp_path: Path, photo: Photo, first: HideMap
) -> None:
    """Prints and lenses measured on this machine count for both; both are found where the command keeps them."""
    keep_card_scale(tuple(card.number for card in first.cards), (0.985, 0.99))
    _, by_command = map_one(sample, Inputs(), Keeping(tmp_path), SETTINGS)
    by_python = hidescan.map_photo(sample)
    assert isinstance(by_python, HideMap)
    assert by_python.inputs.card_scale == (0.985, 0.99)
    assert same(by_python, by_command) and not same(by_python, first)
    name = keep_profile(lens_for(photo, camera="Another")).stem
    with_lens = hidescan.map_photo(sample, lens=name)
    assert isinstance(with_lens, HideMap) and with_lens.inputs.lens == name and not same(with_lens, by_python)
    assert set(kept_calibration().lenses) == {name}


STAGES = (
    "find_cards", "find_floor", "first_look", "outline_on_floor", "find_outline", "redrawn", "with_cards_on_hide",
    "hide_in_photo", "plan_of_photo", "find_shape", "drawn_back_line", "shape_doubts", "size_doubts", "assemble",
)  # fmt: skip


def test_each_stage_is_called_from_one_place() -> None:
    """The sequence is written once; `hidescan lens` alone looks for cards without a floor."""
    callers: dict[str, list[str]] = {name: [] for name in STAGES}
    for path in sorted(PACKAGE.rglob("*.py")):
        for name in called(ast.parse(path.read_text("utf-8"))):
            if name in callers and path.relative_to(PACKAGE).as_posix() != "cli/lens.py":
                callers[name].append(path.relative_to(PACKAGE).as_posix())
    callers["first_look"].remove("outline/finding.py")  # for an outline without a photo's other stages
    assert {name: len(where) for name, where in callers.items()} == dict.fromkeys(STAGES, 1), callers


def called(tree: ast.Module) -> Iterator[str]:
    """Names called, or handed to a thread to be called."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            for name in (node.func, *node.args[:1]):
                if isinstance(name, ast.Name):
                    yield name.id


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

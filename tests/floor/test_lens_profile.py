import functools
import tempfile
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from hidescan.basics.errors import BadInput, NotFound
from hidescan.floor.lens_profile import LensProfile, make_profile
from hidescan.floor.priors import exif_ln_focal_u
from hidescan.floor.profile_files import keep_profile, read_profile, to_toml
from hidescan.mapping.calibration import kept_calibration
from hidescan.photo.reading import Photo
from hidescan.settings import LensSettings, PlaneSettings
from tests.synthetic.corners import priors, seen_card
from tests.synthetic.scenes import TrueCamera, TrueCard, board_corners, look_at

K1, K2 = -0.07, 0.02
VIEWS: list[tuple[float, float, float]] = [
    (450, 5, 0),
    (600, 40, 30),
    (600, 40, 150),
    (700, 40, 270),
    (900, 25, 80),
    (500, 30, 200),
    (550, 42, 330),
]


def photo(**changes: object) -> Photo:
    rgb = np.zeros((3000, 4000, 3), np.uint8)
    made = Photo(rgb, "a.jpg", "0" * 64, "2026:05:05 10:20:30", 26.0, "Invented Phone One", 5.4)
    return replace(made, **changes)  # type: ignore[arg-type]


def camera(view: tuple[float, float, float], offset: int) -> TrueCamera:
    distance, tilt, azimuth = view
    target = [(0, 0), (90, 60), (-90, -60), (80, -70), (-80, 70), (0, 90), (50, 0)][offset % 7]
    return look_at(target, distance, tilt, azimuth, focal_35mm=26.4, k1=K1, k2=K2)


def photos(views: list[tuple[float, float, float]], sd_px: float = 0.1) -> list[tuple[Photo, tuple[object, ...]]]:
    rng = np.random.default_rng(8)
    return [
        (photo(file=f"{i}.jpg"), (seen_card(camera(view, i), TrueCard(1, (0, 0), 10.0), sd_px, rng),))
        for i, view in enumerate(views)
    ]


def made(views: list[tuple[float, float, float]] = VIEWS) -> LensProfile | NotFound:
    return make_profile(photos(views), PlaneSettings(), LensSettings())  # type: ignore[arg-type]


@functools.cache
def profile() -> LensProfile:
    found = made()
    assert isinstance(found, LensProfile), found
    return found


def test_the_lens_comes_out_within_its_uncertainty() -> None:
    found, true = profile(), camera(VIEWS[0], 0)
    u = np.sqrt(np.diag(found.covariance))
    assert abs(np.log(found.focal_px / true.focal_px)) < 3 * u[0]
    assert abs(found.k1 - K1) < 3 * u[1]
    assert u[0] < 0.006
    assert found.rms_px == pytest.approx(0.1, rel=0.25)


def test_it_agrees_with_opencvs_calibration_of_the_same_corners() -> None:
    """Reference: cv2.calibrateCamera with the same model (k1, k2, centred principal point, square pixels)."""
    seen = photos(VIEWS)
    objects = [np.c_[board_corners(), np.zeros(12)].astype(np.float32) for _ in seen]
    pictures = [cards[0].corners_px.astype(np.float32).reshape(-1, 1, 2) for _, cards in seen]  # type: ignore[attr-defined]
    start = np.array([[3000.0, 0, 1999.5], [0, 3000.0, 1499.5], [0, 0, 1]])
    flags = (
        cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_FIX_PRINCIPAL_POINT | cv2.CALIB_FIX_ASPECT_RATIO
        | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K3
    )  # fmt: skip
    rms, matrix, distortion, _, _ = cv2.calibrateCamera(
        objects, pictures, (4000, 3000), start, np.zeros(5), flags=flags
    )
    found = profile()
    assert found.focal_px == pytest.approx(matrix[0, 0], rel=2e-3)
    assert found.k1 == pytest.approx(distortion.ravel()[0], abs=0.01)
    assert found.rms_px * np.sqrt(2) == pytest.approx(rms, rel=0.1)  # OpenCV's rms is of the distance


@pytest.mark.parametrize(
    ("views", "says"),
    [
        (VIEWS[:3], "5 photos or more"),
        ([(600, 3, a) for a in (0, 60, 120, 180, 240, 300)], "tilted"),
    ],
)
def test_photos_that_do_not_fix_the_lens_are_refused_with_the_one_to_add(
    views: list[tuple[float, float, float]], says: str
) -> None:
    refusal = made(views)
    assert isinstance(refusal, NotFound)
    assert says in str(refusal)


def test_photos_of_two_zooms_are_refused_by_name() -> None:
    seen = photos(VIEWS)
    seen[3] = (photo(file="zoomed.jpg", focal_35mm=52.0), seen[3][1])
    refusal = make_profile(seen, PlaneSettings(), LensSettings())  # type: ignore[arg-type]
    assert isinstance(refusal, NotFound)
    assert "zoomed.jpg" in str(refusal)


def test_the_file_gives_the_profile_back(tmp_path: Path) -> None:
    path = tmp_path / "lens.toml"
    path.write_bytes(to_toml(profile()))
    again = read_profile(path)
    np.testing.assert_array_equal(again.covariance, profile().covariance)
    assert replace(again, covariance=np.eye(3)) != profile()
    for name in ("camera", "focal_mm", "focal_35mm", "long_side_px", "focal_px", "k1", "k2", "photos", "taken"):
        assert getattr(again, name) == getattr(profile(), name)


@given(camera=st.text(st.characters(codec="utf-8")), taken=st.text(st.characters(codec="utf-8"), min_size=1))
@example(camera='Invented\nPhone "One" \\ \r\x00\x7f', taken="2026:05:05\n10:20:30")
@settings(max_examples=50)
def test_whatever_the_camera_calls_itself_the_profile_reads_back(camera: str, taken: str) -> None:
    """TOML 1.0.0, "String": control characters, quotes and backslashes must be escaped."""
    made = replace(profile(), camera=camera, taken=taken)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "lens.toml"
        path.write_bytes(to_toml(made))
        again = read_profile(path)
    assert (again.camera, again.taken) == (camera, taken)


@pytest.mark.parametrize("text", ["", "camera = 1", "nonsense ["])
def test_what_is_no_profile_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "lens.toml"
    path.write_text(text)
    with pytest.raises(BadInput, match="not a lens profile"):
        read_profile(path)


@pytest.mark.parametrize(
    "changes",
    [
        {"focal_35mm": 52.0},  # digital zoom shows in the 35 mm figure
        {"rgb": np.zeros((3000, 3000, 3), np.uint8)},  # cropped
        {"camera": "Invented Phone Two"},
        {"camera": ""},
    ],
)
def test_a_zoomed_or_cropped_photo_does_not_match(changes: dict[str, object]) -> None:
    assert profile().fits(photo())
    assert profile().fits(photo(rgb=np.zeros((4000, 3000, 3), np.uint8)))  # held upright
    assert not profile().fits(photo(**changes))


def test_a_kept_profile_is_found_by_exif(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert kept_calibration().lens_for(photo(), None) is None
    path = keep_profile(profile())
    found = kept_calibration().lens_for(photo(), None)
    assert found is not None
    assert found[0] == path.stem
    assert kept_calibration().lens_for(photo(focal_35mm=52.0), None) is None


def test_a_map_made_with_a_kept_profile_is_mapped_again_with_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A map's inputs hold the profile's name, which is no file beside the photo."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    name = keep_profile(profile()).stem
    again = kept_calibration(name).lens_for(photo(), name)
    assert again is not None
    assert again[0] == name
    with pytest.raises(BadInput, match="cannot be read"):
        kept_calibration("none.toml")


def test_a_profile_takes_the_place_of_exif() -> None:
    with_lens = profile().on(priors(), LensSettings())
    assert np.exp(with_lens.ln_focal.mean) == pytest.approx(profile().focal_px)
    assert with_lens.ln_focal.u < exif_ln_focal_u(26.0, PlaneSettings())
    assert with_lens.lens_covariance is not None


def test_too_few_photos_and_a_lens_that_cannot_be_told_again() -> None:
    few = made(VIEWS[:4])
    assert isinstance(few, NotFound) and few.code == "lens-few" and "4 show a card" in few.reason
    nameless = replace(profile(), camera="")
    assert not nameless.fits(photo(camera="")) and not nameless.fits(photo())
    assert not replace(profile(), focal_mm=None, focal_35mm=None).fits(photo(focal_mm=None, focal_35mm=None))

"""The adjustment over several photos against OpenCV's, on photos of printed boards that a real camera took.

    python -m tests.benchmarks.join_boards_study FOLDER

FOLDER holds subfolders of photos of one board each by one camera: `square40mm` (5 x 7 ChArUco, 40 mm), `webcam_board`
(4 x 5 ChArUco, 54 mm, tones inverted), `bent_sheet` (4 x 5 markers of 37.5 mm, 5 mm apart). Reference:
cv2.calibrateCamera (Zhang 2000) from the same corners, the same model: one focal length, two radial terms. The poses
are compared by the way between cameras, which no frame of reference enters.
"""

import argparse
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from hidescan.cards.detection import Card, Sharpness
from hidescan.floor.parameters import Prior, Priors
from hidescan.floor.solution import Plane, solve_plane
from hidescan.join.bundle import Joint, solve_joint
from hidescan.join.settings import BundleSettings
from hidescan.join.views import View
from hidescan.settings import PlaneSettings
from tests.benchmarks.recorded import recorded
from tests.synthetic.scenes import Array

FLAGS = (
    cv2.CALIB_FIX_PRINCIPAL_POINT | cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K3
    | cv2.CALIB_USE_INTRINSIC_GUESS
)  # fmt: skip
P = PlaneSettings()


@dataclass(frozen=True, eq=False)
class Seen:
    """A photo's corners: on the board (N, 2) mm and in the photo (N, 2) px, upright size."""

    name: str
    board_mm: Array
    px: Array
    size_px: tuple[int, int]


def seen_in(path: Path) -> Seen | None:
    """The board's corners by OpenCV's detectors; None where they are not found."""
    grey = np.asarray(cv2.imread(str(path), cv2.IMREAD_GRAYSCALE), np.uint8)
    kind = path.parent.name
    found = _markers(grey) if kind == "bent_sheet" else _corners(255 - grey if kind == "webcam_board" else grey, kind)
    if found is None or len(found[0]) < 6:
        return None
    return Seen(path.name, found[0][:, :2], found[1], (grey.shape[1], grey.shape[0]))


def _corners(grey: NDArray[np.uint8], kind: str) -> tuple[Array, Array] | None:
    if kind == "square40mm":
        book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250)
        board = cv2.aruco.CharucoBoard((5, 7), 40.0, 20.0, book)
    else:
        book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_1000)
        board = cv2.aruco.CharucoBoard((4, 5), 54.0, 40.5, book)
    best: tuple[Array, Array] | None = None
    for legacy in (False, True):
        board.setLegacyPattern(legacy)
        found: Any = cv2.aruco.CharucoDetector(board).detectBoard(grey)
        corners, ids = found[:2]
        many = 0 if ids is None else len(ids)
        if many > (0 if best is None else len(best[0])):
            best = _pair(np.asarray(board.getChessboardCorners())[np.ravel(ids)], corners)
    return best


def _markers(grey: NDArray[np.uint8]) -> tuple[Array, Array] | None:
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_1000)
    board = cv2.aruco.GridBoard((4, 5), 37.5, 5.0, book)
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    found: Any = cv2.aruco.ArucoDetector(book, settings).detectMarkers(grey)
    corners, ids = found[:2]
    if ids is None:
        return None
    on_board, in_photo = board.matchImagePoints(corners, ids)
    return _pair(on_board, in_photo)


def _pair(on_board: Any, in_photo: Any) -> tuple[Array, Array]:
    return np.asarray(on_board, float).reshape(-1, 3), np.asarray(in_photo, float).reshape(-1, 2)


def ours(seen: list[Seen]) -> Joint:
    """The program's adjustment with nothing known beforehand of the lens, no corner distrusted."""
    size = seen[0].size_px
    start = Priors(Prior(float(np.log(max(size))), 1.0), Prior(0, 1.0), Prior(0, 1.0), Prior(0, 1e-9), Prior(0, 1e-9), Prior(2, 1), 0.0)  # fmt: skip
    views = []
    for photo in seen:
        card = Card(1, photo.board_mm, photo.px, Sharpness(1.0, 1.0, 0.0, 200.0, 220.0))
        plane = solve_plane((card,), size, start, P)
        if not isinstance(plane, Plane):
            raise SystemExit(f"{photo.name}: {plane}")
        free = replace(start, k1=Prior(0, 10.0), k2=Prior(0, 10.0), ln_focal=Prior(start.ln_focal.mean, 10.0))
        views.append(View(photo.name, (card,), plane, free, "camera"))
    found = solve_joint(tuple(views), BundleSettings(focus_ln_focal_u=1e-9), replace(P, huber_sigma=1e3))
    if not isinstance(found, Joint):
        raise SystemExit(str(found))
    return found


def compared(seen: list[Seen], kind: str) -> str:
    """One line of the table."""
    found, size = ours(seen), seen[0].size_px
    matrix = np.array([[max(size), 0, (size[0] - 1) / 2], [0, max(size), (size[1] - 1) / 2], [0, 0, 1.0]])
    rms, matrix, distortion, turns, shifts = cv2.calibrateCamera(
        [np.c_[s.board_mm, np.zeros(len(s.px))].astype(np.float32) for s in seen],
        [s.px.astype(np.float32) for s in seen], size, matrix, np.zeros(5), flags=FLAGS,
    )  # fmt: skip
    misfit, _ = found.bundle.misfits(found.state)
    our_rms = float(np.sqrt(2 * np.mean(misfit**2)))
    places = np.array([found.camera(k).centre_mm for k in range(len(seen))])
    theirs = np.array(
        [(-cv2.Rodrigues(r)[0].T @ t).ravel() for r, t in zip(turns, shifts, strict=True)]
    )  # fmt: skip
    way, their_way = (np.linalg.norm(part[:, None] - part[None], axis=2) for part in (places, theirs))
    apart = np.abs(way - their_way).max() / their_way.max()
    camera = found.camera(0)
    return (
        f"| {kind} | {len(seen)}, {sum(len(s.px) for s in seen)} | {camera.focal_px:.2f}, {matrix[0, 0]:.2f} px |"
        f" {camera.k1:+.4f}, {distortion.ravel()[0]:+.4f} | {our_rms:.4f}, {rms:.4f} px | {100 * apart:.3f} % |"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    given = parser.parse_args()
    print("| board | photos, corners | focal length, ours and OpenCV's | k1 | rms | way between cameras differs by |")
    print("|---|---|---|---|---|---|")
    for kind in ("square40mm", "webcam_board", "bent_sheet"):
        paths = sorted(p for p in (given.folder / kind).iterdir() if p.suffix in (".jpg", ".png"))
        seen = [found for path in paths if (found := seen_in(path)) is not None]
        print(compared(seen, kind) if len(seen) > 1 else f"| {kind} | {len(seen)} of {len(paths)} found |", flush=True)


if __name__ == "__main__":
    with recorded("join-boards"):
        main()

"""Printed edges and bent sheets on photos of printed boards that a real camera took.

    python -m tests.benchmarks.print_boards_study FOLDER

FOLDER holds `square40mm` (5 x 7 ChArUco squares of 40 mm, 20 mm markers, with its camera in a .yml) and `bent_sheet`
(4 x 5 markers of 37.5 mm, 5 mm apart, on a sheet that is not flat).

square40mm: the program's own reading of edges across the sides of the squares and markers, against one camera adjusted
to them (pose, focal length and k1 from the known ones, growth of black); the rms misfit across the edges is noise, print and lens together.

bent_sheet: every second marker is left out; one lens, one sheet and a pose a photo are adjusted to the edges of the
others, the sheet as a plane and as a bent one, and the markers left out are predicted.
"""

import argparse
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from hidescan.cards.edges import EdgePoints, seen_edges
from hidescan.cards.pattern import PrintedEdges, cell_edges
from hidescan.floor import sheet
from hidescan.settings import CardSettings, PlaneSettings
from tests.benchmarks.recorded import recorded
from tests.synthetic.scenes import Array

S = CardSettings()


def board_edges(columns: int, rows: int, square_mm: float, marker_mm: float, cells: int, first: int) -> PrintedEdges:
    """Edges of a ChArUco board, as `printed_edges` lists a card's; `cells` across a marker with its border."""
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250)
    border, cell = (square_mm - marker_mm) / 2, marker_mm / cells
    table: list[tuple[float, ...]] = []
    number = first
    for row in range(rows):
        for column in range(columns):
            corner = np.array([column, row]) * square_mm
            if (row + column) % 2 == 0:
                table += cell_edges(np.ones((1, 1), dtype=bool), corner, square_mm, border)
            else:
                black = book.generateImageMarker(number, cells) == 0
                table += cell_edges(black, corner + border, cell, cell)
                number += 1
    data = np.array(table)
    return PrintedEdges(data[:, 0:2], data[:, 2:4], data[:, 4:6], data[:, 6])


def square40mm(folder: Path) -> list[str]:
    """One line of the table a photo."""
    store = cv2.FileStorage(str(next(folder.glob("*.yml"))), cv2.FILE_STORAGE_READ)
    matrix = store.getNode("camera_matrix").mat()
    distortion = store.getNode("distortion_coefficients").mat()
    board = cv2.aruco.CharucoBoard((5, 7), 40.0, 20.0, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250))
    lines = []
    for path in sorted(folder.glob("*.jpg")):
        grey = np.asarray(cv2.imread(str(path), cv2.IMREAD_GRAYSCALE), np.uint8)
        for legacy in (False, True):
            board.setLegacyPattern(legacy)
            found: Any = cv2.aruco.CharucoDetector(board).detectBoard(grey)
            if found[1] is not None and len(found[1]) > 8:
                break
        corners, ids = np.asarray(found[0], float).reshape(-1, 2), np.ravel(found[1])
        corners_mm = np.asarray(board.getChessboardCorners())[ids][:, :2].astype(float)
        printed = board_edges(5, 7, 40.0, 20.0, 8, 0)
        edges = seen_edges(grey, printed, corners_mm, corners, 0.8, S)
        if edges is None:
            lines.append(f"| {path.name} | no edges read | | |")
            continue
        misfit, growth = pose_misfit(
            edges, np.asarray(matrix, float), np.asarray(distortion, float), corners_mm, corners
        )
        kept = np.abs(misfit) < 5 * 1.4826 * np.median(np.abs(misfit))
        rms = float(np.sqrt(np.mean(misfit[kept] ** 2)))
        lines.append(f"| {path.name} | {len(misfit)}, {100 * kept.mean():.0f} % | {rms:.3f} px | {growth:+.2f} px |")
    return lines


def pose_misfit(
    edges: EdgePoints, matrix: Array, distortion: Array, corners_mm: Array, corners: Array
) -> tuple[Array, float]:
    """Misfit across the edges, px, after pose, growth of black, focal length and k1 are adjusted; and that growth."""
    from scipy.optimize import least_squares

    _, turn, shift = cv2.solvePnP(np.c_[corners_mm, np.zeros(len(corners))], corners, matrix, distortion)
    start = np.concatenate([turn.ravel(), shift.ravel(), [0.0, 0.0, 0.0, 0.0]])
    points = np.c_[edges.board_mm, np.zeros(len(edges.board_mm))]
    upright = np.abs(edges.outward[:, 0]) > 0.5

    def misfit(p: Array) -> Array:
        lens, bent = matrix.copy(), distortion.copy()
        lens[[0, 1], [0, 1]] *= np.exp(p[8])
        bent.flat[0] += p[9]
        px, _ = cv2.projectPoints(points, p[:3], p[3:6], lens, bent)
        return np.asarray(np.sum((px.reshape(-1, 2) - edges.px) * edges.across, axis=1) + np.where(upright, p[7], p[6]))

    solved = least_squares(misfit, start, loss="soft_l1", f_scale=0.1)
    return misfit(solved.x), float(solved.x[6:8].mean())


@dataclass(frozen=True)
class View:
    """A photo of the bent sheet: its edges, and which of them are adjusted to (the rest is predicted)."""

    name: str
    edges: EdgePoints
    used: NDArray[np.bool_]
    markers: int


def bent_sheet(folder: Path) -> list[str]:
    """Prediction of the markers left out, as a plane and as a bent sheet, one line a photo."""
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_1000)
    board = cv2.aruco.GridBoard((4, 5), 37.5, 5.0, book)
    printed, owner = grid_edges(board, book)
    views, corners = [], []
    for path in sorted(folder.glob("*.jpg")):
        grey = np.asarray(cv2.imread(str(path), cv2.IMREAD_GRAYSCALE), np.uint8)
        found: Any = cv2.aruco.ArucoDetector(book).detectMarkers(grey)
        on_board, in_photo = board.matchImagePoints(found[0], found[1])
        places, px = np.asarray(on_board, float).reshape(-1, 3)[:, :2], np.asarray(in_photo, float).reshape(-1, 2)
        edges = seen_edges(grey, printed, places, px, 0.8, S)
        if edges is not None:
            column, row = owner[edges.line] % 4, owner[edges.line] // 4
            views.append(View(path.name, edges, (column + row) % 2 == 0, len(np.ravel(found[1]))))
            corners.append((places, px))
    size = (640, 480)
    guess = np.array([[640.0, 0, (size[0] - 1) / 2], [0, 640.0, (size[1] - 1) / 2], [0, 0, 1.0]])
    middle = (printed.start_mm.max(axis=0) + printed.start_mm.min(axis=0)) / 2
    _, matrix, distortion, turns, shifts = cv2.calibrateCamera(
        [np.c_[(places - middle) * (1, -1), np.zeros(len(places))].astype(np.float32) for places, _ in corners],
        [px.astype(np.float32) for _, px in corners], size, guess, np.zeros(5),
        flags=cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K3,
    )  # fmt: skip
    poses = [np.r_[t.ravel(), s.ravel()] for t, s in zip(turns, shifts, strict=True)]
    start = np.concatenate([[matrix[0, 0] / 640.0], distortion.ravel()[:2], [0.0, 0.0], *poses])
    flat, bent = (predicted(views, start, np.asarray(matrix, float), middle, bend=bend) for bend in (False, True))
    lines = [
        f"| {view.name} | {view.markers}, {view.used.sum()}, {(~view.used).sum()} | {a:.2f} px | {b:.2f} px | |"
        for view, a, b in zip(views, flat[0], bent[0], strict=True)
    ]
    together = [float(np.sqrt(np.mean(np.square(rms)))) for rms in (flat[0], bent[0])]
    return [*lines, f"| all | | {together[0]:.3f} px | {together[1]:.3f} px | {bent[1]:.1f} mm |"]


def grid_edges(board: Any, book: Any) -> tuple[PrintedEdges, NDArray[np.intp]]:
    """Edges of a grid of markers, and which marker each belongs to."""
    rows: list[tuple[float, ...]] = []
    owner: list[int] = []
    for number, corners in zip(board.getIds().ravel(), board.getObjPoints(), strict=True):
        mine = cell_edges(book.generateImageMarker(int(number), 8) == 0, np.asarray(corners)[0, :2], 37.5 / 8, 37.5 / 8)
        rows += mine
        owner += [int(number)] * len(mine)
    data = np.array(rows)
    return PrintedEdges(data[:, 0:2], data[:, 2:4], data[:, 4:6], data[:, 6]), np.array(owner)


def predicted(
    views: list[View], start: Array, matrix: Array, middle: Array, *, bend: bool
) -> tuple[list[float], float]:
    """Rms misfit across the edges of the markers left out in each photo, px, and the bend's depth, mm.

    One lens, one sheet, a growth of black and a pose a photo, adjusted to the markers not left out; the surface is the
    program's own model.
    """
    from scipy.optimize import least_squares

    P = PlaneSettings()
    last = 5 + 6 * len(views)

    def off(p: Array, k: int, which: NDArray[np.bool_]) -> Array:
        edges = views[k].edges
        outward = edges.outward[which]
        own = (edges.board_mm[which] + outward * p[3:5] * np.abs(outward) - middle) * (1.0, -1.0)
        lens, surface = matrix.copy(), p[last:] if bend else np.zeros(7)
        lens[0, 0] = lens[1, 1] = p[0] * 640.0
        moved, _ = sheet.shortening(own, surface)
        xyz = np.c_[own + moved, sheet.heights(own) @ surface]
        pose = p[5 + 6 * k : 11 + 6 * k]
        px, _ = cv2.projectPoints(np.ascontiguousarray(xyz), pose[:3], pose[3:], lens, np.r_[p[1:3], 0.0, 0.0])
        return np.asarray(np.sum((px.reshape(-1, 2) - edges.px[which]) * edges.across[which], axis=1))

    def misfit(p: Array) -> Array:
        prior = sheet.prior(p[last:], P.curl_u_mm, P.one_sided_u_mm, P.doubly_bent_u_mm2)[0] if bend else np.zeros(0)
        return np.concatenate([*(off(p, k, view.used) / 0.2 for k, view in enumerate(views)), prior])

    solved = least_squares(misfit, np.r_[start, np.zeros(7 if bend else 0)], loss="soft_l1", x_scale="jac").x
    rms = []
    for k, view in enumerate(views):
        left = off(solved, k, ~view.used)
        rms.append(float(np.sqrt(np.mean(left[np.abs(left) < 1.5] ** 2))))
    own = (views[0].edges.board_mm - middle) * (1.0, -1.0)
    return rms, sheet.depth_mm(solved[last:], own) if bend else 0.0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    given = parser.parse_args()
    print("| square40mm | stretches of edge, kept | rms across edges | black grown by |")
    print("|---|---|---|---|")
    print("\n".join(square40mm(given.folder / "square40mm")))
    print("\n| bent_sheet | markers; stretches used, predicted | as a plane | as a bent sheet | bend |")
    print("|---|---|---|---|---|")
    print("\n".join(bent_sheet(given.folder / "bent_sheet")))


if __name__ == "__main__":
    with recorded("print-boards"):
        main()

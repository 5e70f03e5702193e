"""The linearised least-squares bound of a scene's area, independent of the program's own model and Jacobian.

Everything is differentiated numerically through OpenCV's projectPoints: parameters are ln f, k1, k2, rotation vector,
shift, ln scale and skew of the print, and x, y, angle of each further card.
"""

import cv2
import numpy as np

from hidescan.floor.parameters import Priors
from tests.synthetic.scenes import Array, TrueCamera, TrueCard, board_corners


def area_sd_percent(camera: TrueCamera, cards: list[TrueCard], ring_mm: Array, sd_px: float, priors: Priors) -> float:
    """Standard deviation of the area, percent, from corner noise and the priors' uncertainties."""
    turn = cv2.Rodrigues(camera.rotation)[0].ravel()
    theta = np.concatenate([[np.log(camera.focal_px), camera.k1, camera.k2], turn, camera.translation, [0.0, 0.0]])
    theta = np.concatenate([theta, *([*card.centre, np.deg2rad(card.angle_deg)] for card in cards[1:])])

    def project(t: Array, xyz: Array) -> Array:
        matrix = camera.matrix.copy()
        matrix[0, 0] = matrix[1, 1] = np.exp(t[0])
        px, _ = cv2.projectPoints(xyz, t[3:6], t[6:9], matrix, np.array([t[1], t[2], 0, 0]))
        return np.asarray(px, dtype=np.float64).reshape(-1, 2)

    def corners(t: Array) -> Array:
        scale = (np.exp(t[9]) * (1 + t[10] / 2), np.exp(t[9]) * (1 - t[10] / 2))
        seen = []
        for j, card in enumerate(cards):
            x, y, a = (*card.centre, np.deg2rad(card.angle_deg)) if j == 0 else t[11 + 3 * j - 3 : 11 + 3 * j]
            moved = TrueCard(
                card.number, (float(x), float(y)), float(np.rad2deg(a)), card.z, (float(scale[0]), float(scale[1]))
            )
            seen.append(project(t, moved.floor(board_corners())))
        return np.concatenate(seen).ravel()

    ring = np.c_[ring_mm, np.zeros(len(ring_mm))]
    ring_px = project(theta, ring)

    def area(t: Array) -> float:
        """Area of the fixed pixels' footprint: each vertex moves by minus the inverse of its own projection's change."""
        shift = project(t, ring) - ring_px
        e = 1e-3
        dx = (project(t, ring + (e, 0, 0)) - project(t, ring - (e, 0, 0))) / (2 * e)
        dy = (project(t, ring + (0, e, 0)) - project(t, ring - (0, e, 0))) / (2 * e)
        J = np.stack([dx, dy], axis=2)
        xy = ring_mm - np.linalg.solve(J, shift[..., None])[..., 0]
        x, y = xy.T
        return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))

    step = np.full(len(theta), 1e-6)
    step[6:9] = 1e-3
    step[11:] = np.tile([1e-3, 1e-3, 1e-6], len(cards) - 1)
    J_corners, J_area = [], []
    for p, h in enumerate(step):
        d = np.zeros(len(theta))
        d[p] = h
        J_corners.append((corners(theta + d) - corners(theta - d)) / (2 * h))
        J_area.append((area(theta + d) - area(theta - d)) / (2 * h))
    J = np.array(J_corners).T
    information = J.T @ J / sd_px**2
    for p, prior in ((0, priors.ln_focal), (1, priors.k1), (2, priors.k2), (9, priors.ln_scale), (10, priors.skew)):
        information[p, p] += prior.u**-2
    g = np.array(J_area)
    return float(100 * np.sqrt(g @ np.linalg.solve(information, g)) / area(theta))

"""Where the points of a card lie on the floor, and how they move with the adjustment's parameters."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points
from hidescan.cards.pattern import PATTERN_MM
from hidescan.floor import sheet
from hidescan.floor.parameters import FIRST_PLACE, OF_BEND, OF_INK, ON_HIDE, Array, Layout, State


@dataclass(frozen=True, slots=True)
class Lying:
    """How card `j` lies: on the floor or on the hide, `mount_mm` above it."""

    layout: Layout
    j: int
    mount_mm: float
    on_hide: bool

    def on_floor(self, state: State, own_mm: Points, outward: Points) -> tuple[Array, Array]:
        """Points of the card in the floor frame, (N, 3) mm, and derivatives by the parameters of `columns`, (N, 3, C).

        Parameters
        ----------
        own_mm
            (N, 2) as drawn, in the card's own frame.
        outward
            (N, 2) the way that grown ink moves them; of a card without a sheet not looked at.
        """
        parameters = state.parameters
        scale_column = self.layout.scale_column(self.j)
        scale, skew = float(np.exp(parameters[scale_column])), float(parameters[scale_column + 1])
        stretch = scale * np.array([1 + skew / 2, 1 - skew / 2])
        x, y, angle = state.place(self.j)
        c, s = np.cos(angle), np.sin(angle)
        turn = np.array([[c, -s], [s, c]])
        columns = self.columns()
        J = np.zeros((len(own_mm), 3, len(columns)))
        height = np.full(len(own_mm), self.mount_mm)
        own, moved = own_mm, np.zeros((1, 2))
        if (of_sheet := self.layout.sheet(self.j)).stop:
            bend, ink = np.split(parameters[of_sheet], [OF_BEND])
            grown = outward * (np.abs(outward) > 0.5)
            own = own_mm + grown * ink
            moved, J_moved = sheet.shortening(own_mm, bend)
            rises = sheet.heights(own_mm)
            rest, J_rest = sheet.rest(bend)
            height = height + rises @ bend + rest
            J[:, :2, -OF_BEND - OF_INK : -OF_INK] = np.matmul(turn, J_moved)
            J[:, 2, -OF_BEND - OF_INK : -OF_INK] = rises + J_rest
            J[:, :2, -OF_INK:] = (turn * stretch)[None] * grown[:, None, :]
        local = (own * stretch + moved) @ turn.T
        J[:, :2, 0] = (own * stretch) @ turn.T
        J[:, :2, 1] = (own * scale * (0.5, -0.5)) @ turn.T
        if self.on_hide:
            height = height + parameters[ON_HIDE]
            J[:, 2, 2] = 1.0
        if self.j:
            J[:, 0, 3] = J[:, 1, 4] = 1.0
            J[:, :2, 5] = local[:, ::-1] * (-1.0, 1.0)
        return np.column_stack([local + (x, y), height]), J

    def columns(self) -> NDArray[np.intp]:
        """Columns of the parameters that the card's points follow: print, height, place, sheet."""
        scale = self.layout.scale_column(self.j)
        place = [FIRST_PLACE + 3 * self.j - 3 + i for i in range(3)] if self.j else []
        of_sheet = self.layout.sheet(self.j)
        return np.array([scale, scale + 1, ON_HIDE, *place, *range(of_sheet.start, of_sheet.stop)])


def from_board(board_mm: Points) -> Points:
    """Board frame (x right, y down, origin top left) to the card's own floor frame (y up, origin at its centre)."""
    return (board_mm - np.array(PATTERN_MM) / 2) * (1.0, -1.0)


def rigid_fit(source: Points, target: Points) -> Array:
    """Shift and angle (x, y, radians) that best carry `source` onto `target` (Kabsch 1976, in the plane)."""
    a, b = source - source.mean(axis=0), target - target.mean(axis=0)
    angle = float(np.arctan2(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]), np.sum(a * b)))
    c, s = np.cos(angle), np.sin(angle)
    shift = target.mean(axis=0) - np.array([[c, -s], [s, c]]) @ source.mean(axis=0)
    return np.array([shift[0], shift[1], angle])

"""The rim where a person drew it: each stretch drawn replaces the rim between its two ends."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points, signed_area
from hidescan.outline.finding import Outline, stretches
from hidescan.settings import RedrawnSettings


def redrawn(seen: Outline | NotFound, drawn_px: tuple[Points, ...], settings: RedrawnSettings) -> Outline | NotFound:
    """The outline with what a person drew of it.

    Parameters
    ----------
    seen
        The outline found, or why there is none: a whole rim drawn by hand stands in for it.
    drawn_px
        Stretches (M, 2) in photo px, in the order drawn, each made on the rim that the ones before it gave. One that
        ends where it began is the whole rim.

    Returns
    -------
    The outline with the stretches in place: sure where drawn, as sure as a hand is. Without any it is `seen`.
    """
    whole = [k for k, line in enumerate(drawn_px) if _is_ring(line)]
    if whole:
        seen, drawn_px = _whole(drawn_px[whole[-1]], seen, settings), drawn_px[whole[-1] + 1 :]
    for line in drawn_px:
        if isinstance(seen, Outline):
            seen = _with_stretch(seen, line, settings)
    return seen


def _whole(line: Points, seen: Outline | NotFound, settings: RedrawnSettings) -> Outline:
    ring = _dense(line, settings.step_px)[:-1]
    if signed_area(ring) < 0:
        ring = ring[::-1]
    holes, faults = (seen.holes, seen.faults) if isinstance(seen, Outline) else ((), ())
    return Outline(ring, np.full(len(ring), settings.hand_u_px), np.ones(len(ring)), holes, 1.0, (), 0.0, faults)


def _with_stretch(seen: Outline, line: Points, settings: RedrawnSettings) -> Outline:
    kept, new = _kept_and_new(seen.ring_px, _dense(line, settings.step_px))
    doubtful = np.zeros(len(seen.ring_px), dtype=bool)
    for start, stop in seen.doubtful:
        doubtful[np.arange(start, stop) % len(doubtful)] = True
    return replace(
        seen,
        ring_px=np.vstack([seen.ring_px[kept], new]),
        u_px=np.r_[seen.u_px[kept], np.full(len(new), settings.hand_u_px)],
        confidence=np.r_[seen.confidence[kept], np.ones(len(new))],
        doubtful=stretches(np.r_[doubtful[kept], np.zeros(len(new), dtype=bool)], 2),
    )


def _is_ring(line: Points) -> bool:
    return len(line) > 3 and bool((line[0] == line[-1]).all())


def _kept_and_new(ring: Points, line: Points) -> tuple[NDArray[np.intp], Points]:
    """Indices of the ring that stay, in order, and the line turned so that it follows them.

    Of the two ways round between the line's ends, the one that runs nearer to the line is replaced.
    """
    n = len(ring)
    first, last = (int(np.argmin(np.sum((ring - end) ** 2, axis=1))) for end in (line[0], line[-1]))
    forward = np.arange(first, first + (last - first) % n + 1) % n
    backward = np.arange(last, last + (first - last) % n + 1) % n
    if _away(ring[forward], line) <= _away(ring[backward], line):
        return backward[1:-1] if first != last else np.arange(first + 1, first + n) % n, line
    return forward[1:-1], line[::-1]


def _away(arc: Points, line: Points) -> float:
    """Mean distance from an arc's points to the nearest of a line's, on a few dozen of each."""
    a, b = (points[:: max(1, len(points) // 64)] for points in (arc, line))
    return float(np.sqrt(np.sum((a[:, None] - b[None]) ** 2, axis=2)).min(axis=1).mean())


def _dense(line: Points, step_px: float) -> Points:
    """The line with further points on it, none more than a step from the next; its own points stay."""
    pieces = [line[:1]]
    for start, end in pairwise(line):
        count = max(1, int(np.ceil(np.linalg.norm(end - start) / step_px)))
        pieces.append(start + (end - start) * np.arange(1, count + 1)[:, None] / count)
    return np.vstack(pieces)

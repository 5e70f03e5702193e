"""A plan of what several photos show: frames, cards, the rim seen and the rim that is missing, as SVG."""

from itertools import pairwise
from xml.etree import ElementTree

import numpy as np

from hidescan.basics.geometry import Points, rotation_2d
from hidescan.join.coverage import Coverage
from hidescan.mapping.floor import papers_mm

_AROUND_MM = 60.0
_LONG_SIDE = 600.0


def cover_picture(seen: Coverage) -> str:
    """The plan with the first photo's top at its top; what is missing is drawn thick and named in words too."""
    up = _up_deg(seen)
    turn = rotation_2d(90.0 - up)

    def laid(points: Points) -> Points:
        return np.asarray(points @ turn.T * (1.0, -1.0))

    ring = laid(seen.cover.ring_mm)
    papers = [laid(paper) for paper in papers_mm(seen.joint.places)]
    reach = np.vstack([ring, *papers])
    low, high = reach.min(axis=0) - _AROUND_MM, reach.max(axis=0) + _AROUND_MM
    scale = _LONG_SIDE / float((high - low).max())
    width, height = (high - low) * scale
    root = ElementTree.Element(
        "svg", xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {width:.0f} {height:.0f}",
        width=f"{width:.0f}", height=f"{height:.0f}",
    )  # fmt: skip

    def line(points: Points, **look: str) -> None:
        at = " ".join(f"{x:.1f},{y:.1f}" for x, y in (points - low) * scale)
        ElementTree.SubElement(root, "polyline", {"points": at, "fill": "none"} | {
            name.replace("_", "-"): value for name, value in look.items()
        })  # fmt: skip

    ElementTree.SubElement(root, "rect", width="100%", height="100%", fill="#f4f0e6")
    line(np.vstack([ring, ring[:1]]), fill="#d9b48a", stroke="#5a3d22", stroke_width="2")
    for k, camera in enumerate(seen.cameras):
        w, h = seen.joint.sizes_px[k]
        edge = np.linspace(0.0, 1.0, 9)[:-1, None]
        corners = np.array([[0.0, 0], [w, 0], [w, h], [0, h], [0, 0]])
        frame = np.vstack([a + edge * (b - a) for a, b in pairwise(corners)])
        floor = camera.mm_from_px(frame)
        if np.isfinite(floor).all():
            line(laid(np.vstack([floor, floor[:1]])), stroke="#3b6ea5", stroke_width="1.5", stroke_dasharray="6 5")
    for place, paper in zip(seen.joint.places, papers, strict=True):
        line(np.vstack([paper, paper[:1]]), fill="#ffffff", stroke="#222222", stroke_width="1")
        x, y = (paper.mean(axis=0) - low) * scale
        text = ElementTree.SubElement(
            root, "text", {"x": f"{x:.1f}", "y": f"{y + 5:.1f}", "font-size": "15", "text-anchor": "middle"}
        )
        text.text = str(place.number)
    for run in seen.missing:
        line(laid(run), stroke="#c4161c", stroke_width="9", stroke_linecap="round")
    return ElementTree.tostring(root, encoding="unicode")


def _up_deg(seen: Coverage) -> float:
    """Where the first photo's upward direction points on the floor."""
    w, h = seen.joint.sizes_px[0]
    a, b = seen.cameras[0].mm_from_px(np.array([[w / 2, 0.6 * h], [w / 2, 0.4 * h]]))
    return float(np.rad2deg(np.arctan2(*(b - a)[::-1])))

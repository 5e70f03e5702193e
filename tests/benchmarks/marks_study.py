"""Holes, cuts, brands, stains and scratches over a folder of photos with truth.

``python -m tests.benchmarks.marks_study FOLDER``

Photos and truth as for outline_study.py; marks as `defects` (kind, polygon_mm) or, with holes beside them, as `marks`
(and whether each shows). A mark found is right when it overlaps a true one of its kind by 0.3 of the smaller of the two,
the true one grown by 3 mm; each counts once. Marks whose longer side is under the kind's least size count neither way,
nor does what hardly shows.
"""

import json
import sys
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
from shapely.geometry import Polygon

from hidescan.outline.defects import Fault
from hidescan.outline.finding import Outline, find_outline
from hidescan.outline.holes import Hole
from hidescan.settings import OutlineSettings
from tests.benchmarks.outline_study import read_truth
from tests.benchmarks.recorded import recorded

LEAST_MM = {"hole": 8.0, "cut": 20.0, "brand": 0.0, "stain": 40.0, "scratch": 30.0}
GROWN_MM = 3.0


def longer_side(shape: Polygon) -> float:
    box = np.array(shape.minimum_rotated_rectangle.exterior.coords)
    return float(np.hypot(*np.diff(box[:3], axis=0).T).max())


def main(folder: Path) -> None:
    true, hit = dict.fromkeys(LEAST_MM, 0), dict.fromkeys(LEAST_MM, 0)
    said: dict[str, list[tuple[float, bool]]] = {kind: [] for kind in LEAST_MM}
    photos = 0
    for path in sorted(folder.glob("*.truth.json")):
        record = json.loads(path.read_text())
        if record.get("expect", "ok") != "ok":
            continue
        photo = np.asarray(cv2.imread(str(path).replace(".truth.json", ".jpg")), dtype=np.uint8)
        rgb = cv2.cvtColor(photo, cv2.COLOR_BGR2RGB)
        truth = read_truth(path)
        outline = find_outline(np.asarray(rgb, dtype=np.uint8), truth.camera, truth.cards_px, OutlineSettings())
        if not isinstance(outline, Outline):
            continue
        photos += 1
        seen: list[Hole | Fault] = [*outline.holes, *outline.faults]
        marks = [(d["kind"], Polygon(d["polygon_mm"]).buffer(0), True) for d in record.get("defects", ())]
        marks += [(m["kind"], Polygon(m["polygon_mm"]).buffer(0), m["shows"]) for m in record.get("marks", ())]
        if "marks" in record:
            marks += [("hole", Polygon(ring).buffer(0), True) for ring in record["holes_mm"]]
        for kind, least_mm in LEAST_MM.items():
            of_kind = [(grown(m), longer_side(m) >= least_mm and shows) for k, m, shows in marks if k == kind]
            found = [
                (Polygon(truth.camera.mm_from_px(f.ring_px)).buffer(0), f.confidence)
                for f in seen
                if kind_of(f) == kind
            ]
            taken: set[int] = set()
            for shape, confidence in sorted(found, key=lambda pair: -pair[1]):
                over = [shape.intersection(m).area / max(min(shape.area, m.area), 1e-9) for m, _ in of_kind]
                over = [0.0 if i in taken else share for i, share in enumerate(over)]
                best = int(np.argmax(over)) if over else -1
                if best >= 0 and over[best] >= 0.3:
                    taken.add(best)
                    if of_kind[best][1]:
                        said[kind].append((confidence, True))
                elif longer_side(shape) >= least_mm:
                    said[kind].append((confidence, False))
            true[kind] += sum(counts for _, counts in of_kind)
            hit[kind] += sum(of_kind[i][1] for i in taken)
    print(f"{photos} photos")
    for kind in LEAST_MM:
        right = sum(ok for _, ok in said[kind])
        print(
            f"{kind} from {LEAST_MM[kind]:.0f} mm: recall {hit[kind] / max(true[kind], 1):.2f} of {true[kind]}, precision {right / max(len(said[kind]), 1):.2f} of {len(said[kind])}, false a hide {(len(said[kind]) - right) / max(photos, 1):.2f}"
        )
    every = np.array([pair for pairs in said.values() for pair in pairs], dtype=float).reshape(-1, 2)
    for a, b in pairwise(np.quantile(every[:, 0], np.linspace(0, 1, 6)) if len(every) else ()):
        inside = every[(every[:, 0] >= a) & (every[:, 0] <= b)]
        print(f"  said {inside[:, 0].mean():.2f}, true {inside[:, 1].mean():.2f} ({len(inside)})")


def grown(shape: Polygon) -> Polygon:
    return shape.buffer(GROWN_MM)


def kind_of(found: Hole | Fault) -> str:
    return found.kind if isinstance(found, Fault) else "hole"


if __name__ == "__main__":
    with recorded("marks"):
        main(Path(sys.argv[1]))

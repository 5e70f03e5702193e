"""Several photos of one hide: what they show so far, which view is missing, and the map from all of them.

The further photos are works of their own kind below the first one's folder, in `more/`.
"""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from hidescan.basics.errors import BadInput, NotFound
from hidescan.hide_map.json_io import to_json
from hidescan.hide_map.model import HideMap, Inputs
from hidescan.join.coverage import Coverage, unseen
from hidescan.join.joined import Look, coverage_of, look_at, map_joined, of_any_photo
from hidescan.join.settings import JoinSettings
from hidescan.mapping.calibration import kept_calibration
from hidescan.mapping.projection import only
from hidescan.mapping.rim import RimInputs
from hidescan.page import works
from hidescan.page.worker.bench import Bench, Files, Subject
from hidescan.page.worker.cover_picture import cover_picture
from hidescan.photo.reading import decode_photo
from hidescan.pipeline import Pipeline

Say = Callable[[str], None]


def shown(bench: Bench, subject: Subject, say: Say) -> bytes:
    """What the photos show so far, as the page shows it."""
    names, looks, refused = _looks(bench, subject, say)
    plain: dict[str, Any] = {
        "photos": [{"id": name, "file": file} for name, file in names],
        "refused": refused,
        "missing": [],
        "picture": None,
        "figures": None,
    }
    if not refused:
        say("joining")
        seen = coverage_of(looks, bench.settings, JoinSettings())
        plain |= _so_far(bench, subject, looks, seen)
    return json.dumps(plain, separators=(",", ":"), allow_nan=False).encode()


def exported(bench: Bench, subject: Subject, say: Say) -> Files:
    """The joined map's file."""
    _, looks, refused = _looks(bench, subject, say)
    found = NotFound("unread", refused[0], "") if refused else _joined(bench, subject, looks)
    if isinstance(found, NotFound):
        raise BadInput(str(found))
    return [(f"{Path(subject.file).stem}.hide.json", to_json(found))]


def _so_far(bench: Bench, subject: Subject, looks: tuple[Look, ...], seen: Coverage | NotFound) -> dict[str, Any]:
    if isinstance(seen, NotFound):
        return {"refused": [str(seen)]}
    first = looks[0].info.file
    missing = [
        f"{_length(part.length_mm)} of the edge at the {part.side} of {first} are in no photo yet."
        f" Take one of that side, with card {part.card} in it."
        for part in unseen(seen)
    ]
    told: dict[str, Any] = {"missing": missing, "picture": cover_picture(seen)}
    if missing or len(looks) < 2:
        return told
    found = _joined(bench, subject, looks)
    if isinstance(found, NotFound):
        return {**told, "refused": [str(found)]}
    net = found.measures.area_net
    told["figures"] = {"value": net.value, "u": net.expanded_uncertainty}
    told["warnings"] = [warning.message for warning in found.warnings]
    return told


def _joined(bench: Bench, subject: Subject, looks: tuple[Look, ...]) -> HideMap | NotFound:
    if len(looks) < 2:
        return NotFound("too-few", "There is only one photo.", "Add another one of the same hide.")
    return map_joined(looks, _inputs(subject), bench.settings, JoinSettings())


def _length(mm: float) -> str:
    return f"{mm / 10:.0f} cm"


def _looks(
    bench: Bench, subject: Subject, say: Say
) -> tuple[list[tuple[str | None, str]], tuple[Look, ...], list[str]]:
    """Ids (None: the first) and names of all photos, what each gave, and why one gave nothing."""
    more = subject.folder / "more"
    later = sorted(works.works(more), key=lambda name: (more / name).stat().st_ctime)
    names = [(None, subject.file), *((name, works.about(more / name).file) for name in later)]
    inputs = _inputs(subject)
    looks, refused = list[Look](), list[str]()
    for name, file in names:
        folder = subject.folder if name is None else more / name
        look = _look(bench, folder, file, inputs, say)
        if isinstance(look, NotFound):
            refused.append(f"{file}: {look}")
        else:
            looks.append(look)
    return names, tuple(looks), refused


def _look(bench: Bench, folder: Path, file: str, inputs: Inputs, say: Say) -> Look | NotFound:
    """What a photo gives, from what is held or from disk."""
    looked_at_with = only(RimInputs, inputs), kept_calibration()
    held = bench.looks.pop(folder, None)
    if held is None or held[0] != looked_at_with:
        say(f"looking at {file}")
        photo = decode_photo((folder / "photo").read_bytes(), file, bench.settings.photo)
        look = look_at(Pipeline(photo, bench.settings, looked_at_with[1]), inputs)
        if isinstance(look, NotFound):
            return look
        while len(bench.looks) >= bench.page.most_photos:
            del bench.looks[next(iter(bench.looks))]
        held = looked_at_with, replace(look, small=np.zeros((1, 1, 3), np.uint8))
    bench.looks[folder] = held  # now the last one used
    return held[1]


def _inputs(subject: Subject) -> Inputs:
    """What was given of the hide itself; a lens is that of one photo."""
    return replace(of_any_photo(subject.given.inputs), lens=None)

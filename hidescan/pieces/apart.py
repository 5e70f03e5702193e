"""A drawing read in a process of its own, which is ended when it takes too long or too much memory.

What a file made to break a reader does, it does there: `python -m hidescan.pieces.apart NAME UNIT SETTINGS` reads the
drawing from standard input and writes its shapes, or one line of what is wrong with it, to standard output.
"""

import json
import os
import subprocess
import sys
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path

import numpy as np

from hidescan.basics.errors import BadInput
from hidescan.pieces.drawing import Drawing, read_drawing
from hidescan.settings.uses import PieceSettings

_PACKAGES = Path(__file__).parents[2]
_REFUSED = 2


def drawing_apart(data: bytes, name: str, unit: str | None, settings: PieceSettings) -> Drawing:
    """As `read_drawing`, within a time and a memory.

    Raises
    ------
    BadInput
        As there, or it takes more time or memory than a drawing of pieces does.
    """
    given = json.dumps({"name": name, "unit": unit, "settings": asdict(settings)})
    environment = {
        **os.environ,
        "PYTHONPATH": os.pathsep.join(filter(None, (str(_PACKAGES), os.environ.get("PYTHONPATH")))),
        "OMP_NUM_THREADS": "1",
        "OPENBLAS_NUM_THREADS": "1",
    }
    # -P: a file of the folder that one works in is no module of ours.
    command = [sys.executable, "-P", "-m", __name__, given]
    try:
        done = subprocess.run(
            command, input=data, capture_output=True, timeout=settings.most_read_s, env=environment, check=False
        )
    except subprocess.TimeoutExpired as error:
        raise BadInput(
            f"{name}: was given up after {settings.most_read_s:.0f} s. Save the pieces' outlines alone."
        ) from error
    if done.returncode == _REFUSED:
        raise BadInput(done.stdout.decode(errors="replace"))
    if done.returncode:
        raise BadInput(f"{name}: takes more memory than a drawing of pieces does. Save the outlines alone.")
    return _unpacked(done.stdout)


def main() -> None:
    """Read a drawing from standard input."""
    plain = json.loads(sys.argv[1])
    settings = PieceSettings(**plain["settings"])
    with suppress(ImportError):  # Windows has no such limit
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (settings.read_memory_bytes, settings.read_memory_bytes))
    try:
        found = read_drawing(sys.stdin.buffer.read(), plain["name"], plain["unit"], settings)
    except BadInput as error:
        sys.stdout.buffer.write(str(error).encode())
        sys.exit(_REFUSED)
    sys.stdout.buffer.write(_packed(found))


def _packed(drawing: Drawing) -> bytes:
    """A drawing as one line of JSON, then all coordinates as they are in memory."""
    shapes = [*drawing.rings.values(), *drawing.lines.values()]
    counts = [[(name, len(points)) for name, points in part.items()] for part in (drawing.rings, drawing.lines)]
    return json.dumps([*counts, drawing.problems]).encode() + b"\n" + b"".join(points.tobytes() for points in shapes)


def _unpacked(data: bytes) -> Drawing:
    head, _, body = data.partition(b"\n")
    rings, lines, problems = json.loads(head)
    points = np.frombuffer(body, dtype=np.float64).reshape(-1, 2)
    ends = np.cumsum([count for _, count in (*rings, *lines)])
    shapes = [part.copy() for part in np.split(points, ends[:-1])] if len(ends) else []
    return Drawing(
        {name: shape for (name, _), shape in zip(rings, shapes, strict=False)},
        {name: shape for (name, _), shape in zip(lines, shapes[len(rings) :], strict=True)},
        problems,
    )


if __name__ == "__main__":
    main()

"""Where the time goes: python -m tests.benchmarks.speed_study PHOTO [PHOTO ...] [--runs N] [--stages]

For each photo, beside Pillow's decode of the same file in the same run (the least of what was timed before and after
each run):

- the stages of `hidescan map` in a warm process, and `map_photo` with its decode; some stages run side by side, so
  that the time between them can come out negative;
- the whole process with start-up, writing map and pictures, and its peak memory;
- the same photo enlarged to four times its pixels, as a phone's 48 megapixels are to its 12.
"""

import argparse
import importlib
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable
from contextlib import ExitStack
from functools import wraps
from pathlib import Path
from typing import Any
from unittest.mock import patch

from PIL import Image

from hidescan.api import map_photo
from hidescan.hide_map.model import Inputs
from hidescan.many.one_photo import Keeping, map_one
from hidescan.settings import Settings
from tests.benchmarks.recorded import recorded

# Stage: where its work is called from, as (module, name there). Each is called by the pipeline and by nothing timed.
STAGES = {
    "decode": [("many.one_photo", "read_photo")],
    "cards": [("mapping.floor", "find_cards")],
    "plane": [("mapping.floor", "solve_plane")],
    "region": [("pipeline", "first_look"), ("outline.finding", "find_region")],
    "rim": [
        ("outline.finding", "look_closer"),
        ("outline.finding", "trace"),
        ("outline.finding", "snapped"),
        ("outline.finding", "rim_measures"),
    ],
    "back line": [("pipeline", "find_shape")],
    "marks": [("outline.finding", "find_holes"), ("outline.finding", "find_faults"), ("mapping.rim", "found_marks")],
    "measure": [("mapping.plan", "measure"), ("pipeline", "assemble")],
    "draw": [("many.one_photo", "pictures_of")],
    "write": [("many.one_photo", "keep")],
}
ENLARGE = """
import sys
from PIL import Image
with Image.open(sys.argv[1]) as image:
    size = (2 * image.width, 2 * image.height)
    image.resize(size, Image.Resampling.BICUBIC).save(sys.argv[2], quality=92, exif=image.getexif())
"""
DECODE = """
import sys, time
from PIL import Image
start = time.perf_counter()
with Image.open(sys.argv[1]) as image:
    image.load()
print(time.perf_counter() - start)
"""
KNOWN: dict[str, Any] = {"thickness_mm": 1.5, "card_scale": (1.0, 1.0)}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("photos", type=Path, nargs="+")
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--stages", action="store_true", help="Only the stages, in this process.")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_CONFIG_HOME"] = folder
        for photo in arguments.photos:
            print(f"\n{photo.name}")
            if not arguments.stages:
                whole(photo, Path(folder), arguments.runs)
            stages(photo, Path(folder), arguments.runs)


def stages(photo: Path, out: Path, runs: int) -> None:
    """The stages in this process, warm."""
    given, keeping = Inputs(**KNOWN), Keeping(out, fresh=True, force=True)
    settings = Settings()
    map_one(photo, given, keeping, settings)
    spent: dict[str, list[float]] = defaultdict(list)
    decodes = []
    for _ in range(runs):
        decodes.append(timed(lambda: decode(photo)))
        spent["map_photo"].append(timed(lambda: map_photo(photo, **KNOWN)))
        now: dict[str, float] = defaultdict(float)
        with ExitStack() as stack:
            for stage, places in STAGES.items():
                for module_name, name in places:
                    module = importlib.import_module(f"hidescan.{module_name}")
                    stack.enter_context(patch.object(module, name, added(now, stage, getattr(module, name))))
            spent["all"].append(timed(lambda: map_one(photo, given, keeping, settings)))
        for stage in STAGES:
            spent[stage].append(now[stage])
        spent["between"].append(spent["all"][-1] - sum(now.values()))
    unit = min(decodes)
    print(f"| stage | least ms | median ms | x decode ({1000 * unit:.0f} ms) |\n|---|---|---|---|")
    for stage, seconds in spent.items():
        least, median = 1000 * min(seconds), 1000 * statistics.median(seconds)
        print(f"| {stage} | {least:.0f} | {median:.0f} | {min(seconds) / unit:.2f} |")


def whole(photo: Path, folder: Path, runs: int) -> None:
    """Whole processes, each between two decodes."""
    large = folder / f"large_{photo.name}"
    # In a process of its own: what this one had held at most would count as its children's, too.
    subprocess.run([sys.executable, "-c", ENLARGE, photo, large], check=True)
    least = {}
    for path in (photo, large):
        seconds, ratios, memories = [], [], []
        for _ in range(runs):
            before = decode_apart(path)
            taken, memory = process(path, folder)
            unit = min(before, decode_apart(path))
            seconds.append(taken)
            ratios.append(taken / unit)
            memories.append(memory)
        least[path] = min(seconds)
        print(
            f"{path.name}: whole process {min(seconds):.2f} s at least, {statistics.median(seconds):.2f} median;"
            f" {min(ratios):.1f} x decode at least, {statistics.median(ratios):.1f} median; {max(memories):.0f} MB"
        )
    print(f"four times the pixels: {least[large] / least[photo]:.2f} x the time")


def process(photo: Path, out: Path) -> tuple[float, float]:
    """Seconds and peak MB of `hidescan map` in a process of its own."""
    command = [
        sys.executable,
        "-c",
        "from hidescan.cli.app import main; main()",
        "map",
        str(photo),
        "-o",
        str(out),
        "--fresh",
        "--force",
    ]
    start = time.perf_counter()
    child = subprocess.Popen([*command, "--card-scale", "1,1", "--thickness", "1.5mm"], stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(child.pid, 0)
    if os.waitstatus_to_exitcode(status):
        sys.exit(f"{photo}: was not mapped")
    return time.perf_counter() - start, usage.ru_maxrss / 1024


def decode_apart(photo: Path) -> float:
    """Seconds of Pillow's decode in a process of its own: a large photo must not count as this one's memory."""
    return float(
        subprocess.run([sys.executable, "-c", DECODE, photo], capture_output=True, text=True, check=True).stdout
    )


def decode(photo: Path) -> None:
    with Image.open(photo) as image:
        image.load()


def timed(call: Callable[[], object]) -> float:
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def added(spent: dict[str, float], stage: str, function: Callable[..., Any]) -> Callable[..., Any]:
    """The function, its time added to the stage's."""

    @wraps(function)
    def call(*args: Any, **kwargs: Any) -> Any:
        start = time.perf_counter()
        try:
            return function(*args, **kwargs)
        finally:
            spent[stage] += time.perf_counter() - start

    return call


if __name__ == "__main__":
    with recorded("speed"):
        main()

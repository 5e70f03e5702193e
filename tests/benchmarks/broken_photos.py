"""Broken photos: each must give a map or one clear line, never a traceback, a hang or memory over the limit.

    python -m tests.benchmarks.broken_photos [--count 10000] [--every 60] [--commands 100] [--seed 1] [--long-side 1170]
        [--kept FOLDER]

Photos are made by a seeded generator from the sample images (tests/synthetic/broken.py). They go through one warm
process, which is ended and started anew when it hangs or dies. Broken pixels are all mapped, and of files broken
otherwise one in `--every`, in pictures of 1 MP (`--long-side 4000`: up to 12 MP); the other files are decoded only, in
pictures of 0.1 MP. A sample of both goes through the command itself. What failed is kept in FOLDER.
"""

import argparse
import multiprocessing
import os
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter, defaultdict
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np
from PIL import Image

from tests.benchmarks.recorded import recorded
from tests.synthetic.broken import PIXEL_WAYS, WAYS, Whole, mutant, whole

SAMPLES = Path(__file__).parents[2] / "sample_images"
BASES = ("goat_on_concrete", "deer_on_tile", "side_on_tile")
MAPPED_PX, DECODED_PX = 1170, 366  # long sides: 1.03 and 0.1 MP
PIXEL_SHARE = 0.03  # of all broken photos, those with broken pixels
HANG_S = 20.0  # of the process's own time: other programs do not count
DEAF_S = 120.0  # by the clock: it waits for something
# The limit for 12 MP. A file of a few kB may rightly declare up to 80 MP: 3 bytes a pixel more.
MOST_MB, MOST_DECLARED_MB = 600, 1900

Answer = tuple[str, str, float, float, float]


def work(pipe: Connection) -> None:
    """Decode and, if asked, map what comes through the pipe; say what came of it."""
    import logging
    import warnings

    import cv2

    from hidescan.basics.errors import BadInput
    from hidescan.hide_map.model import Inputs
    from hidescan.many.one_photo import make
    from hidescan.photo.reading import decode_photo
    from hidescan.pipeline import Pipeline
    from hidescan.settings import PhotoSettings, Settings

    cv2.setNumThreads(1)
    settings, said, small = Settings(), tempfile.TemporaryFile(), PhotoSettings(least_megapixels=0.05)
    os.dup2(said.fileno(), 2)
    logging.getLogger().addHandler(logging.NullHandler())  # as the command does
    while (task := pipe.recv()) is not None:
        data, fully = task
        said.truncate(0)
        megapixels, start = 0.0, time.process_time()
        with warnings.catch_warnings(record=True) as warned:
            warnings.simplefilter("always")
            try:
                photo = decode_photo(data, "photo.jpg", settings.photo if fully else small)
                megapixels = photo.width_px * photo.height_px / 1e6
                if fully:
                    make(Pipeline(photo, settings), Inputs(), None, "ft")
                answer = "mapped" if fully else "decoded"
                word = ""
            except BadInput as error:
                answer, word = "refused", str(error)
                if "\n" in word or not word:
                    answer = "FAILED: not one line"
            except Exception as error:
                at = traceback.extract_tb(error.__traceback__)[-1]
                answer, word = f"FAILED: {type(error).__name__} in {Path(at.filename).name}:{at.lineno}", str(error)
        loud = [str(w.message) for w in warned]
        said.seek(0)
        loud += said.read().decode(errors="replace").splitlines()
        if loud and not answer.startswith("FAILED"):
            answer, word = f"FAILED: says more ({loud[0][:60]})", loud[0]
        peak_mb = own_peak_mb()
        pipe.send((answer, word, megapixels, peak_mb, time.process_time() - start))


def own_peak_mb() -> float:
    """Of this program since it began; what getrusage tells begins with the peak of the one that started it."""
    status = Path("/proc/self/status").read_text()
    return int(next(line for line in status.splitlines() if line.startswith("VmHWM")).split()[1]) / 1024


class Worker:
    """The warm process."""

    def __init__(self) -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe, other = context.Pipe()
        self.process = context.Process(target=work, args=(other,), daemon=True)
        self.process.start()
        other.close()

    def ask(self, data: bytes, fully: bool) -> Answer:
        """What came of a photo, in a word and its line; megapixels decoded, peak MB, seconds."""
        self.pipe.send((data, fully))
        if not self.pipe.poll(DEAF_S):
            return "FAILED: hangs", "", 0.0, 0.0, DEAF_S
        try:
            answer: Answer = self.pipe.recv()
        except EOFError:
            return "FAILED: the process died", "", 0.0, 0.0, 0.0
        return answer

    def end(self) -> None:
        self.process.kill()
        self.process.join()


def bases(long_side_px: int) -> list[Whole]:
    made = []
    for name in BASES:
        image = Image.open(SAMPLES / f"{name}.jpg").convert("RGB")
        image.thumbnail((long_side_px, long_side_px))
        made.append(whole(np.asarray(image)))
    return made


def chosen(rng: np.random.Generator) -> str:
    pixel = rng.random() < PIXEL_SHARE
    return str(rng.choice([way for way in WAYS if (way in PIXEL_WAYS) == pixel]))


def through_command(wholes: list[Whole], count: int, seed: int) -> list[str]:
    """Failures of the command itself: no exit 0 with a map nor 2 with one line."""
    rng, failures = np.random.default_rng(99 + seed), []
    with tempfile.TemporaryDirectory() as made:
        for n in range(count):
            way = str(rng.choice(WAYS))
            fmt, data = mutant(wholes[n % len(wholes)], way, rng)
            path = Path(made) / f"{n}.jpg"
            path.write_bytes(data)
            command = [sys.executable, "-c", "from hidescan.cli.app import main; main()", "map", str(path)]
            run = subprocess.run(command, capture_output=True, text=True, timeout=DEAF_S)
            lines = run.stderr.splitlines()
            right = (run.returncode == 0 and not lines) or (run.returncode == 2 and len(lines) == 1 and not run.stdout)
            if not right:
                failures.append(f"{n} {way} ({fmt}): exit {run.returncode}, {lines[-1:]}")
    return failures


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--every", type=int, default=60)
    parser.add_argument("--commands", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--long-side", type=int, default=MAPPED_PX)
    parser.add_argument("--kept", type=Path, default=Path(tempfile.gettempdir()) / "broken-photos")
    asked = parser.parse_args()
    asked.kept.mkdir(parents=True, exist_ok=True)
    wholes = {True: bases(asked.long_side), False: bases(DECODED_PX)}
    rng = np.random.default_rng(asked.seed)
    table: dict[str, Counter[str]] = defaultdict(Counter)
    failures: Counter[str] = Counter()
    peaks, slowest, decoded = {"small": 0.0, "declared": 0.0}, {False: 0.0, True: 0.0}, 0
    worker = Worker()
    for n in range(asked.count):
        way = chosen(rng)
        fully = way in PIXEL_WAYS or n % asked.every == 0
        fmt, data = mutant(wholes[fully][n % len(BASES)], way, rng)
        answer, word, megapixels, peak_mb, took = worker.ask(data, fully)
        slowest[fully] = max(slowest[fully], took)
        size = "small" if megapixels <= 12 else "declared"
        if took > HANG_S and not answer.startswith("FAILED"):
            answer = f"FAILED: took over {HANG_S:.0f} s"
        if megapixels and peak_mb > (MOST_MB if size == "small" else MOST_DECLARED_MB):
            answer = f"FAILED: {peak_mb:.0f} MB for {megapixels:.1f} MP"
        if megapixels:
            peaks[size] = max(peaks[size], peak_mb)
        if n % 500 == 499:
            print(f"  {n + 1} photos", file=sys.stderr, flush=True)
        restart = answer in ("FAILED: hangs", "FAILED: the process died") or peak_mb > MOST_MB
        decoded += megapixels > 0
        table[way]["photos"] += 1
        table[way][
            "FAILED"
            if answer.startswith("FAILED")
            else answer
            if answer != "refused"
            else "refused late"
            if megapixels
            else "refused"
        ] += 1
        if answer.startswith("FAILED"):
            failures[answer] += 1
            if failures[answer] <= 3:
                (asked.kept / f"{n}-{fmt.replace(' ', '-')}").write_bytes(data)
                print(f"  {n} {way} ({fmt}): {answer} {word[:100]}", flush=True)
        if restart:
            worker.end()
            worker = Worker()
    worker.end()
    columns = ("photos", "mapped", "decoded", "refused late", "refused", "FAILED")
    print("| broken how | photos | mapped | decoded only | refused after decoding | refused by the decoder | failed |")
    print("|---|---|---|---|---|---|---|")
    for way in WAYS:
        print(f"| {way} | " + " | ".join(str(table[way][c]) for c in columns) + " |")
    total = Counter[str]()
    for row in table.values():
        total.update(row)
    print("| all | " + " | ".join(str(total[c]) for c in columns) + " |")
    print(
        f"decoded at least: {decoded}; asked for a map: every photo with broken pixels, one in {asked.every} of the others"
    )
    print(f"slowest: {slowest[False]:.1f} s decoded, {slowest[True]:.1f} s mapped (aim {HANG_S:.0f} s)")
    print(f"peak: {peaks['small']:.0f} MB up to 12 MP (aim {MOST_MB}), {peaks['declared']:.0f} MB above")
    for answer, count in failures.most_common():
        print(f"  {count} x {answer}")
    through = through_command(wholes[True], asked.commands, asked.seed)
    print(f"through the command: {asked.commands} photos, {len(through)} failed (aim 0)")
    for line in through:
        print(f"  {line}")
    print(f"failed in all: {sum(failures.values()) + len(through)} (aim 0); kept in {asked.kept}")


if __name__ == "__main__":
    with recorded("broken-photos"):
        main()

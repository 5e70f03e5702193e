"""Folders of photos: python -m tests.benchmarks.folder_study speed|memory|kills FOLDER

FOLDER holds photos that can be mapped; copies with other brightness and compression are made of them in a temporary
folder, since what is measured here depends on their number and size, not on what they show.

- speed: 60 photos at full size, two workers of one thread against one.
- memory: 500 photos of about 2 megapixels, 8 of them cut short: the highest memory of any worker after 50 and at the end.
- kills: 16 photos of about 2 megapixels; the run is killed at 20 random moments and taken up each time.
"""

import os
import random
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from PIL import Image, ImageEnhance

from hidescan.hide_map.model import Inputs
from hidescan.many import local
from hidescan.many.one_photo import Keeping
from hidescan.many.plan import Order
from hidescan.many.run import Result, map_photos
from hidescan.many.settings import FolderSettings
from hidescan.settings import Settings
from hidescan.shelf import database
from hidescan.shelf.finding import Criteria, find
from tests.benchmarks.recorded import recorded

SMALL_PX = 1632
KILLS = 20


def main() -> None:
    part, source = sys.argv[1], Path(sys.argv[2])
    with tempfile.TemporaryDirectory(prefix="folder_study") as work:
        folder = Path(work)
        os.environ["XDG_CONFIG_HOME"] = str(folder / "config")
        {"speed": speed, "memory": memory, "kills": kills}[part](source, folder)


def copies(source: Path, target: Path, count: int, long_side_px: int | None) -> list[Path]:
    """Photos that differ a little in light and in compression, so that each has a content of its own."""
    target.mkdir()
    originals = sorted(source.glob("*.jpg"))
    made = []
    for number in range(count):
        with Image.open(originals[number % len(originals)]) as image:
            exif, changed = image.getexif(), image.convert("RGB")
            if long_side_px is not None:
                scale = long_side_px / max(image.size)
                size = (round(image.width * scale), round(image.height * scale))
                changed = image.resize(size, Image.Resampling.BOX, reducing_gap=2.0)
            changed = ImageEnhance.Brightness(changed).enhance(0.95 + 0.002 * (number % 50))
            made.append(target / f"{number:03d}.jpg")
            changed.save(made[-1], quality=88 + number % 8, exif=exif)
    return made


def mapped(photos: list[Path], out: Path, workers: int) -> Iterator[Result]:
    limits = FolderSettings()
    order = Order(Inputs(thickness_mm=1.5, card_scale=(1.0, 1.0)), Keeping(out), Settings(), limits)
    return map_photos(photos, order, lambda tasks: local.outcomes(tasks, workers, limits))


def speed(source: Path, folder: Path) -> None:
    count = int(sys.argv[3]) if len(sys.argv) > 3 else 60
    photos = copies(source, folder / "photos", count, None)
    with Image.open(photos[0]) as image:
        pixels = image.width * image.height / 1e6
    print(f"{count} photos, the first of {pixels:.0f} megapixels")
    seconds = {}
    for workers in (2, 1):
        start, own, theirs = time.perf_counter(), cpu_s(resource.RUSAGE_SELF), cpu_s(resource.RUSAGE_CHILDREN)
        done = sum(result.hide_map is not None for result in mapped(photos, folder / f"out{workers}", workers))
        seconds[workers] = time.perf_counter() - start
        own, theirs = cpu_s(resource.RUSAGE_SELF) - own, cpu_s(resource.RUSAGE_CHILDREN) - theirs
        print(
            f"  {workers} worker(s): {seconds[workers]:.0f} s, {done} mapped; at work {theirs:.0f} s in workers,"
            f" {own:.0f} s here",
            flush=True,
        )
    same = all(
        (folder / "out2" / path.name).read_bytes() == path.read_bytes() for path in (folder / "out1").glob("*.json")
    )
    print(f"  ratio {seconds[1] / seconds[2]:.2f} (aim 1.8); same bytes: {same}")


def cpu_s(who: int) -> float:
    used = resource.getrusage(who)
    return used.ru_utime + used.ru_stime


def memory(source: Path, folder: Path) -> None:
    count = int(sys.argv[3]) if len(sys.argv) > 3 else 500
    photos = copies(source, folder / "photos", count, SMALL_PX)
    for number in range(7, count, count // 8)[:8]:
        photos[number].write_bytes(photos[number].read_bytes()[: 20_000 + 1000 * (number % 30)])
    good, failed, early = 0, [], 0.0
    highest: dict[int, float] = {}
    for number, result in enumerate(mapped(photos, folder / "out", 2), start=1):
        if result.hide_map is None:
            failed.append(f"{result.photo.name} ({result.reason})")
        else:
            good += 1
        highest |= peaks_mb()
        if number == 50:
            early = max(highest.values())
        if number % 50 == 0:
            print(
                f"  after {number}: {max(highest.values()):.0f} MB, this process {peak_mb(os.getpid()):.0f} MB",
                flush=True,
            )
    late = max(highest.values())
    print(f"{good} mapped, {len(failed)} named; workers {len(highest)}; peak {early:.0f} MB after 50, {late:.0f} MB at the end:"
          f" x {late / early:.3f} (aim 1.05)")  # fmt: skip
    print("\n".join(f"  {reason}" for reason in failed))


def peaks_mb() -> dict[int, float]:
    """The highest resident memory so far of each worker, by process id."""
    children = Path(f"/proc/{os.getpid()}/task/{os.getpid()}/children").read_text().split()
    return {int(pid): mb for pid in children if (mb := peak_mb(int(pid))) > 50}  # not the resource tracker


def peak_mb(pid: int) -> float:
    try:
        lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    except OSError:
        return 0.0
    return next((int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM")), 0.0)


def kills(source: Path, folder: Path) -> None:
    photos, out, shelf = copies(source, folder / "photos", 16, SMALL_PX), folder / "out", folder / "shelf.sqlite"
    chance = random.Random(20)
    words = [sys.executable, "-c", "from hidescan.cli.app import main; main()", "map", str(folder / "photos")]
    words += ["-o", str(out), "--shelf", str(shelf)]
    for number in range(KILLS):
        run = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        wanted = files(out) + chance.randrange(0, 7)  # four files make a photo; none at all: while it starts
        while run.poll() is None and files(out) < wanted:
            time.sleep(0.01)
        time.sleep(chance.uniform(0.0, 1.0))
        ended = run.poll() is not None
        run.send_signal(signal.SIGKILL)
        run.wait()
        there = {path.name: path.read_bytes() for path in out.glob("*.hide.json")}
        print(f"  kill {number + 1}: {len(there)} maps{', after the end' if ended else ''}", flush=True)
    last = subprocess.run(words, capture_output=True, text=True, check=False)
    time.sleep(1.0)
    orphans = subprocess.run(
        ["pgrep", "-fc", "multiprocessing.spawn.*--multiprocessing-fork"], capture_output=True, text=True
    )
    check_kills(photos, out, shelf)
    print(f"  last run: exit {last.returncode}; worker processes still running: {orphans.stdout.strip()}")
    with tempfile.TemporaryDirectory() as fresh:
        results = list(mapped_by_command(folder / "photos", Path(fresh)))
        same = all((out / path.name).read_bytes() == path.read_bytes() for path in results)
        print(f"  same bytes as one run without kills: {same} ({len(results)} maps)")


def files(folder: Path) -> int:
    return len(list(folder.iterdir())) if folder.exists() else 0


def mapped_by_command(photos: Path, out: Path) -> list[Path]:
    words = [sys.executable, "-c", "from hidescan.cli.app import main; main()", "map", str(photos), "-o", str(out)]
    subprocess.run(words, capture_output=True, check=True)
    return sorted(out.glob("*.hide.json"))


def check_kills(photos: list[Path], out: Path, shelf: Path) -> None:
    found = sorted(out.iterdir())
    maps = [path for path in found if path.name.endswith(".hide.json")]
    pictures = [path for path in found if path.suffix == ".png"]
    for picture in pictures:
        with Image.open(picture) as image:
            image.load()  # a half file does not decode
    others = [path.name for path in found if path not in maps and path not in pictures]
    with closing(database.open_shelf(shelf)) as db:
        rows = [row.label for row in find(db, Criteria())]
        wrong = database.problems(db)
        revisions = db.execute("SELECT count(*) FROM map").fetchone()[0]
    once = sorted(rows) == [photo.stem for photo in photos] and revisions == len(photos)
    print(f"{KILLS} kills: {len(maps)} maps of {len(photos)} photos, {len(pictures)} whole pictures, besides {others}")
    print(f"  shelf: every photo exactly once: {once}; integrity {'ok' if not wrong else wrong}")


if __name__ == "__main__":
    with recorded(f"folder-{sys.argv[1]}"):
        main()

"""Commands killed (SIGKILL) at random moments: nothing may be lost, nothing half-written.

    python -m tests.benchmarks.kill_study [--tries 20]

Each command is run to its end once, in a copy of a folder, to know what it writes and how long it takes. Then it is
killed at random moments, half of them in its last third, where it writes. Every file that can be seen must then be as
it was before or as the whole run left it (of placing, whose search goes by the clock: whole), the shelf sound; and the
command run again must end as if nothing had happened, without litter.
"""

import argparse
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from PIL import Image

from hidescan.cli import app as cli
from hidescan.hide_map.revisions import read_map
from hidescan.shelf import database
from hidescan.shelf.finding import Criteria, find
from tests.benchmarks.recorded import recorded

SAMPLE = Path(__file__).parents[2] / "sample_images" / "goat_on_concrete.jpg"
PIECES = b"""<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="400mm" viewBox="0 0 400 400">
<path id="vamp" d="M10,10 h160 v120 h-160 Z"/><path id="strap" d="M200,10 h20 v300 h-20 Z"/></svg>"""


def run(words: list[str], folder: Path, until_s: float | None) -> float:
    """Run a command in a child, killed after a time or let to its end; gives the seconds it took."""
    start = time.perf_counter()
    child = os.fork()
    if child == 0:
        with Path(os.devnull).open("w") as nowhere:
            os.dup2(nowhere.fileno(), 1)
            os.dup2(nowhere.fileno(), 2)
        os.chdir(folder)
        sys.argv = ["hidescan", *words]
        try:
            cli.main()
        finally:
            os._exit(0)
    if until_s is not None:
        time.sleep(until_s)
        os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return time.perf_counter() - start


def seen(folder: Path) -> dict[str, bytes]:
    """Files that can be seen, by name; a database by what stands in it."""
    found = {}
    for path in sorted(folder.rglob("*")):
        if path.is_dir() or path.name.startswith(".") or path.suffix in (".sqlite-wal", ".sqlite-shm"):
            continue
        found[str(path.relative_to(folder))] = b"" if path.suffix == ".sqlite" else path.read_bytes()
    return found


def litter(folder: Path) -> list[str]:
    return [path.name for path in folder.rglob(".*.part")]


def shelf_fault(path: Path) -> str | None:
    if not path.exists():
        return None
    with closing(database.open_shelf(path)) as db:
        wrong = database.problems(db)
        find(db, Criteria())
    return wrong[0] if wrong else None


def whole(path: Path) -> bool:
    """Whether a file can be read to its end."""
    try:
        if path.name.endswith(".hide.json"):
            read_map(path)
        elif path.suffix == ".png":
            Image.open(path).load()
        else:
            return path.stat().st_size > 0
    except Exception:
        return False
    return True


def tried(words: list[str], start: Path, tries: int, rng: random.Random) -> tuple[int, int, list[str]]:
    """Kills, those that found the command at work, and what was wrong after them."""
    wrong, at_work = [], 0
    with tempfile.TemporaryDirectory() as made:
        full = Path(made) / "full"
        shutil.copytree(start, full)
        took = run(words, full, None)
        before, after = seen(start), seen(full)
        for n in range(tries):
            folder = Path(made) / f"try{n}"
            shutil.copytree(start, folder)
            at_s = took * (rng.uniform(0.0, 1.0) if n % 2 else rng.uniform(0.65, 1.05))
            at_work += run(words, folder, at_s) < took
            for name, data in seen(folder).items():
                if data not in (before.get(name), after.get(name)) and not (
                    words[0] == "place" and whole(folder / name)
                ):
                    wrong.append(f"{words[0]}: {name} is neither old nor new after {at_s:.2f} s")
            wrong += [f"{words[0]}: {name} is gone" for name in before.keys() - seen(folder).keys()]
            if fault := shelf_fault(folder / "shelf.sqlite"):
                wrong.append(f"{words[0]}: shelf: {fault}")
            again = [*words, "--force"] if words[0] in ("export", "place") else words
            run(again, folder, None)
            if seen(folder).keys() != after.keys():
                wrong.append(f"{words[0]}: run again: {sorted(seen(folder).keys() ^ after.keys())}")
            if litter(folder):
                wrong.append(f"{words[0]}: litter: {litter(folder)}")
            shutil.rmtree(folder)
    return tries, at_work, wrong


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--tries", type=int, default=20)
    asked, rng = parser.parse_args(), random.Random(7)
    with tempfile.TemporaryDirectory() as made:
        os.environ |= {"XDG_CONFIG_HOME": f"{made}/config", "XDG_DATA_HOME": f"{made}/data", "OMP_NUM_THREADS": "1"}
        folder = Path(made) / "start"
        folder.mkdir()
        image = Image.open(SAMPLE)
        image.thumbnail((1320, 1320))
        image.save(folder / "a.jpg", quality=90)
        (folder / "pieces.svg").write_bytes(PIECES)
        steps: list[tuple[list[str], Callable[[], object]]] = [
            (["map", "a.jpg"], lambda: run(["map", "a.jpg", "--thickness", "1.5mm"], folder, None)),
            (["edit", "a.hide.json", "--thickness", "2mm"], lambda: None),
            (["export", "a.hide.json", "--to", "svg,dxf,geojson,csv,pdf,png", "-o", "out"], lambda: None),
            (["shelf", "add", "a.hide.json", "--shelf", "shelf.sqlite"], lambda: None),
            (["place", "a.hide.json", "pieces.svg", "-o", "placed", "--rounds", "3"], lambda: None),
        ]
        print("| command | kills | while it worked | wrong (aim 0) |\n|---|---|---|---|")
        for words, then in steps:
            tries, at_work, wrong = tried(words, folder, asked.tries, rng)
            print(f"| {' '.join(words[:2])} | {tries} | {at_work} | {len(wrong)} |", flush=True)
            for line in wrong[:5]:
                print(f"  {line}")
            then()


if __name__ == "__main__":
    with recorded("kill"):
        main()

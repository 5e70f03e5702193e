"""How the shelf bears size and company: python -m tests.benchmarks.shelf_study

A shelf of 10,000 hides is made from one mapped hide, copied with other areas, shades, prices and marks; questions are
timed (start-up not counted, median of 7). Then four processes write to one shelf at once.
"""

import multiprocessing
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from decimal import Decimal
from pathlib import Path

import numpy as np

from hidescan.hide_map.json_io import to_json
from hidescan.shelf import database, register
from hidescan.shelf.facts import Facts
from hidescan.shelf.finding import Criteria, ThicknessWanted, find
from hidescan.shelf.hides import hide
from hidescan.shelf.listing import table_lines
from tests.benchmarks.recorded import recorded
from tests.samples import rectangle_map

HIDES, WRITERS, EACH = 10_000, 4, 1_000


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        data = Path(sys.argv[1]).read_bytes() if len(sys.argv) > 1 else to_json(rectangle_map())
        path = Path(folder) / "shelf.sqlite"
        with closing(database.open_shelf(path)) as db:
            fill(db, data)
        print(f"shelf of {HIDES} hides, {path.stat().st_size / 1e6:.0f} MB")
        for name, question in questions().items():
            wall, cpu = timed(path, question)
            print(f"  {name:<34} {1000 * wall:6.0f} ms, of which at work {1000 * cpu:4.0f} ms   (aim 300 ms)")
        writers(Path(folder) / "busy.sqlite")


def fill(db: sqlite3.Connection, data: bytes) -> None:
    """Copies of one hide with random figures, written by SQL: mapping ten thousand photos would take hours."""
    register.shelve_map(
        db,
        "hide 0",
        data,
        Facts("deer", "commercial", price=Decimal(80), currency="EUR"),
        register.MapDetails((60, 8, 25)),
    )
    rng = np.random.default_rng(1)
    tables = {name: db.execute(f"SELECT * FROM {name}").fetchall() for name in ("hide", "map", "fit", "zone", "mark")}
    columns = [row[1] for row in db.execute("PRAGMA table_info(hide)")]
    first = dict(zip(columns, tables["hide"][0], strict=True))
    with database.writing(db):
        for number in range(2, HIDES + 1):
            scale = float(rng.uniform(0.5, 1.5))
            new = {
                **first,
                "id": number,
                "label": f"hide {number}",
                "species": str(rng.choice(["deer", "elk", "goat", "cattle"])),
                "price_e4": int(rng.integers(10_000, 2_000_000)),
                "shade_l": float(rng.uniform(30, 90)),
                "shade_b": float(rng.uniform(5, 40)),
                "area_left_mm2": first["area_left_mm2"] * scale,
            }
            db.execute(f"INSERT INTO hide VALUES ({', '.join('?' * len(new))})", tuple(new.values()))
            for row in tables["map"]:
                db.execute(f"INSERT INTO map VALUES ({', '.join('?' * len(row))})", (number, number, *row[2:]))
            db.executemany(
                "INSERT INTO fit VALUES (?, ?, ?)",
                [(number, long * scale, wide * scale) for _, long, wide in tables["fit"]],
            )
            db.executemany(
                "INSERT INTO zone VALUES (?, ?, ?, ?, ?, ?)",
                [(number, name, area, thick * scale, *rest) for _, name, area, thick, *rest in tables["zone"]],
            )
            kind = str(rng.choice(["hole", "brand", "scratch"]))
            db.execute("INSERT INTO mark VALUES (?, ?, ?)", (number, kind, int(rng.integers(1, 9))))


def questions() -> dict[str, Callable[[sqlite3.Connection], object]]:
    zone = ThicknessWanted("butt", 1.0, 3.0)
    everything = Criteria(
        species="deer", least_area_mm2=3e5, fits_mm=(500.0, 300.0), thickness=(zone,), shade_of="hide 7",
        within_delta_e=20.0, marks_allowed=("hole", "scratch"), price_most=Decimal(150),
    )  # fmt: skip
    return {
        "list, as a table": lambda db: table_lines(find(db, Criteria()), "ft"),
        "area": lambda db: find(db, Criteria(least_area_mm2=5e5)),
        "length x width that fits": lambda db: find(db, Criteria(fits_mm=(500.0, 300.0))),
        "thickness of a zone": lambda db: find(db, Criteria(thickness=(zone,))),
        "shade of another hide": lambda db: find(db, Criteria(shade_of="hide 7", within_delta_e=10.0)),
        "marks allowed": lambda db: find(db, Criteria(marks_allowed=("hole",))),
        "price": lambda db: find(db, Criteria(price_most=Decimal(50))),
        "all of it at once": lambda db: find(db, everything),
        "show one": lambda db: hide(db, "hide 5000"),
    }


def timed(path: Path, question: Callable[[sqlite3.Connection], object]) -> tuple[float, float]:
    """Seconds by the clock, and seconds of this process at work: the first counts waiting as well."""
    times, at_work = [], []
    with closing(database.open_shelf(path)) as db:
        question(db)  # imports are start-up
        for _ in range(7):
            start, cpu = time.perf_counter(), time.process_time()
            question(db)
            times.append(time.perf_counter() - start)
            at_work.append(time.process_time() - cpu)
    return statistics.median(times), statistics.median(at_work)


def writers(path: Path) -> None:
    processes = [multiprocessing.get_context("spawn").Process(target=add_many, args=(path, n)) for n in range(WRITERS)]
    start = time.perf_counter()
    for process in processes:
        process.start()
    for process in processes:
        process.join()
    with closing(database.open_shelf(path)) as db:
        count, wrong = len(find(db, Criteria())), database.problems(db)
    took = time.perf_counter() - start
    print(
        f"{WRITERS} writers, {EACH} adds each: {count} hides in {took:.0f} s, integrity {'ok' if not wrong else wrong}"
    )


def add_many(path: Path, name: int) -> None:
    with closing(database.open_shelf(path)) as db:
        for number in range(EACH):
            register.add_hide(db, f"{name}-{number}", Facts("deer"))


if __name__ == "__main__":
    with recorded("shelf"):
        main()

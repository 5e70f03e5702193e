"""Seeded attacks on everything that reads what a person gives: a table of tries, tracebacks, hangs, memory, false words.

    python -m tests.benchmarks.attack_study CLASS[,CLASS...] TRIES [FIRST_SEED]

A try is one command (or reader, or request) on an input that a seed made odd. It is broken if anything but a refusal
ends it, if it takes over 10 s of processor time (or 60 s by the clock, which others may share), or if what it says is not so: a refusal that says nothing was changed while a file
differs, a file said to be written that is not there, more than one line. Memory is the process's own peak.
"""

import contextlib
import io
import logging
import os
import random
import re
import resource
import shutil
import signal
import string
import sys
import tempfile
import traceback
import warnings
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np
from PIL import Image

from hidescan.cli import app
from hidescan.hide_map.json_io import to_json
from hidescan.shelf.database import open_shelf
from hidescan.shelf.register import shelve_map
from tests.benchmarks.recorded import recorded
from tests.fuzz import seeds
from tests.fuzz.mutated import flipped, odd_map
from tests.fuzz.targets import BETWEEN
from tests.samples import rectangle_map

SAMPLES = Path(__file__).parents[2] / "sample_images"
HANG_S, STUCK_S = 10.0, 60.0
SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="99mm" height="99mm"><rect id="a" width="60" height="50"/></svg>'
ODD_WORDS = (
    "", "-1", "0", "nan", "inf", "1e999", "9" * 400, "9" * 6000, "1,8mm", "1.8mm", "1,842mm", "-3mm", "5/0in", "a", "\x1b[2J",
    "../../etc", "=1+1", "1.8 mm", "4,5oz", "1-3:99m", "x=y", "hole-1:cut", "1:2:3", "٣mm", "\ud800", "120 EUR", "9,50 EUR/ft2",
    "5 EUR/yard", "800mmx400mm", "butt:1mm-9mm", "100%", "12,5%", "11 2/4", "11.2", "2026-13-01", "1520,803", "1,2,3", "1,5,2,5",
)  # fmt: skip


class Desk:
    """A folder with one sound file of each kind, and what a command is told of it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.map = folder / "m.hide.json"
        self.other = folder / "o.hide.json"
        self.data = to_json(rectangle_map())
        self.map.write_bytes(self.data)
        self.other.write_bytes(self.data)
        noise = np.random.default_rng(1).integers(0, 255, (3000, 4000, 3), dtype=np.uint8)
        Image.fromarray(noise[::3, ::3]).save(folder / "small.jpg", quality=50)
        (folder / "p.svg").write_text(SVG)
        self.shelf = folder / "s.sqlite"
        with closing(open_shelf(self.shelf)) as db:
            shelve_map(db, "a", self.data)
        self.sound = self.shelf.read_bytes()

    def at(self, name: str, data: bytes) -> Path:
        path = self.folder / name
        path.write_bytes(data)
        return path

    def clean(self) -> Path:
        out = self.folder / "out"
        shutil.rmtree(out, ignore_errors=True)
        return out


Words = list[object]


def maps(desk: Desk, rng: random.Random) -> Words:
    path, out = desk.at("m.hide.json", odd_map(desk.data, rng)), desk.clean()
    return rng.choice(
        [
            ["marks", path], ["export", path, "--to", "svg,dxf,geojson,csv,pdf", "-o", out], ["cost", path, "--price", "9 EUR"],
            ["place", path, desk.folder / "p.svg", "-o", out, "--rounds", "0"], ["stretch", desk.other, path, "--out", out / "s.png"],
            ["shelf", "add", path, "--shelf", desk.folder / "t.sqlite"], ["marks", path, "--json"], ["sheet", path, "-o", out / "s.pdf"],
        ]
    )  # fmt: skip


def drawings(desk: Desk, rng: random.Random) -> Words:
    kind, ending = rng.choice((("svg", ".svg"), ("dxf", ".dxf")))
    drawing, _, rules = rng.choice(seeds.seeds(kind)).partition(BETWEEN)
    path = desk.at(f"odd{ending}", flipped(drawing, rng) if rng.random() < 0.8 else drawing)
    desk.at("odd.toml", flipped(rules or seeds.RULES, rng) if rng.random() < 0.5 else rules)
    if rng.random() < 0.6:
        path.with_suffix(".toml").unlink()
    return ["place", desk.map, path, "-o", desk.clean(), "--rounds", "0"]


def tables(desk: Desk, rng: random.Random) -> Words:
    kind = rng.choice(
        (
            "marks_csv",
            "marks_geojson",
            "gauge_csv",
            "grades_toml",
            "extras_toml",
            "project_toml",
            "placing_json",
            "lens_toml",
            "placed_geojson",
        )
    )
    ending = {"csv": ".csv", "geojson": ".geojson", "toml": ".toml", "json": ".json"}[kind.rpartition("_")[2]]
    path = desk.at(f"odd{ending}", flipped(rng.choice(seeds.seeds(kind)), rng))
    photo = desk.folder / "small.jpg"
    return {
        "marks_csv": ["edit", desk.map, "--merge", path, "--photo", photo], "marks_geojson": ["edit", desk.map, "--merge", path, "--photo", photo],
        "gauge_csv": ["edit", desk.map, "--gauge-file", path, "--photo", photo], "grades_toml": ["marks", desk.map, "--grades", path],
        "extras_toml": ["cost", desk.map, "--price", "9 EUR", "--extras", path], "project_toml": ["advise", path],
        "placing_json": ["cost", desk.map, "--price", "9 EUR", "--placing", path], "lens_toml": ["map", photo, "--lens", path, "-o", desk.clean()],
        "placed_geojson": ["shelf", "cut", "a", "--what", "x", "--placed", path, "--shelf", desk.shelf],
    }[kind]  # fmt: skip


def shelves(desk: Desk, rng: random.Random) -> Words:
    for path in desk.folder.glob("s.sqlite*"):
        path.unlink()
    data = bytearray(desk.sound)
    match rng.randrange(3):
        case 0:
            for _ in range(rng.choice((1, 8, 200))):
                data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
        case 1:
            at = rng.randrange(0, len(data), 512)
            data[at : at + 512] = bytes(512)
        case _:
            del data[rng.randrange(len(data)) :]
    desk.shelf.write_bytes(data)
    out = desk.clean()
    questions: list[Words] = [
        ["list"], ["show", "a"], ["find", "--area", "1dm2"], ["check"], ["export", "-o", out / "s.csv"], ["restore"],
        ["cut", "a", "--what", "x", "--area", "1dm2"], ["edit", "a", "--notes", "x"], ["backup", "-o", out / "b.sqlite"],
    ]  # fmt: skip
    return ["shelf", *rng.choice(questions), "--shelf", desk.shelf]


def words(desk: Desk, rng: random.Random) -> Words:
    def odd() -> str:
        if rng.random() < 0.8:
            return rng.choice(ODD_WORDS)
        return "".join(rng.choice(string.printable) for _ in range(rng.randrange(1, 12)))

    m, p, photo, out = desk.map, desk.folder / "p.svg", desk.folder / "small.jpg", desk.clean()
    command: Words
    command, options = rng.choice(
        [
            (["map", photo, "-o", out], ["--thickness", "--card-scale", "--tape", "--neck", "--arrow", "--form", "--face", "--species", "--inside", "--gauge", "--hide"]),
            (["edit", m, "--photo", photo], ["--thickness", "--mark", "--zone-line", "--gauge", "--tannage", "--state", "--tape"]),
            (["cost", m, "--price", "9 EUR"], ["--price", "--marked", "--waste"]),
            (["place", m, p, "-o", out, "--rounds", "0"], ["--seed", "--rounds", "--seconds", "--to"]),
            (["shelf", "add", "--label", "b", "--shelf", desk.folder / "t.sqlite"], ["--label", "--price", "--thickness", "--bought-on", "--taken-on", "--notes"]),
            (["shelf", "find", "--shelf", desk.shelf], ["--area", "--fits", "--thickness", "--within", "--allow", "--price", "--shade-of", "--species"]),
            (["shelf", "cut", "a", "--what", "x", "--shelf", desk.shelf], ["--count", "--area"]),
            (["card", "-o", out / "c.pdf"], ["--numbers", "--measured", "--paper"]),
            (["marks", m], ["--grades", "--units"]),
            (["export", m, "-o", out], ["--to", "--paper"]),
            (["shelf", "show", "--shelf", desk.shelf], [""]),
        ]
    )  # fmt: skip
    for _ in range(rng.choice((1, 1, 2))):
        option = rng.choice(options)
        command = [*command, *([option] if option else []), odd()]
    return [str(word).replace("\0", "") for word in command]


def files(desk: Desk, rng: random.Random) -> Words:
    """Pipes, devices, folders, links and files of another kind, as inputs and as outputs."""
    odd = desk.folder / "odd file"
    if odd.is_symlink() or odd.is_file() or odd.exists():
        shutil.rmtree(odd) if odd.is_dir() and not odd.is_symlink() else odd.unlink()
    match rng.randrange(6):
        case 0:
            os.mkfifo(odd)
        case 1:
            odd.symlink_to(rng.choice(["/dev/zero", "/dev/null", "/dev/full", "/dev/stdout", "/nowhere", str(odd)]))
        case 2:
            odd.mkdir()
        case 3:
            odd.touch()
            os.truncate(odd, 10**12)
        case 4:
            odd.write_bytes(
                rng.choice((desk.data, SVG.encode(), (desk.folder / "small.jpg").read_bytes(), b"", b"\0" * 100))
            )
        case _:
            pass
    m, p, photo, out = desk.map, desk.folder / "p.svg", desk.folder / "small.jpg", desk.clean()
    return rng.choice(
        [
            ["map", odd, "-o", out], ["map", photo, "-o", odd], ["marks", odd], ["export", odd, "--to", "svg", "-o", out],
            ["export", m, "--to", "svg", "-o", odd], ["sheet", m, "-o", odd, "--force"], ["card", "-o", odd], ["place", odd, p, "-o", out],
            ["place", m, odd, "-o", out], ["place", m, p, "-o", odd, "--rounds", "0"], ["cost", odd, "--price", "9 EUR"],
            ["cost", m, "--price", "9 EUR", "--placing", odd], ["cost", m, "--price", "9 EUR", "--extras", odd], ["marks", m, "--grades", odd],
            ["edit", m, "--photo", odd], ["edit", m, "--photo", photo, "--merge", odd], ["edit", m, "--gauge-file", odd], ["advise", f"{odd}.toml"],
            ["lens", odd, "-o", out / "l.toml"], ["check", odd, "--sheet", "a4"], ["shelf", "list", "--shelf", odd], ["shelf", "add", odd, "--shelf", desk.shelf],
            ["shelf", "export", "-o", f"{odd}.csv", "--shelf", desk.shelf], ["shelf", "restore", odd, "--shelf", desk.shelf], ["stretch", odd, m], ["pieces", odd, "-o", out / "p.svg"],
            ["marks", m, "--crops", odd], ["shelf", "backup", "-o", odd, "--force", "--shelf", desk.shelf],
        ]
    )  # fmt: skip


def photos(desk: Desk, rng: random.Random) -> Words:
    path = desk.at(
        rng.choice(("odd.jpg", "odd.png", "odd.heic", "odd.tif")),
        flipped(rng.choice(seeds.seeds("photo") + [(desk.folder / "small.jpg").read_bytes()]), rng),
    )
    return rng.choice(
        [
            ["map", path, "-o", desk.clean()],
            ["check", path, "--sheet", "a4"],
            ["lens", path, "-o", desk.clean() / "l.toml"],
            ["pieces", path, "-o", desk.clean() / "p.svg"],
        ]
    )


CLASSES: dict[str, Callable[[Desk, random.Random], Words]] = {
    f.__name__: f for f in (maps, drawings, tables, shelves, words, files, photos)
}


class TooLong(BaseException):
    pass


def snapshot(folder: Path) -> dict[str, tuple[int, int]]:
    return {
        str(p): (p.lstat().st_size, p.lstat().st_mtime_ns)
        for p in folder.rglob("*")
        if not p.is_dir() and "-shm" not in p.name and "-wal" not in p.name
    }


def processor_s() -> float:
    """Processor time of this process and of those it started and waited for."""
    return sum(os.times()[:4])


def one(command: Words, desk: Desk) -> tuple[str, str]:
    """What came of a command: "done", "refused", or how it is broken; and what it said."""
    sys.argv = ["hidescan", *map(str, command)]
    out, error = io.StringIO(), io.StringIO()
    before, began = snapshot(desk.folder), processor_s()
    signal.setitimer(signal.ITIMER_REAL, STUCK_S)
    code: object = 0
    try:
        with (
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(error),
            warnings.catch_warnings(record=True) as warned,
        ):
            warnings.simplefilter("always")
            app.main()
    except SystemExit as stop:
        code = stop.code
    except TooLong:
        return "hang", str(command)[:300]
    except BaseException as fault:
        frames = traceback.extract_tb(fault.__traceback__)
        at = next((f for f in reversed(frames) if "/hidescan/" in f.filename), frames[-1])
        return (
            "traceback",
            f"{type(fault).__name__} {Path(at.filename).name}:{at.lineno} {str(fault)[:100]!r} {str(command)[-200:]}",
        )
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
    said = error.getvalue()
    if processor_s() - began > HANG_S:
        return "hang", str(command)[:300]
    usage = said.startswith("Usage:")  # the option parser's own few lines
    if (
        code not in (0, 2)
        or warned
        or (code == 2 and not (said or out.getvalue()))
        or (code == 2 and said.count("\n") > 3 and not usage)
    ):
        return "false", f"code {code} {said[:200]!r} {[str(w.message)[:80] for w in warned][:1]} {str(command)[-200:]}"
    after = snapshot(desk.folder)
    if code == 2 and "othing was" in said and before != after:
        changed = [name for name in before.keys() | after.keys() if before.get(name) != after.get(name)]
        return "false", f"{said[:200]!r} but {changed[:3]}"
    for line in out.getvalue().splitlines():
        if (
            line.startswith(str(desk.folder))
            and Path(line).suffix in (".svg", ".dxf", ".pdf", ".csv")
            and not Path(line).exists()
        ):
            return "false", f"{line} is not there"
    return ("done" if code == 0 else "refused"), said


def main() -> None:
    chosen, tries = sys.argv[1].split(","), int(sys.argv[2])
    first = int(sys.argv[3]) if len(sys.argv) > 3 else 0
    logging.getLogger().addHandler(logging.NullHandler())

    def too_long(*_: object) -> None:
        raise TooLong

    signal.signal(signal.SIGALRM, too_long)
    print("| class | tries | done | refused | traceback | hang | false | longest | memory |\n" + "|---" * 9 + "|")
    for name in chosen:
        with tempfile.TemporaryDirectory() as folder:
            os.environ |= {"XDG_DATA_HOME": f"{folder}/d", "XDG_CONFIG_HOME": f"{folder}/c"}
            (Path(folder) / "w").mkdir()
            desk, counted, longest = Desk(Path(folder) / "w"), Counter[str](), 0.0
            os.chdir(desk.folder)
            for seed in range(first, first + tries):
                desk.map.write_bytes(desk.data)
                began = processor_s()
                what, said = one(CLASSES[name](desk, random.Random(f"{name}-{seed}")), desk)
                longest = max(longest, processor_s() - began)
                counted[what] += 1
                if what not in ("done", "refused"):
                    print(f"!! {name} {seed} {what}: {said}", flush=True)
                for path in desk.folder.glob("t.sqlite*"):
                    path.unlink()
            own, children = _peak_mb(), resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024
            print(
                f"| {name} | {tries} | {counted['done']} | {counted['refused']} | {counted['traceback']} | {counted['hang']} | {counted['false']} | {longest:.1f} s | {own} MB ({children} MB apart) |",
                flush=True,
            )


def _peak_mb() -> int:
    """The most memory that this program took, MB; `getrusage` would count what the process before the exec had."""
    status = Path("/proc/self/status").read_text("ascii")
    return int(re.search(r"VmHWM:\s+(\d+) kB", status)[1]) // 1024  # type: ignore[index]


if __name__ == "__main__":
    with recorded("attack"):
        main()

"""Many photos: what is done, what is kept, what is said; workers that die; a run that is killed."""

import hashlib
import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from hidescan.basics.atomic_files import clear_abandoned, write_whole
from hidescan.cards.measured_prints import keep_card_scale
from hidescan.hide_map.model import Inputs, ProgramInfo
from hidescan.hide_map.revisions import read_map
from hidescan.many import cluster, local
from hidescan.many.one_photo import CONTACT_SHEET, PICTURES, Keeping, Made, map_one, photos_in
from hidescan.many.plan import Order
from hidescan.many.run import Result, map_photos
from hidescan.many.settings import FolderSettings
from hidescan.many.summary import contact_sheet, line_of, table
from hidescan.many.task import Failed, Mapped, Task, map_task, thumbnail
from hidescan.many.watch import arrivals, settled
from hidescan.settings import Settings, settings_as_saved
from hidescan.shelf import database
from hidescan.shelf.finding import Criteria, find
from tests.samples import rectangle_map

SAMPLES = Path(__file__).parents[2] / "sample_images"
SETTINGS = Settings()
LIMITS = FolderSettings()


@pytest.fixture(autouse=True)
def own_config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


def order(out: Path | None, inputs: Inputs | None = None, **changes: object) -> Order:
    return Order(inputs or Inputs(), Keeping(out), SETTINGS, LIMITS, **changes)  # type: ignore[arg-type]


def photo_file(path: Path, content: bytes = b"") -> Path:
    path.write_bytes(content or path.name.encode())
    return path


PNG = BytesIO()
Image.fromarray(np.zeros((30, 40, 3), np.uint8)).save(PNG, "PNG")


class Engine:
    """Stands in for the workers: gives each photo the same hide's map, and keeps what it was asked for."""

    def __init__(self, bad: tuple[str, ...] = ()) -> None:
        self.asked: list[str] = []
        self.bad = bad

    def __call__(self, tasks: Iterable[Task]) -> Iterator[tuple[Task, Mapped | Failed]]:
        for task in tasks:
            self.asked.append(task.path.name)
            if task.path.name in self.bad:
                yield task, Failed(f"{task.path.name}: is no picture.")
                continue
            sha = hashlib.sha256(task.path.read_bytes() if task.data is None else task.data).hexdigest()
            made = rectangle_map(
                photo=replace(rectangle_map().photo, file=task.path.name, sha256=sha),
                inputs=task.inputs,
                program=ProgramInfo(task.version, settings_as_saved(task.settings)),
            )
            yield (
                task,
                Mapped(
                    Made(made, dict.fromkeys(PICTURES, PNG.getvalue())),
                    thumbnail(PNG.getvalue(), 24),
                    None,
                ),
            )


def run(photos: list[Path], given: Order, engine: Callable[..., object]) -> dict[str, Result]:
    return {result.photo.name: result for result in map_photos(photos, given, engine)}  # type: ignore[arg-type]


def test_done_is_the_same_photo_settings_and_version(tmp_path: Path) -> None:
    photos = [photo_file(tmp_path / f"{name}.jpg") for name in "abc"]
    out = tmp_path / "out"
    assert not any(result.before for result in run(photos, order(out), Engine()).values())
    for given, asked in [
        (order(out), []),
        (order(out, Inputs(thickness_mm=1 / 3)), ["a.jpg", "b.jpg", "c.jpg"]),  # something new was given
        (order(out, Inputs(thickness_mm=1 / 3)), []),
        (order(out), []),  # what was given is remembered
    ]:
        engine = Engine()
        results = run(photos, given, engine)
        assert engine.asked == asked
        assert sorted(results) == ["a.jpg", "b.jpg", "c.jpg"]
        assert all(result.before == (result.photo.name not in asked) for result in results.values())
    (out / "a.zones.png").unlink()  # killed between map and pictures
    engine = Engine()
    run(photos, order(out), engine)
    assert engine.asked == ["a.jpg"]
    other_settings = replace(SETTINGS, usable=replace(SETTINGS.usable, hole_margin_mm=6.0))
    engine = Engine()
    run(photos, replace(order(out), settings=other_settings), engine)
    assert engine.asked == ["a.jpg", "b.jpg", "c.jpg"]


def test_a_newly_measured_print_is_a_reason_to_map_again(tmp_path: Path) -> None:
    photos = [photo_file(tmp_path / "a.jpg")]
    out = tmp_path / "out"
    run(photos, order(out), Engine())
    for number, asked in ((7, []), (1, ["a.jpg"])):  # the card in the photo is number 1
        keep_card_scale((number,), (0.99, 0.99))
        engine = Engine()
        run(photos, order(out), engine)
        assert engine.asked == asked


def test_bad_photos_are_named_and_stop_nothing(tmp_path: Path) -> None:
    photos = [photo_file(tmp_path / name) for name in ("a.jpg", "b.jpg", "b.png", "c.jpg")]
    out = tmp_path / "out"
    run([photos[0]], order(out), Engine())
    photo_file(photos[0], b"another photo of the same name")
    results = run(photos, order(out), Engine(bad=("c.jpg",)))
    reasons = {name: result.reason for name, result in results.items() if result.hide_map is None}
    assert sorted(reasons) == ["a.jpg", "b.png", "c.jpg"]
    assert "another photo" in str(reasons["a.jpg"])
    assert "would have the name of that of b.jpg" in str(reasons["b.png"])
    assert results["b.jpg"].hide_map is not None


def test_photos_for_workers_elsewhere_travel_by_content(tmp_path: Path) -> None:
    photos = [photo_file(tmp_path / "a.jpg", b"pixels"), tmp_path / "none.jpg"]
    sent = []

    def engine(tasks: Iterable[Task]) -> Iterator[tuple[Task, Mapped | Failed]]:
        for task in tasks:
            sent.append(task.data)
            yield from Engine()([task])

    results = run(photos, order(tmp_path / "out", by_content=True), engine)
    assert sent == [b"pixels"]
    assert "cannot be read" in str(results["none.jpg"].reason)


def test_maps_go_to_the_shelf_once(tmp_path: Path) -> None:
    photos = [photo_file(tmp_path / f"{name}.jpg") for name in "ab"]
    with closing(database.open_shelf(tmp_path / "s.sqlite")) as shelf:
        run(photos, order(tmp_path / "out"), Engine())
        for asked in (["a.jpg", "b.jpg"], []):  # mapped before there was a shelf: once more for the shade
            engine = Engine()
            run(photos, order(tmp_path / "out", shelf=shelf), engine)
            assert engine.asked == asked
            assert sorted(row.label for row in find(shelf, Criteria())) == ["a", "b"]


def test_the_table_and_the_contact_sheet(tmp_path: Path) -> None:
    photos = [photo_file(tmp_path / f"{name}.jpg") for name in ("a", "b", "c", "d", "e")]
    results = [line_of(r) for r in map_photos(photos, order(tmp_path / "out"), Engine(bad=("c.jpg",)))]
    assert all(len(pickle.dumps(line)) < 20_000 for line in results)  # hundreds are kept: no map among them
    assert table(results) == table(results[::-1])
    lines = table(results).decode().splitlines()
    assert lines[1].startswith("a.jpg,yes,,a.hide.json,whole,599600,3000,598700,1000,600,1,one-card,")
    assert lines[3].startswith("c.jpg,no,c.jpg: is no picture.,")
    sheet = contact_sheet(results, LIMITS)
    before = [line_of(r) for r in map_photos(photos, order(tmp_path / "out"), Engine(bad=("c.jpg",)))]
    with Image.open(BytesIO(sheet)) as image, Image.open(BytesIO(contact_sheet(before, LIMITS))) as again:
        assert image.size == again.size == (3 * 246 + 6, 2 * 268 + 6)
        assert image.getpixel((126, 126)) == (0, 0, 0)  # a's picture
        assert image.getpixel((26, 126)) != (0, 0, 0) or image.getpixel((2, 126)) != (0, 0, 0)
    write_whole(tmp_path / CONTACT_SHEET, sheet)
    write_whole(tmp_path / "a.map.png", PNG.getvalue())
    assert photos_in([tmp_path]) == photos


def asked_of(photos: list[Path]) -> list[Task]:
    """The tasks that workers would be given for photos."""
    asked: list[Task] = []

    def engine(tasks: Iterable[Task]) -> list[tuple[Task, Mapped | Failed]]:
        asked.extend(tasks)
        return []

    list(map_photos(photos, order(None), engine))
    return asked


def _fragile(task: Task) -> Mapped | Failed:
    if "deadly" in task.path.name:
        os.kill(os.getpid(), signal.SIGKILL)
    return Failed(task.path.name)


def test_a_photo_that_kills_its_worker_is_found_and_the_others_go_on(tmp_path: Path) -> None:
    names = ["a.jpg", "deadly.jpg", "b.jpg", "c.jpg"]
    tasks = asked_of([photo_file(tmp_path / name) for name in names])
    done = list(local.outcomes(tasks, 2, LIMITS, _fragile))
    assert sorted(task.path.name for task, _ in done) == sorted(names)
    for task, outcome in done:
        assert isinstance(outcome, Failed)
        assert ("died" in outcome.reason) == outcome.fault == ("deadly" in task.path.name)


def test_another_version_maps_nothing(tmp_path: Path) -> None:
    asked = asked_of([photo_file(tmp_path / "a.jpg")])
    outcome = map_task(replace(asked[0], version="0.0.0"))
    assert isinstance(outcome, Failed)
    assert "Install the same" in outcome.reason


@pytest.fixture(scope="module")
def small_photos(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two photos of the same hide, reduced to 2 megapixels, and one that is cut short."""
    folder = tmp_path_factory.mktemp("photos")
    with Image.open(SAMPLES / "side_on_tile.jpg") as image:
        small = image.resize((1600, 1200), Image.Resampling.BOX)
        for name, quality in (("a", 90), ("b", 92)):
            small.save(folder / f"{name}.jpg", quality=quality, exif=image.getexif())
    (folder / "short.jpg").write_bytes((folder / "a.jpg").read_bytes()[:100_000])
    return folder


@pytest.fixture(scope="module")
def serial(small_photos: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The maps' bytes when each photo is mapped by itself."""
    out = tmp_path_factory.mktemp("serial")
    return {
        f"{name}.hide.json": map_one(small_photos / f"{name}.jpg", Inputs(), Keeping(out), SETTINGS)[0].read_bytes()
        for name in "ab"
    }


def maps(out: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in out.glob("*.json")}


def test_a_killed_run_is_taken_up_and_gives_the_same_maps(
    small_photos: Path, serial: dict[str, bytes], tmp_path: Path
) -> None:
    """Killed with the first map on disk; its workers end with it; the second run maps the rest and no photo twice."""
    out = tmp_path / "out"
    words: list[str | Path] = [
        sys.executable,
        "-c",
        "from hidescan.cli.app import main; main()",
        "map",
        small_photos,
        "-o",
        out,
    ]
    root = str(Path(__file__).parents[2])
    words += ["--shelf", tmp_path / "s.sqlite"]
    environment = {**os.environ, "PYTHONPATH": root}
    first = subprocess.Popen(words, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    while not list(out.glob("*.hide.json")):
        assert first.poll() is None
        time.sleep(0.02)
    first.kill()
    first.wait()
    write_whole(out / "x", b"")
    (out / f".a.hide.json.{first.pid}-abc_1.part").write_bytes(b"half")
    before = maps(out)
    again = subprocess.run(words, env=environment, capture_output=True, text=True)
    assert again.returncode == 2
    assert "short.jpg: the picture is damaged or cut short" in again.stderr
    assert maps(out) == serial
    assert all(serial[name] == data for name, data in before.items())
    assert not list(out.glob(".*.part"))
    assert not list(out.glob("*.hide/[0-9]*"))  # no photo became two revisions
    with closing(database.open_shelf(tmp_path / "s.sqlite")) as shelf:
        assert sorted(row.label for row in find(shelf, Criteria())) == ["a", "b"]
        assert all(row.shade is not None for row in find(shelf, Criteria()))
        assert database.problems(shelf) == []


@pytest.mark.filterwarnings("ignore:.*unclosed.*:ResourceWarning")
def test_a_cluster_gives_the_same_maps_though_a_worker_is_killed(
    small_photos: Path, serial: dict[str, bytes], tmp_path: Path
) -> None:
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        processes=True,
        dashboard_address=None,
        local_directory=str(tmp_path / "dask"),
    ) as machines:
        address = machines.scheduler_address
        victim = next(iter(machines.workers.values())).process.process.pid

        def engine(tasks: Iterable[Task]) -> Iterator[tuple[Task, Mapped | Failed]]:
            for number, outcome in enumerate(cluster.outcomes(tasks, address, LIMITS)):
                if number == 0:
                    os.kill(victim, signal.SIGKILL)
                yield outcome

        photos = [small_photos / f"{name}.jpg" for name in "ab"]
        results = run(photos, order(tmp_path / "out", by_content=True), engine)
    assert [result.reason for result in results.values()] == [None, None]
    assert maps(tmp_path / "out") == serial


def test_a_cluster_that_is_not_there_is_said_at_once() -> None:
    """In a process of its own: the client's end is part of it."""
    code = (
        "from hidescan.many import cluster; from hidescan.many.settings import FolderSettings\n"
        "from hidescan.basics.errors import BadInput\n"
        "try: list(cluster.outcomes([], 'tls://127.0.0.1:9', FolderSettings(connect_s=0.5)))\n"
        "except BadInput as error: print(error)"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=55)
    assert "no scheduler answers there" in said.stdout
    assert said.stderr == ""


def test_a_file_counts_as_written_when_it_has_been_still(tmp_path: Path) -> None:
    path, unseen = photo_file(tmp_path / "a.jpg", b"x"), (-1, -1)
    growing = {path: (unseen, 0.0), tmp_path / "gone.jpg": (unseen, 0.0)}
    assert settled(growing, 0.2, 1.0) == []
    path.write_bytes(b"xy")
    assert settled(growing, 1.3, 1.0) == []  # it grew meanwhile
    assert settled(growing, 2.2, 1.0) == []
    assert settled(growing, 2.4, 1.0) == [path]
    assert growing == {}


def test_photos_are_taken_as_they_arrive_and_only_whole(tmp_path: Path) -> None:
    whole, stop = b"x" * 40_000, threading.Event()
    photo_file(tmp_path / "there.jpg")

    def copy_slowly() -> None:
        time.sleep(0.8)
        with (tmp_path / "slow.jpg").open("wb") as file:
            for start in range(0, len(whole), 10_000):
                file.write(whole[start : start + 10_000])
                file.flush()
                time.sleep(0.3)
        photo_file(tmp_path / "slow.map.png")

    writer = threading.Thread(target=copy_slowly)
    writer.start()
    seen = {}
    for batch in arrivals(tmp_path, replace(LIMITS, settled_s=0.6, look_s=0.1), stop):
        seen.update({path.name: path.read_bytes() for path in batch})
        if "slow.jpg" in seen:
            stop.set()
    writer.join()
    assert seen == {"there.jpg": b"there.jpg", "slow.jpg": whole}


def test_only_what_dead_writers_left_is_cleared(tmp_path: Path) -> None:
    dead = subprocess.Popen([sys.executable, "-c", ""])
    dead.wait()
    left = tmp_path / f".a.map.png.{dead.pid}-k3_x.part"
    at_work = tmp_path / f".b.map.png.{os.getpid()}-k3_x.part"
    own = tmp_path / ".notes.part"
    for path in (left, at_work, own):
        path.write_bytes(b"half")
    clear_abandoned(tmp_path)
    assert not left.exists()
    assert at_work.exists()
    assert own.exists()
    clear_abandoned(tmp_path / "none")


def test_the_map_of_a_folder_can_be_read_back(small_photos: Path, serial: dict[str, bytes], tmp_path: Path) -> None:
    write_whole(tmp_path / "a.hide.json", serial["a.hide.json"])
    made = read_map(tmp_path / "a.hide.json")
    assert made.photo.sha256 == hashlib.sha256((small_photos / "a.jpg").read_bytes()).hexdigest()

"""Jobs that hang, workers that are killed, two people at once: the server's side of the worker processes."""

import asyncio
import io
import json
import multiprocessing
import os
import signal
import time
from collections.abc import Awaitable, Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from hidescan.basics.errors import BadInput
from hidescan.page.guard import PERSON
from hidescan.page.journal import Given
from hidescan.page.mapper import Mapper
from hidescan.page.settings import PageSettings
from hidescan.page.worker.bench import Subject

pytestmark = pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="needs signals")


@pytest.fixture
def subjects(tmp_path: Path) -> list[Subject]:
    """Three photos without a card: they get a plain answer in no time."""
    data, made = io.BytesIO(), []
    Image.new("RGB", (1200, 900), "grey").save(data, "JPEG", quality=30)
    for name in "abc":
        (tmp_path / name).mkdir()
        (tmp_path / name / "photo").write_bytes(data.getvalue())
        made.append(Subject(tmp_path / name, f"{name}.jpg", Given()))
    return made


def run(work: Callable[[Mapper], Awaitable[Any]], **settings: Any) -> Any:
    """Let a coroutine have a mapper, in a thread whose event loop is nobody else's."""

    async def inside() -> Any:
        mapper = Mapper(PageSettings(**settings))
        mapper.start()
        try:
            return await work(mapper)
        finally:
            mapper.stop()

    with ThreadPoolExecutor(1) as apart:
        return apart.submit(asyncio.run, inside()).result()


def as_person(name: str, asked: Awaitable[Any]) -> "asyncio.Task[Any]":
    async def inside() -> Any:
        PERSON.set(name)
        return await asked

    return asyncio.ensure_future(inside())


def workers() -> Iterator[int]:
    return (child.pid for child in multiprocessing.active_children() if child.pid is not None)


def code(shown: bytes) -> object:
    return json.loads(shown)["problem"]["code"]


def test_a_worker_that_was_killed_is_tried_once_more_before_the_photo_is_blamed(subjects: list[Subject]) -> None:
    async def work(mapper: Mapper) -> Any:
        await mapper.ask("view", subjects[0])
        (pid,) = workers()
        os.kill(pid, signal.SIGSTOP)
        asked = asyncio.ensure_future(mapper.ask("view", subjects[0]))
        await asyncio.sleep(0.3)
        os.kill(pid, signal.SIGKILL)
        return await asked

    assert code(run(work)) == "no-card"


def test_a_photo_that_kills_every_worker_is_blamed(subjects: list[Subject]) -> None:
    async def work(mapper: Mapper) -> Any:
        await mapper.ask("view", subjects[0])
        killed = set[int]()
        asked = asyncio.ensure_future(mapper.ask("view", subjects[0], say=lambda text: None))
        while not asked.done():
            for pid in set(workers()) - killed:
                os.kill(pid, signal.SIGKILL)
                killed.add(pid)
            await asyncio.sleep(0.05)
        return await asked

    with pytest.raises(BadInput, match="twice"):
        run(work)


def test_one_person_s_hanging_job_does_not_hold_up_another(subjects: list[Subject]) -> None:
    """And it is given up when its time is over, however many stages it names."""

    async def work(mapper: Mapper) -> Any:
        await as_person("a", mapper.ask("view", subjects[0]))
        (pid,) = workers()
        os.kill(pid, signal.SIGSTOP)
        began = time.monotonic()
        hung = as_person("a", mapper.ask("view", subjects[0]))
        await asyncio.sleep(0.1)
        second = await as_person("b", mapper.ask("view", subjects[1]))
        waited, still = time.monotonic() - began, not hung.done()
        with pytest.raises(BadInput, match="given up after 20 s"):
            await hung
        return code(second), waited, still

    answer, waited, still = run(work, most_seconds=20.0)
    assert answer == "no-card" and still and waited < 20.0


def test_a_person_has_one_job_in_hand_at_a_time(subjects: list[Subject]) -> None:
    async def work(mapper: Mapper) -> Any:
        await asyncio.gather(*(as_person("a", mapper.ask("view", subject)) for subject in subjects))
        return len(list(workers()))

    assert run(work) == 1


def test_a_work_that_another_worker_changed_is_read_anew(subjects: list[Subject]) -> None:
    """What a worker holds of a work counts only while no other had it."""
    one, two, three = subjects

    async def work(mapper: Mapper) -> Any:
        await as_person("a", mapper.ask("view", one))
        (first,) = workers()
        os.kill(first, signal.SIGSTOP)
        held = as_person("a", mapper.ask("view", two))
        await asyncio.sleep(0.1)
        (one.folder / "photo").write_bytes(b"no picture any more")
        for subject in (three, one):  # by the second worker
            with suppress(BadInput):
                await as_person("b", mapper.ask("view", subject))
        os.kill(first, signal.SIGCONT)
        await held
        (second,) = set(workers()) - {first}
        os.kill(second, signal.SIGSTOP)
        held = as_person("b", mapper.ask("view", three))
        await asyncio.sleep(0.1)
        with pytest.raises(BadInput, match="picture"):  # by the first, which holds the photo as it was
            await as_person("a", mapper.ask("view", one))
        os.kill(second, signal.SIGCONT)
        await held

    run(work)

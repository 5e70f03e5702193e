"""Which tests are quick: all that slow.txt does not name. `.ci/task slow` writes that list from measured times.

Times are of the processor, children included, so that what else the machine does changes them little.
"""

import os
from collections import defaultdict
from collections.abc import Generator
from pathlib import Path

import pytest

SLOW = Path(__file__).with_name("slow.txt")
MOST_S = 0.3  # of all cases of one test function together
_SPENT: defaultdict[str, float] = defaultdict(float)


def _function(nodeid: str) -> str:
    return nodeid.partition("[")[0]


def _processor_s() -> float:
    return sum(os.times()[:4])


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--write-slow", action="store_true", help="Write tests/slow.txt from this run of all tests.")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    slow = set(SLOW.read_text("utf-8").splitlines()) if SLOW.is_file() else set()
    for item in items:
        if _function(item.nodeid) not in slow:
            item.add_marker(pytest.mark.quick)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Generator[None, object, object]:
    item.stash[_STARTED] = _processor_s()
    return (yield)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: object) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if report.when == "teardown":
        report.user_properties.append(("processor_s", _processor_s() - item.stash[_STARTED]))
    return report


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    for name, value in report.user_properties:
        if name == "processor_s":
            _SPENT[_function(report.nodeid)] += float(str(value))


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Where tests share what was slow to make, it counts for the first of them; so an earlier list is added to."""
    if session.config.getoption("--write-slow") and not hasattr(session.config, "workerinput"):
        kept = set(SLOW.read_text("utf-8").splitlines()) if SLOW.is_file() else set()
        there = {name for name in kept if (SLOW.parents[1] / name.partition("::")[0]).is_file()}
        slow = sorted(there | {name for name, spent_s in _SPENT.items() if spent_s > MOST_S})
        SLOW.write_text("".join(f"{name}\n" for name in slow), "utf-8")


_STARTED = pytest.StashKey[float]()

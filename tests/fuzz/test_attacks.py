"""A few tries of each class of attack; `tests.benchmarks.attack_study` makes thousands."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.benchmarks.attack_study import CLASSES

ROOT = Path(__file__).parents[2]


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="needs pipes, devices and alarms")
@pytest.mark.parametrize("name", CLASSES)
def test_a_seeded_attack_breaks_nothing(name: str) -> None:
    # `main` alone: the study's own table is kept for thousands of tries.
    command = [sys.executable, "-c", "from tests.benchmarks.attack_study import main; main()", name, "8"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)
    found = re.search(rf"\| {name} \| 8 \| (\d+) \| (\d+) \| 0 \| 0 \| 0 \| .* s \| (\d+) MB", done.stdout)
    assert found, done.stdout + done.stderr[-2000:]
    assert int(found[1]) + int(found[2]) == 8 and int(found[3]) < 1200

"""A person with a code while a crowd holds the page's door: how long the list and a map take.

    python -m tests.benchmarks.slow_clients_study [--open 500] [--half 1200] [--seconds 60] [--again-every 5]

All on 127.0.0.1, against a program of its own; connections that are cut come again.
"""

import argparse
import statistics
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests.benchmarks.recorded import recorded
from tests.page.served import SAMPLES, start
from tests.page.test_slow_clients import Person, crowd

PORT = 18790


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--open", type=int, default=500)
    parser.add_argument("--half", type=int, default=1200)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument(
        "--again-every", type=float, default=5.0, help="Seconds after which those that were cut come again."
    )
    asked = parser.parse_args()
    photo = (SAMPLES / "goat_on_concrete.jpg").read_bytes()
    with tempfile.TemporaryDirectory() as folder:
        program = start(Path(folder), PORT)
        try:
            person = Person(program)
            quiet = [person.mapped_s(photo + bytes(n + 1), f"{n}.jpg") for n in range(6)][1:]
            with crowd(person.at, asked.open, asked.half) as again, ThreadPoolExecutor(1) as apart:
                until = time.monotonic() + asked.seconds
                back = 0

                def keep_on() -> None:
                    nonlocal back
                    while time.monotonic() < until:
                        back += again()
                        time.sleep(min(asked.again_every, max(0.0, until - time.monotonic())))

                load = apart.submit(keep_on)
                lists, maps = list[float](), list[float]()
                while time.monotonic() < until:
                    for _ in range(5):
                        began = time.monotonic()
                        person.ask("/api/works")
                        lists.append(time.monotonic() - began)
                    maps.append(person.mapped_s(photo + bytes(100 + len(maps)), f"m{len(maps)}.jpg"))
                load.result()
        finally:
            program.kill()
    print(f"{asked.open} open, {asked.half} half-sent, {asked.seconds:.0f} s; {back} came again after they were cut")
    print(
        f"list: {len(lists)} times, median {statistics.median(lists):.3f} s, longest {max(lists):.3f} s (1 s allowed)"
    )
    middle, calm = statistics.median(maps), statistics.median(quiet)
    print(
        f"map: quiet median {calm:.2f} s (longest {max(quiet):.2f} s); beside the crowd {len(maps)} times, median {middle:.2f} s,"
    )
    print(f"longest {max(maps):.2f} s; {middle / calm:.2f} times the quiet median (1.5 allowed)")


if __name__ == "__main__":
    with recorded("slow-clients"):
        main()

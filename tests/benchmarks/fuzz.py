"""Feed a target with inputs that a coverage-guided fuzzer thinks up, and keep the first of each kind that breaks it.

    python -m tests.benchmarks.fuzz TARGET SECONDS FOLDER

Needs atheris (`uv pip install atheris`, wheels for CPython on Linux). In FOLDER the corpus grows from run to run; inputs
that broke the target lie in FOLDER/broken, one for each place in the code. Inputs that take over 20 s or 1.5 GB stop
the run; libFuzzer then writes them to FOLDER/broken itself.
"""

import hashlib
import os
import random
import sys
import time
import traceback
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["hidescan", "svgelements", "PIL", "ezdxf.lldxf", "ezdxf.path"]):
    from tests.fuzz.seeds import seeds
    from tests.fuzz.targets import OF_JSON, one, with_odd_value

TIMEOUT_S, MOST_MB, LONGEST = 20, 1500, 20_000


def main() -> None:
    name, seconds, folder = sys.argv[1], int(sys.argv[2]), Path(sys.argv[3])
    corpus, broken = folder / name, folder / "broken"
    corpus.mkdir(parents=True, exist_ok=True)
    broken.mkdir(exist_ok=True)
    for data in seeds(name):
        (corpus / hashlib.sha1(data).hexdigest()).write_bytes(data)
    seen: set[str] = set()
    slowest = [0.0]

    def once(data: bytes) -> None:
        start = time.perf_counter()
        try:
            one(name, data)
        except Exception as error:
            frames = traceback.extract_tb(error.__traceback__)
            at = next((f for f in reversed(frames) if "hidescan/" in f.filename), frames[-1])
            place = f"{name}-{type(error).__name__}-{Path(at.filename).stem}-{at.lineno}"
            if place not in seen:
                seen.add(place)
                (broken / place).write_bytes(data)
                print(f"BROKEN {place}: {str(error)[:200]!r}", flush=True)
        took = time.perf_counter() - start
        if took > max(1.0, 1.5 * slowest[0]):
            slowest[0] = took
            (broken / f"{name}-slow-{took:.0f}s").write_bytes(data)
            print(f"SLOW {took:.1f} s", flush=True)

    def mutated(data: bytes, most: int, seed: int) -> bytes:
        if name in OF_JSON and random.Random(seed).random() < 0.7:
            made = with_odd_value(data, seed)
            if made is not None and len(made) <= most:
                return made
        return bytes(atheris.Mutate(data, most))

    arguments = [
        sys.argv[0], str(corpus), f"-max_total_time={seconds}", f"-timeout={TIMEOUT_S}", f"-rss_limit_mb={MOST_MB}",
        f"-max_len={LONGEST}", f"-artifact_prefix={broken}/{name}-", "-print_final_stats=1", "-verbosity=0",
    ]  # fmt: skip
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    atheris.Setup(arguments, once, custom_mutator=mutated)
    atheris.Fuzz()


if __name__ == "__main__":
    main()

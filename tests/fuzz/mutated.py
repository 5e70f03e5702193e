"""Files made odd by a seed: broken as disks and transfers break them, or maps that contradict themselves."""

import json
import random
from collections.abc import Iterator
from typing import Any

from tests.fuzz.targets import with_odd_value


def flipped(data: bytes, rng: random.Random) -> bytes:
    """Bytes broken as disks, transfers and people break them."""
    made = bytearray(data)
    for _ in range(rng.choice((1, 1, 3, 20))):
        at, kind = rng.randrange(max(1, len(made))), rng.randrange(6)
        if not made:
            break
        if kind == 0:
            made[at] ^= 1 << rng.randrange(8)
        elif kind == 1:
            del made[at:]
        elif kind == 2:
            del made[at : at + rng.choice((1, 8, 200))]
        elif kind == 3:
            made[at:at] = made[at : at + rng.choice((1, 8, 200))] * rng.choice((1, 3, 50))
        elif kind == 4:
            made[at:at] = rng.choice(
                (b"9" * 400, b"-1e999", b"\xff\xfe", b"\0", b'"', b"\n", b"=", b"nan", b"[" * 3000)
            )
        else:
            made[at : at + 16] = bytes(rng.randrange(256) for _ in range(16))
    return bytes(made)


def rings_in(plain: Any) -> Iterator[list[Any]]:
    """Every ring or line below a value."""
    if isinstance(plain, dict):
        for value in plain.values():
            yield from rings_in(value)
    elif isinstance(plain, list):
        if (
            len(plain) > 3
            and isinstance(plain[0], list)
            and len(plain[0]) == 2
            and isinstance(plain[0][0], int | float)
        ):
            yield plain
        else:
            for value in plain:
                yield from rings_in(value)


def odd_map(data: bytes, rng: random.Random) -> bytes:
    """A map that contradicts itself, is broken, or is as it was."""
    kind = rng.randrange(6)
    if kind == 0:
        return flipped(data, rng)
    if kind == 1:
        return with_odd_value(data, rng.randrange(10**9)) or data
    plain = json.loads(data)
    if kind == 2:
        entry = plain["measures"][rng.choice(list(plain["measures"]))]
        entry["value"] *= rng.choice((0, 1e-9, 0.5, 1.2, 1e6, -1))
    elif kind == 3:
        camera = plain["camera"]
        key = rng.choice([key for key in camera if key != "rotation"])
        factor = rng.choice((-1, 0, 1e-9, 1e3, 1e6, 1e11))
        camera[key] = [v * factor for v in camera[key]] if isinstance(camera[key], list) else camera[key] * factor
    else:
        ring = rng.choice(list(rings_in({key: plain[key] for key in ("zones", "marks", "outline")})))
        i, j = rng.randrange(1, len(ring) - 1), rng.randrange(1, len(ring) - 1)
        match rng.randrange(4):
            case 0:
                ring[i], ring[j] = ring[j], ring[i]
            case 1:
                ring[i] = [ring[i][0] * rng.choice((-1, 3, 1e6, 1e11)), ring[i][1]]
            case 2:
                ring[:] = [[x * 1e5, y * 1e5] for x, y in ring]
            case _:
                ring[:] = [[x, ring[0][1]] for x, _ in ring]
    return json.dumps(plain).encode()

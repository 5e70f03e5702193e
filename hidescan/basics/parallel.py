"""Work done beside other work, where there is a second core for it."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")


def start_in_thread(function: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> Callable[[], T]:
    """Begin a call in a thread of its own; what is returned waits for its result.

    In a process that was given one thread, as a worker among several is, the call is made when its result is asked for.
    """
    import cv2

    if cv2.getNumThreads() < 2:
        return partial(function, *args, **kwargs)
    pool = ThreadPoolExecutor(1)
    result = pool.submit(function, *args, **kwargs).result
    pool.shutdown(wait=False)
    return result

"""The same tasks through a dask.distributed scheduler: workers on other machines, which may come and go.

The scheduler is the engine's own: it hands a task that a dead worker held to another, and gives up on one that killed
several. Nothing is written by the workers, so nothing can be written twice.
"""

import warnings
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

from hidescan.basics.errors import BadInput
from hidescan.many.settings import FolderSettings
from hidescan.many.task import Failed, Mapped, Task, map_task

if TYPE_CHECKING:
    from distributed import Future


def outcomes(tasks: Iterable[Task], address: str, settings: FolderSettings) -> Iterator[tuple[Task, Mapped | Failed]]:
    """Do tasks on a cluster; each comes back once, in the order in which they are finished.

    Parameters
    ----------
    address
        Of the scheduler: tcp://HOST:8786, or tls:// with the certificates that dask's own configuration names.

    Raises
    ------
    BadInput
        The extra is not installed, or no scheduler answers.
    """
    try:
        from distributed import Client, as_completed
    except ImportError as error:
        raise BadInput('--cluster needs the extra: pip install "hidescan[cluster]".') from error
    # Made in two steps: a client that could not connect would on its end wait a minute for the scheduler to let it go.
    client: Any = Client.__new__(Client)
    try:
        client.__init__(address, set_as_default=False, timeout=settings.connect_s)
    except (OSError, ValueError, TypeError) as error:
        client.status = "closed"
        raise BadInput(f"--cluster {address}: no scheduler answers there ({error}). Is it running?") from error
    waiting = iter(tasks)
    with client, warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Sending large graph")  # a photo is what is to be sent
        held: dict[Any, Task] = {}
        finished = as_completed(loop=client.loop)

        def hand_out() -> None:
            threads = sum(client.nthreads().values())
            while len(held) < max(1, settings.handed_out_per_worker * threads):
                task = next(waiting, None)
                if task is None:
                    return
                # Not pure: a task done in an earlier run must be done again when it is asked for again.
                future = client.submit(map_task, task, pure=False)
                held[future.key] = task
                finished.add(future)

        hand_out()
        while held:
            future = next(finished)
            task = held.pop(future.key)
            yield task, _outcome(task, future)
            hand_out()


def _outcome(task: Task, future: "Future[Any]") -> Mapped | Failed:
    try:
        outcome = future.result()
    except Exception as error:
        return Failed(f"{task.path.name}: the cluster could not map it ({type(error).__name__}: {error}).", fault=True)
    assert isinstance(outcome, Mapped | Failed)
    return outcome

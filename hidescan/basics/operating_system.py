"""What operating systems do differently; where one cannot do a thing, the plain fallback says so."""

import os

try:
    import resource
except ImportError:  # Windows
    resource = None  # type: ignore[assignment]

# Whether a port that a program just left may be bound at once; on Windows two programs could then have it together.
PORTS_REUSABLE = os.name == "posix"


def limit_address_space(size_bytes: int) -> bool:
    """Whether this process can no longer take more memory than that; False where the system knows no such limit."""
    if resource is None:
        return False
    try:
        resource.setrlimit(resource.RLIMIT_AS, (size_bytes, size_bytes))
    except (OSError, ValueError):  # macOS knows the name but keeps no such limit; or a lower one holds already
        return False
    return True


def is_running(pid: int) -> bool:
    """Whether a process with this number runs; True where there is no harmless way to ask."""
    if os.name != "posix":
        return True  # os.kill ends the process there, whatever the signal
    try:
        os.kill(pid, 0)  # signal 0 only asks
    except ProcessLookupError:
        return False
    except (PermissionError, OverflowError):
        return True
    return True


def usable_cores() -> int:
    """Number of cores that this process may use; all of the machine's where the system keeps no such list."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1

"""The library that reads and writes DXF, kept from writing among other programs' files."""

import os
import sys
import threading

from platformdirs import user_cache_path

_LOCK = threading.Lock()
_CACHE = "XDG_CACHE_HOME"


def load_ezdxf() -> None:
    """Import ezdxf before anything else of it is; its list of the system's fonts lies in hidescan's cache folder.

    Without this the list, which it makes while it is imported, would lie in a folder of its own in the user's home.
    """
    with _LOCK:
        if "ezdxf" in sys.modules:
            return
        before = os.environ.get(_CACHE)
        os.environ[_CACHE] = str(user_cache_path("hidescan", appauthor=False))
        try:
            import ezdxf  # noqa: F401
        finally:
            if before is None:
                del os.environ[_CACHE]
            else:
                os.environ[_CACHE] = before

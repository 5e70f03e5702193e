"""What went wrong on the computer that runs hidescan, for someone at another one: no folder of it is named."""

import errno
import os
from pathlib import Path

from platformdirs import user_config_path, user_data_path

from hidescan.basics.errors import BadInput, CannotWrite

_FULL = frozenset((errno.ENOSPC, errno.EDQUOT))
# OpenCV's code for it stands in the words: the attribute `code` is the whole class's, of whichever error came last.
_NO_MEMORY = ("(-4:Insufficient memory)", "bad_alloc", "bad allocation")
_FORBIDDEN = frozenset((errno.EROFS, errno.EACCES, errno.EPERM))


def sentence_for(error: OSError | BadInput) -> str:
    """One sentence for a refusal or a disk's failure.

    Examples
    --------
    >>> sentence_for(OSError(errno.ENOSPC, "No space left on device", "/home/ann/page/x"))
    "The disk of hidescan's computer is full. Make room there, then do this again."
    """
    if isinstance(error, BadInput) and not isinstance(error, CannotWrite):
        return without_folders(str(error))
    if error.errno in _FULL:
        return "The disk of hidescan's computer is full. Make room there, then do this again."
    if error.errno in _FORBIDDEN:
        return "hidescan may not write into its own folder on its computer. Allow it there, then do this again."
    if isinstance(error, FileNotFoundError):
        return "A file of this hide is missing on hidescan's computer. Add the photo again."
    return "The disk of hidescan's computer cannot be read or written. See to it there, then do this again."


def fault_sentence(error: BaseException) -> str:
    """One sentence for a fault of the program."""
    return f"This does not work: hidescan has a fault here ({type(error).__name__}). Please report it."


def out_of_memory(error: BaseException) -> bool:
    """Whether memory could not be had, as Python, OpenCV (by its own error) or ONNX Runtime (by C++'s) says it."""
    return isinstance(error, MemoryError) or any(words in str(error) for words in _NO_MEMORY)


def without_folders(text: str) -> str:
    """A message without the folders in which hidescan keeps things."""
    for root in (user_data_path("hidescan", appauthor=False), user_config_path("hidescan", appauthor=False)):
        inside = f"{Path(root)}{os.sep}"
        while inside in text:
            start = text.index(inside)
            end = next((n for n in range(start, len(text)) if text[n] in ": "), len(text))
            text = text[:start] + Path(text[start:end]).name + text[end:]
    return text

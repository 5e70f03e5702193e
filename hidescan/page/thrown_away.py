"""Hides that were thrown away: kept aside for a month, so that they can be brought back."""

import shutil
from pathlib import Path

from hidescan.page.works import about, is_id, is_work

KEPT_S = 30 * 86_400.0


def throw_away(folder: Path, name: str, now_s: float) -> None:
    """Move a work of a folder aside, with all that was kept of it."""
    aside = _aside(folder)
    aside.mkdir(exist_ok=True)
    (folder / name).rename(aside / name)
    (aside / name / "thrown_at").write_text(str(now_s), "utf-8")


def thrown(folder: Path) -> list[tuple[str, str]]:
    """Works that can be brought back, name and photo's file name, the last thrown away first."""
    there = [path for path in _aside(folder).glob("*") if is_work(path)]
    return [(path.name, about(path).file) for path in sorted(there, key=_when_s, reverse=True)]


def bring_back(folder: Path, name: str) -> None:
    """Put a work back where it was.

    Raises
    ------
    KeyError
        There is none of that name.
    """
    aside = _aside(folder) / name
    if not is_id(name) or not aside.is_dir():
        raise KeyError(name)
    aside.rename(folder / name)
    (folder / name / "thrown_at").unlink(missing_ok=True)


def empty(folder: Path, now_s: float) -> None:
    """Take off the disk what was thrown away more than `KEPT_S` before."""
    for name, _ in thrown(folder):
        if now_s - _when_s(_aside(folder) / name) > KEPT_S:
            shutil.rmtree(_aside(folder) / name)


def _aside(folder: Path) -> Path:
    return folder.with_name(f"{folder.name}-thrown-away")


def _when_s(work: Path) -> float:
    path = work / "thrown_at"
    return float(path.read_text("utf-8")) if path.is_file() else work.stat().st_mtime

"""The shelf's file: opened, brought up to date, backed up. SQLite with a write-ahead log: readers never wait.

A copy is made by itself on the first use of a day and before the file is brought up to a new version; three of each
are kept in a folder beside it.
"""

import hashlib
import sqlite3
import time
import zlib
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from datetime import date
from pathlib import Path

from platformdirs import user_data_path

from hidescan.basics.atomic_files import write_whole
from hidescan.basics.errors import BadInput, CannotWrite
from hidescan.basics.reading import read_bytes, read_start
from hidescan.shelf.schema import STEPS
from hidescan.shelf.settings import ShelfSettings

# What SQLite raises over a damaged file; its messages may quote bytes that are no text.
BROKEN = (sqlite3.Error, UnicodeDecodeError)
_KEPT_COPIES = 3
_MOST_SHELF_BYTES = 4_000_000_000  # 20,000 maps
_RESTORE = "Run hidescan shelf check; hidescan shelf restore brings back the newest sound copy."
APPLICATION_ID = 0x48494445  # "HIDE": tells a shelf from any other SQLite file
_APPLICATION_AT, _VERSION_AT = 68, 60  # bytes of the file's header (SQLite file format, section 1.3)
# What is no fault of ours: primary result codes (SQLite, result and error codes).
_OF_THE_DISK = frozenset(
    (sqlite3.SQLITE_FULL, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_BUSY, sqlite3.SQLITE_CANTOPEN)
)


today = date.today


def default_path() -> Path:
    """Where the user's own shelf lies."""
    return Path(user_data_path("hidescan", appauthor=False)) / "shelf.sqlite"


def open_shelf(
    path: Path, settings: ShelfSettings | None = None, steps: Sequence[Sequence[str]] = STEPS
) -> sqlite3.Connection:
    """Open a shelf, made or brought up to date where needed.

    The connection is in autocommit mode: writes go through `writing`.

    Parameters
    ----------
    steps
        The schema, as the statements that lead from each version to the next.

    Raises
    ------
    BadInput
        No shelf, damaged, made by a newer program (then it is not touched), or the folder cannot be written.
    """
    _check_header(path, len(steps))
    new = not path.exists()
    busy_s = (settings or ShelfSettings()).busy_s
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        db = sqlite3.connect(path, timeout=busy_s, isolation_level=None)
        try:
            _set_up(db, path, steps, busy_s)
        except BaseException:
            db.close()
            raise
    except BROKEN as error:
        raise unusable(path, error) from error
    except OSError as error:
        raise BadInput(f"{path}: cannot be used as a shelf ({error}). Name another file with --shelf.") from error
    if not new:
        with suppress(BadInput, OSError, *BROKEN):  # a full disk or a damaged file must not keep a person out
            _copy_of_today(db, path)
    return db


def unusable(path: Path, error: Exception) -> BadInput:
    """What to tell of a shelf that SQLite cannot use: damage has another cure than a disk."""
    of_the_disk = getattr(error, "sqlite_errorcode", 0) & 0xFF in _OF_THE_DISK
    advice = "Name another file with --shelf." if of_the_disk else _RESTORE
    return BadInput(f"{path}: cannot be used as a shelf ({error}). {advice}")


def unpacked(data: bytes, sha256: str | None, what: str) -> bytes:
    """A map as it was put on the shelf.

    Raises
    ------
    BadInput
        It is damaged.
    """
    try:
        found = zlib.decompress(data)
    except (zlib.error, TypeError) as error:
        raise BadInput(f"{what} is damaged on the shelf. {_RESTORE}") from error
    if sha256 is not None and hashlib.sha256(found).hexdigest() != sha256:
        raise BadInput(f"{what} was changed on the shelf: its checksum differs. {_RESTORE}")
    return found


@contextmanager
def writing(db: sqlite3.Connection) -> Iterator[None]:
    """All or nothing: a transaction that takes the write lock at once, so that two writers queue up and never clash.

    Raises
    ------
    BadInput
        The disk is full or cannot be written, or another program holds the shelf for too long.
    """
    try:
        db.execute("BEGIN IMMEDIATE")
        yield
        db.execute("COMMIT")
    except BaseException as error:
        if db.in_transaction:  # SQLite ends it by itself where the disk is full
            db.execute("ROLLBACK")
        if isinstance(error, sqlite3.OperationalError) and error.sqlite_errorcode & 0xFF in _OF_THE_DISK:
            raise CannotWrite(f"The shelf cannot be written ({error}). Nothing on it was changed.") from error
        raise


def problems(db: sqlite3.Connection) -> list[str]:
    """What SQLite finds wrong with the file; empty where it is sound."""
    wrong = [str(row[0]) for row in db.execute("PRAGMA integrity_check") if row[0] != "ok"]
    return wrong + [f"{table}: row {row} points nowhere" for table, row, *_ in db.execute("PRAGMA foreign_key_check")]


def damage(db: sqlite3.Connection) -> list[str]:
    """What is wrong with the file, and which maps' checksums differ; empty where all is sound."""
    try:
        wrong = problems(db)
        maps = (
            "SELECT hide.label, map.photo_file, map.json_zlib, map.sha256 FROM map JOIN hide ON hide.id = map.hide_id"
        )
        for label, file, data, sha256 in db.execute(maps):
            try:
                unpacked(data, sha256, f"{label}: its map of {file}")
            except BadInput as error:
                wrong.append(str(error).split(". ")[0])
    except BROKEN as error:
        return [str(error)]
    return wrong


def copies(path: Path) -> list[Path]:
    """The copies of a shelf that were made by themselves, newest first."""
    found = _copies_folder(path).glob("????-??-??*.sqlite")
    return sorted(found, key=lambda copy: (copy.stem[:10], copy.stat().st_mtime_ns), reverse=True)


def restore(path: Path, copy: Path | None) -> tuple[Path, Path | None]:
    """Put a copy in the place of a shelf; what was there is kept under another name.

    Parameters
    ----------
    copy
        Which; None for the newest that is sound.

    Returns
    -------
    The copy that was taken, and where the shelf that was there is kept.

    Raises
    ------
    BadInput
        No copy is sound, or another program uses the shelf.
    """
    chosen = next((found for found in ([copy] if copy else copies(path)) if not _damage_of_file(found)), None)
    if chosen is None:
        where = copy or _copies_folder(path)
        raise BadInput(f"{where}: there is no sound copy of a shelf. Nothing was changed.")
    aside = None
    if path.exists():
        _refuse_in_use(path)
        number = 1 + len(list(path.parent.glob(f"{path.stem}.before-restore-*{path.suffix}")))
        aside = path.with_name(f"{path.stem}.before-restore-{number}{path.suffix}")
        for ending in ("-wal", "-shm", ""):  # what is not yet in the file itself belongs to it
            with suppress(FileNotFoundError):
                path.with_name(path.name + ending).rename(aside.with_name(aside.name + ending))
    write_whole(path, read_bytes(chosen, _MOST_SHELF_BYTES))
    return chosen, aside


def _damage_of_file(copy: Path) -> list[str]:
    try:
        _check_header(copy, len(STEPS))
        if not copy.exists():
            return ["it is not there"]
        with closing(sqlite3.connect(f"{copy.absolute().as_uri()}?mode=ro&immutable=1", uri=True)) as db:
            return damage(db)
    except (BadInput, *BROKEN) as error:
        return [str(error)]


def _refuse_in_use(path: Path) -> None:
    """Refuse where another program writes to the shelf; one that is damaged is used by nobody."""
    with suppress(*BROKEN), closing(sqlite3.connect(path, timeout=1.0, isolation_level=None)) as db:
        try:
            db.execute("BEGIN EXCLUSIVE")
            db.execute("ROLLBACK")
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                raise BadInput(f"{path}: another program is using the shelf. End it first.") from error


def _copies_folder(path: Path) -> Path:
    return path.with_name(f"{path.stem}.copies")


def _copy_of_today(db: sqlite3.Connection, path: Path) -> None:
    target = _copies_folder(path) / f"{today().isoformat()}.sqlite"
    if not target.exists() and db.execute("SELECT count(*) FROM hide").fetchone()[0]:
        _copy(db, path, target)


def _copy(db: sqlite3.Connection, path: Path, target: Path) -> None:
    """Make a copy, and let the oldest of its kind go."""
    backup(db, target)
    daily = "-version-" not in target.name
    alike = [copy for copy in copies(path) if ("-version-" not in copy.name) == daily]
    for old in alike[_KEPT_COPIES:]:
        old.unlink(missing_ok=True)


def backup(db: sqlite3.Connection, target: Path) -> int:
    """Copy a shelf in use to a file, check the copy, and only then put it in place.

    Returns
    -------
    Number of hides in the copy.

    Raises
    ------
    BadInput
        The copy cannot be written, or is not sound.
    """
    part = target.with_name(f".{target.name}.part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        part.unlink(missing_ok=True)
        with closing(sqlite3.connect(part, isolation_level=None)) as copy:
            db.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")  # one file, with nothing left in a log beside it
            if wrong := problems(copy):
                raise BadInput(f"{target}: the copy is not sound ({wrong[0]}). Nothing was kept; check the disk.")
            count = int(copy.execute("SELECT count(*) FROM hide").fetchone()[0])
        part.replace(target)
    except (OSError, sqlite3.Error) as error:
        raise BadInput(f"{target}: the copy cannot be written ({error}).") from error
    finally:
        part.unlink(missing_ok=True)
    return count


def _check_header(path: Path, known: int) -> None:
    """Refuse what is no shelf, or a newer one, by its first bytes: opening a database would already touch it."""
    if not path.exists():
        return
    header = read_start(path, 100, "Name another file with --shelf.")
    if not header:  # another program is just making it
        return
    application, version = (int.from_bytes(header[at : at + 4]) for at in (_APPLICATION_AT, _VERSION_AT))
    # Neither number is there yet while another program is just making the file, or has not written its log back.
    ours = application == APPLICATION_ID or (application, version) == (0, 0)
    if not header.startswith(b"SQLite format 3\0") or not ours:
        raise BadInput(f"{path}: is not a shelf. Name another file with --shelf.")
    _check_version(path, version, known)


def _check_version(path: Path, version: int, known: int) -> None:
    if version > known:
        raise BadInput(
            f"{path}: was made by a newer hidescan (version {version} of the shelf, this one knows {known}). Update it."
        )


def _set_up(db: sqlite3.Connection, path: Path, steps: Sequence[Sequence[str]], busy_s: float) -> None:
    db.execute("PRAGMA foreign_keys = ON")
    _check_version(path, version := _version(db), len(steps))
    if version == 0 and db.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0] and _version(db) == 0:
        raise BadInput(f"{path}: is not a shelf. Name another file with --shelf.")
    _to_log_mode(db, busy_s)
    if version == len(steps):
        return
    if version:
        _copy(db, path, _copies_folder(path) / f"{today().isoformat()}-version-{version}.sqlite")
    with writing(db):
        version = _version(db)  # again, now that nobody else can be changing it
        _check_version(path, version, len(steps))
        db.create_function("fact_of_map", 2, _fact_of_map, deterministic=True)
        for step in steps[version:]:
            for statement in step:
                db.execute(statement)
        if version == 1 and len(steps) > 1:  # what follows from maps and cuts follows by other rules since
            _derive_anew(db)
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {len(steps)}")
    db.execute("PRAGMA wal_checkpoint(PASSIVE)")  # the version belongs in the file itself: an older program looks there


def _fact_of_map(packed: bytes, name: str) -> str | None:
    """What a packed map says of its hide and its photo; nothing where it is damaged, which `damage` names."""
    from hidescan.hide_map.json_io import from_json

    try:
        hide_map = from_json(unpacked(packed, None, "A map"), "the shelf")
    except BadInput:
        return "" if name == "hide_id" else None
    facts = {"hide_id": hide_map.hide_id, "parent_id": hide_map.parent_id, "taken": hide_map.photo.taken}
    return facts[name]


def _derive_anew(db: sqlite3.Connection) -> None:
    """Write the figures anew of hides with several maps, cuts or offcuts: a single map still gives what it gave."""
    from hidescan.shelf.deriving import derive

    rows = db.execute(
        "SELECT hide_id FROM map GROUP BY hide_id HAVING count(*) > 1 UNION SELECT hide_id FROM cut"
        " UNION SELECT hide_id FROM map WHERE parent_uid IS NOT NULL"
        " UNION SELECT hide_id FROM map WHERE hide_uid IN (SELECT parent_uid FROM map)"
    )
    for (hide_id,) in rows.fetchall():
        with suppress(BadInput):  # a damaged map must not keep the other hides out; `damage` names it
            derive(db, hide_id)


def _to_log_mode(db: sqlite3.Connection, busy_s: float) -> None:
    """Write-ahead log. The switch needs the file alone, and SQLite does not wait for that by itself."""
    until = time.monotonic() + busy_s
    while True:
        try:
            db.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError:
            if time.monotonic() > until:
                raise
            time.sleep(0.02)


def _version(db: sqlite3.Connection) -> int:
    return int(db.execute("PRAGMA user_version").fetchone()[0])

"""The file behind the history: its tables by version, how it is opened, and the copy that is kept beside it."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from spreadmap.errors import LockedError, OutputError, SpreadmapError
from spreadmap.io.run_folder import PART, flush_folder

HISTORY = "history.sqlite"
COPY = f"{HISTORY}.copy"
"""Made anew after everything that is entered."""
BESIDE = ("", "-wal", "-shm")
"""What SQLite adds to the name of a database for the files that belong to it."""
WAIT_S = 30.0
"""How long to wait for another program that writes to the history [s]. None: our choice."""
FIRST_TABLES = """
CREATE TABLE runs (
  id INTEGER PRIMARY KEY, as_of TEXT NOT NULL, folder TEXT, started TEXT NOT NULL, ended TEXT NOT NULL,
  result TEXT NOT NULL, version TEXT NOT NULL
);
CREATE UNIQUE INDEX one_row_per_folder ON runs (folder) WHERE folder IS NOT NULL;
CREATE TABLE inputs_seen (
  sha256 TEXT NOT NULL, role TEXT NOT NULL, path TEXT NOT NULL, rows INTEGER NOT NULL,
  first_run INTEGER NOT NULL REFERENCES runs (id), PRIMARY KEY (sha256, role)
) WITHOUT ROWID;
CREATE TABLE deliveries (
  run INTEGER NOT NULL REFERENCES runs (id), product TEXT NOT NULL, sha256 TEXT NOT NULL, PRIMARY KEY (run, product)
) WITHOUT ROWID;
CREATE TABLE plant_changes (
  run INTEGER NOT NULL REFERENCES runs (id), system TEXT NOT NULL, plant_id TEXT NOT NULL, change TEXT NOT NULL,
  status TEXT NOT NULL, row_sha256 TEXT NOT NULL, PRIMARY KEY (system, plant_id, run)
) WITHOUT ROWID;
"""
FORECASTS = """
CREATE TABLE forecasts (
  run INTEGER NOT NULL REFERENCES runs (id), system TEXT NOT NULL, as_of TEXT NOT NULL, valid_until TEXT NOT NULL,
  mode TEXT NOT NULL, content BLOB NOT NULL, PRIMARY KEY (run, system)
);
"""
FITS = """
CREATE TABLE fits (
  id INTEGER PRIMARY KEY, system TEXT NOT NULL, as_of TEXT NOT NULL, accepted INTEGER NOT NULL, fitted TEXT NOT NULL,
  version TEXT NOT NULL, content BLOB NOT NULL
);
"""
SURVEYS = """
CREATE TABLE surveys (
  run INTEGER NOT NULL REFERENCES runs (id), day TEXT NOT NULL, rows_sha256 TEXT NOT NULL, source_sha256 TEXT NOT NULL,
  file TEXT NOT NULL, rows INTEGER NOT NULL, PRIMARY KEY (run, day, rows_sha256)
) WITHOUT ROWID;
CREATE TABLE withdrawals (
  id INTEGER PRIMARY KEY, number INTEGER NOT NULL, made TEXT NOT NULL, version TEXT NOT NULL,
  is_withdrawn INTEGER NOT NULL, day TEXT NOT NULL, rows_sha256 TEXT NOT NULL, source_sha256 TEXT NOT NULL,
  file TEXT NOT NULL, rows INTEGER NOT NULL
);
CREATE VIEW withdrawn AS SELECT * FROM withdrawals AS w WHERE is_withdrawn = 1 AND NOT EXISTS (
  SELECT 1 FROM withdrawals AS later
  WHERE later.day = w.day AND later.rows_sha256 = w.rows_sha256 AND later.id > w.id
);
CREATE TABLE scores (
  run INTEGER NOT NULL REFERENCES runs (id), system TEXT NOT NULL, forecast_as_of TEXT NOT NULL, scored_to TEXT NOT NULL,
  mode TEXT NOT NULL, content TEXT NOT NULL, PRIMARY KEY (run, system, forecast_as_of)
) WITHOUT ROWID;
"""
DECISIONS = """
CREATE TABLE decisions (
  plant_id TEXT NOT NULL, decided_on TEXT NOT NULL, decision TEXT NOT NULL, until TEXT NOT NULL, reason TEXT NOT NULL,
  first_run INTEGER NOT NULL REFERENCES runs (id), PRIMARY KEY (plant_id, decided_on, decision, until, reason)
) WITHOUT ROWID;
"""
MIGRATIONS: dict[int, tuple[str, tuple[str, ...]]] = {
    1: (FIRST_TABLES, ("runs", "inputs_seen", "deliveries", "plant_changes")),
    2: (FORECASTS, ("forecasts",)),
    3: (FITS, ("fits",)),
    4: (SURVEYS, ("surveys", "withdrawals", "scores")),
    5: (DECISIONS, ("decisions",)),
}
"""What each version added: its tables in SQL, and which of them only grow. Numbers are never used twice."""
VERSION = max(MIGRATIONS)
GROWS = tuple(name for _, names in MIGRATIONS.values() for name in names)
WITH_SURVEYS = 4
"""The version from which surveys and withdrawals are on record."""


def mark_of(project: Path) -> tuple[tuple[int, int], ...]:
    """Return what changes when a history is written on: size and time of its files that hold entries."""
    paths = [project / HISTORY, project / f"{HISTORY}-wal"]
    return tuple((found.st_size, found.st_mtime_ns) for found in (path.stat() for path in paths if path.exists()))


def connect(project: Path) -> sqlite3.Connection:
    """Return the history of a project, made if there is none, checked, and of this version.

    Raises
    ------
    LockedError
        If another program holds it for longer than `WAIT_S`.
    OutputError
        If it cannot be written, is damaged or lost, or was made by a newer version.
    """
    path = project / HISTORY
    _refuse_the_lost(path)
    with telling(path):
        database = sqlite3.connect(path, timeout=WAIT_S)
        try:
            _prepare(database, path)
        except BaseException:
            database.close()
            raise
    return database


@contextmanager
def reading(project: Path) -> Iterator[sqlite3.Connection | None]:
    """Open the history of a project for reading only, of whatever version it is; None where there is none.

    Raises
    ------
    LockedError, OutputError
        As `connect`.
    """
    path = project / HISTORY
    _refuse_the_lost(path)
    if not _is_there(path):
        yield None
        return
    # a file that nobody writes to is opened so that SQLite puts nothing beside it, which a read-only disk would refuse
    how = "mode=ro" if path.with_name(f"{HISTORY}-wal").exists() else "immutable=1"
    with telling(path), closing(_open_for_reading(path, how)) as database:
        _refuse_the_newer(database, path)
        yield database


def read_into_memory(project: Path) -> sqlite3.Connection | None:
    """Return a copy of the history in memory, of this version; None where there is none. Nothing is written."""
    with reading(project) as database:
        if database is None:
            return None
        memory = sqlite3.connect(":memory:")
        database.backup(memory)
        _check(memory, project / HISTORY)
        _migrate(memory)
    return memory


def write_copy(database: sqlite3.Connection, copy: Path) -> Path:
    """Write a copy of an open history; readers see the old or the new one, never half of one.

    Raises
    ------
    OutputError
        If it cannot be written; the history itself is complete then.
    """
    part = copy.with_name(f".{copy.name}{PART}")
    try:
        for left in copy.parent.glob(f"{part.name}*"):
            left.unlink()
        database.execute("VACUUM INTO ?", (os.fspath(part),))
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        part.replace(copy)
        flush_folder(copy.parent)
    except (OSError, sqlite3.Error) as error:
        part.unlink(missing_ok=True)
        msg = (
            f"{copy} could not be written: {error}. The history itself is complete. Free the disk, or give this user the "
            "right to write there; the next run makes the copy."
        )
        raise OutputError(msg) from error
    return copy


@contextmanager
def telling(path: Path) -> Iterator[None]:
    """Turn what SQLite raises into errors for the desk; a broken rule of the tables or a wrong call is a defect."""
    try:
        yield
    except sqlite3.Error as error:
        if (known := _error_for_the_desk(path, error)) is None:
            raise
        raise known from error


def way_back(path: Path) -> str:
    """Return in words how to come back from a damaged history to its copy."""
    there = ", ".join(f"{path.name}{end}" for end in BESIDE if path.with_name(f"{path.name}{end}").exists())
    runs = _runs_in(path.with_name(COPY))
    if runs is None:
        return (
            f"No sound copy is there. Move {there} out of {path.parent}: the next run starts a new history from the run "
            "folders that stand; fits, and which surveys were withdrawn, are then no longer known."
        )
    return (
        f"The way back: move {there} out of {path.parent}, then copy {COPY} to {path.name}. The copy holds {runs} "
        f"{'run' if runs == 1 else 'runs'}; the next run enters what was delivered after them."
    )


def _error_for_the_desk(path: Path, error: sqlite3.Error) -> SpreadmapError | None:
    code = getattr(error, "sqlite_errorcode", None)
    kind = None if code is None else code & 0xFF  # the low byte is the kind, the others say more
    if kind in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return LockedError(
            f"{path} is in use by another program: {error}. Close what has it open, then run again; earlier deliveries "
            "are untouched."
        )
    if kind in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return OutputError(f"{path} is damaged: {error}. Nothing was changed. {way_back(path)}")
    if kind in (
        sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM,
    ):  # fmt: skip
        return OutputError(
            f"{path} cannot be used: {error}. Free the disk, or give this user the right to write there, then run again; "
            "earlier deliveries are untouched."
        )
    return None


def _prepare(database: sqlite3.Connection, path: Path) -> None:
    """Set how an open history is written, check it, and add the tables of every version since; a copy is kept before."""
    _refuse_the_newer(database, path)
    database.execute("PRAGMA journal_mode = WAL")
    database.execute("PRAGMA foreign_keys = ON")
    database.execute("PRAGMA synchronous = FULL")
    _check(database, path)
    found = _version(database)
    if 0 < found < VERSION:
        write_copy(database, path.with_name(f"{HISTORY}.version_{found}"))
    _migrate(database)


def _migrate(database: sqlite3.Connection) -> None:
    for version in range(_version(database) + 1, VERSION + 1):
        tables, grow = MIGRATIONS[version]
        guards = "".join(
            f"CREATE TRIGGER {table}_{verb} BEFORE {verb} ON {table} BEGIN "
            "SELECT RAISE(ABORT, 'the history only grows'); END;\n"
            for table in grow
            for verb in ("UPDATE", "DELETE")
        )
        database.executescript(f"BEGIN;\n{tables}\n{guards}PRAGMA user_version = {version};\nCOMMIT;")


def _check(database: sqlite3.Connection, path: Path) -> None:
    """Refuse a history of which a page is damaged."""
    ((said,),) = database.execute("PRAGMA quick_check(1)").fetchall()
    if said != "ok":
        msg = f"{path} is damaged: {said}. Nothing was changed. {way_back(path)}"
        raise OutputError(msg)


def _version(database: sqlite3.Connection) -> int:
    (found,) = database.execute("PRAGMA user_version").fetchone()
    return int(found)


def _refuse_the_newer(database: sqlite3.Connection, path: Path) -> None:
    if (found := _version(database)) > VERSION:
        msg = f"{path} has version {found}; this spreadmap knows {VERSION}. Install the newer spreadmap that made it."
        raise OutputError(msg)


def _refuse_the_lost(path: Path) -> None:
    """Refuse to start anew where a copy says that there was a history: fits and withdrawals would be forgotten."""
    copy = path.with_name(COPY)
    if copy.is_file() and not _is_there(path):
        msg = (
            f"{path} is missing or empty, but its copy {COPY} is there. Copy {COPY} to {HISTORY}. Only to start a new "
            "history from the run folders that stand: move the copy away; fits and withdrawals are then forgotten."
        )
        raise OutputError(msg)


def _is_there(path: Path) -> bool:
    return path.is_file() and path.stat().st_size > 0


def _open_for_reading(path: Path, how: str) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.resolve().as_uri()}?{how}", uri=True, timeout=WAIT_S)


def _runs_in(copy: Path) -> int | None:
    """Return how many runs a copy holds, None where there is none or it is damaged."""
    if not _is_there(copy):
        return None
    try:
        with closing(_open_for_reading(copy, "immutable=1")) as database:
            if database.execute("PRAGMA quick_check(1)").fetchall() != [("ok",)]:
                return None
            ((runs,),) = database.execute("SELECT count(*) FROM runs").fetchall()
    except sqlite3.Error:
        return None
    return int(runs)

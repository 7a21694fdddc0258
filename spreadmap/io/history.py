"""What a project remembers from run to run, in one SQLite file that only grows.

Written after the run folder has its name: a run that dies in between is found by its folder, and entered by the next.
"""

from __future__ import annotations

import datetime as dt
import json
import sqlite3
from collections.abc import Iterable, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from spreadmap.errors import InputError, OutputError
from spreadmap.io.changes import DELETE, DeliveredPlant, read_changes
from spreadmap.io.fit_file import pack_fit, unpack_fit
from spreadmap.io.forecast_file import kept_forecasts, unpack_forecast
from spreadmap.io.run_folder import run_folders
from spreadmap.values.fit import HistoryFit
from spreadmap.values.project import InputFile
from spreadmap.values.score import Forecast

HISTORY = "history.sqlite"
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
MIGRATIONS: dict[int, tuple[str, tuple[str, ...]]] = {
    1: (FIRST_TABLES, ("runs", "inputs_seen", "deliveries", "plant_changes")),
    2: (FORECASTS, ("forecasts",)),
    3: (FITS, ("fits",)),
}
"""What each version added: its tables in SQL, and which of them only grow. Numbers are never used twice."""
VERSION = max(MIGRATIONS)
GROWS = tuple(name for _, names in MIGRATIONS.values() for name in names)
DONE, FAILED, FOUND = "done", "failed", "found"
"""Results of a run; `found` is one whose folder was complete though it could not say so itself."""


class History:
    """An open history. Use `open_history` in a `with`."""

    def __init__(self, database: sqlite3.Connection) -> None:
        self._database = database

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the file."""
        self._database.close()

    def rows(self, question: str, values: Iterable[Any] = ()) -> list[tuple[Any, ...]]:
        """Return the rows that answer a question in SQL."""
        return self._database.execute(question, tuple(values)).fetchall()

    def add_run(
        self, as_of: str, folder: str | None, started: str, ended: str, result: str, version: str, *,
        files: Iterable[tuple[str, str, str, int]] = (), products: Iterable[tuple[str, str]] = (),
        changes: Iterable[tuple[str, str, str, str, str]] = (),
        forecasts: Iterable[tuple[str, str, str, str, bytes]] = (),
    ) -> int:  # fmt: skip
        """Enter one run with everything that belongs to it, or nothing of it; return its number."""
        with self._database as open_:
            number = open_.execute(
                "INSERT INTO runs (as_of, folder, started, ended, result, version) VALUES (?, ?, ?, ?, ?, ?)",
                (as_of, folder, started, ended, result, version),
            ).lastrowid
            open_.executemany(
                "INSERT OR IGNORE INTO inputs_seen (sha256, role, path, rows, first_run) VALUES (?, ?, ?, ?, ?)",
                ((*file, number) for file in files),
            )
            open_.executemany("INSERT INTO deliveries VALUES (?, ?, ?)", ((number, *product) for product in products))
            open_.executemany("INSERT INTO plant_changes VALUES (?, ?, ?, ?, ?, ?)", ((number, *c) for c in changes))
            open_.executemany("INSERT INTO forecasts VALUES (?, ?, ?, ?, ?, ?)", ((number, *f) for f in forecasts))
        return int(number or 0)

    def add_fit(self, fit: HistoryFit, fitted: str, version: str) -> None:
        """Enter one fit, accepted or not; `fitted` is the clock time at which it was made."""
        with self._database as open_:
            open_.execute(
                "INSERT INTO fits (system, as_of, accepted, fitted, version, content) VALUES (?, ?, ?, ?, ?, ?)",
                (fit.system_key, fit.as_of.isoformat(), int(fit.accepted), fitted, version, pack_fit(fit)),
            )


def open_history(project: Path) -> History:
    """Return the history of a project, made if there is none.

    Raises
    ------
    OutputError
        If the file cannot be written, is damaged, or was made by a newer version.
    """
    path = project / HISTORY
    try:
        database = sqlite3.connect(path, timeout=30)
        try:
            _prepare(database, path)
        except BaseException:
            database.close()
            raise
    except sqlite3.Error as error:
        msg = f"{path} cannot be used: {error}. Put back a copy, or move it away: the next run then starts a new one."
        raise OutputError(msg) from error
    return History(database)


def _prepare(database: sqlite3.Connection, path: Path) -> None:
    """Check the version of an open history, and add the tables of every version since."""
    database.execute("PRAGMA journal_mode = WAL")
    database.execute("PRAGMA foreign_keys = ON")
    database.execute("PRAGMA synchronous = FULL")
    (found,) = database.execute("PRAGMA user_version").fetchone()
    if found > VERSION:
        msg = f"{path} has version {found}; this spreadmap knows {VERSION}. Install the newer spreadmap that made it."
        raise OutputError(msg)
    for version in range(found + 1, VERSION + 1):
        tables, grow = MIGRATIONS[version]
        guards = "".join(
            f"CREATE TRIGGER {table}_{verb} BEFORE {verb} ON {table} BEGIN "
            "SELECT RAISE(ABORT, 'the history only grows'); END;\n"
            for table in grow
            for verb in ("UPDATE", "DELETE")
        )
        database.executescript(f"BEGIN;\n{tables}\n{guards}PRAGMA user_version = {version};\nCOMMIT;")


def record_run(
    history: History,
    project: Path,
    folder: Path | None,
    *,
    as_of: dt.date,
    started: dt.datetime,
    ended: dt.datetime,
    result: str,
    version: str,
    files: Iterable[InputFile] = (),
) -> int:
    """Enter a run that has ended.

    Parameters
    ----------
    history : History
    project : Path
    folder : Path or None
        The finished run folder, with its manifest and changes; None where the run failed.
    as_of : date
    started, ended : datetime
        The only clock times that are kept.
    result : str
        `done` or `failed`.
    version : str
        Of spreadmap.
    files : iterable of InputFile
        What was read; files already seen with the same content are not entered again.

    Returns
    -------
    int
        Number of the run.
    """
    seen = [(file.sha256, file.role, file.path, file.rows) for file in files]
    name, products, changes = None, [], []
    forecasts: list[tuple[str, str, str, str, bytes]] = []
    if folder is not None:
        name = folder.relative_to(project).as_posix()
        manifest = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
        products, changes, forecasts = _products(manifest), _changes(folder), kept_forecasts(folder)
    return history.add_run(
        as_of.isoformat(), name, started.isoformat(timespec="seconds"), ended.isoformat(timespec="seconds"), result,
        version, files=seen, products=products, changes=changes, forecasts=forecasts,
    )  # fmt: skip


def adopt_folders(history: History, project: Path) -> tuple[str, ...]:
    """Enter complete run folders that the history does not know, and return their names.

    They are those of a run that died after its folder had its name. Each names the delivery it compares with, and is
    entered after it.
    """
    known = {folder for (folder,) in history.rows("SELECT folder FROM runs WHERE folder IS NOT NULL")}
    waiting: dict[str, tuple[Path, Mapping[str, Any]]] = {}
    for folder in run_folders(project):
        name = folder.relative_to(project).as_posix()
        if name not in known and (folder / "manifest.json").is_file() and (folder / "changes.csv").is_file():
            waiting[name] = folder, json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    entered: list[str] = []
    while waiting:
        ready = [name for name, (_, manifest) in waiting.items() if manifest["previous_delivery"] not in waiting]
        for name in ready or list(waiting):
            folder, manifest = waiting.pop(name)
            history.add_run(
                manifest["as_of"], name, "", "", FOUND, manifest["versions"]["spreadmap"],
                files=[(f["sha256"], f["role"], f["path"], f["rows"]) for f in manifest["inputs"]],
                products=_products(manifest), changes=_changes(folder), forecasts=kept_forecasts(folder),
            )  # fmt: skip
            entered.append(name)
    return tuple(entered)


def _products(manifest: Mapping[str, Any]) -> list[tuple[str, str]]:
    return [(product["path"], product["sha256"]) for product in manifest["products"]]


def _changes(folder: Path) -> list[tuple[str, str, str, str, str]]:
    return [
        (change.system, change.plant_id, change.change, change.status_now, change.row_sha256)
        for change in read_changes(folder / "changes.csv")
    ]


def delivered_folders(history: History) -> tuple[str, ...]:
    """Return every run folder that was ever delivered, relative to the project, whether it still stands or not."""
    return tuple(folder for (folder,) in history.rows("SELECT folder FROM runs WHERE folder IS NOT NULL ORDER BY id"))


def last_delivery(history: History) -> tuple[str, dict[str, dict[str, DeliveredPlant]]]:
    """Return the folder of the last delivery (empty if none), and per system every plant it holds, by its key."""
    last = history.rows("SELECT folder FROM runs WHERE folder IS NOT NULL ORDER BY id DESC LIMIT 1")
    plants: dict[str, dict[str, DeliveredPlant]] = {}
    for system, plant_id, change, status, row_sha256 in history.rows(
        "SELECT system, plant_id, change, status, row_sha256 FROM plant_changes AS p WHERE run = "
        "(SELECT max(run) FROM plant_changes AS q WHERE q.system = p.system AND q.plant_id = p.plant_id) "
        "ORDER BY system, plant_id"
    ):
        if change != DELETE:
            plants.setdefault(system, {})[plant_id] = DeliveredPlant(status=status, row_sha256=row_sha256)
    return (last[0][0] if last else ""), plants


def forecasts_on_record(history: History) -> tuple[dict[str, tuple[Forecast, ...]], tuple[str, ...]]:
    """Return the forecasts of every pest system, oldest first, and sentences about those that cannot be read.

    Of several runs with one date the last one counts: it is the one that was worked by.
    """
    kept: dict[str, list[Forecast]] = {}
    remarks = []
    for system, as_of, content in history.rows(
        "SELECT system, as_of, content FROM forecasts AS f WHERE run = "
        "(SELECT max(run) FROM forecasts AS g WHERE g.system = f.system AND g.as_of = f.as_of) ORDER BY system, as_of"
    ):
        try:
            kept.setdefault(system, []).append(unpack_forecast(content))
        except InputError as error:
            remarks.append(f"The forecast of {as_of} for {system} is left out of the score: {error}")
    return {system: tuple(forecasts) for system, forecasts in kept.items()}, tuple(remarks)


def fits_on_record(history: History) -> tuple[dict[str, tuple[HistoryFit, ...]], tuple[str, ...]]:
    """Return the fits of every pest system, oldest first, and sentences about those that cannot be read."""
    kept: dict[str, list[HistoryFit]] = {}
    remarks = []
    for system, as_of, content in history.rows("SELECT system, as_of, content FROM fits ORDER BY id"):
        try:
            kept.setdefault(system, []).append(unpack_fit(content))
        except InputError as error:
            remarks.append(f"The fit of {as_of} for {system} is passed over: {error}")
    return {system: tuple(fits) for system, fits in kept.items()}, tuple(remarks)

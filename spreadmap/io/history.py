"""What a project remembers from run to run, in one SQLite file that only grows.

Written after the run folder has its name: a run that dies in between is found by its folder, and entered by the next.
"""

from __future__ import annotations

import datetime as dt
import json
import sqlite3
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from spreadmap.errors import InputError, OutputError, SpreadmapError
from spreadmap.io.changes import DELETE, DeliveredPlant, read_changes
from spreadmap.io.fit_file import pack_fit, unpack_fit
from spreadmap.io.forecast_file import kept_forecasts, unpack_forecast
from spreadmap.io.history_store import COPY, HISTORY, connect, telling, write_copy
from spreadmap.io.layers import day_texts
from spreadmap.io.run_folder import run_folders
from spreadmap.values.fit import HistoryFit
from spreadmap.values.project import InputFile, SurveyPart
from spreadmap.values.score import Forecast
from spreadmap.values.surveys import Decisions

DONE, FAILED, FOUND = "done", "failed", "found"
"""Results of a run; `found` is one whose folder was complete though it could not say so itself."""


class History:
    """An open history. Use `open_history` in a `with`; where something was entered, its end makes the copy anew."""

    def __init__(self, database: sqlite3.Connection, project: Path) -> None:
        self._database = database
        self._project = project

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Make the copy if something was entered, and close the file."""
        try:
            self._database.rollback()  # what was not entered as a whole is no entry
            if kind is None and self._database.total_changes:
                write_copy(self._database, self._project / COPY)
        finally:
            self._database.close()

    def rows(self, question: str, values: Iterable[Any] = ()) -> list[tuple[Any, ...]]:
        """Return the rows that answer a question in SQL."""
        with telling(self._project / HISTORY):
            return self._database.execute(question, tuple(values)).fetchall()

    def add_run(
        self, as_of: str, folder: str | None, started: str, ended: str, result: str, version: str, *,
        files: Iterable[tuple[str, str, str, int]] = (), products: Iterable[tuple[str, str]] = (),
        changes: Iterable[tuple[str, str, str, str, str]] = (),
        forecasts: Iterable[tuple[str, str, str, str, bytes]] = (),
        surveys: Iterable[tuple[str, str, str, str, int]] = (),
        scores: Iterable[tuple[str, str, str, str, str]] = (),
        decisions: Iterable[tuple[str, str, str, str, str]] = (),
    ) -> int:  # fmt: skip
        """Enter one run with everything that belongs to it, or nothing of it; return its number.

        A score that says what the one before it said, of the same forecast to the same date, is not entered again.
        """
        with telling(self._project / HISTORY), self._database as open_:
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
            open_.executemany("INSERT INTO surveys VALUES (?, ?, ?, ?, ?, ?)", ((number, *part) for part in surveys))
            open_.executemany(
                "INSERT OR IGNORE INTO decisions VALUES (?, ?, ?, ?, ?, ?)", ((*said, number) for said in decisions)
            )
            open_.executemany(
                "INSERT INTO scores SELECT :run, :system, :as_of, :to, :mode, :content WHERE :content IS NOT (SELECT content "
                "FROM scores WHERE system = :system AND forecast_as_of = :as_of AND scored_to = :to ORDER BY run DESC LIMIT 1)",
                (
                    dict(zip(("run", "system", "as_of", "to", "mode", "content"), (number, *score), strict=True))
                    for score in scores
                ),
            )
        return int(number or 0)

    def add_fit(self, fit: HistoryFit, fitted: str, version: str) -> None:
        """Enter one fit, accepted or not; `fitted` is the clock time at which it was made."""
        with telling(self._project / HISTORY), self._database as open_:
            open_.execute(
                "INSERT INTO fits (system, as_of, accepted, fitted, version, content) VALUES (?, ?, ?, ?, ?, ?)",
                (fit.system_key, fit.as_of.isoformat(), int(fit.accepted), fitted, version, pack_fit(fit)),
            )

    def add_withdrawal(self, made: str, version: str, parts: Iterable[SurveyPart], *, is_withdrawn: bool) -> int:
        """Enter that parts of a survey count no more, or count again; return the number of the entry."""
        with telling(self._project / HISTORY), self._database as open_:
            ((number,),) = open_.execute("SELECT coalesce(max(number), 0) + 1 FROM withdrawals").fetchall()
            open_.executemany(
                "INSERT INTO withdrawals (number, made, version, is_withdrawn, day, rows_sha256, source_sha256, file, rows) "
                "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                ((number, made, version, int(is_withdrawn), *part_row(part)) for part in parts),
            )
        return int(number)


def open_history(project: Path) -> History:
    """Return the history of a project, made if there is none.

    Raises
    ------
    LockedError
        If another program holds it.
    OutputError
        If the file cannot be written, is damaged or lost, or was made by a newer version.
    """
    return History(connect(project), project)


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
    surveys: Iterable[SurveyPart] = (),
    decisions: Decisions | None = None,
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
    surveys : iterable of SurveyPart
        The inspections that counted.
    decisions : Decisions, optional
        What managers decided; what is on record already is not entered again.

    Returns
    -------
    int
        Number of the run.
    """
    seen = [(file.sha256, file.role, file.path, file.rows) for file in files]
    name: str | None = None
    delivered: dict[str, Any] = {}
    if folder is not None:
        name = folder.relative_to(project).as_posix()
        delivered = _delivered(folder, _manifest(folder))
    return history.add_run(
        as_of.isoformat(), name, started.isoformat(timespec="seconds"), ended.isoformat(timespec="seconds"), result,
        version, files=seen, surveys=map(part_row, surveys), decisions=_decision_rows(decisions), **delivered,
    )  # fmt: skip


def record_failure(project: Path, as_of: dt.date, started: dt.datetime, ended: dt.datetime, version: str) -> None:
    """Enter that a run failed, if that can be done: what hindered the run may hinder this too."""
    with suppress(SpreadmapError), open_history(project) as history:
        record_run(history, project, None, as_of=as_of, started=started, ended=ended, result=FAILED, version=version)


def _decision_rows(decisions: Decisions | None) -> list[tuple[str, str, str, str, str]]:
    """Return decisions as they stand in the table; no day is an empty text."""
    if decisions is None:
        return []
    decided, until = day_texts(decisions.decided_on).tolist(), day_texts(decisions.until).tolist()
    words = (column.tolist() for column in (decisions.plant_id, decisions.decision, decisions.reason))
    plants, answers, reasons = words
    return list(zip(plants, decided, answers, until, reasons, strict=True))


def adopt_folders(history: History, project: Path) -> tuple[str, ...]:
    """Enter complete run folders that the history does not know, and return their names.

    They are those of a run that died after its folder had its name. Each names the delivery it compares with, and is
    entered after it.

    Raises
    ------
    OutputError
        If the manifest of such a folder cannot be read.
    """
    known = {folder for (folder,) in history.rows("SELECT folder FROM runs WHERE folder IS NOT NULL")}
    waiting: dict[str, tuple[Path, Mapping[str, Any]]] = {}
    for folder in run_folders(project):
        name = folder.relative_to(project).as_posix()
        if name not in known and (folder / "manifest.json").is_file() and (folder / "changes.csv").is_file():
            waiting[name] = folder, _manifest(folder)
    entered: list[str] = []
    while waiting:
        ready = [name for name, (_, manifest) in waiting.items() if manifest["previous_delivery"] not in waiting]
        for name in ready or list(waiting):
            folder, manifest = waiting.pop(name)
            history.add_run(
                manifest["as_of"], name, "", "", FOUND, manifest["versions"]["spreadmap"],
                files=[(f["sha256"], f["role"], f["path"], f["rows"]) for f in manifest["inputs"]],
                # manifests of the first versions name no surveys
                surveys=[
                    (s["day"], s["rows_sha256"], s["source_sha256"], s["file"], s["rows"])
                    for s in manifest.get("surveys", [])
                ],
                **_delivered(folder, manifest),
            )  # fmt: skip
            entered.append(name)
    return tuple(entered)


def part_row(part: SurveyPart) -> tuple[str, str, str, str, int]:
    """Return a part of a survey as it stands in the tables."""
    return part.day.isoformat(), part.rows_sha256, part.source_sha256, part.file, part.rows


def _manifest(folder: Path) -> dict[str, Any]:
    path = folder / "manifest.json"
    try:
        manifest: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        msg = (
            f"{path} cannot be read, and the history does not know this delivery: {error}. Put back a copy of the folder, or "
            "move it away."
        )
        raise OutputError(msg) from error
    return manifest


def _delivered(folder: Path, manifest: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a finished run folder holds for the history, by table."""
    return {
        "products": [(product["path"], product["sha256"]) for product in manifest["products"]],
        "changes": _changes(folder),
        "forecasts": kept_forecasts(folder),
        "scores": _scores(folder),
    }


def _scores(folder: Path) -> list[tuple[str, str, str, str, str]]:
    """Return system, date of the forecast, date to which it was scored, mode, and the figures as JSON."""
    path = folder / "score.json"
    if not path.is_file():
        return []
    said = json.loads(path.read_text(encoding="utf-8"))
    return [
        (system["system"], score["forecast_as_of"], score["scored_to"], score["mode"],
         json.dumps(score, ensure_ascii=False, sort_keys=True))
        for system in said["systems"]
        for score in system["surveys"]
    ]  # fmt: skip


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
    """Return the forecasts of every pest system, oldest first, and sentences about those that are left out.

    Of several runs with one date the last one counts: it is the one that was worked by. Left out are forecasts that
    cannot be read, and those of runs that counted a survey which was withdrawn since.
    """
    spoilt = {
        run
        for (run,) in history.rows(
            "SELECT DISTINCT s.run FROM surveys AS s JOIN withdrawn AS w ON w.day = s.day "
            "AND (w.rows_sha256 = s.rows_sha256 OR w.source_sha256 = s.source_sha256)"
        )
    }
    newest: dict[tuple[str, str], int | None] = {}
    for run, system, as_of in history.rows("SELECT run, system, as_of FROM forecasts ORDER BY system, as_of, run"):
        if run not in spoilt:
            newest[system, as_of] = run
        else:
            newest.setdefault((system, as_of), None)
    kept: dict[str, list[Forecast]] = {}
    remarks = []
    for (system, as_of), number in newest.items():
        left_out = f"The forecast of {as_of} for {system} is left out of the score"
        if number is None:
            remarks.append(f"{left_out}: it rests on a survey that was withdrawn.")
            continue
        ((content,),) = history.rows("SELECT content FROM forecasts WHERE run = ? AND system = ?", (number, system))
        try:
            kept.setdefault(system, []).append(unpack_forecast(content))
        except InputError as error:
            remarks.append(f"{left_out}: {error}")
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

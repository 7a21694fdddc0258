"""What a project remembers: shown, and its last survey withdrawn or taken back by one more entry."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from spreadmap.io.history import History, adopt_folders, open_history
from spreadmap.io.history_store import read_into_memory
from spreadmap.io.history_surveys import last_survey, restore, withdraw
from spreadmap.io.history_view import HistoryTable, history_tables, history_values
from spreadmap.io.lock import ProjectLock
from spreadmap.io.project_file import project_file_of, read_project_file
from spreadmap.io.read_settings import read_settings
from spreadmap.io.survey_parts import days_of
from spreadmap.io.versions import software_version
from spreadmap.values.project import SurveyPart

__all__ = ["HistoryTable", "HistoryView", "show_history", "undo_survey"]


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryView:
    """What a history holds: as tables for a terminal, and as values for other programs."""

    tables: tuple[HistoryTable, ...]
    values: dict[str, Any]


def utc_now() -> dt.datetime:
    """Return the wall clock, in UTC. Only the history is told."""
    return dt.datetime.now(dt.UTC)


def show_history(folder: Path) -> HistoryView:
    """Return what the history of a project holds; nothing is written.

    Raises
    ------
    SettingsError
        If the folder holds no project.
    LockedError, OutputError
        If there is a history that cannot be read.
    """
    folder = folder.resolve()
    project_file_of(folder)
    memory = read_into_memory(folder)
    if memory is None:
        return HistoryView(tables=(), values=history_values(()))
    with closing(memory):
        tables = history_tables(History(memory, folder))
    return HistoryView(tables=tables, values=history_values(tables))


def undo_survey(
    folder: Path, *, take_back: bool = False, clock: Callable[[], dt.datetime] = utc_now
) -> tuple[str, ...]:
    """Withdraw the survey that came in last, or let the one withdrawn last count again; return what to tell.

    Neither erases anything: files, deliveries and what is on record stay, and one entry is added to the history.

    Parameters
    ----------
    folder : Path
        The project's folder.
    take_back : bool
        Let the survey that was withdrawn last count again, in place of withdrawing one.
    clock : callable, optional
        Tells the history the time.

    Raises
    ------
    InputError
        If there is no survey to withdraw, or none that was withdrawn.
    SettingsError
        If the project file cannot be used.
    LockedError
        If a run holds the project, or another program the history.
    OutputError
        If the history cannot be written.
    """
    folder = folder.resolve()
    settings = read_settings(read_project_file(folder).settings)
    now = clock()
    with ProjectLock(folder, now), open_history(folder) as history:
        adopt_folders(history, folder)
        if take_back:
            return (f"Counts again: {_told(restore(history, now, software_version()))}.", *_next_steps("counts it"))
        survey = last_survey(history, settings.survey.survey_days)
        withdraw(history, survey, now, software_version())
        ((delivery,),) = history.rows("SELECT coalesce(folder, '') FROM runs WHERE id = ?", (survey.first_run,))
    return (
        f"Withdrawn: {_told(survey.parts)}; first counted by {delivery}.",
        "Its files stay as they are. Corrected inspections count again by themselves.",
        *_next_steps("leaves it out"),
        "To let this survey count again as it stands: spreadmap undo FOLDER --restore",
    )


def _told(parts: tuple[SurveyPart, ...]) -> str:
    """Return a survey in words."""
    files = ", ".join(dict.fromkeys(part.file for part in parts))
    return f"the survey of {days_of(parts)}, {sum(part.rows for part in parts)} inspections in {files}"


def _next_steps(what: str) -> tuple[str, ...]:
    return (f"The next run {what}; until then latest.json leads to the last delivery that was made.",)

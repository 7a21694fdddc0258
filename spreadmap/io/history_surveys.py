"""Surveys in the history: which of them came in last, which were withdrawn, and the entries that say so.

Nothing is erased: that a survey is withdrawn is one entry, that it counts again is another.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

from spreadmap.errors import InputError
from spreadmap.io.history import History
from spreadmap.io.history_store import HISTORY, WITH_SURVEYS, reading
from spreadmap.values.project import SurveyPart

WITHDRAWN = "SELECT file, day, rows, rows_sha256, source_sha256 FROM withdrawn ORDER BY id"
COUNTED = """
SELECT file, day, rows, rows_sha256, source_sha256, run, (
  SELECT min(other.run) FROM surveys AS other WHERE other.day = s.day
  AND (other.rows_sha256 = s.rows_sha256 OR other.source_sha256 = s.source_sha256)
) AS first_run
FROM surveys AS s
WHERE NOT EXISTS (SELECT 1 FROM runs WHERE id > s.run AND folder IS NOT NULL AND as_of >= s.day)
AND NOT EXISTS (SELECT 1 FROM withdrawn AS w WHERE w.day = s.day
  AND (w.rows_sha256 = s.rows_sha256 OR w.source_sha256 = s.source_sha256))
ORDER BY day, file
"""
"""What counts: each part as the last run read it that looked at its day. A file whose rows are read otherwise since the
inventory changed is the same survey, and so are the same rows in another file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LastSurvey:
    """The survey that came in last: its parts, and the run that counted it first."""

    parts: tuple[SurveyPart, ...]
    first_run: int


def withdrawn_surveys(project: Path) -> tuple[SurveyPart, ...]:
    """Return what was withdrawn from a project; reads only.

    Raises
    ------
    LockedError, OutputError
        If there is a history that cannot be read.
    """
    with reading(project) as database:
        if database is None or database.execute("PRAGMA user_version").fetchone() < (WITH_SURVEYS,):
            return ()
        return tuple(_part(*row) for row in database.execute(WITHDRAWN).fetchall())


def last_survey(history: History, survey_days: int) -> LastSurvey:
    """Return the survey that came in last of those that count.

    Of what the newest run brought that brought any, it is the inspections of `survey_days` days up to the last one.

    Raises
    ------
    InputError
        If there is none.
    """
    rows = history.rows(COUNTED)
    if not rows:
        msg = (
            f"{HISTORY} holds no survey that counts; allowed: one that a run has counted and that is not withdrawn yet. Run "
            "`spreadmap run FOLDER` first; `spreadmap history FOLDER` shows what is on record."
        )
        raise InputError(msg)
    newest = max(first_run for *_, first_run in rows)
    came = [_part(*row[:5]) for row in rows if row[-1] == newest]
    last = max(part.day for part in came)
    return LastSurvey(
        parts=tuple(part for part in came if (last - part.day).days < survey_days),
        first_run=int(newest),
    )


def withdraw(history: History, survey: LastSurvey, made: dt.datetime, version: str) -> int:
    """Enter that a survey does not count any more; return the number of the entry."""
    return history.add_withdrawal(made.isoformat(timespec="seconds"), version, survey.parts, is_withdrawn=True)


def restore(history: History, made: dt.datetime, version: str) -> tuple[SurveyPart, ...]:
    """Enter that the survey withdrawn last counts again, and return its parts.

    Raises
    ------
    InputError
        If none is withdrawn.
    """
    rows = history.rows(
        "SELECT file, day, rows, rows_sha256, source_sha256 FROM withdrawn "
        "WHERE number = (SELECT max(number) FROM withdrawn) ORDER BY day, file"
    )
    if not rows:
        msg = f"{HISTORY} holds no survey that is withdrawn; allowed: one. Run `spreadmap history FOLDER` to see what it holds."
        raise InputError(msg)
    parts = tuple(_part(*row) for row in rows)
    history.add_withdrawal(made.isoformat(timespec="seconds"), version, parts, is_withdrawn=False)
    return parts


def _part(file: str, day: str, rows: int, rows_sha256: str, source_sha256: str) -> SurveyPart:
    return SurveyPart(
        file=file, day=dt.date.fromisoformat(day), rows=rows, rows_sha256=rows_sha256, source_sha256=source_sha256
    )

"""What a history holds, as tables for a terminal and as values for other programs."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from spreadmap.io.faults import plain
from spreadmap.io.history import History

NEAREST = "distance"
"""The plain rule beside which every order of plants stands: the nearest to a known case first."""
RUNS = """
SELECT id, as_of, coalesce(folder, ''), result, ended, version,
  (SELECT sum(s.rows) FROM surveys AS s WHERE s.run = r.id),
  (SELECT count(*) FROM plant_changes AS p WHERE p.run = r.id),
  (SELECT count(*) FROM deliveries AS d WHERE d.run = r.id)
FROM runs AS r ORDER BY id
"""
SURVEYS = """
SELECT day, file, rows, min(run) AS first_run, max(run), EXISTS (
  SELECT 1 FROM withdrawn AS w
  WHERE w.day = s.day AND (w.rows_sha256 = s.rows_sha256 OR w.source_sha256 = s.source_sha256)
)
FROM surveys AS s GROUP BY day, rows_sha256 ORDER BY first_run, day, file
"""
SCORES = """
SELECT system, forecast_as_of, scored_to, mode, run, content FROM scores AS s
WHERE run = (SELECT max(run) FROM scores AS later WHERE later.system = s.system
  AND later.forecast_as_of = s.forecast_as_of AND later.scored_to = s.scored_to)
ORDER BY system, forecast_as_of, scored_to
"""
FITS = "SELECT id, system, as_of, accepted, fitted, version FROM fits ORDER BY id"
DECISIONS = """
SELECT plant_id, decided_on, decision, until, reason, first_run FROM decisions ORDER BY first_run, decided_on, plant_id
"""
WITHDRAWALS = "SELECT number, made, is_withdrawn, day, file, rows FROM withdrawals ORDER BY id"


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryTable:
    """One table of a history; `key` names it in the values, `says` stands in place of rows where there are none."""

    key: str
    title: str
    says: str
    head: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]


def history_tables(history: History) -> tuple[HistoryTable, ...]:
    """Return runs, surveys, scores, fits, withdrawals and decisions, each in the order in which they were entered."""
    surveys = [
        (day, plain(file), rows, first, last, "withdrawn" if gone else "counts")
        for day, file, rows, first, last, gone in history.rows(SURVEYS)
    ]
    fits = [
        (number, system, as_of, "accepted" if accepted else "refused", fitted, version)
        for number, system, as_of, accepted, fitted, version in history.rows(FITS)
    ]
    withdrawals = [
        (number, made, "withdrawn" if gone else "counts again", day, plain(file), rows)
        for number, made, gone, day, file, rows in history.rows(WITHDRAWALS)
    ]
    decisions = [
        (plain(plant), day, word, until or None, plain(reason), run)
        for plant, day, word, until, reason, run in history.rows(DECISIONS)
    ]
    return (
        _table("runs", "Runs", "No run is on record.", ("run", "as_of", "folder", "result", "ended", "version",
               "inspections", "plants_changed", "products"), history.rows(RUNS)),
        _table("surveys", "Surveys", "No survey is on record.", ("day", "file", "inspections", "first_run", "last_run",
               "state"), surveys),
        _table("scores", "Scores of forecasts", "No forecast was scored yet.", ("system", "forecast_as_of", "scored_to",
               "mode", "run", "inspected", "found", "first_tenth", "found_in_tenth", "found_in_tenth_by_distance"),
               [_score(*row) for row in history.rows(SCORES)]),
        _table("fits", "Fits to the survey history", "No fit is on record.", ("fit", "system", "as_of", "verdict",
               "fitted", "version"), fits),
        _table("withdrawals", "Withdrawals", "No survey was withdrawn.", ("number", "made", "state", "day", "file",
               "inspections"), withdrawals),
        _table("decisions", "Decisions", "No decision of a manager is on record.", ("plant_id", "decided_on", "decision",
               "until", "reason", "first_run"), decisions),
    )  # fmt: skip


def history_values(tables: Sequence[HistoryTable]) -> dict[str, Any]:
    """Return the tables as plain values, each row by the names of its columns."""
    return {table.key: [dict(zip(table.head, row, strict=True)) for row in table.rows] for table in tables}


def _table(key: str, title: str, says: str, head: tuple[str, ...], rows: Sequence[tuple[Any, ...]]) -> HistoryTable:
    return HistoryTable(key=key, title=title, says=says, head=head, rows=tuple(rows))


def _score(system: str, as_of: str, to: str, mode: str, run: int, content: str) -> tuple[Any, ...]:
    """Return one score in figures: how many of the plants found stood in the first tenth of a list."""
    said = json.loads(content)
    in_tenth = {rule["rule"]: rule["in_tenth"] for rule in said["rules"]}
    return (
        system, as_of, to, mode, run, said["inspected"], said["found"], said["first_tenth"],
        said["rules"][0]["in_tenth"], in_tenth.get(NEAREST),
    )  # fmt: skip

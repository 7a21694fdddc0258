"""`gone_plants.csv`: plants that were delivered once and are in the inventory no more, with the dates they were there."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from spreadmap.io.changes import DELETE, Change
from spreadmap.io.write_tables import write_csv

HEAD = ("system", "plant_id", "first_delivered_on", "gone_on", "last_status")
KEYS_AT_ONCE = 500


class Rows(Protocol):
    """Whatever answers a question in SQL, such as an open history."""

    def rows(self, question: str, values: Iterable[Any] = ()) -> list[tuple[Any, ...]]:
        """Return the rows that answer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GonePlant:
    """A plant that left the inventory: dates of the state of the first delivery with it and the first one without."""

    system: str
    plant_id: str
    first_delivered_on: str
    gone_on: str
    last_status: str


def gone_before(history: Rows) -> tuple[GonePlant, ...]:
    """Return the plants that earlier deliveries saw go and that did not come back, by system and key."""
    found = history.rows(
        "SELECT p.system, p.plant_id, first.as_of, gone.as_of, coalesce((SELECT status FROM plant_changes AS s WHERE "
        "s.system = p.system AND s.plant_id = p.plant_id AND s.run < p.run ORDER BY s.run DESC LIMIT 1), '') "
        "FROM plant_changes AS p JOIN runs AS gone ON gone.id = p.run JOIN runs AS first ON first.id = "
        "(SELECT min(run) FROM plant_changes AS f WHERE f.system = p.system AND f.plant_id = p.plant_id) "
        "WHERE p.change = ? AND p.run = (SELECT max(run) FROM plant_changes AS q WHERE q.system = p.system AND "
        "q.plant_id = p.plant_id) ORDER BY p.system, p.plant_id",
        (DELETE,),
    )
    return tuple(GonePlant(**dict(zip(HEAD, row, strict=True))) for row in found)


def gone_now(history: Rows, changes: Sequence[Change], as_of: dt.date) -> tuple[GonePlant, ...]:
    """Return the plants that this delivery is the first one without, in the order of its changes."""
    gone = [change for change in changes if change.change == DELETE]
    first: dict[tuple[str, str], str] = {}
    for system in dict.fromkeys(change.system for change in gone):
        keys = [change.plant_id for change in gone if change.system == system]
        for start in range(0, len(keys), KEYS_AT_ONCE):
            part = keys[start : start + KEYS_AT_ONCE]
            for key, day in history.rows(
                "SELECT p.plant_id, runs.as_of FROM plant_changes AS p JOIN runs ON runs.id = p.run WHERE p.system = ? "
                f"AND p.plant_id IN ({', '.join('?' * len(part))}) ORDER BY p.run DESC",
                (system, *part),
            ):
                first[system, key] = day
    return tuple(
        GonePlant(
            system=change.system,
            plant_id=change.plant_id,
            first_delivered_on=first.get((change.system, change.plant_id), ""),
            gone_on=as_of.isoformat(),
            last_status=change.status_before,
        )
        for change in gone
    )


def write_gone(path: Path, plants: Sequence[GonePlant]) -> Path:
    """Write `gone_plants.csv`; OutputError if it cannot be written."""
    rows = [(each.system, each.plant_id, each.first_delivered_on, each.gone_on, each.last_status) for each in plants]
    return write_csv(path, HEAD, rows)

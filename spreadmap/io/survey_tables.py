"""What the last survey allows to be said, what work costs, and how far rings reach, each as one table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from pathlib import Path

from spreadmap.io.layers import clean_text
from spreadmap.io.short_names import TABLES
from spreadmap.io.write_tables import write_csv
from spreadmap.values.costs import COSTS_STANDING, CostTable
from spreadmap.values.plan import BEARINGS, Zones
from spreadmap.values.results import SystemResult
from spreadmap.values.survey_answer import Basis, SurveyAnswer, SurveyStatement

SECTOR_DEG = 360.0 / len(BEARINGS)


def write_survey_tables(folder: Path, system: SystemResult) -> dict[Path, int]:
    """Write `survey_statement.csv`, `costs.csv` and `ring_reach.csv` of one pest system; return them with their rows.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    key, as_of = system.triage.system.key, system.face.as_of
    made: dict[str, list[Mapping[str, object]]] = {
        "survey_statement": [] if system.survey is None else list(statement_rows(system.survey, key, as_of)),
        "costs": [] if system.costs is None else list(cost_rows(system.costs, key, as_of)),
        "ring_reach": list(reach_rows(system.zones, key, as_of, system.face.valid_until)),
    }
    return {write_table(folder, name, rows): len(rows) for name, rows in made.items()}


def write_table(folder: Path, name: str, rows: Iterable[Mapping[str, object]]) -> Path:
    """Write rows as one of `short_names.TABLES`, days once."""
    columns = [column.name for column in TABLES[name] if not column.name.endswith("_text")]
    return write_csv(folder / f"{name}.csv", columns, [[_cell(row[column]) for column in columns] for row in rows])


def _cell(value: object) -> object:
    """Return a value as a cell: nothing for what was not told, no more digits than are meant."""
    if value is None or value != value:
        return None
    if isinstance(value, float):
        return round(value, 6)
    return clean_text(value) if isinstance(value, str) else value


def statement_rows(survey: SurveyAnswer, system_key: str, as_of: dt.date) -> Iterable[dict[str, object]]:
    """Yield one row per lot, all sites together first."""
    for each in survey.statements:
        yield {
            **{name: getattr(each, name) for name in SurveyStatement.__dataclass_fields__},
            "system": system_key,
            "first_on": survey.first_on,
            "last_on": survey.last_on,
            "basis": each.basis.value,
            "most_showing_95": each.most_showing,
            "excluded_prevalence_95": each.excluded,
            "is_statement": "Y" if each.basis in (Basis.EVERY, Basis.RANDOM) else "N",
            "says": each.sentence,
            "as_of": as_of,
        }


def cost_rows(costs: CostTable, system_key: str, as_of: dt.date) -> Iterable[dict[str, object]]:
    """Yield one row per site and owner, the dearest first; sums to a hundredth."""
    for row in costs.rows:
        sums = ("labour", "disposal", "replacement", "removal", "inspection", "testing", "total")
        yield {
            "system": system_key,
            "site": row.site,
            "owner": row.owner,
            "plants": row.plants,
            "removal_hours": round(row.person_hours, 3),
            "looked_at": row.looked_at,
            "inspection_hours": round(row.inspection_hours, 3),
            "tests": row.tests,
            **{name: round(getattr(row, name), 2) for name in sums},
            "currency": costs.currency,
            "standing": COSTS_STANDING,
            "as_of": as_of,
        }


def reach_rows(zones: Zones, system_key: str, as_of: dt.date, valid_until: dt.date) -> Iterable[dict[str, object]]:
    """Yield one row per ring and bearing."""
    for ring in zones.rings:
        for number, (bearing, reach) in enumerate(zip(BEARINGS, ring.reach_by_bearing_m, strict=True)):
            yield {
                "system": system_key,
                "focus": ring.focus,
                "ring": ring.name,
                "bearing": bearing,
                "bearing_deg": number * SECTOR_DEG,
                "reach_m": round(reach, 1),
                "as_of": as_of,
                "valid_until": valid_until,
            }

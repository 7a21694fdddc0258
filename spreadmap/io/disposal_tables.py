"""Discard lists and lists of parts to cut as tables: what the plants are, what is done, and the face of the run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from spreadmap.io.desk import placed_shapes
from spreadmap.io.layers import clean_text, face_columns, flags, plant_columns, points
from spreadmap.io.short_names import NOT_ASSESSED, POSITION, TABLES, Kind
from spreadmap.io.write_tables import positions, write_csv
from spreadmap.values.arrays import IntArray, to_date
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.plan import Disposal
from spreadmap.values.project import ProjectInputs
from spreadmap.values.results import Face, SurveyResult
from spreadmap.values.words import Mode, Verdict

QUANTITY = {"discard_list": "Plants to discard", "cut_list": "Parts to cut off and destroy"}
UNIT = {"discard_list": "plants", "cut_list": "parts of plants"}
CONDITION = "findings of the survey; no model"


@dataclass(frozen=True, slots=True, kw_only=True)
class DisposalTable:
    """One list as a table: `name` of its file, `head` its columns, `rows` its cells."""

    system_key: str
    name: str
    head: tuple[str, ...]
    rows: tuple[tuple[object, ...], ...]

    def write(self, folder: Path) -> Path:
        """Write the table as CSV into a folder.

        Raises
        ------
        OutputError
            If the file cannot be written.
        """
        return write_csv(folder / f"{self.name}.csv", self.head, self.rows)


def disposal_tables(result: SurveyResult) -> tuple[DisposalTable, ...]:
    """Return a table for every system that was found and whose verdict is to discard plants or to cut parts."""
    found = {item.system.key: item.system for item in result.triage if item.is_found}
    tables = []
    for disposal in result.disposals:
        system = found.get(disposal.system_key)
        if system is None:
            continue
        if system.verdict is Verdict.DISCARD_PLANT:
            tables.append(_discard_table(disposal, system, result))
        elif system.verdict is Verdict.CUT_PARTS:
            tables.append(_cut_table(disposal, system, result))
    return tuple(tables)


def _discard_table(disposal: Disposal, system: PestSystem, result: SurveyResult) -> DisposalTable:
    """Return the discard list as a table."""
    listed = disposal.discard
    how = system.discard_how.says if system.discard_how is not None else ""
    own = {"action": listed.action, "how": [how] * len(listed)}
    return _table("discard_list", system, result, listed.plant, {"is_confirmed": flags(listed.is_confirmed), **own})


def _cut_table(disposal: Disposal, system: PestSystem, result: SurveyResult) -> DisposalTable:
    """Return the list of parts to cut as a table."""
    listed = disposal.parts
    own = {"part": listed.part, "begins_on": listed.begins_on, "ends_on": listed.ends_on, "how": listed.how}
    return _table("cut_list", system, result, listed.plant, {"is_confirmed": flags(listed.is_confirmed), **own})


def _face(name: str, inputs: ProjectInputs) -> Face:
    """Return what a list says of itself."""
    return Face(
        quantity=QUANTITY[name],
        unit=UNIT[name],
        period_from=inputs.as_of,
        period_to=inputs.next_survey_on,
        condition=CONDITION,
        mode=Mode.RELATIVE,
        as_of=inputs.as_of,
        valid_until=inputs.next_survey_on,
    )


def _table(
    name: str, system: PestSystem, result: SurveyResult, plant: IntArray, own: Mapping[str, Any]
) -> DisposalTable:
    """Return one table with every column of `short_names.TABLES[name]` but the days as text, and the position."""
    inputs, count = result.inputs, len(plant)
    place = positions(*placed_shapes(points(inputs, plant), inputs.crs, result.settings.delivery))
    face = {key: [value] * count for key, value in face_columns(_face(name, inputs), system.key).items()}
    columns: dict[str, Any] = {
        **plant_columns(inputs, plant),
        **face,
        "rank": np.arange(1, count + 1),
        "reason": [system.verdict_reason] * count,
        "caution": [system.caution] * count,
        **own,
        **dict(zip((column.name for column in POSITION), place, strict=True)),
    }
    spec = [column for column in TABLES[name] if not column.name.endswith("_text")] + list(POSITION)
    cells = [_cells(column.kind, columns[column.name]) for column in spec]
    rows = tuple(zip(*cells, strict=True)) if count else ()
    return DisposalTable(system_key=system.key, name=name, head=tuple(column.name for column in spec), rows=rows)


def _cells(kind: Kind, values: Any) -> list[object]:
    """Return a column as Python values; None where nothing was assessed."""
    if kind is Kind.DATE:
        return [to_date(value) for value in values]
    plain = np.asarray(values, dtype=object).tolist()
    if kind in (Kind.NUMBER, Kind.WHOLE):
        return [None if value == NOT_ASSESSED or value != value else value for value in plain]
    return [clean_text(value) for value in plain]

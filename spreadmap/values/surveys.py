"""Inspections and finished work, one item per row of a table."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spreadmap.values.arrays import BoolArray, DateArray, FloatArray, IntArray, TextArray, freeze_columns


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surveys:
    """One item per inspection of one plant on one date, for one pest system.

    `status`, `evidence`, `method`, `survey_kind` hold the words of `values.words`. `file` and `row` say where the
    inspection was written down. A bed inspected as a whole is spread over its plants by `io` before it comes here,
    with `is_bed_count` true: which plant of the bed it was is then not known.
    """

    plant_id: TextArray
    inspected_on: DateArray
    observer: TextArray
    method: TextArray
    pest_system: TextArray
    status: TextArray
    evidence: TextArray
    symptoms: TextArray
    sample_id: TextArray
    survey_kind: TextArray
    note: TextArray
    file: TextArray
    row: IntArray
    is_bed_count: BoolArray

    def __post_init__(self) -> None:
        """Freeze every column."""
        text = dict.fromkeys(
            ("plant_id", "observer", "method", "pest_system", "status", "evidence", "symptoms", "sample_id",
             "survey_kind", "note", "file"), object
        )  # fmt: skip
        freeze_columns(
            self,
            {**text, "inspected_on": "datetime64[D]", "row": np.int64, "is_bed_count": np.bool_},
            len(self.plant_id),
        )

    def __len__(self) -> int:
        """Return the number of inspections."""
        return len(self.plant_id)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WorkLog:
    """What crews did, one item per order: removed or not, roots complete, regrowth seen."""

    plant_id: TextArray
    done_on: DateArray
    done: BoolArray
    roots_complete: TextArray
    regrowth_on: DateArray
    note: TextArray

    def __post_init__(self) -> None:
        """Freeze every column."""
        text = dict.fromkeys(("plant_id", "roots_complete", "note"), object)
        freeze_columns(
            self,
            {**text, "done_on": "datetime64[D]", "regrowth_on": "datetime64[D]", "done": np.bool_},
            len(self.plant_id),
        )

    def __len__(self) -> int:
        """Return the number of entries."""
        return len(self.plant_id)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DailyTemperature:
    """Lowest and highest air temperature of each day [deg C]."""

    day: DateArray
    minimum_c: FloatArray
    maximum_c: FloatArray

    def __post_init__(self) -> None:
        """Freeze every column."""
        freeze_columns(self, {"day": "datetime64[D]", "minimum_c": np.float64, "maximum_c": np.float64}, len(self.day))

    def __len__(self) -> int:
        """Return the number of days."""
        return len(self.day)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlantState:
    """What is known of every plant for one pest system on one date; same order as the inventory.

    `status` is `not_inspected` where nobody looked. `is_standing` is false for plants that were taken out or not
    found. `is_host` says whether the pest system can live on the plant. `roots_complete` counts for removed plants
    only; `has_regrowth` is true where a sprout was seen after removal and not taken out since.
    """

    system_key: str
    as_of: np.datetime64
    status: TextArray
    evidence: TextArray
    status_on: DateArray
    first_found_on: DateArray
    last_inspected_on: DateArray
    inspections: IntArray
    removed_on: DateArray
    roots_complete: TextArray
    has_regrowth: BoolArray
    is_standing: BoolArray
    is_host: BoolArray

    def __post_init__(self) -> None:
        """Freeze every column."""
        dates = dict.fromkeys(("status_on", "first_found_on", "last_inspected_on", "removed_on"), "datetime64[D]")
        flags = dict.fromkeys(("has_regrowth", "is_standing", "is_host"), np.bool_)
        freeze_columns(
            self,
            {**dates, **flags, "status": object, "evidence": object, "roots_complete": object, "inspections": np.int64},
            len(self.status),
        )

    def __len__(self) -> int:
        """Return the number of plants."""
        return len(self.status)

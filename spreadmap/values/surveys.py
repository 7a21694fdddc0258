"""Inspections and finished work, one item per row of a table."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from spreadmap.values.arrays import (
    BoolArray,
    DateArray,
    FloatArray,
    IntArray,
    TextArray,
    empty_text,
    freeze_columns,
    no_dates,
)


def _fill_dates(value: Any, names: tuple[str, ...], length: int) -> None:
    """Replace columns that were left out by missing dates."""
    for name in names:
        if not len(getattr(value, name)):
            object.__setattr__(value, name, no_dates(length))


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
    """What crews did, one item per order: removed or not, roots complete, regrowth seen, order opened again.

    `reopened_on` may be left out: no order was opened again then.
    """

    plant_id: TextArray
    done_on: DateArray
    done: BoolArray
    roots_complete: TextArray
    regrowth_on: DateArray
    note: TextArray
    reopened_on: DateArray = field(default_factory=lambda: no_dates(0))

    def __post_init__(self) -> None:
        """Freeze every column."""
        _fill_dates(self, ("reopened_on",), len(self.plant_id))
        text = dict.fromkeys(("plant_id", "roots_complete", "note"), object)
        dates = dict.fromkeys(("done_on", "regrowth_on", "reopened_on"), "datetime64[D]")
        freeze_columns(self, {**text, **dates, "done": np.bool_}, len(self.plant_id))

    def __len__(self) -> int:
        """Return the number of entries."""
        return len(self.plant_id)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Decisions:
    """What managers decided about plants, one item per decision: `decision` holds accept, put_off or refuse.

    A plant that is put off with a date in `until` comes back on that day. `reason` is in the manager's own words.
    """

    plant_id: TextArray = field(default_factory=lambda: empty_text(0))
    decided_on: DateArray = field(default_factory=lambda: no_dates(0))
    decision: TextArray = field(default_factory=lambda: empty_text(0))
    until: DateArray = field(default_factory=lambda: no_dates(0))
    reason: TextArray = field(default_factory=lambda: empty_text(0))

    def __post_init__(self) -> None:
        """Freeze every column."""
        text = dict.fromkeys(("plant_id", "decision", "reason"), object)
        dates = dict.fromkeys(("decided_on", "until"), "datetime64[D]")
        freeze_columns(self, {**text, **dates}, len(self.plant_id))

    def __len__(self) -> int:
        """Return the number of decisions."""
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
    only; `has_regrowth` is true where a sprout was seen after removal and not taken out since. `sprout_on` is the day of
    the last sprout at a removed plant, `reopened_on` the day on which its order was opened again and not done since;
    both may be left out.
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
    sprout_on: DateArray = field(default_factory=lambda: no_dates(0))
    reopened_on: DateArray = field(default_factory=lambda: no_dates(0))

    def __post_init__(self) -> None:
        """Freeze every column."""
        _fill_dates(self, ("sprout_on", "reopened_on"), len(self.status))
        names = ("status_on", "first_found_on", "last_inspected_on", "removed_on", "sprout_on", "reopened_on")
        dates = dict.fromkeys(names, "datetime64[D]")
        flags = dict.fromkeys(("has_regrowth", "is_standing", "is_host"), np.bool_)
        freeze_columns(
            self,
            {**dates, **flags, "status": object, "evidence": object, "roots_complete": object, "inspections": np.int64},
            len(self.status),
        )

    def __len__(self) -> int:
        """Return the number of plants."""
        return len(self.status)

"""Courses of action: what is done, and when, from the date of the state to the horizon. Each is derived from one plan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spreadmap.errors import InputError
from spreadmap.values.arrays import BoolArray, DateArray, FloatArray, freeze_columns
from spreadmap.values.inventory import ScreenSegments

NO_SEGMENTS = ScreenSegments(ends=np.zeros((0, 4)), factor=np.zeros(0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Action:
    """One course of action over n plants.

    `says` is its condition in words. `removal_on` is the day from which a plant is out, no date where it stays;
    `crew_hours` is the work on each plant if it is found later [crew h]. Plants found in later surveys come out where
    `found_come_out` says so, by crews of `crew_hours_per_week` that are free from `crew_free_on` on, `delay_days` after
    the finding at the earliest. `survey_every_days` is the interval of surveys, the first of which is one interval
    after the state. `more_screens` stand in this course only; `missed_roots_share` of the plants taken out leave roots
    that go on sending weakly [-].
    """

    key: str
    says: str
    removal_on: DateArray
    crew_hours: FloatArray
    crew_hours_per_week: float
    crew_free_on: np.datetime64
    delay_days: int
    found_come_out: bool
    survey_every_days: int
    more_screens: ScreenSegments = NO_SEGMENTS
    missed_roots_share: float = 0.0

    def __post_init__(self) -> None:
        """Freeze the columns; refuse what cannot be."""
        freeze_columns(self, {"removal_on": "datetime64[D]", "crew_hours": np.float64}, len(self.removal_on))
        checks = (
            ("survey_every_days", self.survey_every_days, self.survey_every_days >= 1, "1 or more"),
            ("crew_hours_per_week", self.crew_hours_per_week, self.crew_hours_per_week >= 0, "0 or more"),
            ("delay_days", self.delay_days, self.delay_days >= 0, "0 or more"),
            ("missed_roots_share", self.missed_roots_share, 0 <= self.missed_roots_share <= 1, "0 to 1"),
        )
        faults = [f"{name} is {value}; allowed: {allowed}" for name, value, fits, allowed in checks if not fits]
        if faults:
            msg = f"course of action '{self.key}': {'; '.join(faults)}. Correct the plan or the settings."
            raise InputError(msg)

    @property
    def taken_out(self) -> BoolArray:
        """Return the plants that this course takes out by plan, shape (n,)."""
        return np.asarray(~np.isnat(self.removal_on), dtype=np.bool_)

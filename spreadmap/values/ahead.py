"""What comes until the next survey and the horizon under several courses of action."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from spreadmap.values.arrays import DateArray, FloatArray, freeze_columns
from spreadmap.values.score import Course
from spreadmap.values.words import Mode


@dataclass(frozen=True, slots=True, kw_only=True)
class NewCases:
    """A number of plants over all members: mean, and the middle 50 and 90 % of the members."""

    expected: float
    low_50: float
    high_50: float
    low_90: float
    high_90: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """One course of action until the horizon; new cases are plants infected after the date of the state.

    `taken_out` plants come out by plan, `looks` surveys are made. `share_avoided` is the share of the new cases under
    nothing done that this course avoids, `share_low` and `share_high` its range: over draws in calibrated mode (the
    middle 90 %), over all assumed rates and all scales of the kernel in relative mode [-]. The numbers stand in
    calibrated mode only: new cases by the next survey and by the horizon, and those avoided against nothing done,
    member by member.
    """

    key: str
    says: str
    taken_out: int
    looks: int
    share_avoided: float
    share_low: float
    share_high: float
    by_next_survey: NewCases | None = None
    by_horizon: NewCases | None = None
    avoided: NewCases | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Two courses of action against each other, and whether `better` leaves fewer new cases than `than`.

    `holds` says that it does in all draws of relative mode, or in more than 95 % of the members of calibrated mode;
    `fails` that the other does. `avoided` is the difference, member by member, in calibrated mode only. `ratio_low`,
    `ratio_high` are the new cases of `better` over those of `than`, least and greatest over all draws [-].
    """

    better: str
    than: str
    says: str
    holds: bool
    fails: bool
    ratio_low: float
    ratio_high: float
    avoided: NewCases | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlantsAhead:
    """Chances of n plants under the first course of action, calibrated mode only; NaN for plants that are known.

    Infected or showing symptoms by the next survey and by the horizon [-]. `first_on` is the date by which half of the
    members in which the plant becomes infected by the horizon have it infected; no date where none has.
    """

    infected_by_survey: FloatArray
    infected_by_horizon: FloatArray
    showing_by_survey: FloatArray
    showing_by_horizon: FloatArray
    first_on: DateArray

    def __post_init__(self) -> None:
        """Freeze every column."""
        names = ("infected_by_survey", "infected_by_horizon", "showing_by_survey", "showing_by_horizon")
        freeze_columns(self, {**dict.fromkeys(names, np.float64), "first_on": "datetime64[D]"}, len(self.first_on))


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceAhead:
    """A bed or a site under the first course of action, calibrated mode only.

    `chance_by_survey`, `chance_by_horizon`: that it has at least one new case [-]. `first_on` is the date by which half
    of the members with a new case there have their first; None where no member has one.
    """

    kind: str
    name: str
    hosts: int
    chance_by_survey: float
    chance_by_horizon: float
    by_survey: NewCases
    by_horizon: NewCases
    first_on: dt.date | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ahead:
    """The spread ahead of one pest system under several courses of action, the first of which is nothing done.

    `rates_say` tells on what the rates rest. In relative mode `onward_range` are the assumed onward infections of a
    typical confirmed plant in a full season, and there are no plants, no places and no courses.
    """

    mode: Mode
    as_of: dt.date
    next_survey_on: dt.date
    horizon_on: dt.date
    draws: int
    members: int
    seed: int
    scenarios: tuple[Scenario, ...]
    comparisons: tuple[Comparison, ...]
    rates_say: str
    onward_range: tuple[float, ...] = ()
    plants: PlantsAhead | None = None
    places: tuple[PlaceAhead, ...] = ()
    courses: tuple[Course, ...] = ()
    remarks: tuple[str, ...] = ()

    def scenario(self, key: str) -> Scenario:
        """Return one course of action by its key.

        Raises
        ------
        KeyError
            If there is none of this key.
        """
        for each in self.scenarios:
            if each.key == key:
                return each
        raise KeyError(key)

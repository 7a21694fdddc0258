"""The course of mite numbers through a season, from daily temperatures, and the weights of flight that follow.

What is assumed each time a course is made stands in `ASSUMPTIONS` and travels with the result.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spreadmap.biology.bounds import Check, require
from spreadmap.biology.daylight import day_length_hours
from spreadmap.biology.heat import DAY, HeatRule, HeatSum, require_celsius, require_no_gaps, sum_heat
from spreadmap.biology.season_clock import ordinary_date
from spreadmap.errors import InputError, SettingsError
from spreadmap.values.arrays import BoolArray, DateArray, FloatArray, freeze_columns
from spreadmap.values.surveys import DailyTemperature

ASSUMPTIONS = (
    "Mites are as warm as the air of the temperature record.",
    "Growth is proportional to degree-days: deaths and eggs per female do not change with temperature.",
    "Numbers are relative to what the plants can bear; crowding slows growth in a straight line (logistic).",
    "Losses (predators, rain, old age beyond the life table) are the same on every day.",
    "The same share of active mites flies on every day; hours of flight are judged elsewhere.",
    "All overwintered mites start on one day and all stop on one day.",
)
LEAST_DAYS_OF_MONTH = 15
"""A month with fewer days of temperatures says nothing of its weight [d]: our choice."""
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
          "December")  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class MiteSeason:
    """How a mite lives through the year. No number here has a default: none was measured for the rose mite.

    `growth_per_degree_day` [1/(deg C d)]; `loss_per_day` [1/d]; `overwintered_share`, mites on the first active day over
    the most the plants can bear [-].
    Start: either `starts_on` (month, day), or `starts_at_degree_days` [deg C d] summed from the first day of the
    course. Stop, whichever comes first after the start: `stops_on`, the last active (month, day), or the first day
    shorter than `stops_below_daylight_h` [h] while days shorten, when overwintering forms are made.
    Cool-season mites rest while the mean of the last `rest_window_days` lies above `rests_above_c` [deg C]: nobody
    grows or flies, and `resting_loss_per_day` [1/d] takes its toll.
    """

    growth_per_degree_day: float
    loss_per_day: float
    overwintered_share: float
    starts_on: tuple[int, int] | None = None
    starts_at_degree_days: float | None = None
    stops_on: tuple[int, int] | None = None
    stops_below_daylight_h: float | None = None
    rests_above_c: float | None = None
    rest_window_days: int = 7
    resting_loss_per_day: float = 0.0

    def __post_init__(self) -> None:
        """Check numbers and dates, and that there is one start and at least one stop."""
        where, remedy = "season of the mite", "Correct the pest system's season."
        checks: list[Check] = [
            (
                "growth_per_degree_day",
                self.growth_per_degree_day,
                "1/(deg C d)",
                self.growth_per_degree_day > 0,
                "above 0",
            ),
            ("loss_per_day", self.loss_per_day, "1/d", self.loss_per_day >= 0, "0 or more"),
            ("overwintered_share", self.overwintered_share, "-", 0 < self.overwintered_share <= 1, "above 0 to 1"),
            ("rest_window_days", self.rest_window_days, "d", 1 <= self.rest_window_days <= 60, "1 to 60"),
            ("resting_loss_per_day", self.resting_loss_per_day, "1/d", self.resting_loss_per_day >= 0, "0 or more"),
        ]
        for name, value, unit, most in (
            ("starts_at_degree_days", self.starts_at_degree_days, "deg C d", 20_000),
            ("stops_below_daylight_h", self.stops_below_daylight_h, "h", 24),
        ):
            if value is not None:
                checks.append((name, value, unit, 0 <= value <= most, f"0 to {most}"))
        require(where, checks, remedy)
        require_celsius(where, "rests_above_c", self.rests_above_c)
        for name, date in (("starts_on", self.starts_on), ("stops_on", self.stops_on)):
            if date is not None:
                ordinary_date(where, name, date)
        if (self.starts_on is None) == (self.starts_at_degree_days is None):
            given = "neither" if self.starts_on is None else "both"
            msg = f"{where}: {given} of starts_on and starts_at_degree_days given; allowed: one of them. {remedy}"
            raise SettingsError(msg)
        if self.stops_on is None and self.stops_below_daylight_h is None:
            msg = f"{where}: neither stops_on nor stops_below_daylight_h given; allowed: one or both. {remedy}"
            raise SettingsError(msg)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeasonCourse:
    """Mites day by day, one item per day, shape (n,).

    `numbers` at the beginning of the day, resting ones included, over the most the plants can bear [-]; zero before the
    start and after the stop. `is_active` where they grow and fly. `growth_per_day` [1/d] before crowding and losses.
    `starts_on` and `stops_on` are the first and the last active day, NaT where there is none. `assumptions` and
    `remarks` belong beside every figure taken from it.
    """

    heat: HeatSum
    day: DateArray
    growth_per_day: FloatArray
    numbers: FloatArray
    is_active: BoolArray
    starts_on: np.datetime64
    stops_on: np.datetime64
    assumptions: tuple[str, ...]
    remarks: tuple[str, ...]

    def __post_init__(self) -> None:
        """Freeze every column."""
        freeze_columns(
            self,
            {"day": "datetime64[D]", "growth_per_day": np.float64, "numbers": np.float64, "is_active": np.bool_},
            len(self.day),
        )

    def flying(self) -> FloatArray:
        """Return active mites, in proportion to those that fly, shape (n,) [-]."""
        return np.where(self.is_active, self.numbers, 0.0)


def next_numbers(numbers: float, growth_per_day: float, loss_per_day: float) -> float:
    """Return the numbers one day later, over the most the plants can bear.

    Parameters
    ----------
    numbers : float
        Zero to one. [-]
    growth_per_day, loss_per_day : float
        g and q, steady through the day. [1/d]

    Returns
    -------
    float
        [-]

    Notes
    -----
    Exact solution of dn/dt = g n (1 - n) - q n over one day: n exp(a) / (1 + g n (exp(a) - 1)/a), a = g - q; bound by
    test_mite_season.py::test_a_day_solves_the_differential_equation.

    References
    ----------
    Verhulst 1838 (logistic growth; from memory).
    """
    rise = growth_per_day - loss_per_day
    mean_rise = np.expm1(rise) / rise if abs(rise) > 1e-9 else 1 + rise / 2
    return float(numbers * np.exp(rise) / (1 + growth_per_day * numbers * mean_rise))


def season_course(
    record: DailyTemperature,
    rule: HeatRule,
    season: MiteSeason,
    first: np.datetime64,
    last: np.datetime64,
    *,
    latitude_deg: float | None = None,
    most_filled_days: int = 0,
) -> SeasonCourse:
    """Return the course of mite numbers through one season.

    Parameters
    ----------
    record : DailyTemperature
    rule : HeatRule
    season : MiteSeason
    first, last : datetime64
        Days of the course, at most 366: the calendar year in the north, July to June in the south. Degree-days to the
        start are summed from `first`.
    latitude_deg : float, optional
        Needed where day length stops the season. [deg]
    most_filled_days : int, optional
        As in `sum_heat`: gaps up to this length are bridged and told.

    Returns
    -------
    SeasonCourse

    Raises
    ------
    InputError
        If the temperatures are faulty or have a gap, or the course is longer than 366 days.
    SettingsError
        If the latitude is needed and missing, or no day of the course has the date of start.

    Notes
    -----
    Numbers follow `next_numbers`. The peak moves with `overwintered_share` and `loss_per_day`, of which little is
    known: compare the result with counts before it replaces anything.
    """
    heat = sum_heat(record, rule, first, last, most_filled_days=most_filled_days)
    require_no_gaps(heat, "the course of mite numbers")
    if len(heat) > 366:
        msg = (
            f"temperatures: the course runs over {len(heat)} days, {first} to {last}; allowed: one season, up to 366 d. "
            "Make one course per year."
        )
        raise InputError(msg)
    start = _start(heat, season)
    stop = _stop(heat, season, start, latitude_deg)
    at_work = np.zeros(len(heat), dtype=bool)
    at_work[start : stop + 1] = True
    resting = at_work & _is_hot(heat, season)
    growth = season.growth_per_degree_day * heat.daily
    numbers, now = np.zeros(len(heat)), season.overwintered_share
    for index in range(start, stop + 1):
        numbers[index] = now
        if resting[index]:
            now = next_numbers(now, 0.0, season.resting_loss_per_day)
        else:
            now = next_numbers(now, float(growth[index]), season.loss_per_day)
    active = at_work & ~resting
    known = np.flatnonzero(active)
    none = np.datetime64("NaT", "D")
    return SeasonCourse(
        heat=heat,
        day=heat.day,
        growth_per_day=growth,
        numbers=numbers,
        is_active=active,
        starts_on=heat.day[known[0]] if len(known) else none,
        stops_on=heat.day[known[-1]] if len(known) else none,
        assumptions=ASSUMPTIONS,
        remarks=heat.remarks + _remarks(heat, start, stop, resting),
    )


def season_factor(course: SeasonCourse) -> FloatArray:
    """Return the strength of flight on each day over that of the best day, shape (n,) [-].

    Raises
    ------
    InputError
        If no mite is active on any day.
    """
    flying = course.flying()
    _require_flight(float(flying.max(initial=0.0)))
    return np.asarray(flying / flying.max())


def monthly_flight_weights(courses: Sequence[SeasonCourse]) -> tuple[float, ...]:
    """Return twelve weights of flight, January first, the best month one: the form of a pest system's `flight_weight`.

    Parameters
    ----------
    courses : sequence of SeasonCourse
        One or several years; the days of a month are averaged over all of them.

    Returns
    -------
    twelve numbers
        Mean of the active mites of each month over that of the best month. [-]

    Raises
    ------
    InputError
        If a month has fewer than 15 days in all courses together, or no mite is active on any day.

    Notes
    -----
    Months are what the pest system's file holds. Beside them stand `SeasonCourse.assumptions`: such weights are no
    better than those, and do not replace trap counts.
    """
    days = np.concatenate([course.day for course in courses]) if courses else np.empty(0, dtype="datetime64[D]")
    month = days.astype("datetime64[M]").astype(np.int64) % 12
    count = np.bincount(month, minlength=12)
    if (count < LEAST_DAYS_OF_MONTH).any():
        short = [f"{MONTHS[index]} ({count[index]})" for index in np.flatnonzero(count < LEAST_DAYS_OF_MONTH)]
        msg = (
            f"temperatures: too few days in {', '.join(short)}; allowed: {LEAST_DAYS_OF_MONTH} or more in every month. "
            "Give a record of a whole year."
        )
        raise InputError(msg)
    flying = np.concatenate([course.flying() for course in courses])
    mean = np.bincount(month, weights=flying, minlength=12) / count
    _require_flight(float(mean.max()))
    return tuple(float(weight) for weight in mean / mean.max())


def _start(heat: HeatSum, season: MiteSeason) -> int:
    """Return the index of the first day at work; the number of days where it never comes."""
    if season.starts_on is None:
        return int(np.searchsorted(heat.accumulated, season.starts_at_degree_days or 0.0))
    found = _index_of(heat.day, season.starts_on)
    if found is None:
        month, day = season.starts_on
        msg = (
            f"season of the mite: starts_on is month {month} day {day}, which is not between {heat.day[0]} and "
            f"{heat.day[-1]}; allowed: a day of the course. Give temperatures from before the season on."
        )
        raise SettingsError(msg)
    return found


def _stop(heat: HeatSum, season: MiteSeason, start: int, latitude_deg: float | None) -> int:
    """Return the index of the last day at work."""
    last = len(heat) - 1
    if season.stops_on is not None:
        # A stop before a late start leaves no day at work.
        found = _index_of(heat.day, season.stops_on)
        last = last if found is None else found
    if season.stops_below_daylight_h is not None:
        if latitude_deg is None:
            msg = (
                f"season of the mite: stops below {season.stops_below_daylight_h:g} h of daylight, and latitude_deg is "
                "missing; allowed: -90 to 90 deg. Give the latitude, or stop the season by date."
            )
            raise SettingsError(msg)
        length = day_length_hours(np.r_[heat.day[:1] - DAY, heat.day], latitude_deg)
        short = (length[1:] < season.stops_below_daylight_h) & (np.diff(length) < 0)
        after = np.flatnonzero(short[start:])
        last = min(last, start + int(after[0]) - 1) if len(after) else last
    return last


def _index_of(days: DateArray, month_day: tuple[int, int]) -> int | None:
    """Return the index of the first day with this month and day."""
    month = days.astype("datetime64[M]").astype(np.int64) % 12 + 1
    of_month = (days - days.astype("datetime64[M]").astype("datetime64[D]")).astype(np.int64) + 1
    found = np.flatnonzero((month == month_day[0]) & (of_month == month_day[1]))
    return int(found[0]) if len(found) else None


def _is_hot(heat: HeatSum, season: MiteSeason) -> BoolArray:
    """Return on which days the mean of the last days lies above the warmth in which the mite rests."""
    if season.rests_above_c is None:
        return np.zeros(len(heat), dtype=bool)
    total = np.cumsum(np.r_[0.0, (heat.minimum_c + heat.maximum_c) / 2])
    stop = np.arange(1, len(heat) + 1)
    begin = np.maximum(stop - season.rest_window_days, 0)
    return np.asarray((total[stop] - total[begin]) / (stop - begin) > season.rests_above_c)


def _remarks(heat: HeatSum, start: int, stop: int, resting: BoolArray) -> tuple[str, ...]:
    """Return what is said beside a course."""
    if start >= len(heat):
        return (f"The degree-days of the start are not reached by {heat.day[-1]}: no mite is active.",)
    if stop < start:
        return (f"The season stops before it starts on {heat.day[start]}: no mite is active.",)
    if resting.any():
        hot = heat.day[resting]
        return (f"Rests in heat on {len(hot)} days, the first {hot[0]}, the last {hot[-1]}.",)
    return ()


def _require_flight(best: float) -> None:
    """Refuse a course in which nobody flies: nothing is relative to nothing."""
    if best <= 0:
        msg = (
            "season of the mite: no mite is active on any day; allowed: at least one active day. Correct the start, the "
            "stop or the warmth of rest, or give a longer record."
        )
        raise InputError(msg)

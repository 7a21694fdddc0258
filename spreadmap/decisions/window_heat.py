"""When a window opens and closes by degree-days, as far as a record of daily temperatures tells."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from spreadmap.biology.degree_days import METHODS
from spreadmap.biology.heat import HeatRule, HeatSum, first_day_reaching, sum_heat
from spreadmap.records.triage import day_of_year
from spreadmap.values.arrays import to_date
from spreadmap.values.pest_system import FAHRENHEIT_PER_CELSIUS, DegreeDays
from spreadmap.values.settings import CalendarSettings
from spreadmap.values.surveys import DailyTemperature

DAYS_OF_A_COUNT = 365
"""A count that was not reached within so many days is never reached [d]: our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatDay:
    """The first day on which a number of degree-days was reached; None where the record ends before.

    `is_sure` is false where temperatures are missing before that day, or before the record's end: the sum is then the
    least it can be. `earliest` and `latest` are the days by all methods of summing that reached it.
    """

    on: dt.date | None
    is_sure: bool
    earliest: dt.date | None
    latest: dt.date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatSpan:
    """First and last day of a window by degree-days.

    `until` is the last day of the record that was used, `reached` the sum on it in the unit of the source.
    """

    first: HeatDay
    last: HeatDay
    until: dt.date
    reached: float
    remarks: tuple[str, ...]


def count_begins(asked: DegreeDays, window_begins: dt.date) -> dt.date:
    """Return the first day of the count: the last such day of the year that is not after the window's first day."""
    same_year = day_of_year(window_begins.year, asked.counted_from)
    return same_year if same_year <= window_begins else day_of_year(window_begins.year - 1, asked.counted_from)


def heat_span(
    record: DailyTemperature, asked: DegreeDays, begins: dt.date, settings: CalendarSettings
) -> HeatSpan | None:
    """Return when a window opens and closes by degree-days.

    Parameters
    ----------
    record : DailyTemperature
        At least one day. [deg C]
    asked : DegreeDays
        The window's figures.
    begins : date
        First day of the count.
    settings : CalendarSettings

    Returns
    -------
    HeatSpan or None
        None where the record ends before the count begins.

    Raises
    ------
    InputError
        If the record cannot be true.

    Notes
    -----
    Sums by the method of the settings; the other methods of `biology.degree_days` give the spread. Bound by
    test_calendar.py and published/test_season_windows.py.
    """
    end = min(record.day.max(), np.datetime64(begins) + np.timedelta64(DAYS_OF_A_COUNT - 1, "D"))
    if end < np.datetime64(begins):
        return None
    sums = {name: _sum_by(name, record, asked, begins, end, settings) for name in METHODS}
    chosen = sums[settings.degree_day_method]
    return HeatSpan(
        first=_day_reaching(sums, chosen, asked.first_c_days),
        last=_day_reaching(sums, chosen, asked.last_c_days),
        until=dt.date.fromisoformat(str(end)),
        reached=float(chosen.accumulated[-1]) * (FAHRENHEIT_PER_CELSIUS if asked.unit == "F" else 1.0),
        remarks=chosen.remarks,
    )


def _sum_by(
    method: str,
    record: DailyTemperature,
    asked: DegreeDays,
    begins: dt.date,
    end: np.datetime64,
    settings: CalendarSettings,
) -> HeatSum:
    """Return the sum by one method."""
    rule = HeatRule(lower_c=asked.base_c, upper_c=asked.upper_c, method=method)
    return sum_heat(record, rule, np.datetime64(begins), end, most_filled_days=settings.most_filled_days)


def _day_reaching(sums: dict[str, HeatSum], chosen: HeatSum, wanted: float) -> HeatDay:
    """Return the day of the chosen sum, and the first and last one over all sums that reached it."""
    day = first_day_reaching(chosen, wanted)
    every = [found for heat in sums.values() if not np.isnat(found := first_day_reaching(heat, wanted))]
    place = len(chosen) - 1 if np.isnat(day) else int((day - chosen.day[0]).astype(np.int64))
    return HeatDay(
        on=to_date(day),
        is_sure=bool(chosen.is_complete[place]),
        earliest=to_date(min(every)) if every else None,
        latest=to_date(max(every)) if every else None,
    )

"""Degree-days summed over a record of daily temperatures, with its gaps told and never filled in silence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spreadmap.biology.bounds import require
from spreadmap.biology.degree_days import METHODS, degree_days, fahrenheit_to_celsius, require_heat_rule
from spreadmap.errors import InputError, SettingsError
from spreadmap.values.arrays import BoolArray, DateArray, FloatArray, freeze_columns
from spreadmap.values.surveys import DailyTemperature

COLDEST_C, WARMEST_C = -70.0, 60.0
"""Air temperatures of the earth, rounded outwards [deg C]: anything beyond is another unit or a mark for "missing"."""
MANY = 3
"""So many faults or gaps are spelt out in a message; the rest is counted."""

DAY = np.timedelta64(1, "D")


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatRule:
    """Thresholds, method and cutoff that belong together: a figure in degree-days means nothing without them.

    `lower_c`, `upper_c` in deg C; no `upper_c`: no limit. `method` and `cutoff` as in `degree_days`.
    """

    lower_c: float
    upper_c: float | None = None
    method: str = "single_sine"
    cutoff: str = "horizontal"

    def __post_init__(self) -> None:
        """Check thresholds and names."""
        require_heat_rule(self.lower_c, self.upper_c, self.method, self.cutoff)


def heat_rule_from_fahrenheit(
    lower_f: float, upper_f: float | None = None, method: str = "single_sine", cutoff: str = "horizontal"
) -> HeatRule:
    """Return a rule whose thresholds were given in deg F, such as the base of 50 F of many published windows."""
    upper = None if upper_f is None else float(fahrenheit_to_celsius(upper_f))
    return HeatRule(lower_c=float(fahrenheit_to_celsius(lower_f)), upper_c=upper, method=method, cutoff=cutoff)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeatSum:
    """Degree-days of every calendar day from a start, and their sum; one item per day, shape (n,).

    `minimum_c`, `maximum_c` are NaN where the record has a gap that was not filled, and so are `daily` degree-days.
    `accumulated` counts the days that are known, this one included: from the first such gap on, where `is_complete` is
    false, it is the least it can be. `gaps` are pairs of first and last missing day, `filled` those that were bridged
    with straight lines. `remarks` say so in words. [deg C, deg C d]
    """

    rule: HeatRule
    day: DateArray
    minimum_c: FloatArray
    maximum_c: FloatArray
    daily: FloatArray
    accumulated: FloatArray
    is_complete: BoolArray
    gaps: tuple[tuple[np.datetime64, np.datetime64], ...]
    filled: tuple[tuple[np.datetime64, np.datetime64], ...]
    remarks: tuple[str, ...]

    def __post_init__(self) -> None:
        """Freeze every column."""
        numbers = dict.fromkeys(("minimum_c", "maximum_c", "daily", "accumulated"), np.float64)
        freeze_columns(self, {"day": "datetime64[D]", **numbers, "is_complete": np.bool_}, len(self.day))

    def __len__(self) -> int:
        """Return the number of days."""
        return len(self.day)


def check_temperatures(record: DailyTemperature) -> None:
    """Refuse a record that cannot be true: days twice or undated, minimum above maximum, no temperature of this earth.

    Missing temperatures (NaN) are no fault; they are gaps.

    Raises
    ------
    InputError
        Names the first few faulty days and counts the rest.
    """
    faults = [f"{int(np.isnat(record.day).sum())} row(s) without a date"] if np.isnat(record.day).any() else []
    days, count = np.unique(record.day[~np.isnat(record.day)], return_counts=True)
    faults += [f"{day}: {times} rows; allowed: one" for day, times in zip(days, count, strict=True) if times > 1]
    low, high = record.minimum_c, record.maximum_c
    for index in np.flatnonzero(low > high):
        faults.append(f"{record.day[index]}: minimum {low[index]:g} deg C is above maximum {high[index]:g} deg C")
    for name, values in (("minimum", low), ("maximum", high)):
        outside = ~np.isnan(values) & ~((values >= COLDEST_C) & (values <= WARMEST_C))
        faults += [
            f"{record.day[index]}: {name} {values[index]:g} deg C; allowed: {COLDEST_C:g} to {WARMEST_C:g} deg C"
            for index in np.flatnonzero(outside)
        ]
    if faults:
        msg = (
            f"temperatures: {_first_few(faults)}. Correct these rows; give deg C (deg F must be turned into deg C "
            "first), and leave the cell empty where nothing was measured."
        )
        raise InputError(msg)


def sum_heat(
    record: DailyTemperature,
    rule: HeatRule,
    start: np.datetime64,
    end: np.datetime64 | None = None,
    *,
    most_filled_days: int = 0,
) -> HeatSum:
    """Return degree-days day by day and summed from a start.

    Parameters
    ----------
    record : DailyTemperature
        Rows in any order. [deg C]
    rule : HeatRule
    start, end : datetime64
        First and last day, both counted; without `end`, the record's last day.
    most_filled_days : int, optional
        Gaps of at most so many days, with a measured day on either side, are bridged by straight lines of minimum and
        maximum, and the result says which. None are by default.

    Returns
    -------
    HeatSum

    Raises
    ------
    InputError
        If the record is empty or cannot be true, or ends before it starts.
    SettingsError
        If `most_filled_days` is below zero.

    Notes
    -----
    A double method takes the day's own minimum where that of the next is not known, and says so.
    """
    most = most_filled_days
    require("degree-days", [("most_filled_days", most, "d", most >= 0, "0 or more")], "Give 0 to fill nothing.")
    check_temperatures(record)
    if not len(record):
        msg = "temperatures: no row; allowed: one row per day from the start on. Give a record of minimum and maximum."
        raise InputError(msg)
    first = start.astype("datetime64[D]")
    last = record.day.max() if end is None else end.astype("datetime64[D]")
    if np.isnat(first) or np.isnat(last) or last < first:
        msg = (
            f"temperatures: the sum would run from {first} to {last}; allowed: an end on the start or after it. Choose "
            "another start, or give a record that reaches it."
        )
        raise InputError(msg)
    # One day more than is summed, for the double methods look at the next minimum.
    days = np.arange(first, last + 2 * DAY)
    low, high = _on_days(record, days)
    gaps, filled = _fill(days, low, high, most, _on_days(record, np.array([first - DAY])))
    gaps = [(gap[0], min(gap[1], last)) for gap in gaps if gap[0] <= last]
    filled = [(gap[0], min(gap[1], last)) for gap in filled if gap[0] <= last]
    after = np.where(np.isnan(low[1:]), low[:-1], low[1:])
    daily = degree_days(
        low[:-1],
        high[:-1],
        rule.lower_c,
        rule.upper_c,
        method=rule.method,
        cutoff=rule.cutoff,
        next_minimum=after,
    )
    known = ~np.isnan(daily)
    alone = int((known & np.isnan(low[1:])).sum()) if METHODS[rule.method].uses_next_minimum else 0
    return HeatSum(
        rule=rule,
        day=days[:-1],
        minimum_c=np.where(known, low[:-1], np.nan),
        maximum_c=np.where(known, high[:-1], np.nan),
        daily=daily,
        accumulated=np.cumsum(np.where(known, daily, 0.0)),
        is_complete=np.cumsum(~known) == 0,
        gaps=tuple(gaps),
        filled=tuple(filled),
        remarks=_remarks(gaps, filled, alone),
    )


def first_day_reaching(heat: HeatSum, wanted: float) -> np.datetime64:
    """Return the first day on which the sum reaches a number of degree-days [deg C d]; NaT if it does not.

    Behind a gap the sum is the least it can be: the day may then have been earlier (`is_complete` tells).

    Raises
    ------
    SettingsError
        If the number is below zero or not finite.
    """
    require("degree-days", [("wanted", wanted, "deg C d", wanted >= 0, "0 or more")], "Correct the window's figure.")
    reached = np.flatnonzero(heat.accumulated >= wanted)
    return heat.day[reached[0]] if len(reached) else np.datetime64("NaT", "D")


def require_no_gaps(heat: HeatSum, what: str) -> None:
    """Refuse a sum with unfilled gaps where every day is needed (InputError)."""
    if heat.gaps:
        msg = (
            f"temperatures: missing {_first_few([_spell(gap) for gap in heat.gaps])}; allowed: no gap, for {what} needs "
            "every day. Add the days, or allow gaps of that length to be bridged (most_filled_days)."
        )
        raise InputError(msg)


def _on_days(record: DailyTemperature, days: DateArray) -> tuple[FloatArray, FloatArray]:
    """Return minimum and maximum on the given days in a row, both NaN where either is missing."""
    low, high = np.full(len(days), np.nan), np.full(len(days), np.nan)
    place = (record.day - days[0]).astype(np.int64)
    inside = (place >= 0) & (place < len(days)) & ~np.isnan(record.minimum_c) & ~np.isnan(record.maximum_c)
    low[place[inside]], high[place[inside]] = record.minimum_c[inside], record.maximum_c[inside]
    return low, high


def _fill(
    days: DateArray, low: FloatArray, high: FloatArray, most: int, before: tuple[FloatArray, FloatArray]
) -> tuple[list[tuple[np.datetime64, np.datetime64]], list[tuple[np.datetime64, np.datetime64]]]:
    """Bridge short gaps in place; return the gaps that stay and those that were filled."""
    lows, highs = np.r_[before[0], low], np.r_[before[1], high]
    missing = np.isnan(lows)
    edges = np.flatnonzero(np.diff(np.r_[False, missing, False].astype(np.int8)))
    stay, filled = [], []
    for begin, stop in zip(edges[::2], edges[1::2], strict=True):
        if stop == 1:
            continue  # only the day before the start is missing
        gap = (days[max(begin - 1, 0)], days[stop - 2])
        if stop - begin > most or begin == 0 or stop == len(lows):
            stay.append(gap)
            continue
        share = np.arange(1, stop - begin + 1) / (stop - begin + 1)
        for values, whole in ((low, lows), (high, highs)):
            values[begin - 1 : stop - 1] = whole[begin - 1] + share * (whole[stop] - whole[begin - 1])
        filled.append(gap)
    return stay, filled


def _remarks(
    gaps: Sequence[tuple[np.datetime64, np.datetime64]],
    filled: Sequence[tuple[np.datetime64, np.datetime64]],
    without_next: int,
) -> tuple[str, ...]:
    """Return what must be said beside the sum."""
    remarks = []
    if gaps:
        remarks.append(
            f"Temperatures are missing {_first_few([_spell(gap) for gap in gaps])}: from the first of these days on "
            "the sum is the least it can be."
        )
    if filled:
        remarks.append(f"Filled with straight lines, not measured: {_first_few([_spell(gap) for gap in filled])}.")
    if without_next:
        remarks.append(f"{without_next} day(s) have no next day; their second half runs down to their own minimum.")
    return tuple(remarks)


def _spell(gap: tuple[np.datetime64, np.datetime64]) -> str:
    count = int((gap[1] - gap[0]) / DAY) + 1
    return f"{gap[0]} (1 day)" if count == 1 else f"{gap[0]} to {gap[1]} ({count} days)"


def _first_few(items: Sequence[str]) -> str:
    more = f"; and {len(items) - MANY} more" if len(items) > MANY else ""
    return "; ".join(items[:MANY]) + more


def require_celsius(where: str, name: str, value: float | None) -> None:
    """Refuse a temperature that no air on earth has; none is allowed (SettingsError)."""
    if value is not None and not COLDEST_C <= value <= WARMEST_C:
        msg = f"{where}: {name} is {value:g} deg C; allowed: {COLDEST_C:g} to {WARMEST_C:g} deg C. Give deg C."
        raise SettingsError(msg)

"""A clock that runs only in the growing season."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from spreadmap.biology.bounds import require
from spreadmap.errors import InputError, SettingsError
from spreadmap.values.arrays import DateArray, FloatArray, IntArray

ORDINARY_YEAR = 2023
"""A year without 29 February: a season is given as dates of such a year."""


def ordinary_date(where: str, name: str, month_day: tuple[int, int]) -> dt.date:
    """Return the date of a (month, day) in an ordinary year; SettingsError where there is none."""
    try:
        return dt.date(ORDINARY_YEAR, *month_day)
    except (TypeError, ValueError) as error:
        msg = (
            f"{where}: {name} is {month_day!r}; allowed: month 1 to 12 and a day of that month, 29 February not "
            "included. Correct the date."
        )
        raise SettingsError(msg) from error


def date_in_year(year: IntArray, month_day: tuple[int, int]) -> DateArray:
    """Return the date of a (month, day) in each year, shape of `year`, `datetime64[D]`."""
    month, day = month_day
    months = (np.asarray(year, dtype=np.int64) - 1970) * 12 + month - 1
    return np.asarray(months.astype("datetime64[M]").astype("datetime64[D]") + np.timedelta64(day - 1, "D"))


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonClock:
    """Counts the days of the growing season, from `begins` to `ends`, both (month, day) and both counted.

    A season that ends before it begins runs over the turn of the year, as in the south.
    """

    begins: tuple[int, int]
    ends: tuple[int, int]

    def __post_init__(self) -> None:
        """Check both dates."""
        ordinary_date("growing season", "begins", self.begins)
        ordinary_date("growing season", "ends", self.ends)

    def days_between(self, first: DateArray, last: DateArray) -> IntArray:
        """Return the season's days from `first` to the day before `last`.

        Parameters
        ----------
        first, last : arrays of `datetime64[D]`, shapes that fit together

        Returns
        -------
        array
            Number of days, below zero where `last` lies before `first`. [d]

        Raises
        ------
        InputError
            If a date is missing.
        """
        early, late = np.broadcast_arrays(_days("first", first), _days("last", last))
        if not early.size:
            return np.zeros(early.shape, dtype=np.int64)
        starts, before = self._years(min(early.min(), late.min()), max(early.max(), late.max()))
        return _count(late, starts, before) - _count(early, starts, before)

    def date_after(self, first: DateArray, season_days: FloatArray | float) -> DateArray:
        """Return the first date by which so many of the season's days have passed since `first`.

        Parameters
        ----------
        first : array of `datetime64[D]`
        season_days : array or float, shape that fits
            Zero or more; a part of a day counts as a day. [d]

        Returns
        -------
        array of `datetime64[D]`
            The earliest date whose `days_between` from `first` is not below `season_days`.

        Raises
        ------
        InputError
            If a date is missing.
        SettingsError
            If a number of days is below zero, not finite, or more than 36,500.
        """
        early, wanted = np.broadcast_arrays(_days("first", first), np.asarray(season_days, dtype=np.float64))
        allowed = (wanted >= 0) & (wanted <= 36_500)
        require("growing season", [("season_days", wanted, "d", allowed, "0 to 36500")], "Correct the number of days.")
        if not early.size:
            return early.astype("datetime64[D]")
        shortest = int(np.diff(self._years(early.min(), early.max())[1]).min())
        ahead = int(np.ceil(wanted.max() / shortest) + 2) * 366
        starts, before = self._years(early.min(), early.max() + np.timedelta64(ahead, "D"))
        target = _count(early, starts, before) + np.ceil(wanted - 1e-9).astype(np.int64)
        season = np.searchsorted(before, target, side="left") - 1
        season = np.clip(season, 0, len(starts) - 1)
        reached = starts[season] + (target - before[season])
        return np.where(wanted > 1e-9, reached, early).astype("datetime64[D]")

    def _years(self, first: np.datetime64, last: np.datetime64) -> tuple[DateArray, IntArray]:
        """Return when each season begins, and how many season days had passed by then, one entry more at the end."""
        years = np.arange(
            first.astype("datetime64[Y]").astype(np.int64) - 1, last.astype("datetime64[Y]").astype(np.int64) + 2
        )
        starts = date_in_year(years + 1970, self.begins)
        wraps = int(self.ends < self.begins)
        stops = date_in_year(years + 1970 + wraps, self.ends) + np.timedelta64(1, "D")
        return starts, np.r_[0, np.cumsum((stops - starts).astype(np.int64))]


def _count(day: DateArray, starts: DateArray, before: IntArray) -> IntArray:
    """Return how many season days passed before each day, counted from the first season of the table."""
    season = np.searchsorted(starts, day, side="right") - 1
    inside = np.clip((day - starts[season]).astype(np.int64), 0, before[season + 1] - before[season])
    return np.asarray(before[season] + inside)


def _days(name: str, dates: DateArray) -> DateArray:
    """Return dates as `datetime64[D]`; a missing one is refused."""
    days = np.asarray(dates, dtype="datetime64[D]")
    if np.isnat(days).any():
        msg = (
            f"growing season: {name} has {int(np.isnat(days).sum())} missing date(s); allowed: a date for each. "
            "Leave out what has no date."
        )
        raise InputError(msg)
    return days

"""Working days and the dates on which a hole is looked at again."""

from __future__ import annotations

import calendar
import datetime as dt
from collections.abc import Collection

import numpy as np

from spreadmap.errors import SettingsError
from spreadmap.records.triage import day_of_year
from spreadmap.values.arrays import DateArray
from spreadmap.values.settings import RemovalSettings


def working_day_after(
    start: dt.date, days: int, working_days: Collection[int], holidays: Collection[dt.date]
) -> dt.date:
    """Return the working day on which work may begin after `days` full working days from `start` have passed.

    A ticket asked for on a Monday with two full working days lets the crew dig on Thursday.

    Parameters
    ----------
    start : date
        The day on which the ticket is asked for; it does not count.
    days : int
        Full working days to wait, zero or more. [d]
    working_days : weekdays, Monday 0
    holidays : dates without work

    Raises
    ------
    SettingsError
        If no working day comes within a year.
    """
    day, passed = start, 0
    for _ in range(366 + 2 * days):
        day += dt.timedelta(days=1)
        if is_working_day(day, working_days, holidays):
            if passed == days:
                return day
            passed += 1
    raise SettingsError(_no_day(start, working_days, holidays))


def working_day_from(start: dt.date, working_days: Collection[int], holidays: Collection[dt.date]) -> dt.date:
    """Return the first working day from `start` on, itself included.

    Raises
    ------
    SettingsError
        If no working day comes within a year.
    """
    for number in range(367):
        day = start + dt.timedelta(days=number)
        if is_working_day(day, working_days, holidays):
            return day
    raise SettingsError(_no_day(start, working_days, holidays))


def is_working_day(day: dt.date, working_days: Collection[int], holidays: Collection[dt.date]) -> bool:
    """Return whether crews work on a day."""
    return day.weekday() in working_days and day not in holidays


def _no_day(start: dt.date, working_days: Collection[int], holidays: Collection[dt.date]) -> str:
    """Return what is wrong where no day is left to work."""
    return (
        f"no working day within a year of {start}: working days {sorted(working_days)} and {len(holidays)} holidays "
        "leave none; allowed: 0 (Monday) to 6 (Sunday). Correct settings.removal.working_days or the holidays."
    )


def regrowth_dates(done: dt.date, settings: RemovalSettings) -> DateArray:
    """Return the dates on which a hole is checked for sprouts: after fixed days, and last at the next bud break."""
    checks = [done + dt.timedelta(days=days) for days in settings.regrowth_check_days]
    bud_break = day_of_year(done.year, settings.bud_break)
    checks.append(bud_break if bud_break > done else day_of_year(done.year + 1, settings.bud_break))
    return np.array(checks, dtype="datetime64[D]")


def replant_from(
    out_on: DateArray, last_check_on: DateArray, last_case_on: DateArray, removal: RemovalSettings,
    growing: tuple[tuple[int, int], tuple[int, int]],
) -> DateArray:  # fmt: skip
    """Return the first day on which a place may be planted again, if nothing is found meanwhile.

    The later of two gates: so many growing seasons have passed that began after the plant was out; and the last check for
    regrowth is over, and so many months without a confirmed case near by.

    Parameters
    ----------
    out_on, last_check_on, last_case_on : arrays, shape (n,)
        Day of removal or of the last sprout; of the last check; of the last confirmed case near by, no date for none.
    removal : RemovalSettings
    growing : first and last (month, day) of the growing season

    References
    ----------
    None: our choice; published advice on planting roses again where one was taken out goes from at once to two years.
    """
    found: list[dt.date | None] = []
    for out, check, case in zip(out_on.tolist(), last_check_on.tolist(), last_case_on.tolist(), strict=True):
        if out is None:
            found.append(None)
            continue
        begins = day_of_year(out.year, growing[0])
        first = out.year if begins > out else out.year + 1
        seasons = out
        if removal.replant_seasons:
            ends = day_of_year(first + removal.replant_seasons - 1, growing[1])
            # A season that runs over the turn of the year ends in the next one.
            ends = ends if growing[1] >= growing[0] else day_of_year(first + removal.replant_seasons, growing[1])
            seasons = ends + dt.timedelta(days=1)
        gates = [seasons, check]
        if case is not None:
            gates.append(_months_after(case, removal.replant_clean_months))
        found.append(max(each for each in gates if each is not None))
    return np.array(found, dtype="datetime64[D]")


def _months_after(day: dt.date, months: int) -> dt.date:
    """Return the same day so many months later, or the last of its month."""
    month = day.year * 12 + day.month - 1 + months
    year, number = month // 12, month % 12 + 1
    return dt.date(year, number, min(day.day, calendar.monthrange(year, number)[1]))

"""Working days and the dates on which a hole is looked at again."""

from __future__ import annotations

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
        if day.weekday() in working_days and day not in holidays:
            if passed == days:
                return day
            passed += 1
    msg = (
        f"no working day within a year of {start}: working days {sorted(working_days)} and {len(holidays)} holidays "
        "leave none; allowed: 0 (Monday) to 6 (Sunday). Correct settings.removal.working_days or the holidays."
    )
    raise SettingsError(msg)


def regrowth_dates(done: dt.date, settings: RemovalSettings) -> DateArray:
    """Return the dates on which a hole is checked for sprouts: after fixed days, and last at the next bud break."""
    checks = [done + dt.timedelta(days=days) for days in settings.regrowth_check_days]
    bud_break = day_of_year(done.year, settings.bud_break)
    checks.append(bud_break if bud_break > done else day_of_year(done.year + 1, settings.bud_break))
    return np.array(checks, dtype="datetime64[D]")

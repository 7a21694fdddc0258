"""On which day each plant comes out: lead times, weeks of crew hours, clean beds first within a day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass
from itertools import islice

import numpy as np

from spreadmap.decisions.dates import is_working_day, working_day_after, working_day_from
from spreadmap.errors import SettingsError
from spreadmap.values.arrays import DateArray, FloatArray, IntArray, no_dates
from spreadmap.values.inventory import Inventory, Sites
from spreadmap.values.settings import RemovalSettings

WEEK = dt.timedelta(days=7)
WEEKS_AHEAD = 104
"""Weeks whose holidays are looked at; after them every week has its full hours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Calendar:
    """When crews work: `first` is the day on which work may begin; weeks run from it, seven days each."""

    first: dt.date
    settings: RemovalSettings
    holidays: Collection[dt.date]

    def days_of(self, week: int) -> list[dt.date]:
        """Return the working days of a week, 1 the first."""
        begins = self.first + (week - 1) * WEEK
        days = (begins + dt.timedelta(days=number) for number in range(7))
        return [day for day in days if is_working_day(day, self.settings.working_days, self.holidays)]

    @property
    def day_minutes(self) -> float:
        """Return the person-minutes of a working day."""
        weekly = self.settings.crew_hours_per_week * 60.0 * self.settings.people_per_crew
        return weekly / len(set(self.settings.working_days))

    def week_minutes(self) -> list[float]:
        """Return the person-minutes of the weeks ahead, holidays taken off, the last one that of a full week."""
        known = sorted(self.holidays)
        last = max((known[-1] - self.first).days // 7 + 2, 1) if known else 1
        whole = self.day_minutes * len(set(self.settings.working_days))
        return [*(self.day_minutes * len(self.days_of(week)) for week in range(1, min(last, WEEKS_AHEAD) + 1)), whole]

    def week_of(self, day: dt.date) -> int:
        """Return the week in which a day lies, 1 for the first and for days before it."""
        return max((day - self.first).days // 7 + 1, 1)


def earliest_days(
    inventory: Inventory, sites: Sites, plant: IntArray, settings: RemovalSettings, as_of: dt.date,
    holidays: Collection[dt.date],
) -> DateArray:  # fmt: skip
    """Return the first day on which each plant may be dug out, shape of `plant`.

    The locate ticket is asked for on the date of the state, and notice is given on it. Sites without days of notice in
    their table have those of the settings where they are private, and none else.

    Raises
    ------
    SettingsError
        If there is no working day within a year.
    """
    ticket = working_day_after(as_of, settings.locate_ticket_days, settings.working_days, holidays)
    first: dict[str, dt.date] = {}
    for key, days, closed in zip(sites.site_id.tolist(), sites.notice_days.tolist(), sites.is_private, strict=True):
        notice = days if np.isfinite(days) else float(settings.notice_days) if closed else 0.0
        after = as_of + dt.timedelta(days=int(np.ceil(notice)))
        first[key] = max(ticket, working_day_from(after, settings.working_days, holidays))
    days_of = [first.get(key, ticket) for key in inventory.site_id[plant].tolist()]
    return np.array(days_of, dtype="datetime64[D]")


def plan_days(
    week: IntArray, minutes: FloatArray, place: IntArray, sick_there: IntArray, earliest: DateArray, calendar: Calendar
) -> tuple[DateArray, IntArray]:
    """Return day and order in the day's work for plants in the order of the list; no date and 0 where none is planned.

    Parameters
    ----------
    week : array, shape (n,)
        Week of work, 0 for none.
    minutes : array, shape (n,)
        Of each, set-up included. [person-minutes]
    place : array, shape (n,)
    sick_there : array, shape (n,)
        Confirmed plants that stand in the place. Places with fewer of them come first in a day, so that tools and
        clothes carry less from one to the next: common practice, without a source.
    earliest : array, shape (n,)
    calendar : Calendar

    Returns
    -------
    arrays, shape (n,)
        A place's plants of one week are kept on one day where a day holds them.
    """
    planned, order = no_dates(len(week)), np.zeros(len(week), dtype=np.int64)
    for number in np.unique(week[week > 0]).tolist():
        mine = np.flatnonzero(week == number)
        days = calendar.days_of(number) or _next_days(calendar, number)
        left = dict.fromkeys(days, calendar.day_minutes)
        for key in dict.fromkeys(place[mine].tolist()):
            _place_on_days(mine[place[mine] == key], minutes, earliest, left, planned)
    for day in np.unique(planned[~np.isnat(planned)]):
        same = np.flatnonzero(planned == day)
        first_in_place = {key: at for at, key in reversed(list(enumerate(place[same].tolist())))}
        begins = np.array([first_in_place[key] for key in place[same].tolist()])
        order[same[np.lexsort((np.arange(len(same)), begins, sick_there[same]))]] = np.arange(1, len(same) + 1)
    return planned, order


def _place_on_days(
    jobs: IntArray, minutes: FloatArray, earliest: DateArray, left: dict[dt.date, float], planned: DateArray
) -> None:
    """Put the jobs of one place on the first day that holds all of them, else one after another on the first with room."""
    needs = float(minutes[jobs].sum())
    open_from = max(day.item() for day in earliest[jobs])
    whole = [day for day in left if day >= open_from and left[day] + 1e-6 >= needs]
    for job in jobs.tolist():
        after = [day for day in left if np.datetime64(day) >= earliest[job]] or [*left][-1:]
        room = whole or [day for day in after if left[day] + 1e-6 >= minutes[job]] or [
            max(after, key=lambda day: left[day])
        ]  # fmt: skip
        planned[job] = np.datetime64(room[0])
        left[room[0]] -= float(minutes[job])


def _next_days(calendar: Calendar, week: int) -> list[dt.date]:
    """Return the days of the next week that has any: where a long job ends in a week without work."""
    for later in islice(range(week + 1, week + 60), 59):
        days = calendar.days_of(later)
        if days:
            return days
    msg = (
        f"no working day within a year after {calendar.first}: {len(calendar.holidays)} holidays leave none; allowed: "
        "holidays that leave a working day. Correct the holidays or settings.removal.working_days."
    )
    raise SettingsError(msg)

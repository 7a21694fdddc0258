"""Windows, temperature records and seasons that several test files write down in a few words."""

import datetime as dt
from dataclasses import replace

import numpy as np
from made_results import made_inputs, made_state, made_system, made_triage

from spreadmap.decisions.calendar import season_calendar, season_of_system
from spreadmap.values.pest_system import DegreeDays, LookAgain, Window
from spreadmap.values.settings import CalendarSettings
from spreadmap.values.surveys import DailyTemperature
from spreadmap.values.words import Verdict, WindowKind

BASE_C = 10.0


def day(text):
    return dt.date.fromisoformat(text)


def record_of(first, last, warmth=1.0, without=()):
    """Return days that are all day long `warmth` above the base: every way of summing gives just that a day."""
    days = np.arange(np.datetime64(first), np.datetime64(last) + np.timedelta64(1, "D"))
    days = days[~np.isin(days, np.array(without, dtype="datetime64[D]"))]
    even = np.full(len(days), BASE_C + warmth)
    return DailyTemperature(day=days, minimum_c=even, maximum_c=even)


def heat_of(first, last, counted_from=(3, 1)):
    return DegreeDays(
        first=first, last=last, base=BASE_C, unit="C", counted_from=counted_from, status="assumed",
        source="made for a test",
    )  # fmt: skip


def window_of(name="mites", begins=(3, 20), ends=(5, 10), kind=WindowKind.LOOK, spread=14, heat=None):
    return Window(
        name=name, begins=begins, ends=ends, kind=kind, advice=f"Do {name}.", status="assumed",
        source="made for a test", spread_days=spread, degree_days=heat,
    )  # fmt: skip


def cosmetic_of(*windows, again=None, key="lime_gall"):
    return replace(made_system(key, Verdict.NO_ACTION), windows=windows, look_again=again)


def again_of(window="autumn", seen=((6, 1), (8, 31)), left=(5, 31)):
    return LookAgain(
        seen_from=seen[0], seen_to=seen[1], mites_left=left, window=window, status="assumed", source="made for a test"
    )


def project_on(as_of, record=None, **more):
    return replace(made_inputs(), as_of=day(as_of), temperature=record, **more)


def season_on(as_of, system, record=None, state=None, infected=3, **settings):
    """Return the season of one system of which something was found."""
    project = project_on(as_of, record)
    chosen = made_state(system.key) if state is None else state
    return season_of_system(project, made_triage(system, infected), chosen, CalendarSettings(**settings))


def calendar_on(as_of, *systems, record=None, name="Made town"):
    """Return inputs and the season of several systems, all of them found."""
    project = replace(project_on(as_of, record), name=name)
    made = [
        season_of_system(project, made_triage(system, 3), made_state(system.key), CalendarSettings())
        for system in systems
    ]
    return project, season_calendar(project, made)

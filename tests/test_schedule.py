"""Days of work: lead times, notice, holidays, weeks of crew hours, clean beds first within a day."""

import datetime as dt

import numpy as np
import pytest
import shapely
from small_records import inventory_at, sites_of, state_with, system_of
from small_worlds import screens_of, spread_of

from spreadmap.decisions.removal import rank_removals
from spreadmap.decisions.schedule import Calendar, earliest_days, plan_days
from spreadmap.engine import Engine
from spreadmap.errors import SettingsError
from spreadmap.values.inventory import Sites
from spreadmap.values.settings import InfectionSettings, KernelSettings, RemovalSettings, Settings

MONDAY = dt.date(2026, 9, 21)
THURSDAY = dt.date(2026, 9, 24)


def calendar(hours=10.0, holidays=(), **keys):
    settings = RemovalSettings(crew_hours_per_week=hours, people_per_crew=1, **keys)
    return Calendar(first=THURSDAY, settings=settings, holidays=tuple(holidays))


def days(*texts):
    return np.array(texts, dtype="datetime64[D]")


def test_a_week_runs_from_the_first_day_of_work_and_holidays_take_their_hours():
    plain = calendar()
    assert [day.isoformat() for day in plain.days_of(1)] == [
        "2026-09-24", "2026-09-25", "2026-09-28", "2026-09-29", "2026-09-30"
    ]  # fmt: skip
    assert plain.week_minutes() == pytest.approx([600.0, 600.0])
    short = calendar(holidays=[dt.date(2026, 9, 28), dt.date(2026, 10, 1), dt.date(2026, 10, 2)])
    assert short.week_minutes()[:3] == pytest.approx([480.0, 360.0, 600.0])
    assert plain.week_of(THURSDAY) == 1
    assert plain.week_of(dt.date(2026, 10, 1)) == 2
    assert plain.week_of(dt.date(2026, 9, 1)) == 1


def test_notice_of_a_site_or_of_private_ground_moves_the_earliest_day():
    plants = inventory_at(*[(0, 0)] * 4, site=["public", "yard", "noticed", ""])
    base = sites_of(
        *((key, shapely.box(0, 0, 1, 1), "bed", key == "yard", "") for key in ("public", "yard", "noticed"))
    )
    names = ("site_id", "geometry", "name", "owner", "access", "set_up", "is_private")
    sites = Sites(**{name: getattr(base, name) for name in names}, notice_days=[np.nan, np.nan, 10.0])
    found = earliest_days(plants, sites, np.arange(4), RemovalSettings(notice_days=5), MONDAY, ())
    # ticket until Thursday 24th; 5 days of notice end on Saturday 26th, so Monday; 10 days on Thursday 1 October
    assert found.astype(str).tolist() == ["2026-09-24", "2026-09-28", "2026-10-01", "2026-09-24"]
    holiday = earliest_days(plants, sites, np.arange(4), RemovalSettings(notice_days=5), MONDAY, [dt.date(2026, 9, 28)])
    assert holiday.astype(str).tolist()[1] == "2026-09-29"


def test_a_place_is_kept_together_and_places_with_fewer_cases_come_first_in_a_day():
    # One day holds 120 minutes. Rank: two of place 0 (three cases there), one of place 1 (one case), one of place 2.
    planned, order = plan_days(
        np.array([1, 1, 1, 1]), np.array([50.0, 30.0, 40.0, 90.0]), np.array([0, 0, 1, 2]), np.array([3, 3, 1, 2]),
        days(*["2026-09-24"] * 4), calendar(),
    )  # fmt: skip
    assert planned.astype(str).tolist() == ["2026-09-24", "2026-09-24", "2026-09-24", "2026-09-25"]
    assert order.tolist() == [2, 3, 1, 1]  # the clean bed before the sick one, whatever its rank


def test_nothing_is_planned_before_its_earliest_day_and_week_zero_never():
    planned, order = plan_days(
        np.array([1, 1, 0]), np.array([30.0, 30.0, 30.0]), np.array([0, 1, 2]), np.array([1, 1, 1]),
        days("2026-09-24", "2026-09-29", "2026-09-24"), calendar(),
    )  # fmt: skip
    assert planned.astype(str).tolist() == ["2026-09-24", "2026-09-29", "NaT"]
    assert order.tolist() == [1, 1, 0]


def test_the_list_goes_on_in_the_weeks_after_this_one():
    plants = inventory_at(*[(200 * i, 0) for i in range(6)], bed=[f"b{i}" for i in range(6)])
    settings = Settings(
        removal=RemovalSettings(crew_hours_per_week=1.0), kernel=KernelSettings(scale_run=()),
        infection=InfectionSettings(assumed_onward_range=(2.0, 2.0)),
    )  # fmt: skip
    ask = (plants, sites_of(), state_with(plants, infected=range(6)), spread_of(), screens_of(), system_of(), settings)
    ranked = rank_removals(*ask, MONDAY, (), Engine(workers=1))
    # 120 person-minutes a week, 60 each: two a week
    assert ranked.week.tolist() == [1, 1, 2, 2, 3, 3]
    assert ranked.within_hours.tolist() == [True] * 2 + [False] * 4
    weeks = [Calendar(first=THURSDAY, settings=settings.removal, holidays=()).days_of(week) for week in ranked.week]
    assert all(day in week for day, week in zip(ranked.planned_on.tolist(), weeks, strict=True))
    assert ranked.regrowth_on[4, 0] == ranked.planned_on[4] + np.timedelta64(14, "D")
    off = [THURSDAY + dt.timedelta(days=number) for number in range(7)]
    later = rank_removals(*ask, MONDAY, off, Engine(workers=1))
    assert later.earliest_on.astype(str).tolist() == ["2026-10-01"] * 6
    assert (later.planned_on >= np.datetime64("2026-10-01")).all()


def test_notice_longer_than_the_soonest_latency_is_flagged():
    """The default latency shows in 17 days in one plant of forty: 69 days times exp(-1.96 x 0.71)."""
    plants = inventory_at((0, 0), (5, 0), site="yard")
    sites = sites_of(("yard", shapely.box(-9, -9, 9, 9), "bed", True, ""))
    ask = (plants, sites, state_with(plants, infected=[0]), spread_of(), screens_of(), system_of())
    slow, quick = (
        rank_removals(*ask, Settings(removal=RemovalSettings(notice_days=days)), MONDAY, (), Engine(workers=1))
        for days in (60, 14)
    )
    assert any("1 of the plants may not be dug out within 17 days" in text for text in slow.remarks)
    assert not any("may not be dug out" in text for text in quick.remarks)
    assert slow.earliest_on[0] == np.datetime64("2026-11-20")


def test_holidays_that_leave_no_day_are_refused_with_the_remedy():
    plants = inventory_at((0, 0))
    off = [MONDAY + dt.timedelta(days=number) for number in range(800)]
    with pytest.raises(SettingsError, match="no working day within a year.*Correct settings.removal.working_days or"):
        rank_removals(plants, sites_of(), state_with(plants, infected=[0]), spread_of(), screens_of(), system_of(),
                      Settings(), MONDAY, off, Engine(workers=1))  # fmt: skip

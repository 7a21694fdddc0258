"""Removal and inspection together: backlog and what is said beside the lists."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from small_records import inventory_at, sites_of, state_with, system_of
from small_worlds import screens_of, spread_of
from test_inspection import list_of as inspections_of

from spreadmap.decisions.plan import plan_work
from spreadmap.decisions.removal import rank_removals
from spreadmap.engine import Engine
from spreadmap.values.plan import PackingPrice
from spreadmap.values.settings import InspectionSettings, RemovalSettings, Settings

PLANTS = inventory_at(*[(3 * i, 0) for i in range(12)], bed="a")


def plan_of(infected, hours=30.0, survey_hours=24.0):
    settings = Settings(
        removal=RemovalSettings(crew_hours_per_week=hours), inspection=InspectionSettings(hours_per_survey=survey_hours)
    )
    state = state_with(PLANTS, infected=infected)
    removal = rank_removals(
        PLANTS, sites_of(), state, spread_of(), screens_of(), system_of(), settings, dt.date(2026, 9, 21), (),
        Engine(workers=1),
    )  # fmt: skip
    return plan_work(removal, inspections_of(PLANTS, state, settings), settings)


def test_the_backlog_is_all_hours_over_the_hours_of_a_week():
    # Worked by hand: a week of 60 person-minutes holds one medium plant of 30 and its set-up of 20 + 10, which is paid
    # again in each of four weeks.
    plan = plan_of(range(4), hours=0.5)
    assert plan.backlog_weeks == pytest.approx(4.0)
    assert plan.removal.within_hours.tolist() == [True, False, False, False]
    assert plan.remarks[0] == "3 plants stand outside the crew hours of this week, of 4 on the list."


def test_without_backlog_the_order_is_said_not_to_matter():
    plan = plan_of(range(4))
    assert plan.backlog_weeks < 1
    assert plan.remarks[0].startswith("No backlog: the order does not matter this week")


def test_nothing_confirmed_is_no_work():
    plan = plan_of([])
    assert plan.backlog_weeks == 0
    assert plan.remarks[0].startswith("No confirmed plant stands")


def test_a_crew_without_hours_never_finishes():
    assert plan_of([0], hours=0).backlog_weeks == float("inf")
    assert "settings.removal.crew_hours_per_week is 0; allowed: above zero" in plan_of([0], hours=0).remarks[0]
    assert plan_of([], hours=0).backlog_weeks == 0


def test_plants_outside_the_survey_hours_are_counted():
    assert "10 plants stay outside the hours of the next survey." in plan_of([0, 1], survey_hours=0).remarks
    assert not any("next survey" in text for text in plan_of([0, 1]).remarks)


def test_only_confirmed_plants_are_taken_out_and_that_is_said():
    plan = plan_of([2, 5])
    assert sorted(plan.removal.plant.tolist()) == [2, 5]
    assert not set(plan.inspection.plant.tolist()) & {2, 5}
    assert "none is on the removal list" in plan.remarks[-1]


def test_plants_of_the_fit_alone_are_counted_and_weak_ranks_say_over_what():
    settings, state = Settings(), state_with(PLANTS, infected=[2, 5])
    made = plan_of([2, 5]).removal
    fitted = replace(made, pointed_at=(7,), ranks_over="law and rates within the fit (12 of its draws)",
                     rank_holds=np.array([True, False]))  # fmt: skip
    remarks = plan_work(fitted, inspections_of(PLANTS, state, settings), settings).remarks
    assert "1 plant has no finding and would be worth taking out by the fitted model alone" in remarks[-1]
    weak = "1 plant changes sides of the removal cut-off when law and rates within the fit (12 of its draws) change"
    assert any(weak in text for text in remarks)


@pytest.mark.parametrize(
    ("packed", "by_value", "says"),
    [
        (0.7, 0.72, "avoids 2.0 % of the list's arrivals less than the same minutes of digging by value alone would"),
        (0.72, 0.7, "avoids 2.0 % of the list's arrivals more than"),
        (0.7, 0.7002, "avoids as much as the same minutes"),
    ],
)
def test_the_price_of_packing_is_said_and_nothing_where_there_is_none(packed, by_value, says):
    settings, state = Settings(), state_with(PLANTS, infected=[2, 5])
    price = PackingPrice(packed_hours=16.0, by_value_hours=18.0, packed=packed, by_value=by_value)
    listed = replace(plan_of([2, 5]).removal, packing=price, within_hours=np.array([True, False]))
    (text,) = [
        each
        for each in plan_work(listed, inspections_of(PLANTS, state, settings), settings).remarks
        if "Packed" in each
    ]
    assert says in text
    assert text.endswith("which take 18.0 crew hours with set-up instead of 16.0.")

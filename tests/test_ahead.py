"""Arrivals until the next survey, with and without a plan, to first order."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
import shapely
from small_records import AS_OF, FLIGHT, inventory_at, reservoirs_of, sites_of, state_with, system_of
from small_worlds import screens_of, spread_of

from spreadmap.biology.season import flight_days
from spreadmap.decisions.inspection import rank_inspections
from spreadmap.decisions.plan import plan_work
from spreadmap.decisions.removal import rank_removals
from spreadmap.engine import Engine
from spreadmap.outbreak.ahead import LIST_DONE, NOTHING_DONE, spread_ahead
from spreadmap.outbreak.exposure import plant_exposure
from spreadmap.outbreak.hidden import hidden_infection
from spreadmap.records.sources import join_sources, plant_sources, reservoir_sources
from spreadmap.values.settings import RemovalSettings, Settings

ENGINE, SPREAD, NO_SCREENS = Engine(workers=1), spread_of(), screens_of()
TODAY = dt.date(2026, 9, 21)
MONTH = (AS_OF, AS_OF + np.timedelta64(30, "D"))


def sources_of(plants, state, wild=None):
    own = plant_sources(plants, state, Settings().sources)
    return join_sources(own, reservoir_sources(wild or reservoirs_of(), 2.0))


def plan_for(plants, state, settings):
    removal = rank_removals(plants, sites_of(), state, SPREAD, NO_SCREENS, system_of(), settings, TODAY, (), ENGINE)
    nothing = reservoir_sources(reservoirs_of(), 2.0)
    exposure = plant_exposure(plants, state, sources_of(plants, state), nothing, SPREAD, NO_SCREENS, settings, ENGINE)
    hidden = hidden_infection(plants, state, exposure, settings)
    return plan_work(removal, rank_inspections(plants, state, exposure, hidden, settings, TODAY), settings)


def outlook(plants, state, plan=None, wild=None, period=MONTH, system=None, spread=SPREAD):
    sources = sources_of(plants, state, wild)
    return spread_ahead(
        plants, state, sources, spread, NO_SCREENS, system or system_of(), period, Settings(), ENGINE, plan
    )


AT_ONCE = Settings(removal=RemovalSettings(locate_ticket_days=0, working_days=(0, 1, 2, 3, 4, 5, 6)))
PLANTS = inventory_at((0, 0), (10, 0), (200, 0), (210, 0))
SICK = state_with(PLANTS, infected=[0, 2])


def test_arrivals_are_counted_in_plants_ten_metres_from_a_confirmed_one():
    undone = outlook(PLANTS, SICK)
    # Two pairs 10 m apart; what crosses the 190 m between them is small.
    assert undone.arrivals == pytest.approx(2.0, rel=0.02)
    assert (undone.share_avoided, undone.low, undone.high) == (0, 0, 0)
    assert undone.condition == NOTHING_DONE


def test_taking_out_every_source_before_the_period_leaves_nothing():
    plan = plan_for(PLANTS, SICK, AT_ONCE)
    later = (MONTH[1], MONTH[1] + np.timedelta64(30, "D"))
    done = outlook(PLANTS, SICK, plan, period=later)
    assert done.arrivals == 0
    assert (done.share_avoided, done.low, done.high) == (1, 1, 1)
    assert done.condition == LIST_DONE


def test_until_their_date_plants_go_on_sending_by_the_flight_season():
    plan = plan_for(PLANTS, SICK, Settings())
    out = plan.removal.earliest_on[0]
    share = flight_days(AS_OF, out, FLIGHT) / flight_days(*MONTH, FLIGHT)
    done = outlook(PLANTS, SICK, plan)
    assert 0 < share < 1
    assert done.share_avoided == pytest.approx(1 - share)
    assert done.arrivals == pytest.approx(outlook(PLANTS, SICK).arrivals * share)
    # The date is the same whatever the kernel, and nothing else sends.
    assert (done.low, done.high) == pytest.approx((1 - share, 1 - share))


def test_plants_outside_the_crew_hours_go_on_sending():
    few = Settings(removal=RemovalSettings(crew_hours_per_week=0.6, set_up_minutes_bed=0, travel_minutes=0))
    plan = plan_for(PLANTS, SICK, few)
    assert plan.removal.within_hours.tolist() == [True, True]  # 30 person-minutes each are 0.25 h of a crew of two
    fewer = replace(few, removal=replace(few.removal, crew_hours_per_week=0.3))
    half = outlook(PLANTS, SICK, plan_for(PLANTS, SICK, fewer))
    assert half.share_avoided == pytest.approx(outlook(PLANTS, SICK, plan).share_avoided / 2, rel=0.05)


def test_wild_stands_go_on_sending_and_make_the_share_depend_on_the_scale():
    wild = reservoirs_of((shapely.Point(60, 0), 20, 1.0))
    plan = plan_for(PLANTS, SICK, AT_ONCE)
    done = outlook(PLANTS, SICK, plan, wild=wild)
    assert 0 < done.low < done.share_avoided < 1
    assert done.low <= done.share_avoided <= done.high


def test_where_no_mite_flies_nothing_arrives_and_nothing_is_avoided():
    winter = (np.datetime64("2026-01-01"), np.datetime64("2026-02-01"))
    done = outlook(PLANTS, SICK, plan_for(PLANTS, SICK, AT_ONCE), period=winter)
    assert (done.arrivals, done.share_avoided, done.low, done.high) == (0, 0, 0, 0)


@pytest.mark.parametrize("infected", [[], [0, 1, 2, 3]], ids=["no confirmed", "all confirmed"])
def test_without_sources_or_without_healthy_hosts_nothing_arrives(infected):
    state = state_with(PLANTS, infected=infected)
    done = outlook(PLANTS, state, plan_for(PLANTS, state, Settings()))
    assert (done.arrivals, done.share_avoided) == (0, 0)


def test_no_plants_no_arrivals():
    plants = inventory_at()
    assert outlook(plants, state_with(plants)).arrivals == 0

"""Where to look next: order, due dates, cut-off, words."""

import datetime as dt

import numpy as np
import pytest
from shapely import Point
from small_records import inventory_at, reservoirs_of, state_with
from small_worlds import screens_of, spread_of

from spreadmap.decisions.inspection import onward_if_infected, rank_inspections
from spreadmap.engine import Engine
from spreadmap.outbreak.exposure import plant_exposure
from spreadmap.outbreak.hidden import hidden_infection
from spreadmap.records.sources import (
    canopy_radius,
    plant_sources,
    receiving_weight,
    reservoir_sources,
    size_factor,
)
from spreadmap.values.rates import Rates
from spreadmap.values.settings import InspectionSettings, Settings, SurveySettings

TODAY = dt.date(2026, 9, 21)
NO_WAY = SurveySettings(minutes_per_place=0, overdue_share=0)
"""Looks alone: no way to a bed, no hours for what is overdue."""


def list_of(plants, state, settings=None, wild=None, as_of=TODAY, survey=None, **more):
    settings = settings or Settings()
    exposure = plant_exposure(
        plants, state, plant_sources(plants, state, settings.sources), reservoir_sources(wild or reservoirs_of(), 2.0),
        spread_of(), screens_of(), settings, Engine(workers=1),
    )  # fmt: skip
    hidden = hidden_infection(plants, state, exposure, settings)
    return rank_inspections(plants, state, exposure, hidden, settings, as_of, survey, **more)


def test_touching_plants_come_first_then_suspects_then_the_rest_by_pressure():
    plants = inventory_at((0, 0), (60, 0), (5, 0), (0.3, 0), (300, 0), (20, 0))
    state = state_with(plants, infected=[0], suspect=[4])
    ranked = list_of(plants, state)
    assert ranked.plant.tolist() == [3, 4, 2, 5, 1]
    assert ranked.is_touching.tolist() == [True, False, False, False, False]
    assert (np.diff(ranked.pressure[2:]) < 0).all()


def test_confirmed_removed_and_other_plants_are_not_on_the_list():
    plants = inventory_at(*[(i, 0) for i in range(4)])
    state = state_with(plants, infected=[0], sprouting=[1], is_host=[True, True, True, False])
    assert list_of(plants, state).plant.tolist() == [2]


@pytest.mark.parametrize(("distance", "days"), [(10, 7), (10.1, 14), (100, 14), (100.1, 30)])
def test_the_interval_follows_the_distance(distance, days):
    plants = inventory_at((0, 0), (distance, 0))
    assert list_of(plants, state_with(plants, infected=[0])).interval_days.tolist() == [days]


def test_without_confirmed_plants_everything_has_the_longest_interval():
    plants = inventory_at((0, 0), (1, 0))
    ranked = list_of(plants, state_with(plants))
    assert ranked.interval_days.tolist() == [30, 30]
    assert ranked.plant.tolist() == [0, 1]
    assert set(ranked.reason) == {"Regular interval."}


def test_plants_are_due_after_their_interval_but_never_in_the_past():
    plants = inventory_at((0, 0), (50, 0))
    state = state_with(plants, infected=[0])  # last inspected on 12 September
    assert list_of(plants, state).due_on[0] == np.datetime64("2026-09-26")
    assert list_of(plants, state, as_of=dt.date(2026, 12, 1)).due_on[0] == np.datetime64("2026-12-01")


def test_suspects_are_due_at_once_and_what_the_survey_reaches_by_its_day():
    plants = inventory_at((0, 0), (50, 0), (200, 0), (300, 0))
    state = state_with(plants, infected=[0], suspect=[1])
    settings = Settings(inspection=InspectionSettings(hours_per_survey=2 * 1.5 / 60), survey=NO_WAY)
    survey = dt.date(2026, 10, 1)
    ranked = list_of(plants, state, settings, survey=survey)
    assert ranked.plant.tolist() == [1, 2, 3]
    assert ranked.due_on[0] == np.datetime64(TODAY)
    assert ranked.due_on[1] == np.datetime64(survey)
    assert ranked.due_on[2] == np.datetime64("2026-10-12")


def test_a_plant_never_inspected_is_due_at_once():
    plants = inventory_at((0, 0), (50, 0))
    clean = state_with(plants, infected=[0])
    never = type(clean)(**{
        **{name: getattr(clean, name) for name in clean.__slots__},
        "inspections": np.array([1, 0]),
        "last_inspected_on": np.array(["2026-09-12", "NaT"], dtype="datetime64[D]"),
    })  # fmt: skip
    ranked = list_of(plants, never)
    assert ranked.due_on[0] == np.datetime64(TODAY)
    assert "never inspected" in ranked.reason[0]


def test_more_hours_never_reach_fewer_plants():
    plants = inventory_at(*[(i, 0) for i in range(50)])
    state, last = state_with(plants, infected=[0]), -1
    for hours in (0, 0.5, 1, 24):
        settings = Settings(inspection=InspectionSettings(hours_per_survey=hours), survey=NO_WAY)
        reach = int(list_of(plants, state, settings).within_hours.sum())
        assert reach == min(49, int(hours * 60 / 1.5))
        assert reach >= last
        last = reach


def test_ranks_hold_for_groups_and_move_within_them():
    rng = np.random.default_rng(4)
    plants = inventory_at(*rng.uniform(0, 120, (60, 2)))
    settings = Settings(inspection=InspectionSettings(hours_per_survey=0.5), survey=NO_WAY)
    state = state_with(plants, infected=range(10), suspect=[20, 21])
    ranked = list_of(plants, state, settings)
    rank = np.arange(1, len(ranked) + 1)
    assert (ranked.rank_low <= rank).all()
    assert (ranked.rank_high >= rank).all()
    assert (ranked.rank_low < ranked.rank_high).any()
    first = int(ranked.is_touching.sum()) + 2
    assert ranked.rank_high[:first].max() == first
    assert ranked.rank_low[first:].min() == first + 1
    assert not ranked.rank_holds.all()


def test_the_reason_tells_distance_pressure_and_wild_stands_and_no_chance():
    plants = inventory_at((0, 0), (0.5, 0), (14, 0), (500, 0))
    wild = reservoirs_of((Point(505, 0), 50, 0.5))
    says = dict(zip(*(lambda r: (r.plant.tolist(), r.reason.tolist()))(
        list_of(plants, state_with(plants, infected=[0], suspect=[2]), wild=wild)), strict=True))  # fmt: skip
    assert says[1].startswith("Touches a confirmed plant; relative infection pressure ")
    assert says[2].startswith("14 m from the nearest confirmed plant; suspect on 2026-09-12, take a sample; relative")
    assert "100 % of it from wild stands" in says[3]
    for text in says.values():
        assert not any(word in text.lower() for word in ("chance", "probab", "likel"))


def test_no_plants_or_all_confirmed_give_an_empty_list():
    for plants, infected in ((inventory_at(), []), (inventory_at((0, 0), (0, 0)), [0, 1])):
        assert len(list_of(plants, state_with(plants, infected=infected))) == 0


def test_the_way_to_a_bed_counts_once_for_all_its_plants():
    # two beds 300 m apart: by hand 5 + 2 * 1.5 = 8 minutes for the near one, 5 + 1.5 more for one plant of the other
    plants = inventory_at((0, 0), (30, 0), (31, 0), (330, 0), (331, 0), bed=["s", "a", "a", "b", "b"])
    state = state_with(plants, infected=[0])

    def reached_in(minutes):
        look = InspectionSettings(hours_per_survey=minutes / 60)
        return int(list_of(plants, state, Settings(inspection=look)).within_hours.sum())

    assert [reached_in(minutes) for minutes in (6.4, 6.5, 7.9, 8, 14.4, 14.5, 16)] == [0, 1, 1, 2, 2, 3, 4]


def test_set_up_minutes_stand_at_the_first_plant_of_each_bed_of_the_list():
    plants = inventory_at((0, 0), (30, 0), (31, 0), (330, 0), (331, 0), bed=["s", "a", "a", "b", "b"])
    ranked = list_of(plants, state_with(plants, infected=[0]))
    assert ranked.set_up_minutes.tolist() == [5, 0, 5, 0]
    assert ranked.person_minutes.tolist() == [1.5] * 4


def test_what_a_plant_would_send_onward_counts_as_much_as_what_arrives_on_it():
    plants = inventory_at((0, 0), (30, 0), (-30, 0))
    state = state_with(plants, infected=[0])
    onward = np.array([0.0, 1.0, 1.0])
    assert list_of(plants, state, onward=onward).worth.tolist() == pytest.approx([100, 100])
    assert list_of(plants, state, onward=np.array([0.0, 1.0, 3.0])).plant.tolist() == [2, 1]
    ranked = list_of(plants, state, onward=np.array([0.0, 3.0, 1.0]))
    assert ranked.plant.tolist() == [1, 2]
    assert ranked.worth.tolist() == pytest.approx([100, 100 / 3])


def test_a_weight_of_its_own_counts_instead_of_pressure_and_needs_no_group_for_touching_plants():
    plants = inventory_at((0, 0), (0.5, 0), (200, 0), (400, 0))
    ranked = list_of(plants, state_with(plants, infected=[0]), weight=np.array([np.nan, 0.1, 0.3, 0.2]))
    assert ranked.plant.tolist() == [2, 3, 1]
    assert ranked.is_touching.tolist() == [False, False, True]


def test_plants_overdue_come_in_though_they_are_worth_little():
    # two near a case, looked at yesterday; two far away, never looked at
    plants = inventory_at((0, 0), (20, 0), (21, 0), (900, 0), (901, 0), bed=["s", "a", "a", "b", "b"])
    clean = state_with(plants, infected=[0])
    last = np.array(["2026-09-20"] * 3 + ["NaT"] * 2, dtype="datetime64[D]")
    state = type(clean)(**{**{name: getattr(clean, name) for name in clean.__slots__}, "last_inspected_on": last})
    eight = InspectionSettings(hours_per_survey=8 / 60)
    floor = Settings(inspection=eight, survey=SurveySettings(overdue_share=1))
    none = Settings(inspection=eight, survey=SurveySettings(overdue_share=0))
    ranked = list_of(plants, state, floor)
    assert set(ranked.plant[ranked.within_hours]) == {3, 4}
    assert ranked.is_overdue[np.argsort(ranked.plant)].tolist() == [False, False, True, True]
    ranked = list_of(plants, state, none)
    assert set(ranked.plant[ranked.within_hours]) == {1, 2}


def test_plants_drawn_at_random_are_reached_first_and_marked():
    plants = inventory_at((0, 0), *[(10 * i, 0) for i in range(1, 9)])
    settings = Settings(inspection=InspectionSettings(hours_per_survey=3 / 60), survey=NO_WAY)
    ranked = list_of(plants, state_with(plants, infected=[0]), settings, drawn=np.array([8]))
    assert set(ranked.plant[ranked.within_hours]) == {1, 8}
    assert ranked.plant[ranked.is_random].tolist() == [8]
    assert ranked.plant.tolist() == [1, 2, 3, 4, 5, 6, 7, 8]


def test_the_walk_ends_a_bed_before_the_next_and_goes_to_the_nearest_plant():
    beds = ["s", "b", "b", "b", "a", "a", "a"]
    plants = inventory_at((0, 0), (40, 0), (40, 9), (40, 5), (20, 0), (20, 8), (20, 3), bed=beds)
    ranked = list_of(plants, state_with(plants, infected=[0]))
    walked = ranked.plant[np.argsort(ranked.walk)]
    # bed a is nearer to the case; from its first plant of the inventory north, then over to the nearest of bed b
    assert walked.tolist() == [4, 6, 5, 2, 3, 1]
    assert sorted(ranked.walk.tolist()) == [1, 2, 3, 4, 5, 6]


def test_onward_is_the_slow_double_sum_over_healthy_hosts():
    rng = np.random.default_rng(3)
    plants = inventory_at(*rng.uniform(0, 60, (25, 2)), size=rng.choice(["S", "M", "XL"], 25))
    state = state_with(plants, infected=[0, 1], suspect=[2])
    settings, spread = Settings(), spread_of()
    sent = onward_if_infected(plants, state, spread, screens_of(), settings, Engine(workers=1))
    radius = canopy_radius(plants, settings.sources)
    weight = receiving_weight(plants, state, settings.sources)
    size = size_factor(plants, settings.sources)
    assert sent[0] == sent[1] == 0
    for giver in (2, 7, 24):
        away = np.hypot(plants.easting - plants.easting[giver], plants.northing - plants.northing[giver])
        far = away > 12 * radius  # there the canopy's mean is the kernel's value to a few parts in a thousand
        beyond = np.sum((weight * spread.kernel.location_density(away))[far])
        other = [receiver for receiver in np.flatnonzero(~far & (weight > 0)) if receiver != giver]
        near = sum(weight[receiver] * disc_mean(spread.kernel, away[receiver], radius[receiver]) for receiver in other)
        unit = spread.kernel.location_density(10.0)
        assert sent[giver] == pytest.approx(size[giver] * (beyond + near) / unit, rel=0.02)


def test_with_fitted_rates_touching_plants_count_by_contact_besides():
    """Worked by hand: 4 plants in a row, 0.9 m apart; contact as much as 7 m-2 of density for each that touches."""
    plants = inventory_at(*[(0.9 * i, 0) for i in range(4)], size=["M", "XL", "M", "M"])
    state, settings = state_with(plants, infected=[3]), Settings()
    asked = (plants, state, spread_of(), screens_of(), settings, Engine(workers=1))
    rates = Rates(per_day_m2=0.01, contact_per_day=0.07, background_per_day=0.0)
    more = onward_if_infected(*asked, None, rates) - onward_if_infected(*asked)
    size = settings.sources.size_factor["XL"]
    # the middle ones touch each other and the first; what is confirmed receives nothing and is not asked
    assert more * spread_of().kernel.location_density(10.0) == pytest.approx([7 * size, 7 * size * 2, 7 * size, 0])


def test_plants_that_a_fit_points_at_are_tested_first_and_say_their_chance():
    plants = inventory_at((0, 0), (60, 0), (5, 0), (300, 0), (20, 0))
    chance = np.array([np.nan, 0.62, 0.034, 0.2, 0.0])
    state = state_with(plants, infected=[0], suspect=[3])
    ranked = list_of(plants, state, weight=chance, chance=chance, to_test=(1,))
    assert ranked.plant.tolist() == [1, 3, 2, 4]
    assert ranked.due_on.tolist()[:2] == [TODAY, TODAY]
    assert ranked.due_on[2] > np.datetime64(TODAY) - 1
    assert "; no finding, infected with a chance of 62 % by the fitted model: take a sample; " in ranked.reason[0]
    assert (
        "suspect on 2026-09-12, take a sample; infected with a chance of 20 % by the fitted model; " in ranked.reason[1]
    )
    assert "; infected with a chance of 3.4 % by the fitted model; " in ranked.reason[2]
    assert "chance of below 0.1 % by the fitted model" in ranked.reason[3]


def disc_mean(kernel, away, radius):
    """The kernel's mean over a disc, by many points."""
    r, turn = np.sqrt((np.arange(60) + 0.5) / 60) * radius, 2 * np.pi * (np.arange(72) + 0.5) / 72
    east = away + r[:, None] * np.cos(turn)
    return float(np.mean(kernel.location_density(np.hypot(east, r[:, None] * np.sin(turn)))))


def test_without_hours_nothing_is_reached_and_all_stay_listed():
    plants = inventory_at((0, 0), (5, 0), (9, 0))
    none = Settings(inspection=InspectionSettings(hours_per_survey=0))
    ranked = list_of(plants, state_with(plants, infected=[0]), none)
    assert len(ranked) == 2
    assert not ranked.within_hours.any()
    assert ranked.walk.tolist() == [0, 0]


@pytest.mark.parametrize(("distance", "is_overdue"), [(5, True), (50, False), (500, False)])
def test_an_interval_has_run_out_when_its_days_are_over(distance, is_overdue):
    # all were looked at on 12 September, nine days before: more than 7 near a case, less than 14 and 30 farther off
    plants = inventory_at((0, 0), (distance, 0))
    ranked = list_of(plants, state_with(plants, infected=[0]))
    assert ranked.is_overdue.tolist() == [is_overdue]
    week = list_of(plants, state_with(plants, infected=[0]), as_of=dt.date(2026, 9, 19))
    assert week.is_overdue.tolist() == [is_overdue]

"""Where to look next: order, due dates, cut-off, words."""

import datetime as dt

import numpy as np
import pytest
from shapely import Point
from small_records import inventory_at, reservoirs_of, state_with
from small_worlds import screens_of, spread_of

from spreadmap.decisions.inspection import rank_inspections
from spreadmap.engine import Engine
from spreadmap.outbreak.exposure import plant_exposure
from spreadmap.outbreak.hidden import hidden_infection
from spreadmap.records.sources import plant_sources, reservoir_sources
from spreadmap.values.settings import InspectionSettings, Settings

TODAY = dt.date(2026, 9, 21)


def list_of(plants, state, settings=None, wild=None, as_of=TODAY, survey=None):
    settings = settings or Settings()
    exposure = plant_exposure(
        plants, state, plant_sources(plants, state, settings.sources), reservoir_sources(wild or reservoirs_of(), 2.0),
        spread_of(), screens_of(), settings, Engine(workers=1),
    )  # fmt: skip
    hidden = hidden_infection(plants, state, exposure, settings)
    return rank_inspections(plants, state, exposure, hidden, settings, as_of, survey)


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
    settings = Settings(inspection=InspectionSettings(hours_per_survey=2 * 1.5 / 60))
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
        settings = Settings(inspection=InspectionSettings(hours_per_survey=hours))
        reach = int(list_of(plants, state, settings).within_hours.sum())
        assert reach == min(49, int(hours * 60 / 1.5))
        assert reach >= last
        last = reach


def test_ranks_hold_for_groups_and_move_within_them():
    rng = np.random.default_rng(4)
    plants = inventory_at(*rng.uniform(0, 120, (60, 2)))
    settings = Settings(inspection=InspectionSettings(hours_per_survey=0.5))
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

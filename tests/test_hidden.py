"""Candidates for hidden infection: their order, distances and touching plants."""

import numpy as np
import pytest
from scipy.stats import binomtest
from small_records import inventory_at, state_with

from spreadmap.outbreak.hidden import hidden_infection
from spreadmap.values.arrays import no_dates
from spreadmap.values.hidden import Hidden
from spreadmap.values.results import Exposure
from spreadmap.values.settings import Settings


def exposure_of(pressure):
    n = len(pressure)
    return Exposure(
        pressure=np.array(pressure, dtype=float),
        from_plants=np.array(pressure, dtype=float),
        from_reservoirs=np.zeros(n),
        scale_factors=np.zeros(0),
        scale_rank=np.zeros((0, n), dtype=int),
    )


def test_candidates_keep_their_pressure_and_all_others_have_none():
    plants = inventory_at((0, 0), (0.9, 0), (5, 0), (9, 0))
    state = state_with(plants, infected=[0], is_host=[True, True, True, False])
    hidden = hidden_infection(plants, state, exposure_of([0, 7, 2, 1]), Settings())
    assert hidden.relative_exposure[1:3].tolist() == [7, 2]
    assert np.isnan(hidden.relative_exposure[[0, 3]]).all()


def test_distance_is_to_the_nearest_confirmed_plant_or_regrowth():
    plants = inventory_at((0, 0), (0, 7), (30, 40), (30, 41))
    hidden = hidden_infection(plants, state_with(plants, infected=[0], sprouting=[2]), exposure_of([0] * 4), Settings())
    assert hidden.distance_to_confirmed_m.tolist() == [0, 7, 0, 1]


def test_touching_includes_the_touching_distance_itself_but_no_confirmed_plant():
    plants = inventory_at((0, 0), (1, 0), (1.01, 0), (0.5, 0))
    hidden = hidden_infection(plants, state_with(plants, infected=[0, 3]), exposure_of([0] * 4), Settings())
    assert hidden.is_touching.tolist() == [False, True, True, False]  # 0.51 m from the plant at 0.5 m
    alone = hidden_infection(plants, state_with(plants, infected=[0]), exposure_of([0] * 4), Settings())
    assert alone.is_touching.tolist() == [False, True, False, True]


def test_without_a_confirmed_plant_nothing_touches_and_nothing_is_near():
    plants = inventory_at((0, 0), (0, 0))
    hidden = hidden_infection(plants, state_with(plants), exposure_of([1, 1]), Settings())
    assert np.isinf(hidden.distance_to_confirmed_m).all()
    assert not hidden.is_touching.any()


def test_no_plants_give_an_empty_answer():
    plants = inventory_at()
    assert len(hidden_infection(plants, state_with(plants), exposure_of([]), Settings()).is_touching) == 0


def hidden_with(shares, worth):
    share = np.array(shares, dtype=float)
    return Hidden(
        not_yet_infectious=share / 2, infectious=share / 2, healthy=1 - share, symptomatic=share * 0,
        half_show_by=no_dates(len(share)), days_infected=share * 0, infected_in=np.zeros((len(share), 1)),
        step_from=np.array(["2026-09-01"], dtype="datetime64[D]"), expected_infected=0.0, worth=worth,
    )  # fmt: skip


def test_the_range_over_drawing_is_the_score_interval():
    """As scipy has it for so many of forty independent states."""
    low, high = hidden_with([0, 1 / 40, 8 / 40, 20 / 40, 1.0], 40.0).drawn_range()
    for at, found in enumerate((0, 1, 8, 20, 40)):
        expected = binomtest(found, 40).proportion_ci(0.95, method="wilson")
        assert (low[at], high[at]) == pytest.approx((expected.low, expected.high), abs=1e-9)


def test_chances_without_draws_have_no_range_and_plants_without_a_chance_neither():
    low, high = hidden_with([0.2], 0.0).drawn_range()
    assert np.isnan([low[0], high[0]]).all()
    low, high = hidden_with([np.nan, 0.2], 40.0).drawn_range()
    assert np.isnan(low[0])
    assert low[1] < 0.2 < high[1]

"""Candidates for hidden infection: their order, distances and touching plants."""

import numpy as np
from small_records import inventory_at, state_with

from spreadmap.outbreak.hidden import hidden_infection
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

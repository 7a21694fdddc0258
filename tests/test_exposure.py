"""Relative infection pressure on plants: its unit, its parts, its laws."""

import numpy as np
import pytest
from shapely import Point
from small_records import inventory_at, reservoirs_of, state_with
from small_worlds import rose_toward, screens_of, spread_of

from spreadmap.engine import Engine
from spreadmap.outbreak.exposure import candidates, plant_exposure, ranks
from spreadmap.records.sources import plant_sources, reservoir_sources
from spreadmap.values.settings import KernelSettings, Settings

SETTINGS, ENGINE = Settings(), Engine(workers=1)
NO_SCREENS = screens_of()


def exposure_of(plants, state, spread=None, wild=None, settings=SETTINGS, screens=NO_SCREENS):
    stands = reservoir_sources(wild or reservoirs_of(), 2.0)
    own = plant_sources(plants, state, settings.sources)
    return plant_exposure(plants, state, own, stands, spread or spread_of(), screens, settings, ENGINE)


def test_a_medium_plant_ten_metres_from_a_confirmed_one_has_pressure_one():
    plants = inventory_at((0, 0), (10, 0))
    exposure = exposure_of(plants, state_with(plants, infected=[0]))
    # The canopy of 0.4 m is averaged over; at 10 m that changes the density by well under 1 %.
    assert exposure.pressure[1] == pytest.approx(1.0, rel=0.01)
    assert exposure.pressure[0] == 0


def test_pressure_grows_with_strength_susceptibility_and_size():
    plants = inventory_at((0, 0), (100, 0), (0, 1000), (100, 1000), size=["M", "M", "XL", "M"])
    ten = exposure_of(plants, state_with(plants, infected=[0, 2])).pressure
    assert ten[3] / ten[1] == pytest.approx(4.0, rel=1e-3)  # an XL plant sends four times as much
    large = inventory_at((0, 0), (10, 0), (-10, 0), size=["M", "L", "M"], susceptibility=[1, 1, 3])
    both = exposure_of(large, state_with(large, infected=[0])).pressure
    assert both[2] == pytest.approx(3.0, rel=0.01)
    assert both[1] == pytest.approx(2.0, rel=0.01)


def test_plants_and_wild_stands_add_up():
    plants = inventory_at((0, 0), (10, 0))
    wild = reservoirs_of((Point(20, 0), 3, 0.5))
    exposure = exposure_of(plants, state_with(plants, infected=[0]), wild=wild)
    assert exposure.pressure == pytest.approx(exposure.from_plants + exposure.from_reservoirs)
    # A stand of 3 plants at 0.5, as far away as the plant of strength 1.
    assert exposure.from_reservoirs[1] == pytest.approx(1.5 * exposure.from_plants[1], rel=1e-3)


def test_only_standing_hosts_that_are_not_confirmed_are_under_pressure_and_ranked():
    plants = inventory_at((0, 0), (3, 0), (6, 0), (9, 0), (12, 0))
    state = state_with(plants, infected=[0], suspect=[1], sprouting=[2], is_host=[True, True, True, True, False])
    exposure = exposure_of(plants, state)
    assert candidates(state).tolist() == [False, True, False, True, False]
    assert (exposure.pressure > 0).tolist() == [False, True, False, True, False]
    assert exposure.scale_rank.shape == (3, 5)
    assert (exposure.scale_rank[:, [0, 2, 4]] == 0).all()
    assert sorted(exposure.scale_rank[0, [1, 3]].tolist()) == [1, 2]


def test_a_suspect_puts_no_pressure_on_itself():
    plants = inventory_at((0, 0))
    assert exposure_of(plants, state_with(plants, suspect=[0])).pressure[0] == 0


def test_wind_from_the_west_puts_more_on_the_east_and_reversing_it_swaps_the_two():
    plants = inventory_at((0, 0), (20, 0), (-20, 0))
    state = state_with(plants, infected=[0])
    east = exposure_of(plants, state, spread_of(rose=rose_toward(90))).pressure
    west = exposure_of(plants, state, spread_of(rose=rose_toward(270))).pressure
    assert east[1] > 1.5 * east[2]
    assert west[1] == pytest.approx(east[2], rel=1e-6)
    assert west[2] == pytest.approx(east[1], rel=1e-6)


def test_a_screen_between_two_plants_halves_the_pressure():
    plants = inventory_at((0, 0), (10, 0))
    state = state_with(plants, infected=[0])
    behind = exposure_of(plants, state, screens=screens_of((5, -50, 5, 50, 0.5)))
    assert behind.pressure[1] == pytest.approx(0.5 * exposure_of(plants, state).pressure[1], rel=1e-6)


def test_a_wider_kernel_favours_the_plant_with_many_far_sources():
    near = [(0.0, 0.0), (25.0, 0.0)]
    far = [(1000.0 + 60 * np.sin(a), 60 * np.cos(a)) for a in np.arange(12) * np.pi / 6]
    plants = inventory_at(*near, (1000.0, 0.0), *far)
    exposure = exposure_of(plants, state_with(plants, infected=[0, *range(3, 15)]))
    assert exposure.scale_factors.tolist() == [0.5, 2.0, 5.0]
    assert exposure.scale_rank[0, [1, 2]].tolist() == [1, 2]
    assert exposure.scale_rank[2, [1, 2]].tolist() == [2, 1]


def test_ranks_run_from_the_largest_and_keep_the_order_of_equals():
    values = np.array([1.0, 5.0, 5.0, 9.0, 0.0])
    assert ranks(values, np.array([True, True, True, False, True])).tolist() == [3, 1, 2, 0, 4]


def test_nothing_sends_nothing_and_an_empty_run_has_no_ranks():
    plants = inventory_at((0, 0), (10, 0))
    assert not exposure_of(plants, state_with(plants)).pressure.any()
    assert not exposure_of(plants, state_with(plants, infected=[0, 1])).pressure.any()
    alone = exposure_of(plants, state_with(plants), settings=Settings(kernel=KernelSettings(scale_run=())))
    assert alone.scale_rank.shape == (0, 2)
    assert len(exposure_of(inventory_at(), state_with(inventory_at())).pressure) == 0

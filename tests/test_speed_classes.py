"""Classes of speed: every flight hour in one class, and all of them together are the climate."""

import numpy as np
import pytest
from test_climate import PLACE, SUMMER, hours_of

from spreadmap.dispersal.bearings import bearing_density
from spreadmap.dispersal.climate import flight_climate
from spreadmap.dispersal.speed_classes import class_bounds
from spreadmap.values.settings import WindSettings

ALL_ROUND = np.arange(0.0, 360.0, 1.0)


def record(count=400, seed=5):
    """Return hours of which the windy ones come from the west and the weak ones from anywhere."""
    draws = np.random.default_rng(seed)
    speed = draws.weibull(1.6, count) * 3.5
    wander = np.where(speed > 4, draws.normal(270, 25, count), draws.uniform(0, 360, count)) % 360
    wander[draws.random(count) < 0.05] = np.nan
    return hours_of(wander, speed, step_h=1)


def classes_of(hours, settings=None):
    climate = flight_climate(hours, None, SUMMER, *PLACE, settings or WindSettings())
    return climate, climate.speed_classes


def test_shares_times_roses_are_the_rose_of_the_climate():
    for seed in range(4):
        for count in (20, 400, 3000):
            climate, classes = classes_of(record(count, seed))
            assert sum(each.share for each in classes) == pytest.approx(1.0)
            together = sum(each.share * each.rose for each in classes)
            assert together == pytest.approx(climate.rose, abs=1e-12)
            assert min(bearing_density(each.rose, ALL_ROUND).min() for each in classes) >= 0


def test_mean_speeds_and_shares_are_a_direct_count():
    hours = hours_of([270.0] * 7, [0.2, 0.5, 1.5, 1.6, 3.0, 7.9, 20.0])
    climate, classes = classes_of(hours)
    assert [(each.lower_m_s, each.upper_m_s) for each in classes] == [
        (0.0, 0.5), (0.5, 1.6), (1.6, 3.4), (5.5, 8.0), (8.0, np.inf)
    ]  # fmt: skip
    assert [each.share for each in classes] == pytest.approx(np.array([1, 2, 2, 1, 1]) / 7)
    assert [each.mean_speed_m_s for each in classes] == pytest.approx([0.2, 1.0, 2.3, 7.9, 20.0])
    assert sum(each.share * each.mean_speed_m_s for each in classes) == pytest.approx(climate.mean_speed_m_s)


def test_windy_hours_keep_their_own_direction():
    _, classes = classes_of(record(3000))
    windy, weak = classes[-1], classes[1]
    assert np.rad2deg(np.angle(windy.rose[0])) % 360 == pytest.approx(90.0, abs=5)
    assert abs(windy.rose[0]) > 0.7
    assert abs(weak.rose[0]) < 0.15


def test_calm_hours_have_no_direction_and_months_weigh():
    all_round = np.arange(0.0, 360.0, 5.0)
    _, classes = classes_of(hours_of([*all_round, 270.0, *[90.0] * 73], [3.0] * 73 + [0.1] * 73, step_h=0))
    assert np.abs(classes[0].rose).max() < 1e-12
    assert np.abs(classes[1].rose).max() > 0.01
    # July has weight 0.9, October 0.8
    july_to_october = hours_of([270.0, 270.0], [1.0, 3.0], first="2024-07-10T17:00", step_h=24 * 92)
    _, classes = classes_of(july_to_october)
    assert [each.share for each in classes] == pytest.approx([0.9 / 1.7, 0.8 / 1.7])


def test_bounds_are_put_in_order_and_none_lies_below_calm():
    settings = WindSettings(speed_bounds_m_s=(5.0, 0.3, 2.0, 5.0), calm_below_m_s=0.5)
    assert class_bounds(settings).tolist() == [0.0, 0.5, 2.0, 5.0]
    assert class_bounds(WindSettings(calm_below_m_s=0.0, speed_bounds_m_s=())).tolist() == [0.0]


def test_without_flight_there_are_no_classes():
    assert classes_of(hours_of([270.0], first="2024-01-10T17:00"))[1] == ()

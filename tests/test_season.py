"""Weights of the season: the month's number, summed and averaged over days."""

import numpy as np
import pytest

from spreadmap.biology.season import flight_days, flight_weight_on

WEIGHTS = (0.0, 0.0, 0.0, 0.1, 0.2, 0.5, 0.9, 1.0, 1.0, 0.8, 0.3, 0.1)


def test_each_day_has_the_weight_of_its_month():
    days = np.array(["2024-01-01", "2024-02-29", "2024-04-30", "2024-05-01", "2024-12-31"], dtype="datetime64[D]")
    assert flight_weight_on(days, WEIGHTS).tolist() == [0.0, 0.0, 0.1, 0.2, 0.1]


def test_minutes_before_1970_and_any_shape_work():
    times = np.array([["1969-12-31T23:59", "1970-01-01T00:00"]], dtype="datetime64[m]")
    assert flight_weight_on(times, WEIGHTS).tolist() == [[0.1, 0.0]]


def test_days_of_flight_add_up_and_the_last_day_is_not_counted():
    # by hand: 2 days of July at 0.9 and 3 of August at 1.0
    first, last = np.datetime64("2024-07-30"), np.datetime64("2024-08-04")
    assert flight_days(first, last, WEIGHTS) == pytest.approx(2 * 0.9 + 3 * 1.0)


def test_two_periods_add_up_to_the_whole():
    first, middle, last = (np.datetime64(day) for day in ("2023-03-07", "2023-09-19", "2024-02-01"))
    parts = flight_days(first, middle, WEIGHTS) + flight_days(middle, last, WEIGHTS)
    assert flight_days(first, last, WEIGHTS) == pytest.approx(parts)


def test_a_period_without_days_weighs_nothing():
    day = np.datetime64("2024-07-01")
    assert flight_days(day, day, WEIGHTS) == 0.0
    assert flight_days(day, day - 3, WEIGHTS) == 0.0


def test_even_weights_count_every_day_of_a_year():
    days = flight_days(np.datetime64("2023-01-01"), np.datetime64("2024-01-01"), [0.7] * 12)
    assert days == pytest.approx(0.7 * 365)

"""Sunrise and sunset against an independent almanac, and at the ends of the earth."""

import numpy as np
import pandas as pd
import pytest
from pvlib import solarposition

from spreadmap.biology.daylight import sunrise_sunset_utc

DAYS = np.arange("2024-01-01", "2025-01-01", 3, dtype="datetime64[D]")


def almanac(longitude, latitude):
    """Return rise and set in hours after 0 h UTC by pvlib's NREL SPA, a full astronomical algorithm."""
    times = pd.DatetimeIndex(DAYS).tz_localize("UTC")
    table = solarposition.sun_rise_set_transit_spa(times, latitude, longitude)
    return [((table[name] - times) / pd.Timedelta(hours=1)).to_numpy() for name in ("sunrise", "sunset")]


@pytest.mark.parametrize(
    ("longitude", "latitude"), [(-84.4, 39.1), (0.0, 51.5), (12.5, 41.9), (-84.0, 33.7), (18.4, -33.9), (24.9, 60.2)]
)
def test_rise_and_set_agree_with_an_independent_almanac(longitude, latitude):
    for ours, theirs in zip(sunrise_sunset_utc(DAYS, longitude, latitude), almanac(longitude, latitude), strict=True):
        # The almanac counts a set after midnight UTC to the other day; the clock time is what is compared.
        off = np.mod(ours - theirs + 12, 24) - 12
        assert np.abs(off).max() < 5 / 60


def test_the_day_belongs_to_the_place_not_to_greenwich():
    # Noon of a day in Cincinnati (84.4 W) comes about 5.6 h after noon in Greenwich, within the equation of time.
    rise, set_ = sunrise_sunset_utc(DAYS, -84.4, 39.1)
    assert np.abs((rise + set_) / 2 - (12 + 84.4 / 15)).max() < 17 / 60
    rise, set_ = sunrise_sunset_utc(DAYS, 174.8, -41.3)
    assert rise.min() < 0
    assert (set_ > rise).all()


def test_days_are_long_in_summer_and_even_at_the_equator():
    days = np.array(["2024-06-21", "2024-12-21"], dtype="datetime64[D]")
    rise, set_ = sunrise_sunset_utc(days, 0.0, 45.0)
    assert (set_ - rise)[0] > 15
    assert (set_ - rise)[1] < 9
    rise, set_ = sunrise_sunset_utc(days, 0.0, 0.0)
    # 50 arc minutes of refraction and radius at each end lengthen the day by about seven minutes.
    assert set_ - rise == pytest.approx([12 + 7 / 60] * 2, abs=1 / 60)


def test_the_south_has_summer_when_the_north_has_winter():
    days = np.array(["2024-06-21", "2024-12-21"], dtype="datetime64[D]")
    north, south = (np.subtract(*sunrise_sunset_utc(days, 0.0, latitude)[::-1]) for latitude in (40.0, -40.0))
    assert south == pytest.approx(north[::-1], abs=2 / 60)


def test_polar_day_is_a_whole_day_and_polar_night_has_none():
    days = np.array(["2024-06-21", "2024-12-21"], dtype="datetime64[D]")
    rise, set_ = sunrise_sunset_utc(days, 20.0, 75.0)
    assert (set_ - rise)[0] == pytest.approx(24.0)
    assert np.isnan(rise[1])
    assert np.isnan(set_[1])


def test_poles_and_no_days_are_no_special_case():
    days = np.array(["2024-06-21"], dtype="datetime64[D]")
    assert np.subtract(*sunrise_sunset_utc(days, 0.0, 90.0)[::-1]) == pytest.approx([24.0])
    assert len(sunrise_sunset_utc(days[:0], 0.0, 45.0)[0]) == 0

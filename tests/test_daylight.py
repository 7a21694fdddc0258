"""Sunrise and sunset against an independent almanac, and at the ends of the earth."""

import numpy as np
import pandas as pd
import pytest
from pvlib import solarposition

from spreadmap.biology.daylight import (
    day_length_hours,
    declination_rad,
    equation_of_time_min,
    sunrise_sunset_utc,
)
from spreadmap.errors import SettingsError

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


def test_series_are_those_of_spencer():
    # pvlib transcribes Spencer 1971 for itself; its angle counts days from 1 January
    of_year = np.arange(1, 366)
    angle = 2 * np.pi * (of_year - 1) / 365
    assert declination_rad(angle) == pytest.approx(solarposition.declination_spencer71(of_year), abs=1e-12)
    # the first coefficient differs by a factor of ten between transcriptions: 229.18 x 0.0000675 min, one second
    apart = equation_of_time_min(angle) - solarposition.equation_of_time_spencer71(of_year)
    assert apart == pytest.approx(np.full(365, 0.01547), abs=1e-3)


@pytest.mark.parametrize("latitude", [-45.0, -33.9, 0.0, 25.0, 33.7, 39.1, 51.5, 58.0])
def test_day_length_agrees_with_an_independent_almanac(latitude):
    rise, set_ = almanac(0.0, latitude)
    # the almanac counts a set after midnight to the other day
    assert np.abs(day_length_hours(DAYS, latitude) - np.mod(set_ - rise, 24)).max() < 3 / 60


def test_day_length_is_set_less_rise_and_has_ends():
    rise, set_ = sunrise_sunset_utc(DAYS, 0.0, 45.0)
    assert day_length_hours(DAYS, 45.0).tolist() == (set_ - rise).tolist()
    days = np.array(["2024-06-21", "2024-12-21"], dtype="datetime64[D]")
    assert day_length_hours(days, 75.0) == pytest.approx([24.0, 0.0])


def test_the_longitude_hardly_moves_the_length_of_a_day():
    rise, set_ = sunrise_sunset_utc(DAYS, -122.0, 50.0)
    assert np.abs(day_length_hours(DAYS, 50.0) - (set_ - rise)).max() < 2 / 60


@pytest.mark.parametrize("latitude", [-90.5, 91.0, np.nan])
def test_no_latitude_is_refused(latitude):
    with pytest.raises(SettingsError, match=r"latitude_deg is .* deg; allowed: -90 to 90 deg. Give degrees, north"):
        day_length_hours(DAYS, latitude)

"""Two typical years of hourly weather, as pvlib ships them, through the hourly reader and on to a wind climate.

The files are typical meteorological years (TMY3) of Sand Point, Alaska, and Greensboro, North Carolina, published by
the National Renewable Energy Laboratory (Wilcox & Marion 2008, Users Manual for TMY3 Data Sets, NREL/TP-581-43156).
"""

from pathlib import Path

import numpy as np
import pvlib
import pytest
from scipy.stats import circmean

from spreadmap.dispersal.climate import climate_of_hours, flight_hours
from spreadmap.io.faults import FaultBook
from spreadmap.io.project_file import WindHoursBlock
from spreadmap.io.read_wind_hours import read_wind_hours
from spreadmap.values.settings import Settings

DATA = Path(pvlib.__file__).parent / "data"
YEARS = ("703165TY.csv", "723170TYA.CSV")
ALL_YEAR = (1.0,) * 12
SECTORS = 16


def typical_year(name):
    """Return direction, speed, temperature, and time zone, latitude and longitude as the file gives them."""
    data, about = pvlib.iotools.read_tmy3(DATA / name, coerce_year=2025, map_variables=False)
    return data["Wdir (degrees)"].to_numpy(float), data["Wspd (m/s)"].to_numpy(float), \
        data["Dry-bulb (C)"].to_numpy(float), about  # fmt: skip


def as_table(name, unit="m/s", factor=1.0):
    """Return the year as a table of ours, in local standard time."""
    direction, speed, warm, about = typical_year(name)
    times = np.datetime_as_string(np.datetime64("2025-01-01T00", "h") + np.arange(len(speed)), unit="m")
    rows = [f"{time.replace('T', ' ')},{a:g},{float(b * factor)!r},{c:g}" for time, a, b, c in
            zip(times, direction, speed, warm, strict=True)]  # fmt: skip
    offset = f"{int(about['TZ']):+03d}:00"
    block = WindHoursBlock(file="wind.csv", time_zone=offset, speed_unit=unit, north="grid")
    return "\n".join(["time,wind_from_deg,speed,temperature_c", *rows]) + "\n", block


def read_year(folder, name, **keys):
    text, block = as_table(name, **keys)
    (folder / "wind.csv").write_text(text, encoding="utf-8")
    book = FaultBook()
    hours = read_wind_hours([block], [folder / "wind.csv"], 0.0, Settings(), book)
    return hours, book


@pytest.mark.parametrize("name", YEARS)
def test_every_hour_comes_back_with_its_own_values(tmp_path, name):
    direction, speed, warm, about = typical_year(name)
    hours, book = read_year(tmp_path, name)
    assert len(hours) == len(speed) == 8760
    assert not [fault for fault in book.faults if fault.weight != "assumed"]
    assert hours.time_utc[0] == np.datetime64("2025-01-01T00:00") - np.timedelta64(int(about["TZ"] * 60), "m")
    assert np.array_equal(hours.speed_m_s, speed)
    assert np.array_equal(hours.temperature_c, warm)
    blowing = speed > 0
    assert np.isnan(hours.wind_from_deg[~blowing]).all()
    assert np.array_equal(hours.wind_from_deg[blowing], direction[blowing] % 360)
    assert hours.is_coarse.all() == bool(np.all(direction % 10 == 0))


@pytest.mark.parametrize("name", YEARS)
def test_the_same_year_in_knots_is_the_same_year(tmp_path, name):
    hours, _ = read_year(tmp_path, name)
    knots, _ = read_year(tmp_path, name, unit="knots", factor=3600 / 1852)
    assert np.allclose(knots.speed_m_s, hours.speed_m_s, atol=1e-9)


def overlap_shares(toward, coarse):
    """Count sectors directly: a bearing in whole tens lies anywhere in its ten degrees, in the share it overlaps."""
    width, counts = 360 / SECTORS, np.zeros(SECTORS)
    for bearing in toward:
        low, high = (bearing - 5, bearing + 5) if coarse else (bearing, bearing + 1e-9)
        for sector in range(-1, SECTORS + 1):
            begins = sector * width - width / 2
            inside = min(high, begins + width) - max(low, begins)
            counts[sector % SECTORS] += max(inside, 0) / (high - low)
    return counts


@pytest.mark.parametrize("name", YEARS)
def test_sector_shares_and_mean_direction_agree_with_a_direct_count(tmp_path, name):
    direction, speed, _, about = typical_year(name)
    hours, _ = read_year(tmp_path, name)
    settings = Settings().wind
    place = (about["longitude"], about["latitude"])
    used, _ = flight_hours(hours, ALL_YEAR, *place, settings)
    climate = climate_of_hours(hours, ALL_YEAR, *place, settings)
    assert climate.hours_used == used.sum() > 100
    moving = used & (speed >= settings.calm_below_m_s)
    toward = (direction[moving] + 180) % 360
    direct = overlap_shares(toward, hours.is_coarse.all()) / used.sum()
    # the climate spreads ten degrees in twenty steps: a step on the wrong side of a sector's edge is 1/20 of a tens' share
    assert np.allclose(climate.sector_share, direct, atol=0.05 * direct.max())
    assert np.isclose(climate.calm_share, 1 - moving.sum() / used.sum())
    assert np.isclose(climate.sector_share.sum() + climate.calm_share, 1.0)
    mean = np.rad2deg(circmean(np.deg2rad(toward)))
    apart = (np.rad2deg(np.angle(climate.rose[0])) - mean + 180) % 360 - 180
    assert abs(apart) < 1e-6

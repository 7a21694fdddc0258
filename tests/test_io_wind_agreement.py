"""Raster and hourly record: the same wind says nothing; swapped, reversed or mirrored parts are named."""

import numpy as np
import pytest

from spreadmap.io.wind_agreement import FEWEST_HOURS, between_deg, winds_differ
from spreadmap.values.wind import WindHours, WindRaster


def hours_from(from_deg, count=300, start="2026-05-01"):
    """Return an hourly record of wind round one direction."""
    draw = np.random.default_rng(1)
    return WindHours(
        time_utc=np.datetime64(f"{start}T00:00") + np.arange(count) * np.timedelta64(60, "m"),
        wind_from_deg=np.mod(from_deg + draw.normal(0, 30, count), 360),
        speed_m_s=np.full(count, 4.0),
        gust_m_s=np.full(count, np.nan),
        temperature_c=np.full(count, np.nan),
        rain_mm=np.full(count, np.nan),
        is_coarse=np.zeros(count, dtype=bool),
    )


def raster_of(u, v, month=0):
    return WindRaster(
        easting=np.array([0.0, 100.0]), northing=np.array([100.0, 0.0]), month=np.array([month]),
        wind_u=np.full((1, 2, 2), u), wind_v=np.full((1, 2, 2), v), mean_speed_m_s=None,
    )  # fmt: skip


@pytest.mark.parametrize("from_deg", [0, 20, 110, 200, 290])
def test_the_same_wind_says_nothing_wherever_it_comes_from(from_deg):
    toward = np.deg2rad(from_deg + 180)
    assert winds_differ(hours_from(from_deg), raster_of(3 * np.sin(toward), 3 * np.cos(toward))) == ""


@pytest.mark.parametrize(
    ("u", "v", "says"),
    # wind from 255 degrees blows toward 75: 2.9 toward east, 0.8 toward north at 3 m/s, worked by hand
    [
        (0.8, 2.9, ""),
        (0.2, 2.99, "stand in each other's place"),
        (-2.9, -0.8, "where the wind comes from"),
        (-2.9, 0.8, "toward west"),
    ],
)
def test_a_likely_cause_is_named(u, v, says):
    told = winds_differ(hours_from(265 if says.startswith("stand") else 255), raster_of(u, v))
    assert says in told
    assert bool(told) == bool(says)


def test_a_wind_mirrored_north_and_south_is_named():
    assert "toward south" in winds_differ(hours_from(215), raster_of(1.7, -2.5))


def test_without_a_clear_direction_or_enough_hours_nothing_is_said():
    assert winds_differ(hours_from(250, FEWEST_HOURS - 1), raster_of(-3, -1)) == ""
    assert winds_differ(hours_from(250), raster_of(-0.1, 0.0)) == ""
    assert winds_differ(hours_from(250), raster_of(-3, -1, month=11)) == ""
    every_way = hours_from(0)
    spread = WindHours(**{name: getattr(every_way, name) for name in WindHours.__dataclass_fields__}
                       | {"wind_from_deg": np.arange(300) * 6.0 % 360})  # fmt: skip
    assert winds_differ(spread, raster_of(-3, -1)) == ""


def test_angles_between_vectors():
    assert between_deg(np.array([1.0, 0.0]), np.array([0.0, 5.0])) == pytest.approx(90)
    assert between_deg(np.array([1.0, 1.0]), np.array([-2.0, -2.0])) == pytest.approx(180)

"""The weather of Tallowmere: hourly wind of the season of 2025, monthly wind vectors that bend along the river,
daily temperatures of 2026. Directions here are true (geographic) unless a name says grid.
"""  # noqa: D205

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from demo_town import CENTRAL_MERIDIAN_DEG, RIVER

TIME_ZONE = "America/Chicago"
FIRST_HOUR, LAST_HOUR = dt.datetime(2025, 4, 1, 0), dt.datetime(2025, 10, 31, 23)
"""Local clock time; the whole record lies in daylight-saving time."""
MONTHS = (4, 5, 6, 7, 8, 9, 10)

REGIMES = (("southerly", 195.0, 22.0, 0.62), ("north-westerly", 325.0, 28.0, 0.24), ("easterly", 90.0, 35.0, 0.14))
"""Kinds of weather: name, mean direction the wind comes from [deg], spread [deg], share of spells."""
MEAN_SPELL_HOURS = 30.0

BEND_SHARE, BEND_REACH_M = 0.75, 220.0
"""By how much wind across the valley is damped at the river [-], and the distance over which that fades [m]."""


@dataclass(frozen=True)
class Hours:
    """Hourly weather as columns of one length; `wind_from_deg` is true, NaN where the vane found no direction."""

    local_time: list[dt.datetime]
    wind_from_deg: np.ndarray
    speed_m_s: np.ndarray
    gust_m_s: np.ndarray
    temperature_c: np.ndarray
    rain_mm: np.ndarray


def convergence_deg(longitude_deg: float, latitude_deg: float) -> float:
    """Return by how much grid north of UTM lies clockwise of true north [deg], to first order."""
    return float((longitude_deg - CENTRAL_MERIDIAN_DEG) * np.sin(np.deg2rad(latitude_deg)))


def blow_one_season(random: np.random.Generator) -> Hours:
    """Return every hour of the season of 2025: spells of weather, calm nights, showers."""
    count = int((LAST_HOUR - FIRST_HOUR).total_seconds() // 3600) + 1
    times = [FIRST_HOUR + dt.timedelta(hours=hour) for hour in range(count)]
    clock = np.array([time.hour for time in times])
    day = np.array([time.timetuple().tm_yday for time in times])
    direction, drift = np.zeros(count), 0.0
    regime = 0
    for hour in range(count):
        if hour == 0 or random.random() < 1 / MEAN_SPELL_HOURS:
            regime = int(random.choice(len(REGIMES), p=[share for *_, share in REGIMES]))
        _, mean, spread, _ = REGIMES[regime]
        drift = 0.85 * drift + random.normal(0, spread * np.sqrt(1 - 0.85**2))
        direction[hour] = mean + drift
    by_day = 0.65 + 0.55 * np.clip(np.sin((clock - 7) / 14 * np.pi), 0, None)
    speed = random.weibull(2.1, count) * 4.6 * by_day
    speed[(random.random(count) < 0.09) & ((clock < 8) | (clock > 20))] = 0.0
    temperature = daily_mean_c(day) + 6.0 * np.sin((clock - 9) / 24 * 2 * np.pi) + random.normal(0, 1.2, count)
    wet = random.random(count) < 0.035
    rain = np.where(wet, np.round(random.gamma(0.8, 2.5, count), 1), 0.0)
    direction = np.round(np.mod(direction, 360) / 10) * 10
    direction = np.where(direction == 0, 360.0, direction)
    speed = np.round(speed, 1)
    variable = (speed > 0) & (speed < 1.5) & (random.random(count) < 0.25)
    return Hours(
        local_time=times,
        wind_from_deg=np.where(variable | (speed == 0), np.nan, direction),
        speed_m_s=speed,
        gust_m_s=np.round(speed * random.uniform(1.2, 1.8, count), 1),
        temperature_c=np.round(temperature, 1),
        rain_mm=rain,
    )


def daily_mean_c(day_of_year: np.ndarray) -> np.ndarray:
    """Return the mean temperature of a day of the year, warmest in late July [deg C]."""
    return 15.5 + 12.5 * np.cos((day_of_year - 205) / 365 * 2 * np.pi)


def is_flight_hour(hours: Hours) -> np.ndarray:
    """Return in which hours mites fly in this invented world: 10 to 16 o'clock, dry, 12 degrees, a breath of wind."""
    clock = np.array([time.hour for time in hours.local_time])
    mild = (hours.temperature_c >= 12) & (hours.rain_mm == 0) & (hours.speed_m_s >= 0.5)
    return mild & (clock >= 10) & (clock <= 16)


def monthly_mean_vectors(hours: Hours) -> dict[int, tuple[float, float]]:
    """Return the mean wind vector toward true east and north of each month [m/s]."""
    month = np.array([time.month for time in hours.local_time])
    toward = np.deg2rad(hours.wind_from_deg + 180)
    east = np.nan_to_num(hours.speed_m_s * np.sin(toward))
    north = np.nan_to_num(hours.speed_m_s * np.cos(toward))
    return {each: (float(east[month == each].mean()), float(north[month == each].mean())) for each in MONTHS}


def turn_into_valley(places: np.ndarray, bearing_deg: np.ndarray | float) -> np.ndarray:
    """Return by how much wind blowing toward a bearing is turned clockwise at places of the town's frame [deg].

    The part of the wind across the valley is damped by `BEND_SHARE` at the river, fading as exp(-(d/reach)²) with the
    distance d to it, so that the wind turns toward the valley's own axis, up or down, whichever lies closer.
    """
    first, last = RIVER[:-1], RIVER[1:]
    along = last - first
    length2 = (along**2).sum(axis=1)
    offset = places[:, None, :] - first[None]
    share = np.clip((offset * along[None]).sum(axis=2) / length2, 0, 1)
    gap = np.linalg.norm(offset - share[..., None] * along[None], axis=2)
    # pieces are blended by nearness, so that the field has no seam where the nearest piece changes
    weight = np.exp(-((gap - gap.min(axis=1, keepdims=True)) / 60.0))
    axis = np.angle((weight * np.exp(2j * np.arctan2(along[:, 0], along[:, 1]))).sum(axis=1)) / 2
    off_axis = np.deg2rad(bearing_deg) - axis
    damped = 1 - BEND_SHARE * np.exp(-((gap.min(axis=1) / BEND_REACH_M) ** 2))
    turn = np.arctan2(damped * np.sin(off_axis), np.cos(off_axis)) - off_axis
    return np.mod(np.rad2deg(turn) + 180, 360) - 180


def daily_extremes(random: np.random.Generator, first: dt.date, last: dt.date) -> list[tuple[dt.date, float, float]]:
    """Return day, lowest and highest temperature of every day from first to last [deg C]."""
    days = [first + dt.timedelta(days=step) for step in range((last - first).days + 1)]
    rows, noise = [], 0.0
    for day in days:
        noise = 0.7 * noise + random.normal(0, 2.2)
        mean = float(daily_mean_c(np.array(day.timetuple().tm_yday))) + noise
        half = 5.5 + abs(random.normal(0, 1.0))
        rows.append((day, round(mean - half, 1), round(mean + half, 1)))
    return rows

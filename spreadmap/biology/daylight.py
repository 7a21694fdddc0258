"""Sunrise, sunset and the length of the day."""

from __future__ import annotations

import numpy as np

from spreadmap.biology.bounds import require
from spreadmap.values.arrays import DateArray, FloatArray

ZENITH_DEG = 90.833
"""Zenith of the sun's centre at rise and set: 50 arc minutes for refraction and the sun's radius (from memory)."""


def declination_rad(year_angle: FloatArray) -> FloatArray:
    """Return how far north of the equator the sun stands [rad]; `year_angle` runs from 0 on 1 January to 2 pi [rad].

    Spencer 1971; bound by test_daylight.py::test_series_are_those_of_spencer against an independent transcription.
    """
    return np.asarray(
        0.006918
        - 0.399912 * np.cos(year_angle)
        + 0.070257 * np.sin(year_angle)
        - 0.006758 * np.cos(2 * year_angle)
        + 0.000907 * np.sin(2 * year_angle)
        - 0.002697 * np.cos(3 * year_angle)
        + 0.00148 * np.sin(3 * year_angle)
    )


def equation_of_time_min(year_angle: FloatArray) -> FloatArray:
    """Return how far the sundial is ahead of the clock [min]; `year_angle` as in `declination_rad`.

    Spencer 1971. Transcriptions differ in the first coefficient, 0.000075 here and 0.0000075 elsewhere: one second.
    """
    return 229.18 * np.asarray(
        0.000075
        + 0.001868 * np.cos(year_angle)
        - 0.032077 * np.sin(year_angle)
        - 0.014615 * np.cos(2 * year_angle)
        - 0.040849 * np.sin(2 * year_angle)
    )


def _year_angle(day: DateArray, longitude_deg: float) -> FloatArray:
    """Return the angle of the year at local noon of each day [rad]."""
    days = np.asarray(day, dtype="datetime64[D]")
    of_year = (days - days.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.float64)
    return np.asarray(2 * np.pi * (of_year + 0.5 - longitude_deg / 360) / 365.0)


def sunrise_sunset_utc(day: DateArray, longitude_deg: float, latitude_deg: float) -> tuple[FloatArray, FloatArray]:
    """Return the hours of sunrise and sunset, counted from 0 h UTC of each day.

    Parameters
    ----------
    day : array of `datetime64[D]`, shape (n,)
    longitude_deg, latitude_deg : float
        East and north positive. [deg]

    Returns
    -------
    two arrays, shape (n,)
        Hours, possibly below 0 or above 24 where the place lies far from Greenwich; a polar day is noon -+ 12 h, a
        polar night is NaN. [h]

    Notes
    -----
    Declination and equation of time are the Fourier series of Spencer (coefficients from memory), good to about two
    minutes below 60 degrees of latitude; bound by test_daylight.py against an independent almanac.

    References
    ----------
    Spencer, J. W. (1971), Fourier series representation of the position of the sun, Search 2(5):172.
    """
    angle = _year_angle(day, longitude_deg)
    declination, equation_min = declination_rad(angle), equation_of_time_min(angle)
    noon = 12.0 - longitude_deg / 15.0 - equation_min / 60.0
    latitude = np.deg2rad(latitude_deg)
    cosine = (np.cos(np.deg2rad(ZENITH_DEG)) - np.sin(latitude) * np.sin(declination)) / (
        np.cos(latitude) * np.cos(declination)
    )
    half = np.where(cosine > 1, np.nan, np.rad2deg(np.arccos(np.clip(cosine, -1, 1))) / 15.0)
    return noon - half, noon + half


def day_length_hours(day: DateArray, latitude_deg: float) -> FloatArray:
    """Return the hours from sunrise to sunset.

    Parameters
    ----------
    day : array of `datetime64[D]`, shape (n,)
    latitude_deg : float
        North positive. [deg]

    Returns
    -------
    array, shape (n,)
        0 in the polar night to 24 in the polar day. [h]

    Raises
    ------
    SettingsError
        If the latitude is not within -90 to 90.

    Notes
    -----
    As `sunrise_sunset_utc`, twilight not counted, at the longitude of Greenwich: elsewhere the sun has moved on by at
    most half a day's change. Bound by test_daylight.py::test_day_length_agrees_with_an_independent_almanac.
    """
    within = -90 <= latitude_deg <= 90
    require(
        "length of the day",
        [("latitude_deg", latitude_deg, "deg", within, "-90 to 90")],
        "Give degrees, north positive.",
    )
    rise, set_ = sunrise_sunset_utc(day, 0.0, latitude_deg)
    return np.where(np.isnan(rise), 0.0, set_ - rise)

"""Sunrise and sunset."""

from __future__ import annotations

import numpy as np

from spreadmap.values.arrays import DateArray, FloatArray

ZENITH_DEG = 90.833
"""Zenith of the sun's centre at rise and set: 50 arc minutes for refraction and the sun's radius (from memory)."""


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
    days = np.asarray(day, dtype="datetime64[D]")
    of_year = (days - days.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.float64)
    angle = 2 * np.pi * (of_year + 0.5 - longitude_deg / 360) / 365.0
    declination = (
        0.006918
        - 0.399912 * np.cos(angle)
        + 0.070257 * np.sin(angle)
        - 0.006758 * np.cos(2 * angle)
        + 0.000907 * np.sin(2 * angle)
        - 0.002697 * np.cos(3 * angle)
        + 0.00148 * np.sin(3 * angle)
    )
    equation_min = 229.18 * (
        0.000075
        + 0.001868 * np.cos(angle)
        - 0.032077 * np.sin(angle)
        - 0.014615 * np.cos(2 * angle)
        - 0.040849 * np.sin(2 * angle)
    )
    noon = 12.0 - longitude_deg / 15.0 - equation_min / 60.0
    latitude = np.deg2rad(latitude_deg)
    cosine = (np.cos(np.deg2rad(ZENITH_DEG)) - np.sin(latitude) * np.sin(declination)) / (
        np.cos(latitude) * np.cos(declination)
    )
    half = np.where(cosine > 1, np.nan, np.rad2deg(np.arccos(np.clip(cosine, -1, 1))) / 15.0)
    return noon - half, noon + half

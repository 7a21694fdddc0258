"""How many mites fly in which month, relative to the best month."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from spreadmap.values.arrays import DateArray, FloatArray


def flight_weight_on(day: DateArray, monthly_weight: Sequence[float]) -> FloatArray:
    """Return the weight of the month in which each day lies.

    Parameters
    ----------
    day : array of `datetime64`, any shape
    monthly_weight : twelve numbers, January first
        Relative numbers of mites in the air, zero or more. [-]

    Returns
    -------
    array, same shape as `day`
        Weights. [-]
    """
    month = np.asarray(day).astype("datetime64[M]").astype(np.int64) % 12
    return np.asarray(monthly_weight, dtype=np.float64)[month]


def flight_days(first: np.datetime64, last: np.datetime64, monthly_weight: Sequence[float]) -> float:
    """Return the sum of weights from `first` to the day before `last`: days of full flight [d]; 0 if none."""
    days = np.arange(first, last, dtype="datetime64[D]")
    return float(flight_weight_on(days, monthly_weight).sum()) if len(days) else 0.0


def flight_days_of_a_year(monthly_weight: Sequence[float]) -> float:
    """Return the days of full flight of an ordinary year of 365 days [d]."""
    return flight_days(np.datetime64("2001-01-01"), np.datetime64("2002-01-01"), monthly_weight)

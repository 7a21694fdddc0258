"""Development by temperature: days to adult, generations, and the rate of increase that goes with them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from spreadmap.biology.bounds import require
from spreadmap.biology.degree_days import degree_days
from spreadmap.biology.heat import HeatRule, HeatSum
from spreadmap.values.arrays import FloatArray


def development_days(temperature_c: npt.ArrayLike, degree_days_needed: float, rule: HeatRule) -> FloatArray:
    """Return how long development takes at a steady temperature.

    Parameters
    ----------
    temperature_c : array, any shape
        [deg C]
    degree_days_needed : float
        Degree-days from egg to adult, or of one generation, above zero. [deg C d]
    rule : HeatRule
        The thresholds to which that figure belongs.

    Returns
    -------
    array, same shape
        Infinite where nothing develops. [d]

    Raises
    ------
    SettingsError
        If `degree_days_needed` is not above zero.

    Notes
    -----
    K / D(T), D the degree-days of a steady day; bound by published/test_haque_kawai_2003.py. Near and above the upper
    threshold, and above the linear range of the study, the law is only as good as the cutoff.
    """
    _require_needed(degree_days_needed)
    daily = _steady_degree_days(temperature_c, rule)
    return np.where(daily > 0, degree_days_needed / np.where(daily > 0, daily, 1.0), np.inf)


def generations(heat: HeatSum, degree_days_needed: float) -> FloatArray:
    """Return how many generations of `degree_days_needed` [deg C d] fit into the heat up to each day [-]."""
    _require_needed(degree_days_needed)
    return heat.accumulated / degree_days_needed


def growth_per_degree_day(rate_per_day: float, temperature_c: float, rule: HeatRule) -> float:
    """Return the rate of increase per degree-day from one known at a steady temperature.

    Parameters
    ----------
    rate_per_day : float
        r at that temperature, from a life table or a study, above zero. [1/d]
    temperature_c : float
        [deg C]
    rule : HeatRule

    Returns
    -------
    float
        r / D(T). [1 / (deg C d)]

    Raises
    ------
    SettingsError
        If the rate is not above zero, or nothing develops at that temperature.

    Notes
    -----
    It is the r of the same life with ages counted in degree-days, bound by
    test_development.py::test_rate_scales_like_a_life_table_in_degree_days.
    """
    remedy = "Give the temperature at which the rate was found, and the thresholds of the same mite."
    daily = float(_steady_degree_days(temperature_c, rule))
    require(
        "growth",
        [
            ("rate_per_day", rate_per_day, "1/d", rate_per_day > 0, "above 0"),
            ("temperature_c", temperature_c, "deg C", daily > 0, "one at which degree-days add up"),
        ],
        remedy,
    )
    return rate_per_day / daily


def growth_rate_at(temperature_c: npt.ArrayLike, rate_per_degree_day: float, rule: HeatRule) -> FloatArray:
    """Return the rate of increase at steady temperatures, shape of `temperature_c` [1/d]; rate in 1 / (deg C d)."""
    return rate_per_degree_day * _steady_degree_days(temperature_c, rule)


def _require_needed(degree_days_needed: float) -> None:
    require(
        "development",
        [("degree_days_needed", degree_days_needed, "deg C d", degree_days_needed > 0, "above 0")],
        "Correct the degree-days of a generation.",
    )


def _steady_degree_days(temperature_c: npt.ArrayLike, rule: HeatRule) -> FloatArray:
    """Return the degree-days of a day of steady temperature [deg C d per day]: every method agrees on it."""
    warm = np.asarray(temperature_c, dtype=np.float64)
    return degree_days(warm, warm, rule.lower_c, rule.upper_c, cutoff=rule.cutoff)

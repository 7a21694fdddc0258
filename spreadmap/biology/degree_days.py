"""Degree-days: how much warmth a day holds between two thresholds, from its lowest and highest temperature.

Every method is a curve through the day. Of a curve two numbers are needed: the mean warmth above a temperature, and
the share of the day above it. What happens above the upper threshold (the cutoff) is then a sum of those, the same for
every curve. Formulas are free of the scale: thresholds and temperatures in deg C give degree-days in deg C d, both in
deg F give deg F d.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from spreadmap.biology.bounds import Check, require, require_choice
from spreadmap.errors import InputError, SettingsError
from spreadmap.values.arrays import FloatArray

Form = Callable[[FloatArray, FloatArray, float], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """The temperature of a day as a curve: warmth above a temperature, share of the day above it.

    Both take minimum, maximum and the temperature. `uses_next_minimum` is true where the second half of the day runs
    down to the minimum of the next.
    """

    warmth_above: Form
    share_above: Form
    uses_next_minimum: bool = False


def level_warmth(minimum: FloatArray, maximum: FloatArray, threshold: float) -> FloatArray:
    """Return the mean warmth above a threshold when the whole day is as warm as its mean, max(M - L, 0)."""
    return np.maximum((minimum + maximum) / 2 - threshold, 0.0)


def level_share(minimum: FloatArray, maximum: FloatArray, threshold: float) -> FloatArray:
    """Return one where the mean of the day lies above the threshold, else zero [-]."""
    return np.asarray((minimum + maximum) / 2 > threshold, dtype=np.float64)


def sine_warmth(minimum: FloatArray, maximum: FloatArray, threshold: float) -> FloatArray:
    """Return the mean warmth above a threshold under a sine through minimum and maximum.

    Parameters
    ----------
    minimum, maximum : arrays of one shape
        Lowest and highest temperature of each day. [deg]
    threshold : float
        [deg]

    Returns
    -------
    array, same shape
        Warmth. [deg d per day]

    Notes
    -----
    ((M - L)(pi/2 - u) + W cos u) / pi with u = arcsin((L - M)/W), M the mean and W half the range; M - L where the
    threshold lies below the day, zero where above. Bound by test_degree_days.py::test_against_direct_integration.

    References
    ----------
    Baskerville & Emin 1969, Ecology 50:514-517 (from memory; agrees with published answers).
    """
    mean = (minimum + maximum) / 2
    angle = _crossing_angle(minimum, maximum, threshold)
    crossing = ((mean - threshold) * (np.pi / 2 - angle) + (maximum - minimum) / 2 * np.cos(angle)) / np.pi
    return _by_position(minimum, maximum, threshold, mean - threshold, np.maximum(crossing, 0.0))


def sine_share(minimum: FloatArray, maximum: FloatArray, threshold: float) -> FloatArray:
    """Return the share of the day above a threshold under a sine, (pi/2 - u)/pi with u as in `sine_warmth` [-]."""
    inside = (np.pi / 2 - _crossing_angle(minimum, maximum, threshold)) / np.pi
    return _by_position(minimum, maximum, threshold, np.ones_like(minimum), inside)


def triangle_warmth(minimum: FloatArray, maximum: FloatArray, threshold: float) -> FloatArray:
    """Return the mean warmth above a threshold under straight lines up and down, (max - L)^2 / (2 (max - min)).

    Arguments and limits as in `sine_warmth`; Zalom et al. 1983, UC leaflet 21373 (from memory).
    """
    height = np.clip(maximum - threshold, 0.0, maximum - minimum)
    inside = height * height / (2 * _range(minimum, maximum))
    return _by_position(minimum, maximum, threshold, (minimum + maximum) / 2 - threshold, inside)


def triangle_share(minimum: FloatArray, maximum: FloatArray, threshold: float) -> FloatArray:
    """Return the share of the day above a threshold under straight lines, (max - L)/(max - min) [-]."""
    inside = np.clip(maximum - threshold, 0.0, maximum - minimum) / _range(minimum, maximum)
    return _by_position(minimum, maximum, threshold, np.ones_like(minimum), inside)


def _range(minimum: FloatArray, maximum: FloatArray) -> FloatArray:
    """Return the range of the day, or one where there is none: such a day never crosses a threshold."""
    return np.where(maximum > minimum, maximum - minimum, 1.0)


def _crossing_angle(minimum: FloatArray, maximum: FloatArray, threshold: float) -> FloatArray:
    """Return arcsin((L - M)/W) [rad], at its limits where the threshold lies outside the day."""
    return np.arcsin(np.clip((2 * threshold - minimum - maximum) / _range(minimum, maximum), -1.0, 1.0))


def _by_position(
    minimum: FloatArray, maximum: FloatArray, threshold: float, below: FloatArray, inside: FloatArray
) -> FloatArray:
    """Return `below` where the threshold lies under the day, zero where over it, `inside` between."""
    return np.where(threshold >= maximum, 0.0, np.where(threshold <= minimum, below, inside))


METHODS: dict[str, Curve] = {
    "average": Curve(warmth_above=level_warmth, share_above=level_share),
    "single_sine": Curve(warmth_above=sine_warmth, share_above=sine_share),
    "double_sine": Curve(warmth_above=sine_warmth, share_above=sine_share, uses_next_minimum=True),
    "single_triangle": Curve(warmth_above=triangle_warmth, share_above=triangle_share),
    "double_triangle": Curve(warmth_above=triangle_warmth, share_above=triangle_share, uses_next_minimum=True),
}
"""Methods by name. Double ones: Allen 1976, Environ Entomol 5:388-396, doi 10.1093/ee/5.3.388 (definition read at
ipm.ucdavis.edu/WEATHER/ddmoreinfo.html)."""

Between = Callable[[Curve, FloatArray, FloatArray, float, float], FloatArray]


def horizontal_cutoff(curve: Curve, minimum: FloatArray, maximum: FloatArray, lower: float, upper: float) -> FloatArray:
    """Return degree-days when warmth above the upper threshold counts as that threshold: E(L) - E(U)."""
    return curve.warmth_above(minimum, maximum, lower) - curve.warmth_above(minimum, maximum, upper)


def intermediate_cutoff(
    curve: Curve, minimum: FloatArray, maximum: FloatArray, lower: float, upper: float
) -> FloatArray:
    """Return degree-days when every degree above the upper threshold takes one away, never below nothing.

    E(L) - 2 E(U) + E(2U - L): the last term keeps the rate at zero from 2U - L on.
    """
    warmth = curve.warmth_above
    return (
        warmth(minimum, maximum, lower)
        - 2 * warmth(minimum, maximum, upper)
        + warmth(minimum, maximum, 2 * upper - lower)
    )


def vertical_cutoff(curve: Curve, minimum: FloatArray, maximum: FloatArray, lower: float, upper: float) -> FloatArray:
    """Return degree-days when nothing counts while it is warmer than the upper threshold.

    E(L) - E(U) - (U - L) S(U), S the share of the day above.
    """
    return horizontal_cutoff(curve, minimum, maximum, lower, upper) - (upper - lower) * curve.share_above(
        minimum, maximum, upper
    )


CUTOFFS: dict[str, Between] = {
    "horizontal": horizontal_cutoff,
    "intermediate": intermediate_cutoff,
    "vertical": vertical_cutoff,
}
"""What happens above the upper threshold; definitions read at ipm.ucdavis.edu/WEATHER/ddmoreinfo.html."""

REMEDY = "Correct the thresholds, in the scale of the temperatures."


def require_heat_rule(lower: float, upper: float | None, method: str, cutoff: str) -> None:
    """Refuse thresholds in the wrong order and unknown names (SettingsError)."""
    require_choice("degree-days", "method", method, tuple(METHODS), "Choose one of these.")
    require_choice("degree-days", "cutoff", cutoff, tuple(CUTOFFS), "Choose one of these.")
    checks: list[Check] = [("lower threshold", lower, "deg", True, "a number")]
    if upper is not None:
        checks.append(("upper threshold", upper, "deg", upper > lower, f"above the lower threshold {lower:g}"))
    require("degree-days", checks, REMEDY)


def degree_days(
    minimum: npt.ArrayLike,
    maximum: npt.ArrayLike,
    lower: float,
    upper: float | None = None,
    *,
    method: str = "single_sine",
    cutoff: str = "horizontal",
    next_minimum: npt.ArrayLike | None = None,
) -> FloatArray:
    """Return the degree-days of each day.

    Parameters
    ----------
    minimum, maximum : arrays, any shape
        Lowest and highest temperature of each day; NaN gives NaN. [deg C, or deg F throughout]
    lower : float
        Threshold below which nothing develops. [same scale]
    upper : float, optional
        Threshold above which the cutoff rules; none: no limit. [same scale]
    method : str, optional
        One of `METHODS`.
    cutoff : str, optional
        One of `CUTOFFS`; counts only with an upper threshold.
    next_minimum : array, optional
        Lowest temperature of the day after; needed by the double methods, and read by no other. [same scale]

    Returns
    -------
    array, shape of the temperatures
        Degree-days of each day. [deg d]

    Raises
    ------
    SettingsError
        If a threshold, method or cutoff is out of range, or a double method has no next minimum.
    InputError
        If a minimum lies above its maximum.

    Notes
    -----
    Bound by test_degree_days.py (laws, direct integration) and published/test_degree_day_table.py. Methods differ most
    where a threshold lies inside the day's range (PMC3973433, Table 1, read): none of them is the truth.
    """
    require_heat_rule(lower, upper, method, cutoff)
    low, high = np.broadcast_arrays(np.asarray(minimum, dtype=np.float64), np.asarray(maximum, dtype=np.float64))
    inverted = low[low > high]
    if inverted.size:
        msg = (
            f"degree-days: minimum is {inverted[0]:g} deg on {inverted.size} day(s) where the maximum is lower; "
            "allowed: minimum not above maximum. Swap the columns or correct the rows."
        )
        raise InputError(msg)
    curve = METHODS[method]
    first = _between(curve, low, high, lower, upper, cutoff)
    if not curve.uses_next_minimum:
        return first
    if next_minimum is None:
        msg = f"degree-days: method {method!r} has no next_minimum; allowed: one per day. Give it, or use a single one."
        raise SettingsError(msg)
    after = np.broadcast_to(np.asarray(next_minimum, dtype=np.float64), low.shape)
    # After a cold day the next may begin warmer than this one's maximum: the curve then runs up instead of down.
    second = _between(curve, np.minimum(after, high), np.maximum(after, high), lower, upper, cutoff)
    return (first + second) / 2


def _between(
    curve: Curve, minimum: FloatArray, maximum: FloatArray, lower: float, upper: float | None, cutoff: str
) -> FloatArray:
    """Return the degree-days of one curve, NaN where a temperature is missing."""
    if upper is None:
        found = curve.warmth_above(minimum, maximum, lower)
    else:
        # Differences of like numbers may end a hair below zero.
        found = np.maximum(CUTOFFS[cutoff](curve, minimum, maximum, lower, upper), 0.0)
    return np.where(np.isnan(minimum) | np.isnan(maximum), np.nan, found)


def fahrenheit_to_celsius(temperature_f: npt.ArrayLike) -> FloatArray:
    """Return temperatures or thresholds in deg C, (F - 32) / 1.8; not for degree-days."""
    return (np.asarray(temperature_f, dtype=np.float64) - 32.0) / 1.8


def celsius_to_fahrenheit(temperature_c: npt.ArrayLike) -> FloatArray:
    """Return temperatures or thresholds in deg F, 1.8 C + 32; not for degree-days."""
    return 1.8 * np.asarray(temperature_c, dtype=np.float64) + 32.0


def degree_days_to_celsius(degree_days_f: npt.ArrayLike) -> FloatArray:
    """Return degree-days in deg C d from deg F d: divided by 1.8, with no 32, for they are differences."""
    return np.asarray(degree_days_f, dtype=np.float64) / 1.8


def degree_days_to_fahrenheit(degree_days_c: npt.ArrayLike) -> FloatArray:
    """Return degree-days in deg F d from deg C d: times 1.8, with no 32, for they are differences."""
    return np.asarray(degree_days_c, dtype=np.float64) * 1.8

"""Latency: how long an infected plant shows nothing.

All shares here are shares *of infected plants*: they say when symptoms show, and nothing about whether a plant is
infected. Days are days of the growing season, for symptoms come on growing tissue (our assumption); `SeasonClock`
counts them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from spreadmap.biology.bounds import require, require_choice
from spreadmap.biology.season_clock import SeasonClock
from spreadmap.errors import SettingsError
from spreadmap.values.arrays import DateArray, FloatArray, freeze_columns

REMEDY = "Correct the latency."


@dataclass(frozen=True, slots=True, kw_only=True)
class LatencyFamily:
    """The functions of one family: share by a day, day of a share, mean; each takes median [d] and spread [-]."""

    share_by: Callable[[FloatArray, float, float], FloatArray]
    day_of: Callable[[FloatArray, float, float], FloatArray]
    mean: Callable[[float, float], float]


def lognormal_share(day: FloatArray, median_d: float, spread: float) -> FloatArray:
    """Return Phi(ln(d / median) / spread), zero up to day zero; the spread is that of the logarithm [-]."""
    after = day > 0
    return np.where(after, special.ndtr(np.log(np.where(after, day, 1.0) / median_d) / spread), 0.0)


def lognormal_day(share: FloatArray, median_d: float, spread: float) -> FloatArray:
    """Return median exp(spread z), the inverse of `lognormal_share` [d]."""
    return median_d * np.exp(spread * np.asarray(special.ndtri(share)))


def lognormal_mean(median_d: float, spread: float) -> float:
    """Return median exp(spread^2 / 2) [d]."""
    return float(median_d * np.exp(spread * spread / 2))


def gamma_share(day: FloatArray, median_d: float, spread: float) -> FloatArray:
    """Return P(shape, d / scale); spread is standard deviation over mean, so that shape = 1 / spread^2 [-]."""
    shape, scale = _gamma_parts(median_d, spread)
    return np.asarray(special.gammainc(shape, np.maximum(day, 0.0) / scale))


def gamma_day(share: FloatArray, median_d: float, spread: float) -> FloatArray:
    """Return the inverse of `gamma_share` [d]."""
    shape, scale = _gamma_parts(median_d, spread)
    return np.asarray(special.gammaincinv(shape, share)) * scale


def gamma_mean(median_d: float, spread: float) -> float:
    """Return shape times scale [d]."""
    shape, scale = _gamma_parts(median_d, spread)
    return shape * scale


def _gamma_parts(median_d: float, spread: float) -> tuple[float, float]:
    """Return shape [-] and scale [d] of the gamma with this median and coefficient of variation."""
    shape = 1 / spread**2
    return shape, median_d / float(special.gammaincinv(shape, 0.5))


LATENCY_FAMILIES: dict[str, LatencyFamily] = {
    "lognormal": LatencyFamily(share_by=lognormal_share, day_of=lognormal_day, mean=lognormal_mean),
    "gamma": LatencyFamily(share_by=gamma_share, day_of=gamma_day, mean=gamma_mean),
}
LEAST_SPREAD, MOST_SPREAD = 0.01, 5.0
"""Beyond these, latency is a single day or no information [-]: our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Latency:
    """How infected plants are spread over the days until they show.

    `median_d` [season days] and `spread` [-] belong to the family, whose second parameter it is: the standard deviation
    of the logarithm (lognormal), or standard deviation over mean (gamma). A share `tail_share` of plants follows a
    second curve of the same family with `tail_median_d` and `tail_spread`: the long tail of plants that show only in
    another year.
    """

    family: str
    median_d: float
    spread: float
    tail_share: float = 0.0
    tail_median_d: float = 0.0
    tail_spread: float = 0.0

    def __post_init__(self) -> None:
        """Check every number."""
        require_choice("latency", "family", self.family, tuple(LATENCY_FAMILIES), REMEDY)
        spreads, words = (LEAST_SPREAD, MOST_SPREAD), f"{LEAST_SPREAD:g} to {MOST_SPREAD:g}"
        checks = [
            ("median_d", self.median_d, "d", 0 < self.median_d <= 36_500, "above 0 to 36500"),
            ("spread", self.spread, "-", spreads[0] <= self.spread <= spreads[1], words),
            ("tail_share", self.tail_share, "-", 0 <= self.tail_share < 1, "0 to below 1"),
        ]
        if self.tail_share > 0:
            later = self.median_d < self.tail_median_d <= 36_500
            checks += [
                ("tail_median_d", self.tail_median_d, "d", later, f"above median_d {self.median_d:g} to 36500"),
                ("tail_spread", self.tail_spread, "-", spreads[0] <= self.tail_spread <= spreads[1], words),
            ]
        require("latency", checks, REMEDY)

    def parts(self) -> tuple[tuple[float, float, float], ...]:
        """Return (share, median, spread) of each curve."""
        core = (1 - self.tail_share, self.median_d, self.spread)
        return (core, (self.tail_share, self.tail_median_d, self.tail_spread)) if self.tail_share > 0 else (core,)

    def mean_d(self) -> float:
        """Return the mean [season days]."""
        mean = LATENCY_FAMILIES[self.family].mean
        return sum(share * mean(median, spread) for share, median, spread in self.parts())


USUAL_LATENCY = Latency(family="lognormal", median_d=69.0, spread=0.71)
"""Computed from 17 to 279 days to symptoms, read as the middle 95 % (an assumption): a trade magazine by a university
pathologist, greenhousemag.com/article/rose-rosette-can-fool-you (read). The source's days are calendar days of plants
in growth; here they count as days of the growing season."""
SHORTER_LATENCY = Latency(family="lognormal", median_d=66.0, spread=0.48)
"""Computed from 30 to 146 days from mites to symptoms, read as the middle 90 % (an assumption): Allington, Staples &
Viehmeyer 1968, J Econ Entomol 61:1132-1140, abstract (read). Its thin tail disagrees with reports of at least 12 months
(Byrne et al. 2017, poster abstract, read)."""


def lognormal_from_range(low_d: float, high_d: float, share: float) -> Latency:
    """Return the log-normal latency whose middle share of plants shows between two days.

    Parameters
    ----------
    low_d, high_d : float
        First and last day, above zero, the first below the last. [d]
    share : float
        Share of plants in between, above 0 to below 1; equal shares on either side. [-]

    Returns
    -------
    Latency
        Median sqrt(low high), spread ln(high / low) / (2 z).

    Raises
    ------
    SettingsError
        If a number is out of range.

    Notes
    -----
    Bound by published/test_rose_rosette_latency.py. That a published range is such a middle share is an assumption.
    """
    require(
        "latency",
        [
            ("low_d", low_d, "d", low_d > 0, "above 0"),
            ("high_d", high_d, "d", high_d > low_d, f"above low_d {low_d:g}"),
            ("share", share, "-", 0 < share < 1, "above 0 to below 1"),
        ],
        REMEDY,
    )
    spread = np.log(high_d / low_d) / (2 * special.ndtri((1 + share) / 2))
    return Latency(family="lognormal", median_d=float(np.sqrt(low_d * high_d)), spread=float(spread))


def share_showing(latency: Latency, season_day: npt.ArrayLike) -> FloatArray:
    """Return the share of infected plants that show symptoms by a day after infection.

    Parameters
    ----------
    latency : Latency
    season_day : array, any shape
        Days of the growing season since infection; zero or less: none shows. [d]

    Returns
    -------
    array, same shape
        Share of the infected. [-]
    """
    day = np.asarray(season_day, dtype=np.float64)
    share_by = LATENCY_FAMILIES[latency.family].share_by
    return np.asarray(sum(part * share_by(day, median, spread) for part, median, spread in latency.parts()))


def share_showing_on(latency: Latency, clock: SeasonClock, infected_on: DateArray, looked_on: DateArray) -> FloatArray:
    """Return the share of plants infected on one date that show symptoms on another [-]; dates of fitting shapes."""
    return share_showing(latency, clock.days_between(infected_on, looked_on))


def day_of_share(latency: Latency, share: npt.ArrayLike) -> FloatArray:
    """Return the day after infection by which a share of infected plants shows symptoms.

    Parameters
    ----------
    latency : Latency
    share : array, any shape
        Above 0 to below 1; 0.5 for half of them. [-]

    Returns
    -------
    array, same shape
        Days of the growing season. [d]

    Raises
    ------
    SettingsError
        If a share is out of range.

    Notes
    -----
    Of a mixture the root lies between the days of its two curves, which bracket it.
    """
    wanted = np.asarray(share, dtype=np.float64)
    require(
        "latency", [("share", wanted, "-", (wanted > 0) & (wanted < 1), "above 0 to below 1")], "Correct the share."
    )
    day_of = LATENCY_FAMILIES[latency.family].day_of
    days = np.array([day_of(wanted, median, spread) for _, median, spread in latency.parts()])
    if len(days) == 1:
        return np.asarray(days[0])
    low, high = days.min(axis=0), days.max(axis=0)
    found = [_root(latency, *one) for one in zip(wanted.ravel(), low.ravel(), high.ravel(), strict=True)]
    return np.array(found, dtype=np.float64).reshape(wanted.shape)


def _root(latency: Latency, share: float, low: float, high: float) -> float:
    """Return the day between two at which a mixture reaches a share."""

    def excess(day: float) -> float:
        return float(share_showing(latency, day)) - share

    # Where both curves agree, rounding may leave both ends on one side.
    if excess(low) >= 0:
        return low
    return high if excess(high) <= 0 else float(optimize.brentq(excess, low, high, xtol=1e-10, rtol=1e-13))


def date_of_share(latency: Latency, clock: SeasonClock, infected_on: DateArray, share: npt.ArrayLike) -> DateArray:
    """Return the first date by which a share of the plants infected on a date shows symptoms, shapes that fit."""
    return clock.date_after(infected_on, day_of_share(latency, share))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LatencyTable:
    """Shares of infected plants by whole season day since infection, shape (n + 1,), days 0 to n.

    `shown` have shown symptoms by the end of the day's count, `showing` begin to show between the day before and this
    one, so that `showing` sums to `shown`; `beyond` show later than the last day. [-]
    """

    day: FloatArray
    shown: FloatArray
    showing: FloatArray
    beyond: float

    def __post_init__(self) -> None:
        """Freeze every column."""
        freeze_columns(self, dict.fromkeys(("day", "shown", "showing"), np.float64), len(self.day))

    def shown_by(self, season_day: npt.ArrayLike) -> FloatArray:
        """Return the share that shows by any day: straight between whole days, kept at the last beyond it [-]."""
        return np.asarray(np.interp(np.asarray(season_day, dtype=np.float64), self.day, self.shown))


def latency_table(latency: Latency, last_day: int) -> LatencyTable:
    """Return the shares on a daily grid, for sums over many plants and days.

    Parameters
    ----------
    latency : Latency
    last_day : int
        Last season day of the table, 1 to 36,500. [d]

    Returns
    -------
    LatencyTable

    Raises
    ------
    SettingsError
        If the last day is out of range.
    """
    if not (isinstance(last_day, (int, np.integer)) and 1 <= last_day <= 36_500):
        msg = f"latency: last_day is {last_day!r} d; allowed: a whole number, 1 to 36500 d. Give whole days."
        raise SettingsError(msg)
    day = np.arange(last_day + 1, dtype=np.float64)
    shown = share_showing(latency, day)
    return LatencyTable(day=day, shown=shown, showing=np.diff(shown, prepend=0.0), beyond=float(1 - shown[-1]))

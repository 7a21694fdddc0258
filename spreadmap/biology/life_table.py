"""Life table: births and deaths by age, and how fast a population grows that lives by them.

Ages are those at which eggs are laid, as pulses, counted from the egg; only eggs that become females count, so a
mite whose unmated females bear sons only is described by its female line. Nothing here crowds: the rates are those of
few mites on much green tissue.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import optimize

from spreadmap.biology.bounds import require
from spreadmap.errors import SettingsError
from spreadmap.values.arrays import FloatArray, freeze_columns

REMEDY = "Correct the life table."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LifeTable:
    """Ages at which eggs are laid, share alive then, female eggs laid then per female alive; shape (n,).

    `age` rises strictly from above zero, in the time unit of the table (days for mites). `survival` is counted from
    the egg, above zero to one, and never rises. `female_eggs` is zero or more, not zero throughout.
    """

    age: FloatArray
    survival: FloatArray
    female_eggs: FloatArray

    def __post_init__(self) -> None:
        """Freeze the columns and check what they hold."""
        freeze_columns(self, dict.fromkeys(("age", "survival", "female_eggs"), np.float64), len(self.age))
        rises = np.diff(self.age, prepend=0.0) > 0
        falls = np.diff(self.survival, prepend=1.0) <= 0
        eggs = self.female_eggs
        require(
            "life table",
            [
                ("age", self.age, "-", rises, "above 0, each above the one before"),
                (
                    "survival",
                    self.survival,
                    "-",
                    falls & (self.survival > 0),
                    "above 0 to 1, none above the one before",
                ),
                ("female_eggs", eggs, "-", eggs >= 0, "0 or more"),
            ],
            f"{REMEDY} Leave out ages that no female reaches.",
        )
        if not eggs.any():
            msg = f"life table: {len(eggs)} ages and no egg; allowed: at least one age with female eggs. {REMEDY}"
            raise SettingsError(msg)


@dataclass(frozen=True, slots=True, kw_only=True)
class MiteLife:
    """The life of a mite as the trade tells it: so many days to adult, so many eggs a day for so many days.

    Days are counted from the laying of the egg. Eggs come as one pulse a day, the first one day after the adult has
    emerged and waited. `immature_survival` is the share of eggs that become adults, `adult_survival_per_day` the share
    of adults that live through a day, `female_share` the share of eggs that become females. [d, 1/d, -]
    """

    adult_after_d: float
    laying_days: int
    eggs_per_day: float
    female_share: float
    wait_before_laying_d: float = 0.0
    immature_survival: float = 1.0
    adult_survival_per_day: float = 1.0

    def __post_init__(self) -> None:
        """Check every number."""
        shares = {name: getattr(self, name) for name in ("female_share", "immature_survival", "adult_survival_per_day")}
        require(
            "life of a mite",
            [
                ("adult_after_d", self.adult_after_d, "d", self.adult_after_d > 0, "above 0"),
                ("laying_days", self.laying_days, "d", 1 <= self.laying_days <= 3650, "1 to 3650"),
                ("eggs_per_day", self.eggs_per_day, "per day", self.eggs_per_day > 0, "above 0"),
                ("wait_before_laying_d", self.wait_before_laying_d, "d", self.wait_before_laying_d >= 0, "0 or more"),
                *[(name, share, "-", 0 < share <= 1, "above 0 to 1") for name, share in shares.items()],
            ],
            "Correct the figures of the mite's life.",
        )


# Common practice, no source: one egg a day for 30 days, hatch in 2 to 3 days, adult in 4 to 5 more. The sex ratio, the
# deaths and the waits are our assumptions that bracket it. An extension page tells of a whole life of 11 to 12 days
# (ipm.uga.edu, read), which is `short_lived`.
TRADE_LIVES: dict[str, MiteLife] = {
    "a": MiteLife(adult_after_d=7.0, laying_days=30, eggs_per_day=1.0, female_share=1.0),
    "b": MiteLife(adult_after_d=7.0, laying_days=30, eggs_per_day=1.0, female_share=0.5),
    "c": MiteLife(adult_after_d=7.0, laying_days=30, eggs_per_day=1.0, female_share=0.75, immature_survival=0.7),
    "d": MiteLife(
        adult_after_d=7.0,
        laying_days=30,
        eggs_per_day=1.0,
        female_share=0.5,
        immature_survival=0.7,
        adult_survival_per_day=0.95,
    ),
    "fast": MiteLife(adult_after_d=6.0, laying_days=30, eggs_per_day=1.0, female_share=1.0),
    "slow": MiteLife(adult_after_d=8.0, laying_days=30, eggs_per_day=1.0, female_share=1.0),
    "b_waiting": MiteLife(
        adult_after_d=7.0, laying_days=30, eggs_per_day=1.0, female_share=0.5, wait_before_laying_d=2.0
    ),
    "short_lived": MiteLife(adult_after_d=7.0, laying_days=5, eggs_per_day=1.0, female_share=0.5),
}
"""Inputs, not results: what growers say of the rose mite, and ways to read it. None of it was measured."""


def mite_life_table(life: MiteLife) -> LifeTable:
    """Return the life table of a mite's life: one pulse of eggs a day.

    Parameters
    ----------
    life : MiteLife

    Returns
    -------
    LifeTable
        One row per laying day; ages in days from the egg.
    """
    since_adult = life.wait_before_laying_d + np.arange(1, life.laying_days + 1, dtype=np.float64)
    return LifeTable(
        age=life.adult_after_d + since_adult,
        survival=life.immature_survival * life.adult_survival_per_day**since_adult,
        female_eggs=np.full(life.laying_days, life.eggs_per_day * life.female_share, dtype=np.float64),
    )


def net_reproduction(table: LifeTable) -> float:
    """Return the daughters of one female egg over its life, sum of l m [-]."""
    return float(table.survival @ table.female_eggs)


def cohort_generation_time(table: LifeTable) -> float:
    """Return the mean age of a mother over the births of one cohort, sum of x l m over sum of l m [time unit]."""
    births = table.survival * table.female_eggs
    return float(table.age @ births / births.sum())


def growth_rate(table: LifeTable) -> float:
    """Return the exact rate of increase of a population that lives by a life table.

    Parameters
    ----------
    table : LifeTable

    Returns
    -------
    float
        r, below zero where a female leaves less than one daughter. [1 / time unit]

    Notes
    -----
    Root of sum of l m exp(-r x) = 1 (Euler-Lotka), bound by test_life_table.py and by published/test_birch_1948.py.
    It lies between ln R0 / last age and ln R0 / first age, so that the bracket needs no search. The short cut
    ln R0 / cohort generation time is up to 30 % too low for tables of the trade and is used nowhere.

    References
    ----------
    Birch, L. C. (1948), The intrinsic rate of natural increase of an insect population, J Anim Ecol 17:15-26 (opening
    read).
    """
    laid = table.female_eggs > 0
    age, births = table.age[laid], np.log(table.survival[laid] * table.female_eggs[laid])
    return _root(lambda rate: float(np.logaddexp.reduce(births - rate * age)), net_reproduction(table), age[0], age[-1])


def steady_growth_rate(first_age: float, last_age: float, female_eggs_per_time: float) -> float:
    """Return the rate of increase when eggs come evenly between two ages instead of in pulses, without deaths.

    Parameters
    ----------
    first_age, last_age : float
        Ages between which a female lays, above zero, the first below the last. [time unit]
    female_eggs_per_time : float
        Above zero. [1 / time unit]

    Returns
    -------
    float
        r. [1 / time unit]

    Raises
    ------
    SettingsError
        If a number is out of range.

    Notes
    -----
    Root of m (exp(-r a) - exp(-r b)) / r = 1, bound by published/test_trade_life_table.py. How far it lies from the
    pulses shows what the convention of daily pulses is worth.
    """
    require(
        "steady laying",
        [
            ("first_age", first_age, "-", first_age > 0, "above 0"),
            ("last_age", last_age, "-", last_age > first_age, f"above first_age {first_age:g}"),
            ("female_eggs_per_time", female_eggs_per_time, "-", female_eggs_per_time > 0, "above 0"),
        ],
        REMEDY,
    )
    span = last_age - first_age

    def log_sum(rate: float) -> float:
        # (1 - exp(-r span)) / r, which tends to the span as r tends to zero
        shrunk = span if abs(rate * span) < 1e-12 else -np.expm1(-rate * span) / rate
        return float(np.log(female_eggs_per_time * shrunk) - rate * first_age)

    return _root(log_sum, female_eggs_per_time * span, first_age, last_age)


def _root(log_sum: Callable[[float], float], reproduction: float, first_age: float, last_age: float) -> float:
    """Return the rate at which the falling function is zero; the ages and R0 bracket it."""
    ends = sorted((np.log(reproduction) / last_age, np.log(reproduction) / first_age))
    # Rounding may push the ends a hair to the wrong side when only one age has eggs, or R0 is one.
    low, high = ends[0] - 1e-9, ends[1] + 1e-9
    return float(optimize.brentq(log_sum, low, high, xtol=1e-15, rtol=1e-14))


def generation_time(table: LifeTable) -> float:
    """Return ln R0 / r, the time in which a growing population multiplies by R0 [time unit]."""
    reproduction = net_reproduction(table)
    if abs(reproduction - 1) < 1e-9:
        # Both vanish; the mean age of mothers is the limit.
        return cohort_generation_time(table)
    return float(np.log(reproduction)) / growth_rate(table)


def doubling_time(rate: float) -> float:
    """Return ln 2 / r, or infinity for a population that does not grow [time unit]; `rate` in 1 / time unit."""
    return float(np.log(2) / rate) if rate > 0 else float("inf")


def survival_at(table: LifeTable, age: FloatArray) -> FloatArray:
    """Return the share alive at any age up to the last, shape of `age` [-].

    Between given ages the death rate is taken as steady, from one at age zero: an assumption that changes stable ages
    and no growth rate.
    """
    ages, alive = np.r_[0.0, table.age], np.r_[1.0, table.survival]
    return np.exp(np.interp(age, ages, np.log(alive)))


def leslie_matrix(table: LifeTable, step: float = 1.0) -> FloatArray:
    """Return the matrix that carries numbers by age one step ahead.

    Parameters
    ----------
    table : LifeTable
        Ages must be whole multiples of the step.
    step : float, optional
        Length of one step and of one age class, above zero. [time unit]

    Returns
    -------
    array, shape (n, n)
        n = last age / step. Class j holds those of age j steps, counted just after the eggs of that age were laid;
        first row: eggs per head one step later, deaths on the way included; below the diagonal: shares that live on.
        [-]

    Raises
    ------
    SettingsError
        If the step does not divide every age.

    Notes
    -----
    Its largest eigenvalue is exp(r step), bound by test_life_table.py::test_matrix_and_root_are_two_routes.

    References
    ----------
    Leslie, P. H. (1945), On the use of matrices in certain population mathematics, Biometrika 33:183-212 (from memory).
    """
    count = _classes(table, step)
    alive = survival_at(table, step * np.arange(count + 1, dtype=np.float64))
    live_on = alive[1:] / alive[:-1]
    eggs = np.zeros(count)
    eggs[np.rint(table.age / step).astype(np.int64) - 1] = table.female_eggs
    return np.vstack([live_on * eggs, np.diag(live_on[:-1], k=0) @ np.eye(count - 1, count)])


def dominant_eigenvalue(matrix: FloatArray) -> tuple[float, FloatArray]:
    """Return by which factor numbers grow per step in the long run, and the shares of ages they settle to.

    Parameters
    ----------
    matrix : array, shape (n, n)
        None below zero.

    Returns
    -------
    float, array of shape (n,)
        Largest eigenvalue [-]; its vector, which sums to one [-].

    Raises
    ------
    SettingsError
        If the matrix is not square, or holds a number below zero or not finite.
    """
    matrix = np.asarray(matrix, dtype=np.float64)
    if matrix.ndim != 2 or matrix.shape[0] != matrix.shape[1]:
        msg = f"Leslie matrix: shape is {matrix.shape}; allowed: as many rows as columns. {REMEDY}"
        raise SettingsError(msg)
    require("Leslie matrix", [("an entry", matrix, "-", matrix >= 0, "0 or more")], REMEDY)
    values, vectors = np.linalg.eig(matrix)
    # A matrix without negative entries has a real eigenvalue that none exceeds (Perron and Frobenius).
    best = int(np.argmax(values.real))
    shares = np.abs(vectors[:, best].real)
    return float(values[best].real), shares / shares.sum()


def stable_ages(table: LifeTable, step: float = 1.0) -> FloatArray:
    """Return the shares of ages a growing population settles to, l exp(-r x) over the classes of `leslie_matrix` [-]."""
    age = step * np.arange(_classes(table, step), dtype=np.float64)
    # From the log, so that a fast rate over many steps does not run out of numbers.
    log_share = np.log(survival_at(table, age)) - growth_rate(table) * age
    shares = np.exp(log_share - log_share.max())
    return np.asarray(shares / shares.sum())


def _classes(table: LifeTable, step: float) -> int:
    """Return the number of age classes; the step must divide every age."""
    remedy = "Give a step that divides every age, such as 0.5 for ages 4.5, 5.5, 6.5."
    require("Leslie matrix", [("step", step, "-", step > 0, "above 0")], remedy)
    steps = table.age / step
    whole = np.abs(steps - np.rint(steps)) < 1e-9
    require("Leslie matrix", [("age", table.age, "-", whole, f"whole multiples of step {step:g}")], remedy)
    return int(np.rint(steps[-1]))

"""Formulas by which forecasts are scored, for single plants, for orders of plants and for numbers of cases."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import xlog1py, xlogy
from scipy.stats import beta, rankdata

from spreadmap.values.arrays import BoolArray, FloatArray
from spreadmap.values.score import Murphy, ReliabilityRow

TAIL_DEVIATIONS = 12.0
"""Standard deviations beyond the mean at which a number of cases has no weight left that a double could hold [-]."""


def brier_score(chance: FloatArray, found: BoolArray) -> float:
    """Return the mean squared difference of chance and outcome [-]; NaN without plants.

    References
    ----------
    Brier 1950, Verification of forecasts expressed in terms of probability, Mon Weather Rev 78:1-3 (from memory).
    """
    return float(np.mean((chance - found) ** 2)) if len(found) else np.nan


def skill(score: float, reference: float) -> float:
    """Return 1 - score / reference: one for a perfect score, zero where it is no better than the reference [-]."""
    return 1.0 - score / reference if reference > 0 else np.nan


def log_score(chance: FloatArray, found: BoolArray) -> float:
    """Return the mean of -ln(chance given to what happened); infinite where that chance was zero [-].

    References
    ----------
    Good 1952, Rational decisions, J R Stat Soc B 14:107-114 (from memory).
    """
    if not len(found):
        return np.nan
    return float(-np.mean(xlogy(found, chance) + xlog1py(~found, -chance)))


def class_of(chance: FloatArray, edges: Sequence[float]) -> np.ndarray:
    """Return the class of each chance, from zero; a class holds its lower edge, the last one both edges."""
    return np.clip(np.searchsorted(edges, chance, side="right") - 1, 0, len(edges) - 2)


def reliability_table(chance: FloatArray, found: BoolArray, edges: Sequence[float]) -> tuple[ReliabilityRow, ...]:
    """Return what was said and what came, by classes of the chance; classes without plants have NaN.

    References
    ----------
    Ranges: Clopper & Pearson 1934, Biometrika 26:404-413 (from memory).
    """
    place = class_of(chance, edges)
    rows = []
    for index in range(len(edges) - 1):
        here = place == index
        plants, hits = int(here.sum()), int(found[here].sum())
        low, high = rate_range(hits, plants)
        rows.append(
            ReliabilityRow(
                low=float(edges[index]),
                high=float(edges[index + 1]),
                plants=plants,
                found=hits,
                mean_chance=float(chance[here].mean()) if plants else np.nan,
                rate=hits / plants if plants else np.nan,
                rate_low=low,
                rate_high=high,
            )
        )
    return tuple(rows)


def rate_range(hits: int, plants: int, share: float = 0.95) -> tuple[float, float]:
    """Return the range of a rate after Clopper and Pearson [-]; NaN without plants."""
    if plants == 0:
        return np.nan, np.nan
    tail = (1.0 - share) / 2.0
    low = float(beta.ppf(tail, hits, plants - hits + 1)) if hits else 0.0
    high = float(beta.ppf(1.0 - tail, hits + 1, plants - hits)) if hits < plants else 1.0
    return low, high


def murphy_parts(chance: FloatArray, found: BoolArray, edges: Sequence[float]) -> Murphy:
    """Return the Brier score in parts, by classes of the chance.

    Notes
    -----
    Reliability and resolution take the mean chance of each class; where the chances in a class differ, the rest of the
    Brier score is the residual.

    References
    ----------
    Murphy 1973, A new vector partition of the probability score, J Appl Meteorol 12:595-600 (from memory). Residual:
    Stephenson, Coelho & Jolliffe 2008, Weather Forecast 23:752-757 (from memory).
    """
    rows = [row for row in reliability_table(chance, found, edges) if row.plants]
    base, plants = float(np.mean(found)), len(found)
    reliability = sum(row.plants * (row.mean_chance - row.rate) ** 2 for row in rows) / plants
    resolution = sum(row.plants * (row.rate - base) ** 2 for row in rows) / plants
    uncertainty, whole = base * (1.0 - base), brier_score(chance, found)
    return Murphy(
        brier=whole,
        reliability=reliability,
        resolution=resolution,
        uncertainty=uncertainty,
        residual=whole - (reliability - resolution + uncertainty),
    )


def auc(order: FloatArray, found: BoolArray) -> float:
    """Return the share of pairs of a found plant and another one in which the found one is higher; ties count half.

    NaN where all or none were found. It says nothing of whether stated chances are right.

    References
    ----------
    Hanley & McNeil 1982, Radiology 143:29-36 (from memory): area under the ROC curve by rank sums.
    """
    hits = int(found.sum())
    others = len(found) - hits
    if hits == 0 or others == 0:
        return np.nan
    return float((rankdata(order)[found].sum() - hits * (hits + 1) / 2) / (hits * others))


def hits_in_first(order: FloatArray, found: BoolArray, first: int) -> float:
    """Return how many found plants stand among the `first` highest; plants of equal value share the places left."""
    if first <= 0 or not len(found):
        return 0.0
    first = min(first, len(found))
    edge = np.partition(order, len(order) - first)[len(order) - first]
    above, level = order > edge, order == edge
    return float(found[above].sum() + found[level].mean() * (first - above.sum()))


def crps_of_ensemble(members: FloatArray, value: float, *, fair: bool) -> float:
    """Return the continuous ranked probability score of an ensemble, in the unit of the value; least is best.

    Parameters
    ----------
    members : array, shape (m,)
    value : float
        What happened.
    fair : bool
        Whether to score what an ensemble without end would have had, divisor m(m - 1); one member is then not enough.

    Notes
    -----
    mean |x - y| - sum over pairs |x - x'| / (2 m^2).

    References
    ----------
    Gneiting & Raftery 2007, J Am Stat Assoc 102:359-378, eq. 21. Fair: Ferro 2014, Q J R Meteorol Soc 140:1917-1923
    (both from memory).
    """
    ordered = np.sort(np.asarray(members, dtype=np.float64))
    count = len(ordered)
    if count == 0 or (fair and count == 1):
        return np.nan
    # the sum over all pairs of the larger less the smaller, from the ranks
    pairs = 2.0 * float(np.sum((2.0 * np.arange(count) - count + 1.0) * ordered))
    return float(np.mean(np.abs(ordered - value)) - pairs / (2.0 * count * (count - 1 if fair else count)))


def crps_of_count(mass: FloatArray, count: int) -> float:
    """Return the ranked probability score of a number: sum over k of (P(number <= k) - [count <= k])^2 [plants].

    Parameters
    ----------
    mass : array, shape (k,)
        Weight of 0, 1, 2 ... [-]
    count : int
        What happened.

    References
    ----------
    Epstein 1969, J Appl Meteorol 8:985-987 (from memory).
    """
    below = np.cumsum(mass)
    known = np.arange(len(mass)) >= count
    beyond = max(0, count - len(mass))
    return float(np.sum((below - known) ** 2) + beyond)


def count_of_independent(chance: FloatArray) -> FloatArray:
    """Return the weights of 0, 1, 2 ... found plants where each is found by itself, shape (k,), sum one.

    Numbers more than twelve standard deviations and twelve plants above the mean are left out.
    """
    mean, spread = float(np.sum(chance)), float(np.sqrt(np.sum(chance * (1.0 - chance))))
    most = int(min(len(chance), np.ceil(mean + TAIL_DEVIATIONS * (spread + 1.0))))
    mass = np.zeros(most + 1)
    mass[0] = 1.0
    for each in chance:
        mass[1:] = mass[1:] * (1.0 - each) + mass[:-1] * each
        mass[0] *= 1.0 - each
    return np.asarray(mass / mass.sum())


def interval_of_count(mass: FloatArray, share: float) -> tuple[int, int, float]:
    """Return the middle interval of a number that holds `share` or more, and what it does hold [-]."""
    below = np.cumsum(mass)
    tail = (1.0 - share) / 2.0
    low, high = (int(np.searchsorted(below, at - 1e-12)) for at in (tail, 1.0 - tail))
    high = min(high, len(mass) - 1)
    return low, high, float(mass[low : high + 1].sum())

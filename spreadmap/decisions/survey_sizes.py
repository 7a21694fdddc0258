"""How many plants a survey must look at, and what a clean survey allows to be said. All of it for plants drawn at random."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy import stats

from spreadmap.errors import SettingsError
from spreadmap.values.arrays import IntArray

SLACK = 1e-12
"""By how much a confidence may fall short through rounding of numbers [-]."""


def infected_of(plants: int, design_prevalence: float) -> int:
    """Return the whole infected plants that a design prevalence stands for, rounded down as ISPM 31 does."""
    return math.floor(plants * design_prevalence + 1e-9)


def detection_chance(plants: int, infected: int, looked_at: int, sensitivity: float = 1.0) -> float:
    """Return the chance that at least one infected plant is noticed among plants drawn at random.

    Parameters
    ----------
    plants : int
        Plants of the lot: a bed, a site, a town. One or more.
    infected : int
        Infected ones among them, 0 to `plants`.
    looked_at : int
        Plants drawn at random and looked at once, 0 to `plants`.
    sensitivity : float
        Chance that a look at an infected plant notices it, 0 to 1. Plants that do not show yet are outside the
        sensitivity of the eye: multiply by the share already showing. [-]

    Returns
    -------
    float
        1 - sum over h of Hyp(h) (1 - sensitivity)^h. [-]

    Raises
    ------
    SettingsError
        If a number lies outside its range; all faults at once.

    References
    ----------
    Hypergeometric draw with imperfect detection, no false alarms: Cannon & Roe 1982, Livestock disease surveys (one
    published value read); ISPM 31, concepts read. Bound by tests/published/test_ispm_31.py and test_cannon_roe_1982.py.
    """
    _check(plants, sensitivity)
    faults = [
        f"{name} is {value}; allowed: 0 to {plants}, the plants of the lot"
        for name, value in (("infected", infected), ("looked_at", looked_at))
        if not 0 <= value <= plants
    ]
    if faults:
        msg = "; ".join(faults) + ". Correct the counts."
        raise SettingsError(msg)
    return _chance(plants, infected, looked_at, sensitivity)


def _check(plants: int, sensitivity: float) -> None:
    """Refuse a lot without plants and a sensitivity outside its range."""
    if plants < 1:
        msg = f"plants are {plants}; allowed: 1 or more. Name a lot that has plants."
        raise SettingsError(msg)
    if not 0 <= sensitivity <= 1:
        msg = f"sensitivity is {sensitivity}; allowed: 0 to 1. Give the share of infected plants that one look notices."
        raise SettingsError(msg)


def _chance(plants: int, infected: int, looked_at: int, sensitivity: float) -> float:
    """Return `detection_chance` of numbers already checked."""
    most = min(infected, looked_at)
    if most == 0:
        return 0.0
    if sensitivity == 1:
        return float(-np.expm1(stats.hypergeom.logpmf(0, plants, infected, looked_at)))
    met = np.arange(max(0, looked_at + infected - plants), most + 1)
    weight = stats.hypergeom.pmf(met, plants, infected, looked_at)
    return float(1.0 - np.sum(weight * (1 - sensitivity) ** met))


def survey_size(plants: int, design_prevalence: float, confidence: float, sensitivity: float = 1.0) -> int | None:
    """Return how many plants must be looked at, at random, to notice at least one case at the design prevalence.

    Parameters
    ----------
    plants : int
    design_prevalence : float
        Share of infected plants that must not be missed, above 0 to 1; rounded down to whole plants. [-]
    confidence : float
        Above 0 and below 1. [-]
    sensitivity : float
        As for `detection_chance`. [-]

    Returns
    -------
    int or None
        None where even looking at every plant once is not enough, or where the prevalence is less than one plant.

    Raises
    ------
    SettingsError
        If a number lies outside its range.
    """
    _check(plants, sensitivity)
    _check_design(design_prevalence, confidence)
    infected = infected_of(plants, design_prevalence)

    def enough(looked_at: int) -> bool:
        return _chance(plants, infected, looked_at, sensitivity) >= confidence - SLACK

    if infected == 0 or not enough(plants):
        return None
    low, high = 0, plants
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _check_design(design_prevalence: float, confidence: float) -> None:
    """Refuse a design that asks for nothing or for certainty."""
    faults = []
    if not 0 < design_prevalence <= 1:
        faults.append(f"design prevalence is {design_prevalence}; allowed: above 0 to 1")
    if not 0 < confidence < 1:
        faults.append(f"confidence is {confidence}; allowed: above 0 and below 1")
    if faults:
        msg = "; ".join(faults) + ". Correct the survey's design."
        raise SettingsError(msg)


def survey_size_of_large_lot(design_prevalence: float, confidence: float, sensitivity: float = 1.0) -> int | None:
    """Return the same for a lot so large that drawing does not change it: ceil(ln(1 - c) / ln(1 - p s)).

    None where nothing can be noticed. ISPM 31 uses it where the sample is less than about 5 % of the lot (from memory).
    """
    _check(1, sensitivity)
    _check_design(design_prevalence, confidence)
    noticed = design_prevalence * sensitivity
    if noticed == 0:
        return None
    if noticed == 1:
        return 1
    return math.ceil(math.log(1 - confidence) / math.log1p(-noticed) - 1e-9)


def passes_needed(confidence: float, sensitivity: float) -> int | None:
    """Return how many passes over every plant notice one infected plant with a confidence, at the least.

    A lower limit on passes, for passes are not independent: who overlooked a plant once overlooks it again. None where
    nothing is ever noticed.
    """
    _check(1, sensitivity)
    _check_design(1.0, confidence)
    if sensitivity == 0:
        return None
    return 1 if sensitivity >= confidence else math.ceil(math.log(1 - confidence) / math.log1p(-sensitivity) - 1e-9)


def passes_of_lot(plants: int, design_prevalence: float, confidence: float, sensitivity: float) -> int | None:
    """Return how many passes over every plant of a lot notice the design prevalence, at the least.

    A lower limit, as for `passes_needed`; a prevalence of less than one plant counts as one. None where nothing is ever
    noticed.
    """
    _check(plants, sensitivity)
    _check_design(design_prevalence, confidence)
    infected = max(1, infected_of(plants, design_prevalence))
    return passes_needed(confidence, -math.expm1(infected * math.log1p(-sensitivity)) if sensitivity < 1 else 1.0)


def most_infected_given(plants: int, looked_at: int, noticed: int, confidence: float, sensitivity: float = 1.0) -> int:
    """Return the most infected plants of a lot that a look at plants drawn at random still allows, with a confidence.

    Parameters
    ----------
    plants, looked_at : int
        As for `detection_chance`.
    noticed : int
        Infected plants that were noticed, 0 to `looked_at`.
    confidence : float
        Above 0 and below 1: with one infected plant more, more of them would have been noticed with at least this
        chance. [-]
    sensitivity : float
        As for `detection_chance`. [-]

    Returns
    -------
    int
        `noticed` to `plants`; all plants where nothing was learnt.

    Raises
    ------
    SettingsError
        If a number lies outside its range.

    Notes
    -----
    The upper limit D solves sum over h of Hyp(h; D) Bin(X <= noticed; h, sensitivity) <= 1 - confidence; without a find
    it is that of `detection_chance`. Bound by test_survey_sizes.py::test_the_limit_with_finds_is_that_of_simulated_surveys.

    References
    ----------
    As for `detection_chance`.
    """
    _check(plants, sensitivity)
    _check_design(1.0, confidence)
    if not 0 <= noticed <= looked_at <= plants:
        msg = (
            f"{noticed} plants noticed of {looked_at} looked at of {plants}; allowed: noticed up to looked at up to plants. "
            "Correct the counts."
        )
        raise SettingsError(msg)

    def is_ruled_out(infected: int) -> bool:
        if noticed == 0:
            return _chance(plants, infected, looked_at, sensitivity) >= confidence - SLACK
        met = np.arange(max(0, looked_at + infected - plants), min(infected, looked_at) + 1)
        weight = stats.hypergeom.pmf(met, plants, infected, looked_at)
        return float(np.sum(weight * stats.binom.cdf(noticed, met, sensitivity))) <= 1 - confidence + SLACK

    if not is_ruled_out(plants):
        return plants
    low, high = noticed, plants
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if is_ruled_out(middle) else (middle, high)
    return high - 1


def most_infected_after_clean(plants: int, looked_at: int, confidence: float, sensitivity: float = 1.0) -> int:
    """Return the most infected plants that a clean look at plants drawn at random still allows, with a confidence.

    One infected plant more would have been noticed with at least the confidence. All plants where nothing was learnt.
    """
    return most_infected_given(plants, looked_at, 0, confidence, sensitivity)


def upper_limit_of_prevalence(looked_at: int, confidence: float, sensitivity: float = 1.0) -> float:
    """Return the upper limit of prevalence after a clean look in a large lot: (1 - (1 - c)^(1/n)) / s, at most 1 [-]."""
    _check(1, sensitivity)
    _check_design(1.0, confidence)
    if looked_at == 0 or sensitivity == 0:
        return 1.0
    return min(1.0, -math.expm1(math.log(1 - confidence) / looked_at) / sensitivity)


def random_order(plant_ids: Sequence[str], seed: Sequence[int]) -> IntArray:
    """Return all positions in an order drawn at random: the first k of them are k plants drawn at random.

    The same for the same keys and seed, in whatever order the plants come.
    """
    by_key = np.argsort(np.array(plant_ids, dtype=str), kind="stable")
    return np.asarray(by_key[np.random.default_rng(list(seed)).permutation(len(by_key))], dtype=np.int64)

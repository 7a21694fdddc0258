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


def most_infected_after_clean(plants: int, looked_at: int, confidence: float, sensitivity: float = 1.0) -> int:
    """Return the most infected plants that a clean look at plants drawn at random still allows, with a confidence.

    One infected plant more would have been noticed with at least the confidence. All plants where nothing was learnt.
    """
    _check(plants, sensitivity)
    _check_design(1.0, confidence)

    def is_ruled_out(infected: int) -> bool:
        return _chance(plants, infected, looked_at, sensitivity) >= confidence - SLACK

    if looked_at == 0 or not is_ruled_out(plants):
        return plants
    low, high = 0, plants
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if is_ruled_out(middle) else (middle, high)
    return high - 1


def upper_limit_of_prevalence(looked_at: int, confidence: float, sensitivity: float = 1.0) -> float:
    """Return the upper limit of prevalence after a clean look in a large lot: (1 - (1 - c)^(1/n)) / s, at most 1 [-]."""
    _check(1, sensitivity)
    _check_design(1.0, confidence)
    if looked_at == 0 or sensitivity == 0:
        return 1.0
    return min(1.0, -math.expm1(math.log(1 - confidence) / looked_at) / sensitivity)


def drawn_at_random(plant_ids: Sequence[str], how_many: int, seed: int) -> IntArray:
    """Return positions of plants drawn at random without repeats, ascending; the same for the same keys and seed.

    Raises
    ------
    SettingsError
        If more plants are asked for than there are.
    """
    if not 0 <= how_many <= len(plant_ids):
        msg = f"{how_many} plants are to be drawn; allowed: 0 to {len(plant_ids)}, the plants there are. Ask for fewer."
        raise SettingsError(msg)
    order = np.argsort(np.array(plant_ids, dtype=str), kind="stable")
    chosen = np.random.default_rng(seed).choice(len(order), size=how_many, replace=False)
    return np.sort(order[chosen])


def clean_survey_sentence(
    plants: int, looked_at: int, confidence: float, sensitivity: float, *, is_random: bool
) -> str:
    """Return what a survey without a find allows to be said, and what it does not."""
    if looked_at == 0:
        return "No plant was looked at: nothing can be said."
    most = most_infected_after_clean(plants, looked_at, confidence, sensitivity)
    share = f"{100 * most / plants:.2g} %"
    said = (
        f"{looked_at} of {plants} plants were looked at and nothing was noticed, each look noticing {100 * sensitivity:g} % "
        f"of what shows: with {100 * confidence:g} % confidence at most {most} plants ({share}) show symptoms"
        if most < plants
        else f"{looked_at} of {plants} plants were looked at and nothing was noticed: too few to rule anything out"
    )
    if is_random:
        return f"{said}. Plants infected and not yet showing are not counted in this."
    return (
        f"{said}, had the plants been drawn at random. They were not: they were chosen by risk or by convenience, so that "
        "this is a comparison, not a statement. Plants infected and not yet showing are not counted in it."
    )

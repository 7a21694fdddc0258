"""What a fit says of itself: estimates beside their priors, and verdicts in words."""

from __future__ import annotations

import math

import numpy as np

from spreadmap.outbreak.fit_diagnostics import effective_size, is_outside_region, r_hat
from spreadmap.outbreak.fit_problem import Beliefs
from spreadmap.outbreak.fit_types import BACKGROUND, CONTACT, EAST, NORTH, RATE, SCALE, SHAPE
from spreadmap.values.arrays import FloatArray
from spreadmap.values.fit import Check, Estimate
from spreadmap.values.fit_settings import FitSettings

NAMES = (
    ("rate", "m2 per day of full flight", RATE), ("length factor", "-", SCALE), ("wind toward east", "-", EAST),
    ("wind toward north", "-", NORTH), ("background", "per plant and day of full flight", BACKGROUND),
    ("contact", "per day of full flight", CONTACT), ("shape factor", "-", SHAPE),
)  # fmt: skip
LOGS = (RATE, SCALE, BACKGROUND, CONTACT, SHAPE)
POINTS = (2.5, 50.0, 97.5)
NORMAL_POINTS = (-1.959963984540054, 0.0, 1.959963984540054)
LITTLE = 0.25
"""A posterior whose middle moved by less than this many prior standard deviations and whose own is at most this much
smaller says nothing [-]: our choice."""


def estimates_of(lines: FloatArray, beliefs: Beliefs) -> tuple[Estimate, ...]:
    """Return prior and posterior of every parameter from records (chains, iterations, columns)."""
    found = []
    for name, unit, p in NAMES:
        draws, mean, sd = lines[:, :, p], beliefs.mean[p], beliefs.sd[p]
        free = beliefs.free[p]
        said = np.percentile(draws, POINTS)
        before = np.array([mean + sd * z for z in NORMAL_POINTS]) if free else np.full(3, mean)
        shifted, narrower = abs(float(draws.mean()) - mean) / sd, 1 - float(draws.std()) / sd
        if p in LOGS:
            said, before = np.exp(said), np.exp(before)
        found.append(
            Estimate(
                name=name, unit=unit, prior=_three(before), posterior=_three(said),
                effective_size=effective_size(draws) if free else 0.0, r_hat=r_hat(draws) if free else 1.0,
                moved=free and (shifted >= LITTLE or narrower >= LITTLE), is_fixed=not free,
            )
        )  # fmt: skip
    return tuple(found)


def _three(values: FloatArray) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


def finds_wind(lines: FloatArray, share: float) -> bool:
    """Return whether no direction at all lies outside the joint region of the two components."""
    vector = lines[:, :, [EAST, NORTH]].reshape(-1, 2)
    return is_outside_region(vector, np.zeros(2), share)


def refusals(
    estimates: tuple[Estimate, ...], checks: tuple[Check, ...], new_cases: int, settings: FitSettings
) -> tuple[str, ...]:
    """Return why a fit must not be used, in words; none where it may."""
    said = []
    told = [one for one in estimates if one.name in ("rate", "length factor") and not one.is_fixed]
    size, hat = min(one.effective_size for one in told), max(one.r_hat for one in told)
    if size < settings.least_effective_size or hat > settings.most_r_hat:
        said.append(
            f"Not converged: rate and lengths are worth {size:.0f} draws (at least {settings.least_effective_size:g} are "
            f"needed), R-hat is {hat:.3f} (at most {settings.most_r_hat:g} allowed). Raise settings.fit.most_iterations or "
            "settings.fit.warm_up."
        )
    if new_cases < settings.fewest_new_cases:
        said.append(
            f"Too few new cases: {new_cases} plants were first noticed after the first survey, at least "
            f"{settings.fewest_new_cases} are needed. The posterior is printed beside the prior; maps stay relative."
        )
    for check in checks:
        if check.p < settings.least_p:
            said.append(
                f"The fit does not make histories like this one: {check.name}. If its law were right, histories as far off "
                f"would be rare: p = {check.p:.2g}, where at least {settings.least_p:g} is needed. Look at the picture; "
                "another kernel family, other lengths, or a source that is not in the tables, "
                "may be the reason."
            )
    return tuple(said)


def verdicts(
    estimates: tuple[Estimate, ...], without: tuple[Estimate, ...], lines: FloatArray, has_wind: bool, neglected: float
) -> tuple[str, ...]:
    """Return what the data say and what they do not, in words."""
    by_name = {one.name: one for one in estimates}
    said = []
    for name in ("rate", "length factor", "background", "contact", "shape factor"):
        one = by_name[name]
        if not one.is_fixed and not one.moved:
            said.append(f"The data say nothing about the {name}: prior and posterior are alike.")
    wind = (by_name["wind toward east"], by_name["wind toward north"])
    if has_wind:
        east, north = (float(lines[:, :, p].mean()) for p in (EAST, NORTH))
        said.append(
            f"The data find a direction: arrivals concentrate toward {math.degrees(math.atan2(east, north)) % 360:.0f} deg "
            f"from grid north, concentration {math.hypot(east, north):.2f}."
        )
    elif not any(one.moved for one in wind):
        said.append("The data say nothing about the wind; its direction is that of the wind record.")
    else:
        said.append("No direction of spread can be told from none; the direction used is that of the wind record.")
    outside, infected = (np.percentile(lines[:, :, column], POINTS) for column in (10, 8))
    said.append(
        f"From outside came an expected {outside[1]:.1f} infections ({outside[0]:.1f} to {outside[2]:.1f}) of "
        f"{infected[1]:.0f} up to the end of the fit."
    )
    for one in without:
        with_it = by_name[one.name]
        said.append(
            f"Without background the {one.name} would be {one.posterior[1]:.3g} ({one.posterior[0]:.3g} to "
            f"{one.posterior[2]:.3g}), with it {with_it.posterior[1]:.3g} ({with_it.posterior[0]:.3g} to "
            f"{with_it.posterior[2]:.3g}) [{one.unit}]."
        )
    said.append(
        f"Plants too far from any case to be followed one by one hold an expected {neglected:.2g} hidden infections."
    )
    return tuple(said)

"""Where each infection of the draws' states befell, beside where the fit's own law would have had it befall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from spreadmap.engine import Engine
from spreadmap.outbreak.fit_chain import Chain
from spreadmap.outbreak.fit_compiled import begins
from spreadmap.outbreak.fit_compiled_predict import BEGINS_ON, INFECTED_ON, OUT_ON
from spreadmap.outbreak.fit_compiled_residuals import (
    COLUMNS,
    FOURTH,
    MEAN,
    MEAN_EAST,
    MEAN_NORTH,
    OFF,
    OFF_EAST,
    OFF_NORTH,
    THIRD,
    VAR_BOTH,
    VAR_EAST,
    VAR_NORTH,
    VARIANCE,
    residuals_of,
)
from spreadmap.outbreak.fit_predict import law_and_plants, unit_toward, wild_force
from spreadmap.outbreak.fit_problem import FitProblem
from spreadmap.outbreak.fit_types import NEVER
from spreadmap.outbreak.fit_world import Prepared, sum_on
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray
from spreadmap.values.fit import Check

MOST_STATES = 20
"""States that are looked at, evenly spaced over those kept [-]: their p is averaged."""
FEWEST = 5
"""From fewer infections nothing is told [-]."""
NINETY = 1.6448536269514722
"""Standard deviations on both sides of the middle that hold 90 % of a normal law [-]."""
PARTS = 7
"""Two values expected, two differences, two standard deviations and p."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KeptState:
    """A draw's parameters (7,), infected plants (places in the problem), since when on the clock, and which came first."""

    theta: FloatArray
    plant: IntArray
    time: FloatArray
    is_first: BoolArray


def kept_states(chains: list[Chain], ready: Prepared) -> list[KeptState]:
    """Return the states that the chains kept."""
    states = []
    for chain in chains:
        for theta, times, is_first in chain.kept:
            infected = np.flatnonzero(times < NEVER)
            states.append(
                KeptState(
                    theta=theta, plant=ready.tracked[infected], time=times[infected], is_first=is_first[infected] > 0
                )
            )  # fmt: skip
    return states


def infection_residuals(problem: FitProblem, state: KeptState) -> FloatArray:
    """Return a line for each infection of a state after the first ones, beside what the law of the draw foretells of it.

    Returns
    -------
    array, shape (infections, 12)
        Columns as in `fit_compiled_residuals`.
    """
    clock = problem.clock()
    plants, law, log_k = law_and_plants(problem, state.theta)
    removed, gone = np.isfinite(problem.removed_day), np.isfinite(problem.gone_day)
    plants[OUT_ON, removed] = sum_on(clock, problem.removed_day[removed])
    after = np.array([problem.rest, np.full(len(problem), NEVER)])
    after[1, gone] = sum_on(clock, problem.gone_day[gone])
    plants[INFECTED_ON, state.plant] = state.time
    plants[BEGINS_ON, state.plant] = [begins(clock, u, problem.infectious_after_d) for u in state.time]
    order = state.plant[np.argsort(state.time, kind="stable")]
    start = float(state.time[state.is_first].max(initial=state.time.min(initial=0.0)))
    lines = np.zeros((len(order), COLUMNS))
    count = residuals_of(plants, after, law, log_k, wild_force(problem, law, log_k), order, start, lines)
    return lines[:count]


def infection_checks(problem: FitProblem, states: Sequence[KeptState], engine: Engine) -> tuple[Check, Check]:
    """Return distance and direction of infections from those before, beside what the fit's own law foretells.

    Parameters
    ----------
    problem : FitProblem
    states : sequence of KeptState
        Draws of parameters and times of infection together.
    engine : Engine

    Returns
    -------
    tuple of Check
        `p` is the mean over states of the chance to be as far off or further.

    Notes
    -----
    At each infection every healthy plant could have been the one, with a chance in proportion to the force on it. Sums
    over infections of a value less its expectation are martingales, so that they are nearly normal with the sum of the
    variances: a score test as in Cox's partial likelihood. With the true law the chance of a random state is nearly even
    between 0 and 1, and the mean p is below a level at most twice as often as the level says. Values are the log
    distance to the nearest plant that has been infectious, with its square, and the vector toward the plant from the
    plants that send to it, weighted by the kernel without direction.

    References
    ----------
    Cox 1975, Biometrika 62:269-276. Residuals of states with imputed times: Lau, Marion, Streftaris & Gibson 2014, J R
    Soc Interface 11:20131093. Mean of p values: Meng 1994, Ann Statist 22:1142-1160. All from memory.
    """
    picked = [states[k] for k in np.unique(np.linspace(0, len(states) - 1, MOST_STATES).astype(np.int64))]
    toward = unit_toward([state.theta for state in picked])

    def one(state: KeptState) -> FloatArray:
        lines = infection_residuals(problem, state)
        return np.array([of_distances(lines), of_sides(lines, toward)])

    told = np.array(engine.map(one, picked))
    told = told[np.isfinite(told).all(axis=(1, 2))]
    distances, sides = told.mean(axis=0) if len(told) else np.full((2, PARTS), np.nan)
    return (
        _check("distance of infections to the nearest infectious plant, given all before", "m",
               ("geometric mean", "one spread above it"), _metres(distances), distances[-1]),
        _check("side of the infectious plants on which infections befell, given all before (0 to 1, one half if neither)",
               "-", ("ahead", "to the right"), (1 + _levels(sides)) / 2, sides[-1]),
    )  # fmt: skip


def of_distances(lines: FloatArray) -> FloatArray:
    """Return `told_of` the log distance and its squared difference from what is expected; NaN where infections are few."""
    off, variance = lines[:, OFF], lines[:, VARIANCE]
    covariance = np.array([[variance, lines[:, THIRD]], [lines[:, THIRD], lines[:, FOURTH] - variance**2]])
    return told_of(np.array([lines[:, MEAN], variance]), np.array([off, off**2 - variance]), covariance)


def of_sides(lines: FloatArray, toward: FloatArray) -> FloatArray:
    """Return `told_of` the vector from what sends, along a unit vector and to its right; NaN where infections are few."""
    turn = np.array([toward, [toward[1], -toward[0]]])
    covariance = np.array([lines[:, [VAR_EAST, VAR_BOTH]].T, lines[:, [VAR_BOTH, VAR_NORTH]].T])
    turned = np.einsum("ia,abk,jb->ijk", turn, covariance, turn)
    return told_of(turn @ lines[:, [MEAN_EAST, MEAN_NORTH]].T, turn @ lines[:, [OFF_EAST, OFF_NORTH]].T, turned)


def told_of(expected: FloatArray, off: FloatArray, covariance: FloatArray) -> FloatArray:
    """Return per infection what is expected of two values, by how much they are off, and their standard deviations; and p.

    `expected` and `off` have the shape (2, k), `covariance` (2, 2, k). p is the chance to be as far off or further.
    """
    count = off.shape[1]
    if count < FEWEST:
        return np.full(PARTS, np.nan)
    total, whole = off.sum(axis=1), covariance.sum(axis=2)
    away = float(total @ np.linalg.pinv(whole, hermitian=True) @ total)
    return np.concatenate([expected.mean(axis=1), total / count, np.sqrt(np.diag(whole)) / count, [chi2.sf(away, 2)]])


def _levels(parts: FloatArray) -> FloatArray:
    """Return two values as they are, and the 5, 50 and 95 % points of what the law foretells, shape (4, 2)."""
    return np.asarray(parts[:2] + np.array([parts[2:4], -NINETY * parts[4:6], np.zeros(2), NINETY * parts[4:6]]))


def _metres(parts: FloatArray) -> FloatArray:
    """Return `_levels` of distances: the geometric mean, and the expected one times the spread [m]."""
    middle, variance = _levels(parts).T
    logs = np.column_stack([middle, parts[0] + np.sqrt(np.maximum(variance, 0.0))])
    return np.asarray(np.exp(logs))


def _check(name: str, unit: str, label: tuple[str, ...], points: FloatArray, p: float) -> Check:
    """Return a check; what cannot be told is not off."""
    seen, low, middle, high = points
    shown = 1.0 if np.isnan(p) else float(p)
    return Check(name=name, unit=unit, label=label, seen=seen, low=low, middle=middle, high=high, p=shown)

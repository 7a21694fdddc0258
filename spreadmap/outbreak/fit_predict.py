"""Histories made with the draws of a fit, beside the one that was seen: whether the fit can make what happened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree
from scipy.special import i0, ndtri

from spreadmap.engine import Engine
from spreadmap.outbreak.fit_compiled import begins
from spreadmap.outbreak.fit_compiled_predict import (
    BACKGROUND,
    BEGINS_ON,
    BESSEL,
    CONTACT,
    DELAY,
    EAST_M,
    FROM_ON,
    INFECTED_ON,
    LATER,
    LEAST,
    LENGTHS,
    LOG_FIRST,
    LOG_STEP,
    NEAR,
    NORTH_M,
    OUT_ON,
    RATE,
    RECEIVES,
    ROWS,
    SENDS,
    TOUCH,
    TOWARD_EAST,
    TOWARD_NORTH,
    UNTIL,
    spread_on,
)  # fmt: skip
from spreadmap.outbreak.fit_problem import FitProblem
from spreadmap.outbreak.fit_types import EAST, NORTH, PARAMETERS
from spreadmap.outbreak.fit_world import TABLE, sum_on, with_shape
from spreadmap.values.arrays import BoolArray, FloatArray, IntArray
from spreadmap.values.fit import Check

COVERED = 0.5
"""A plant that was known by a survey is taken as looked at in a made history, where it is not known yet, if at least so
much of the others was [-]."""
MOST_TIMES, MOST_MORE = 20, 200
"""A made history ends with so many times the plants infected in the fit, and so many more: it is far off anyway."""
BANDS = (5.0, 50.0, 95.0)
LEAST_WAY = 1e-9
"""Where made lines hardly differ, any other value is far off: the least way that is divided by."""
FEWEST_PAIRS = 5
"""Distances and directions are told from so many new cases at least [-]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rounds:
    """The surveys of a history: which look (row) belongs to which, and its last day.

    `coverage` is the share of plants looked at, `removed` the share of those then noticed that were taken out later, and
    `after_d` how long that took.
    """

    of_look: IntArray
    ends: FloatArray
    coverage: FloatArray
    removed: FloatArray
    after_d: FloatArray


def rounds_of(problem: FitProblem, gap_days: float) -> Rounds:
    """Return the surveys of a history: looks that lie closer than so many days are one."""
    days = np.unique(problem.look_day)
    starts = np.r_[days[0], days[1:][np.diff(days) > gap_days]]
    of_look = np.searchsorted(starts, problem.look_day, side="right") - 1
    found_in = round_found(problem, of_look)
    ends, coverage, removed, after = ([] for _ in range(4))
    for number in range(len(starts)):
        mine = of_look == number
        ends.append(problem.look_day[mine].max())
        coverage.append(len(np.unique(problem.look_plant[mine])) / max(len(problem), 1))
        found = np.flatnonzero(found_in == number)
        gone = found[np.isfinite(problem.removed_day[found])]
        removed.append(len(gone) / max(len(found), 1))
        after.append(float(np.median(problem.removed_day[gone] - ends[-1])) if len(gone) else 0.0)
    return Rounds(
        of_look=of_look, ends=np.array(ends), coverage=np.array(coverage), removed=np.array(removed),
        after_d=np.maximum(np.array(after), 0.0),
    )  # fmt: skip


def round_found(problem: FitProblem, of_look: IntArray) -> IntArray:
    """Return the survey in which every plant was noticed, -1 where never."""
    found = np.full(len(problem), -1, dtype=np.int64)
    found[problem.look_plant] = of_look
    return np.where(problem.noticed, found, -1)


def made_history(
    problem: FitProblem, rounds: Rounds, theta: FloatArray, start: float, first: IntArray, rng: np.random.Generator
) -> IntArray:
    """Return the survey in which every plant was noticed in a history made with one draw, -1 where never.

    Parameters
    ----------
    problem : FitProblem
    rounds : Rounds
    theta : array, shape (7,)
        Parameters of the draw.
    start : float
        When it began, on the clock. [d]
    first : array of int
        Plants infected then.
    rng : Generator

    Returns
    -------
    array of int, shape (n,)
    """
    n, clock, season = len(problem), problem.clock(), problem.season_clock()
    plants, law, log_k = law_and_plants(problem, theta)
    plants[INFECTED_ON, first] = start
    plants[BEGINS_ON, first] = begins(clock, start, problem.infectious_after_d)
    onset = _incubations(problem, n, rng)
    wild = wild_force(problem, law, log_k)
    found, force, now = np.full(n, -1, dtype=np.int64), np.zeros(n), start
    real = round_found(problem, rounds.of_look)
    most = MOST_TIMES * int(problem.noticed.sum()) + MOST_MORE
    for number, end in enumerate(rounds.ends):
        until = float(sum_on(clock, np.array([end]))[0])
        if until > now:
            spread_on(int(rng.integers(2**31)), plants, law, log_k, clock, wild, force, now, until, most)
            now = until
        looked, showing, silent = _looks_of(problem, rounds, number, real, found, rng)
        infected = plants[INFECTED_ON, looked] <= now
        since = season_since(clock, season, plants[INFECTED_ON, looked], end)
        chance = np.where(infected, np.where(since >= onset[looked], showing, silent), 0.0)
        standing = plants[OUT_ON, looked] > now
        hit = looked[standing & (found[looked] < 0) & (rng.uniform(size=len(looked)) < chance)]
        found[hit] = number
        gone = hit[rng.uniform(size=len(hit)) < rounds.removed[number]]
        plants[OUT_ON, gone] = sum_on(clock, np.array([end + rounds.after_d[number]]))[0]
        plants[UNTIL, gone] = np.minimum(plants[UNTIL, gone], plants[OUT_ON, gone])
    return found


def day_on(clock: FloatArray, u: float) -> float:
    """Return the calendar day at which the clock shows `u`."""
    k = int(np.clip(np.searchsorted(clock, u, side="right") - 1, 0, len(clock) - 2))
    return float(k + (u - clock[k]) / max(clock[k + 1] - clock[k], 1e-12))


def season_since(clock: FloatArray, season: FloatArray, infected: FloatArray, day: float) -> FloatArray:
    """Return season days from times of infection on the clock to a calendar day; below zero where never infected."""
    k = np.clip(np.searchsorted(clock, infected, side="right") - 1, 0, len(clock) - 2)
    on = k + (infected - clock[k]) / np.maximum(clock[k + 1] - clock[k], 1e-12)
    return np.where(infected < LATER, sum_on(season, np.array([day]))[0] - sum_on(season, on), -1.0)


def law_and_plants(problem: FitProblem, theta: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the plants before the outbreak, the law of the draw, and the kernel's log density by log distance."""
    clock = problem.clock()
    plants = np.full((ROWS, len(problem)), LATER)
    plants[EAST_M], plants[NORTH_M] = problem.easting, problem.northing
    plants[RECEIVES], plants[SENDS] = problem.receive, problem.send
    plants[FROM_ON] = sum_on(clock, problem.enter_day)
    unseen = np.isfinite(problem.leave_day) & ~problem.noticed
    plants[UNTIL, unseen] = plants[OUT_ON, unseen] = sum_on(clock, problem.leave_day[unseen])
    law = np.zeros(13)
    law[[RATE, BACKGROUND, CONTACT]] = np.exp(theta[[0, 4, 5]])
    law[LENGTHS], law[TOWARD_EAST], law[TOWARD_NORTH] = np.exp(theta[1]), theta[2], theta[3]
    law[BESSEL], law[NEAR] = i0(np.hypot(theta[2], theta[3])), problem.near_radius_m
    law[LOG_FIRST], law[LOG_STEP] = np.log(TABLE[0]), np.log(TABLE[1] / TABLE[0]) / (TABLE[2] - 1)
    law[LEAST], law[TOUCH], law[DELAY] = (
        max(problem.canopy_m, 1e-3),
        problem.touching_m or -1.0,
        problem.infectious_after_d,
    )
    with np.errstate(divide="ignore"):
        log_k = np.log(with_shape(problem.kernel, float(theta[PARAMETERS - 1])).location_density(np.geomspace(*TABLE)))
    return plants, law, np.maximum(log_k, -690.0)


def _incubations(problem: FitProblem, n: int, rng: np.random.Generator) -> FloatArray:
    """Return season days from infection to symptoms of every plant."""
    incubation = problem.incubation
    if incubation.is_fixed:
        return np.full(n, incubation.median_d)
    share = incubation.cut_share + (1 - incubation.cut_share) * rng.uniform(size=n)
    return np.asarray(incubation.median_d * np.exp(incubation.sigma * ndtri(share)))


def wild_force(problem: FitProblem, law: FloatArray, log_k: FloatArray) -> FloatArray:
    """Return the force of wild stands on every plant [1/day]."""
    force = np.zeros(len(problem))
    for east, north, strength in zip(problem.wild_easting, problem.wild_northing, problem.wild_send, strict=True):
        dx, dy = problem.easting - east, problem.northing - north
        r = np.maximum(np.hypot(dx, dy), law[LEAST])
        at = (np.log(r / law[LENGTHS]) - law[LOG_FIRST]) / law[LOG_STEP]
        density = np.exp(np.interp(at, np.arange(len(log_k)), log_k)) / law[LENGTHS] ** 2
        turn = np.exp((law[TOWARD_EAST] * dx + law[TOWARD_NORTH] * dy) / r) / law[BESSEL]
        bend = -np.expm1(-((r / law[NEAR]) ** 2)) if law[NEAR] > 0 else 1.0
        force += law[RATE] * strength * density * (1 + (turn - 1) * bend)
    return force


def _looks_of(
    problem: FitProblem, rounds: Rounds, number: int, real: IntArray, found: IntArray, rng: np.random.Generator
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return which plants are looked at in a survey of a made history, and the chances of each look to notice."""
    rows = np.flatnonzero(rounds.of_look == number)
    plant = problem.look_plant[rows]
    noticing = real[plant] == number
    showing: FloatArray = np.where(noticing, problem.pass_showing[rows], 1 - problem.pass_showing[rows])
    silent: FloatArray = np.where(noticing, problem.pass_silent[rows], 1 - problem.pass_silent[rows])
    if rounds.coverage[number] >= COVERED and len(rows):
        known = np.flatnonzero((real >= 0) & (real < number) & (found < 0))
        known = known[rng.uniform(size=len(known)) < rounds.coverage[number]]
        plant = np.r_[plant, known]
        showing = np.r_[showing, np.full(len(known), np.median(showing))]
        silent = np.r_[silent, np.full(len(known), np.median(silent))]
    return plant.astype(np.int64), np.asarray(showing), np.asarray(silent)


def statistics(problem: FitProblem, found: IntArray, rounds: int, toward: FloatArray) -> FloatArray:
    """Return cases of every survey; distances of new cases to the nearest earlier case; their shares ahead of it.

    Distances are the median and the upper tenth; shares are those ahead in a direction, and to the right of it, for
    which `toward` is the unit vector. NaN for these four where there are too few new cases.
    """
    counts = np.bincount(found[found >= 0], minlength=rounds).astype(np.float64)
    away, ahead, aside = [], [], []
    places = np.column_stack([problem.easting, problem.northing])
    for number in range(1, rounds):
        new, old = np.flatnonzero(found == number), np.flatnonzero((found >= 0) & (found < number))
        if len(new) and len(old):
            distance, nearest = cKDTree(places[old]).query(places[new])
            way = places[new] - places[old[nearest]]
            away.append(distance)
            ahead.append(way @ toward > 0)
            aside.append(way @ np.array([toward[1], -toward[0]]) > 0)
    if sum(map(len, away)) < FEWEST_PAIRS:
        return np.concatenate([counts, np.full(4, np.nan)])
    distances = np.quantile(np.concatenate(away), (0.5, 0.9))
    return np.concatenate([counts, distances, [np.concatenate(ahead).mean(), np.concatenate(aside).mean()]])


def how_far_off(values: FloatArray, made: FloatArray) -> FloatArray:
    """Return how far lines (m, items) are from the middle of made ones, by the item that is furthest, shape (m,) [-].

    Above the middle in units of the way to the 95 % point, below it to the 5 % point; what cannot be told is not off.
    """
    low, middle, high = bands_of(made)
    above = (values - middle) / np.maximum(high - middle, LEAST_WAY)
    below = (middle - values) / np.maximum(middle - low, LEAST_WAY)
    return np.asarray(np.nan_to_num(np.maximum(above, below)).max(axis=1))


def bands_of(made: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the 5, 50 and 95 % points of every item of made lines (m, items); NaN where none of them tells it."""
    told = [column[np.isfinite(column)] for column in made.T]
    points = np.array([np.percentile(one, BANDS) if len(one) else np.full(3, np.nan) for one in told])
    return points[:, 0], points[:, 1], points[:, 2]


def predictive_checks(
    problem: FitProblem, gap_days: float, kept: list[tuple[FloatArray, float, IntArray]], beds: IntArray, replicates: int,
    seed: int, engine: Engine,
) -> tuple[Check, ...]:  # fmt: skip
    """Return the statistics of the history beside those of histories made with draws that were kept.

    Parameters
    ----------
    problem : FitProblem
    gap_days : float
        Days without a look that part two surveys.
    kept : list of (parameters, start on the clock, plants of the problem infected then)
    beds : array of int, shape (n,)
        Number of the bed of every plant.
    replicates : int
    seed : int
    engine : Engine

    Returns
    -------
    tuple of Check
    """
    rounds = rounds_of(problem, gap_days)
    number = len(rounds.ends)
    toward = unit_toward([theta for theta, _, _ in kept])
    seeds = np.random.SeedSequence(seed).spawn(replicates)

    def one(at: int) -> tuple[FloatArray, FloatArray]:
        theta, start, first = kept[(at * len(kept)) // replicates]
        found = made_history(problem, rounds, theta, start, first, np.random.default_rng(seeds[at]))
        return statistics(problem, found, number, toward), cases_by_bed(found, beds, number)

    made = engine.map(one, range(replicates))
    lines, by_bed = np.array([line for line, _ in made]), np.array([bed for _, bed in made])
    real = round_found(problem, rounds.of_look)
    seen = statistics(problem, real, number, toward)
    parts = (
        ("cases by survey", "plants", tuple(f"survey {k + 1}" for k in range(number))),
        ("distance of new cases to the nearest earlier case", "m", ("median", "upper tenth")),
        ("share of new cases beyond the nearest earlier case, in the direction of the fit (north if it has none)", "-",
         ("ahead", "to the right")),
    )  # fmt: skip
    edges = (0, number, number + 2, number + 4)
    checks = [
        _check(*part, seen[edges[k] : edges[k + 1]], lines[:, edges[k] : edges[k + 1]]) for k, part in enumerate(parts)
    ]
    return checks[0], _bed_check(cases_by_bed(real, beds, number), by_bed), *checks[1:]


def unit_toward(thetas: Sequence[FloatArray]) -> FloatArray:
    """Return the unit vector toward which draws of the parameters point on average, north if nowhere."""
    mean = np.mean(thetas, axis=0)[[EAST, NORTH]]
    length = float(np.hypot(*mean))
    return np.asarray(mean / length) if length > 0 else np.array([0.0, 1.0])


def cases_by_bed(found: IntArray, beds: IntArray, rounds: int) -> FloatArray:
    """Return the cases of every bed and survey, flat."""
    known: BoolArray = found >= 0
    width = int(beds.max()) + 1 if len(beds) else 1
    return np.bincount(beds[known] * rounds + found[known], minlength=width * rounds).astype(np.float64)


def _check(name: str, unit: str, label: tuple[str, ...], seen: FloatArray, made: FloatArray) -> Check:
    """Return a check whose p is the share of made lines whose furthest item is at least as far off as that seen."""
    off, own = how_far_off(made, made), how_far_off(seen[None], made)[0]
    low, middle, high = bands_of(made)
    p = float((1 + np.sum(off >= own)) / (len(off) + 1))
    return Check(name=name, unit=unit, label=label, seen=seen, low=low, middle=middle, high=high, p=p)


def _bed_check(seen: FloatArray, made: FloatArray) -> Check:
    """Return how far cases by bed and survey are from their mean, sum of squared differences of roots."""
    root = np.sqrt(made.mean(axis=0))
    off = ((np.sqrt(made) - root) ** 2).sum(axis=1)
    own = float(((np.sqrt(seen) - root) ** 2).sum())
    low, middle, high = np.percentile(off, BANDS)
    p = float((1 + np.sum(off >= own)) / (len(off) + 1))
    return Check(
        name="cases by bed and survey, distance from what is made on average", unit="plants", label=("distance",),
        seen=np.array([own]), low=np.array([low]), middle=np.array([middle]), high=np.array([high]), p=p,
    )  # fmt: skip

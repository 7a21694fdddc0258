"""The fit to the survey history: data augmentation over all times of infection, and what it says of itself."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from spreadmap.dispersal.spread import Spread
from spreadmap.engine import Engine
from spreadmap.outbreak.fit_chain import STRETCH_DAYS, Chain, Pace, columns_of, run_chains
from spreadmap.outbreak.fit_compiled_chain import HIDDEN_MOVES, LINE
from spreadmap.outbreak.fit_history import NONE_AT_ALL, History, survey_history
from spreadmap.outbreak.fit_predict import day_on, predictive_checks
from spreadmap.outbreak.fit_problem import FitProblem
from spreadmap.outbreak.fit_residuals import infection_checks, kept_states
from spreadmap.outbreak.fit_types import (
    ALL_RECEIVE,
    BACKGROUND,
    BIN,
    END,
    INFECTED,
    LIST,
    NEVER,
    PARAMETERS,
    RATE,
    REACH,
    RECEIVE,
    SENT,
    START,
    TABLE,
    THETA,
)
from spreadmap.outbreak.fit_use import records_hash, settings_hash
from spreadmap.outbreak.fit_words import estimates_of, finds_wind, refusals, verdicts
from spreadmap.outbreak.fit_world import Prepared, prepare
from spreadmap.values.arrays import FloatArray, IntArray
from spreadmap.values.fit import Estimate, FitDraws, FitStates, HistoryFit
from spreadmap.values.fit_settings import FitSettings
from spreadmap.values.inventory import Inventory, Sources
from spreadmap.values.pest_system import PestSystem
from spreadmap.values.settings import Settings
from spreadmap.values.surveys import Surveys, WorkLog

ITERATION_S, PAIR_S, BIN_S = 1e-3, 2e-8, 4e-9
"""Seconds of one core for an iteration without plants, one pair and one bin: only for what is told beforehand [s]."""
SUMS_AFRESH = 3
"""Times that the pairs of all infected plants are summed anew in one iteration [-]."""
USUAL_ITERATIONS = 2000
HIDDEN_MORE = 2.5
"""With hidden plants so many infected are usual per noticed one: the pairs of all of them are summed [-]."""
HIDDEN_SLOWER = 3.0
"""With hidden plants so many times the iterations are usual [-]."""
SHORTER = 4
"""The fit without background runs a quarter as long, for it is a comparison only [-]."""


def fit_survey_history(
    inventory: Inventory, surveys: Surveys, work_log: WorkLog, wild: Sources, spread: Spread, system: PestSystem,
    settings: Settings, as_of: np.datetime64, engine: Engine, progress: Callable[[str], None] | None = None,
) -> HistoryFit:  # fmt: skip
    """Return the fit of one pest system to its survey history up to a date.

    Parameters
    ----------
    inventory, surveys, work_log
        Rows after `as_of` are passed over.
    wild : Sources
        Wild stands, which send all the time.
    spread : Spread
        The law whose lengths are scaled together; direction is fitted anew, as a vector.
    system : PestSystem
    settings : Settings
    as_of : `datetime64[D]`
    engine : Engine
        The same bytes on any number of workers.
    progress : callable, optional
        Called with every step in words.

    Returns
    -------
    HistoryFit
        Whether it may be used stands in `accepted`, and why (not) in `says`.

    Raises
    ------
    InputError
        If the history contradicts itself, or nothing can be learnt from it: row, reason and remedy.

    References
    ----------
    Latent times of infection sampled together with the parameters: Gibson & Renshaw 1998, IMA J Math Appl Med Biol
    15:19-40, and O'Neill & Roberts 1999, J R Stat Soc A 162:121-129, from memory; hidden infections as part of the
    state: Welding & Neal, arXiv 1909.11560; censored detection and removals: Parry et al. 2014, PNAS 111:6258-6262,
    doi 10.1073/pnas.1310997111, abstract.
    """
    say = progress or (lambda line: None)
    fit = settings.fit
    history = survey_history(inventory, surveys, work_log, wild, spread, system, settings, as_of)
    ready = prepare(history.problem, engine)
    say(time_told(ready, fit))
    chains = run_chains(ready.world, pace_of(fit), fit.seed, engine, progress)
    lines = columns_of(chains)
    estimates = estimates_of(lines, history.problem.beliefs)
    without = without_background(history, ready, settings, engine, progress)
    say(f"fit: {fit.replicates} histories made with the draws")
    beds = np.unique(inventory.bed_id[history.plant].astype(str), return_inverse=True)[1]
    checks = predictive_checks(
        history.problem, fit.survey_gap_days, kept_of(chains, ready, lines), beds, fit.replicates, fit.seed + 1, engine
    )
    checks += infection_checks(history.problem, kept_states(chains, ready), engine)
    has_wind = finds_wind(lines, fit.wind_region)
    neglected = neglected_infections(lines, chains, ready, history.problem)
    refused = refusals(estimates, checks, history.new_cases, fit)
    day = as_of.astype("datetime64[D]")
    end = day_on(history.problem.clock(), float(ready.world.number[END]))
    kept = evenly(len(chains[0].kept), fit.kept_draws // len(chains))
    return HistoryFit(
        system_key=system.key,
        as_of=date_of(day), first_look=date_of(history.first_look), last_look=date_of(history.last_look),
        ends_on=date_of(history.problem.day_zero + np.timedelta64(int(end), "D")), ends_at=end - int(end),
        mode=fit.incubation, iterations=lines.shape[0] * lines.shape[1], noticed=ready.noticed,
        new_cases=history.new_cases, tracked=len(ready.tracked), neglected=neglected,
        draws=draws_of(lines, history.problem, kept, len(chains[0].kept)),
        states=states_of(chains, kept, ready, history, inventory), estimates=estimates, without_background=without,
        checks=checks, finds_wind=has_wind, accepted=not refused,
        says=refused + verdicts(estimates, without, lines, has_wind, neglected),
        remarks=history.remarks + _stray(ready), settings_sha256=settings_hash(settings),
        inputs=records_hash(inventory, surveys, work_log, system, date_of(day)),
    )  # fmt: skip


def date_of(day: np.datetime64) -> dt.date:
    """Return a known day as a date."""
    return dt.date.fromisoformat(str(day.astype("datetime64[D]")))


def _stray(ready: Prepared) -> tuple[str, ...]:
    """Return a sentence about plants whose coming or going is passed over."""
    if not ready.stray:
        return ()
    return (f"{ready.stray} plants far from any case that came or went meanwhile count as standing throughout.",)


def pace_of(fit: FitSettings) -> Pace:
    """Return how long chains run."""
    return Pace(
        chains=fit.chains, warm_up=fit.warm_up, batch=fit.batch, most_iterations=fit.most_iterations,
        effective_size=fit.effective_size, most_r_hat=fit.most_r_hat,
    )  # fmt: skip


def expected_seconds(ready: Prepared, fit: FitSettings) -> float:
    """Return about how long the chains will take on one core, from the number of cases and of plants followed [s]."""
    cases, bins = ready.noticed, ready.world.counts.shape[1]
    hides = len(ready.tracked) > cases
    infected = cases * (HIDDEN_MORE if hides else 1.0)
    pairs = infected * (infected + HIDDEN_MOVES * (infected - cases) + SUMS_AFRESH * infected)
    usual = (fit.warm_up + USUAL_ITERATIONS * (HIDDEN_SLOWER if hides else 1.0)) * fit.chains * (1 + 1 / SHORTER)
    return float(usual * (ITERATION_S + pairs * PAIR_S + infected * bins * BIN_S))


def time_told(ready: Prepared, fit: FitSettings) -> str:
    """Return how large the fit is and, where it is long, how long it will take and what is faster."""
    seconds = expected_seconds(ready, fit)
    said = f"fit: {ready.noticed} noticed plants, {len(ready.tracked) - ready.noticed} followed that may be hidden infections"
    if seconds <= fit.tell_above_seconds:
        return said
    faster = (
        ' Faster, with the incubation fixed at its median: settings.fit.incubation = "fixed".'
        if fit.incubation == "random"
        else " Faster: settings.fit.most_iterations smaller, at the price of fewer draws."
    )
    return f"{said}; about {math.ceil(seconds / 60)} minutes of one core.{faster}"


def without_background(
    history: History, ready: Prepared, settings: Settings, engine: Engine, progress: Callable[[str], None] | None
) -> tuple[Estimate, ...]:
    """Return estimates of rate and lengths with the background held at next to nothing: how much hangs on it."""
    beliefs = history.problem.beliefs
    mean, free = list(beliefs.mean), list(beliefs.free)
    mean[BACKGROUND], free[BACKGROUND] = NONE_AT_ALL, False
    held = replace(beliefs, mean=tuple(mean), free=tuple(free))
    param = np.array([held.mean, held.mean, held.sd, held.free], dtype=np.float64)
    fit = settings.fit
    pace = replace(
        pace_of(fit), most_iterations=max(fit.most_iterations // SHORTER, fit.batch),
        effective_size=fit.effective_size / SHORTER,
    )  # fmt: skip
    if progress is not None:
        progress("fit: once more without background")
    chains = run_chains(ready.world._replace(param=param), pace, fit.seed + 2, engine)
    return tuple(one for one in estimates_of(columns_of(chains), held) if one.name in ("rate", "length factor"))


def evenly(count: int, most: int) -> IntArray:
    """Return which of so many states are kept, evenly spaced and the last among them: at most so many, one at least."""
    each = max(min(most, count), 1)
    return (np.arange(each) + 1) * count // each - 1


def draws_of(lines: FloatArray, problem: FitProblem, kept: IntArray, states: int) -> FitDraws:
    """Return the draws that belong to the states which are kept of every chain, of so many states."""
    chains, length, _ = lines.shape
    flat = lines[:, (kept + 1) * (length // states) - 1].reshape(-1, LINE)
    clock = problem.clock()
    began = np.array([day_on(clock, u) for u in flat[:, PARAMETERS]])
    return FitDraws(
        chain=np.repeat(np.arange(chains), len(kept)), rate_per_day_m2=np.exp(flat[:, 0]), scale_factor=np.exp(flat[:, 1]),
        wind_east=flat[:, 2], wind_north=flat[:, 3], background_per_day=np.exp(flat[:, 4]),
        contact_per_day=np.exp(flat[:, 5]), shape_factor=np.exp(flat[:, 6]),
        began_days_before=problem.latest_day - began, infected=flat[:, 8], introduced=flat[:, 9], outside=flat[:, 10],
    )  # fmt: skip


def states_of(
    chains: list[Chain], kept: IntArray, ready: Prepared, history: History, inventory: Inventory
) -> FitStates:
    """Return which plants were infected at the end of the fit in the states that are kept, since which day, and shares."""
    clock, zero = history.problem.clock(), history.problem.day_zero.astype("datetime64[D]")
    of_tracked = history.plant[ready.tracked]
    plants, days, first = [], [], [0]
    for chain in chains:
        for number in kept.tolist():
            times = chain.kept[number][1]
            infected = np.flatnonzero(times < NEVER)
            plants.append(of_tracked[infected])
            day = np.clip(np.searchsorted(clock, times[infected], side="right") - 1, 0, len(clock) - 2)
            days.append(zero + day.astype("timedelta64[D]"))
            first.append(first[-1] + len(infected))
    hits = np.sum([chain.hits for chain in chains], axis=0)
    iterations = sum(len(lines) for chain in chains for lines in chain.record)
    hidden, stretch = np.nonzero(hits)
    followed = np.sort(of_tracked)
    place = np.searchsorted(followed, np.concatenate([*plants, of_tracked[hidden]]))
    return FitStates(
        plant_id=inventory.plant_id[followed], first=np.array(first), plant=place[: first[-1]],
        infected_on=np.concatenate(days), share_plant=place[first[-1] :],
        share_from=zero + (stretch * STRETCH_DAYS).astype("timedelta64[D]"), share=hits[hidden, stretch] / iterations,
    )  # fmt: skip


def kept_of(chains: list[Chain], ready: Prepared, lines: FloatArray) -> list[tuple[FloatArray, float, IntArray]]:
    """Return parameters, start and plants infected then (places in the problem) of every state that was kept."""
    kept = []
    for chain, record in zip(chains, lines, strict=True):
        block = len(record) // max(len(chain.kept), 1)
        for number, (theta, _, is_first) in enumerate(chain.kept):
            start = float(record[(number + 1) * block - 1, PARAMETERS])
            kept.append((theta, start, ready.tracked[np.flatnonzero(is_first)]))
    return kept


def neglected_infections(lines: FloatArray, chains: list[Chain], ready: Prepared, problem: FitProblem) -> float:
    """Return about how many hidden infections plants hold that are not followed one by one.

    Their receiving weight times the chance of staying unnoticed, times the mean exposure per weight of the plants that
    no case is near: that of the background, and the plants' share of what the infected send to all.
    """
    total = 0.0
    for chain in chains:
        world = chain.world
        days = float(world.number[END] - world.sum[START])
        rest = max(float(world.number[ALL_RECEIVE]) - float(world.plant[RECEIVE].sum()), 1e-12)
        n = int(world.sum[INFECTED])
        infected = world.mark[LIST, :n]
        sent = float((world.plant[REACH, infected] * world.plant[SENT, infected]).sum())
        followed = 0.0
        for j in infected:
            row = world.bins[TABLE, world.pair[j] & BIN] * world.plant[RECEIVE]
            followed += float((row.sum() - row[j]) * world.plant[SENT, j])
        rate, background = math.exp(world.param[THETA, RATE]), math.exp(world.param[THETA, BACKGROUND])
        exposure = background * days + rate * max(sent - followed, 0.0) / rest
        total += ready.outside_receive * exposure
    return total / len(chains)

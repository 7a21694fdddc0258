"""Chains of the fit's sampler: scattered starts, steps that adapt while warming up, rounds until enough is drawn."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from spreadmap.engine import Engine
from spreadmap.errors import InputError
from spreadmap.outbreak.fit_compiled import fill_table, log_looks
from spreadmap.outbreak.fit_compiled_chain import (
    HIDDEN_MOVES,
    KINDS,
    LINE,
    OF_LAW,
    OF_RATES,
    OF_START,
    OF_STRETCH,
    OF_STRETCH_RATES,
    STEP_LAW,
    STEP_START,
    STEP_STRETCH,
    STEP_STRETCH_RATES,
    STEPS,
    TRIES_FIRST,
    TRIES_HIDDEN,
    run_block,
)  # fmt: skip
from spreadmap.outbreak.fit_compiled_sums import place_plant, sum_afresh
from spreadmap.outbreak.fit_diagnostics import effective_size, r_hat
from spreadmap.outbreak.fit_types import (
    DRAWN_BELOW,
    END,
    FIRST,
    FREE,
    HIGH,
    IS_FIRST,
    LATEST,
    LOW,
    NOTICED,
    PARAMETERS,
    PRIOR_MEAN,
    PRIOR_SD,
    RATE,
    SCALE,
    SEEDS,
    STANDS_FROM,
    STANDS_TO,
    START,
    STRETCHES,
    THETA,
    TIME,
    TIMES_HIDDEN,
    World,
)  # fmt: skip
from spreadmap.outbreak.fit_world import of_a_chain
from spreadmap.values.arrays import FloatArray, IntArray

BLOCK = 50
"""Iterations between two changes of the steps while warming up, and between two states kept [-]."""
STRETCH_DAYS = 7
"""Days of a stretch by which hidden infections are counted, from the first midnight of the clock [d]."""
NOT_COUNTED = np.zeros((0, 0))
FIRST_STEPS = (0.4, 0.15, 0.3, 0.3, 0.8, 0.4, 0.2)
"""Steps of the parameters before anything is known of them [-]."""
WANTED = 0.3
"""Share of moves that should be taken: steps grow above it and shrink below [-]."""
USUAL = 0.1
"""Share of hidden infections that are proposed by distance and evenly in time, whatever was seen in warm-up [-]."""
TRIES = 400
SCATTER = 0.7
"""Starts are drawn from the prior, so much narrower that chains do not begin where no history is possible [-]."""


@dataclass(slots=True, kw_only=True, eq=False)
class Chain:
    """One chain: its arrays, generator and steps, the record of every iteration since warm-up, and states kept."""

    world: World
    rng: np.random.Generator
    root: FloatArray
    step: FloatArray
    usual: FloatArray
    record: list[FloatArray] = field(default_factory=list)
    kept: list[tuple[FloatArray, FloatArray, IntArray]] = field(default_factory=list)
    """Parameters, times on the clock, and which plants were infected at the start, every so many iterations."""

    spread: FloatArray = field(default_factory=lambda: np.array(FIRST_STEPS))
    rate_size: float = 1.0
    hits: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    """Iterations since warm-up in which each plant was a hidden infection, by the stretch of days of its infection."""

    def run(self, iterations: int, hits: FloatArray = NOT_COUNTED) -> tuple[FloatArray, FloatArray]:
        """Run so many iterations; return their record, and the share of moves taken by kind."""
        record, tally = np.empty((iterations, LINE)), np.zeros((KINDS, 2))
        edge = np.ascontiguousarray(self.world.days[0, ::STRETCH_DAYS])
        run_block(self.world, int(self.rng.integers(2**31)), self.root, self.step, record, tally, edge, hits)
        return record, tally[:, 0] / np.maximum(tally[:, 1], 1.0)

    def warm_up(self, iterations: int) -> None:
        """Run with steps that adapt; nothing of it is kept."""
        free = self.world.param[FREE] > 0
        seen: list[FloatArray] = []
        for block in range(max(iterations // BLOCK, 1)):
            record, share = self.run(BLOCK)
            seen.append(record[:, :PARAMETERS])
            grow = np.exp((share - WANTED) / math.sqrt(1 + block / 4))
            self.rate_size *= float(grow[OF_RATES])
            for kind, place in (
                (OF_START, STEP_START), (OF_STRETCH, STEP_STRETCH), (OF_STRETCH_RATES, STEP_STRETCH_RATES), (OF_LAW, STEP_LAW),
            ):  # fmt: skip
                self.step[place] *= grow[kind]
            if block % 5 == 4:
                self._learn(np.concatenate(seen[len(seen) // 2 :])[:, free], free)
                self._learn_hidden()
            self.step[:PARAMETERS] = np.where(free, self.rate_size * self.spread, 0.0)
            self.set_tries(float(record[:, PARAMETERS + 1].mean()), float(record[:, PARAMETERS + 2].mean()))

    def set_tries(self, infected: float, first: float) -> None:
        """Set how often hidden plants and plants of the start are tried in one iteration."""
        hidden = max(infected - float(self.world.number[NOTICED]), 0.0)
        self.step[TRIES_HIDDEN] = math.ceil(5 + HIDDEN_MOVES * hidden)
        self.step[TRIES_FIRST] = math.ceil(3 + first)

    def _learn(self, recent: FloatArray, free: np.ndarray) -> None:
        """Take the covariance of recent draws for the joint steps, and their spread for those of the rates."""
        if not free.any():
            return
        covariance = np.atleast_2d(np.cov(recent, rowvar=False)) + 1e-6 * np.eye(recent.shape[1])
        self.root[:] = 0.0
        self.root[np.ix_(free, free)] = np.linalg.cholesky(covariance)
        self.spread[free] = np.sqrt(np.diag(covariance))

    def _learn_hidden(self) -> None:
        """Propose hidden infections where and when they were of late; older counts weigh half as much every time."""
        hide, at = self.world.hide, self.world.hide_at
        if not hide[TIMES_HIDDEN].any():
            return
        weight, usual = hide[TIMES_HIDDEN].copy(), np.diff(self.usual, prepend=0.0)
        often = weight / weight.sum()
        hide[DRAWN_BELOW] = np.cumsum((1 - USUAL) * often + USUAL * usual)
        share = at[TIMES_HIDDEN, :-1] / at[TIMES_HIDDEN].sum()
        at[DRAWN_BELOW, 1:] = np.cumsum((1 - USUAL) * share + USUAL / STRETCHES)
        hide[TIMES_HIDDEN] *= 0.5
        at[TIMES_HIDDEN] *= 0.5

    def draw(self, iterations: int) -> None:
        """Run on and keep every line, the state after every block, and how often each plant was a hidden infection."""
        if not self.hits.size:
            stretches = -(-self.world.days.shape[1] // STRETCH_DAYS)
            self.hits = np.zeros((self.world.plant.shape[1], stretches))
        for _ in range(max(iterations // BLOCK, 1)):
            self.record.append(self.run(BLOCK, self.hits)[0])
            world = self.world
            self.kept.append((world.param[THETA].copy(), world.plant[TIME].copy(), world.mark[IS_FIRST, :-1].copy()))

    def lines(self) -> FloatArray:
        """Return the record since warm-up, (iterations, LINE)."""
        return np.concatenate(self.record) if self.record else np.empty((0, LINE))


def start_chain(world: World, rng: np.random.Generator) -> Chain:
    """Return a chain at a start of its own: parameters near the prior, a start day and times that looks allow.

    Raises
    ------
    InputError
        If no times of infection agree with all looks.
    """
    own = of_a_chain(world)
    number, plant, free = own.number, own.plant, own.param[FREE] > 0
    scattered = own.param[PRIOR_MEAN] + SCATTER * own.param[PRIOR_SD] * rng.normal(size=PARAMETERS)
    own.param[THETA] = np.where(free, scattered, own.param[PRIOR_MEAN])
    noticed = int(number[NOTICED])
    first, latest = number[FIRST], min(number[LATEST], float(np.min(plant[HIGH, :noticed], initial=np.inf)))
    own.sum[START] = first + (latest - first) * rng.uniform(0.02, 0.98)
    for i in range(noticed):
        place_plant(own, i, _time_for(own, i, rng), 0)
    _make_first(own, noticed, rng)
    fill_table(own)
    root, step = np.diag(np.where(free, FIRST_STEPS, 0.0)), np.zeros(STEPS)
    step[:PARAMETERS] = np.where(free, FIRST_STEPS, 0.0)
    step[STEP_START], step[[STEP_STRETCH, STEP_STRETCH_RATES]] = 0.05 * (number[END] - first), 0.1
    step[STEP_LAW] = 0.5
    sum_afresh(own)
    chain = Chain(world=own, rng=rng, root=root, step=step, usual=own.hide[DRAWN_BELOW].copy())
    chain.set_tries(noticed, own.sum[SEEDS])
    return chain


def _time_for(world: World, i: int, rng: np.random.Generator) -> float:
    """Return a time of infection that the looks at plant `i` allow."""
    plant = world.plant
    low = max(world.sum[START], plant[STANDS_FROM, i], plant[LOW, i])
    high = min(world.number[END], plant[STANDS_TO, i], plant[HIGH, i])
    for _ in range(TRIES):
        u = float(rng.uniform(low, high)) if low < high else math.nan
        if low < u < high and log_looks(world, i, u) > -math.inf:
            return u
    msg = (
        f"noticed plant {i} of the fit: no day of infection agrees with all looks at it, its planting and its removal, "
        "and the day of the end of the fit. Check its rows in the survey tables and the work log, and the sensitivities "
        "in settings.detection: a sensitivity of one makes a miss impossible."
    )
    raise InputError(msg)


def _make_first(world: World, noticed: int, rng: np.random.Generator) -> None:
    """Let one to three of the noticed plants be infected at the start, where looks allow; some may be none."""
    start, plant = world.sum[START], world.plant
    wanted = int(rng.integers(1, 4))
    for i in rng.permutation(noticed):
        if not (wanted and plant[STANDS_FROM, i] <= start < plant[STANDS_TO, i]):
            continue
        if log_looks(world, int(i), start) > -math.inf:
            place_plant(world, int(i), start, 1)
            wanted -= 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How long chains run: warm-up, iterations of a round, at most so many, and what is enough."""

    chains: int
    warm_up: int
    batch: int
    most_iterations: int
    effective_size: float
    most_r_hat: float


def run_chains(
    world: World, pace: Pace, seed: int, engine: Engine, progress: Callable[[str], None] | None = None
) -> list[Chain]:
    """Return chains that have run until rate and scale have the effective size asked for, or as long as allowed.

    The same seed gives the same bits whatever the number of workers: every chain has a generator of its own.
    """
    say = progress or (lambda line: None)
    seeds = np.random.SeedSequence(seed).spawn(pace.chains)
    chains = [start_chain(world, np.random.default_rng(one)) for one in seeds]
    # As many threads as chains share the cores evenly, for the compiled loop holds no lock.
    crew = Engine(workers=pace.chains if engine.workers > 1 else 1)

    def warm(chain: Chain) -> None:
        chain.warm_up(pace.warm_up)

    def draw(chain: Chain) -> None:
        chain.draw(pace.batch)

    crew.map(warm, chains)
    say(f"fit: {pace.chains} chains warmed up over {pace.warm_up} iterations")
    done = 0
    while done < pace.most_iterations:
        crew.map(draw, chains)
        done += pace.batch
        enough, hat = progress_of(chains)
        say(f"fit: {done} iterations of each chain, effective size {enough:.0f}, R-hat {hat:.3f}")
        if enough >= pace.effective_size and hat <= pace.most_r_hat:
            break
    return chains


def columns_of(chains: list[Chain]) -> FloatArray:
    """Return the records side by side, (chains, iterations, LINE)."""
    return np.array([chain.lines() for chain in chains])


def progress_of(chains: list[Chain]) -> tuple[float, float]:
    """Return the smaller effective size of rate and scale, and their larger R-hat."""
    lines = columns_of(chains)
    pair = [lines[:, :, p] for p in (RATE, SCALE) if chains[0].world.param[FREE, p]]
    if not pair:
        return math.inf, 1.0
    return min(effective_size(one) for one in pair), max(r_hat(one) for one in pair)

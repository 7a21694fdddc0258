"""The sampler against slow sums, enumeration of small cases, and histories drawn from its own priors."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from fit_worlds import NEVER, Truth, beliefs_of, field_of, outbreak_by_hand, problem_of, spread_out
from scipy.integrate import quad
from scipy.special import ndtri
from scipy.stats import kstest

from spreadmap.engine import Engine
from spreadmap.outbreak.fit_chain import BLOCK, Pace, columns_of, run_chains, start_chain
from spreadmap.outbreak.fit_compiled import fill_table, log_likelihood, log_looks
from spreadmap.outbreak.fit_compiled_law import log_by_bin, sums_by_bin
from spreadmap.outbreak.fit_compiled_sums import make_change, sum_afresh, weigh_change
from spreadmap.outbreak.fit_problem import Incubation
from spreadmap.outbreak.fit_types import (
    BACKGROUND,
    BY_WILD,
    CONTACT,
    FROM_KERNEL,
    IS_FIRST,
    LIST,
    PLACE,
    RATE,
    STAMP,
    START,
    THETA,
    TIME,
)  # fmt: skip
from spreadmap.outbreak.fit_types import NEVER as NOT_AT_ALL
from spreadmap.outbreak.fit_world import prepare

ONE = Engine(workers=1)
QUICK = Pace(chains=2, warm_up=300, batch=500, most_iterations=1000, effective_size=1e9, most_r_hat=1.0)
INFECTED, SEEDS, OUTSIDE = 8, 9, 10
"""Columns of a record behind the parameters and the start."""


def slow_log_likelihood(world, problem, tracked):
    """Return the log likelihood by its definition: every plant of the population against every infected one.

    The kernel is that of the bins; all else is written anew.
    """
    rate, background, contact = (math.exp(world.param[THETA, p]) for p in (RATE, BACKGROUND, CONTACT))
    start, end = world.sum[START], problem.end_day
    n = int(world.sum[6])
    infected = [int(i) for i in world.mark[LIST, :n]]
    time_of = {int(tracked[i]): world.plant[TIME, i] for i in infected}
    first = {int(tracked[i]) for i in infected if world.mark[IS_FIRST, i]}
    place = {int(plant): at for at, plant in enumerate(tracked)}

    def force(receiver, j):
        from spreadmap.outbreak.fit_compiled_pairs import bin_of

        east, north = problem.easting[receiver] - problem.easting[j], problem.northing[receiver] - problem.northing[j]
        log_step = (
            math.log(max(math.hypot(np.ptp(problem.easting), np.ptp(problem.northing)), 10.0)) + 1e-6 - math.log(0.2)
        ) / 112
        density = world.bins[0, bin_of(east, north, math.log(0.2), log_step, 112)]
        touch = math.hypot(east, north) <= problem.touching_m
        return rate * density + contact * touch

    def sends(j, x):
        begin = time_of[j] + problem.infectious_after_d
        if x < begin:
            return 0.0
        if x < problem.removed_day[j]:
            return problem.send[j]
        return problem.send[j] * (problem.rest[j] if x < problem.gone_day[j] else 0.0)

    def sent(j, low, high):
        begin = time_of[j] + problem.infectious_after_d
        whole = max(0.0, min(high, problem.removed_day[j]) - max(low, begin))
        part = max(0.0, min(high, problem.gone_day[j]) - max(low, begin, problem.removed_day[j]))
        return problem.send[j] * (whole + problem.rest[j] * part)

    total = 0.0
    for i in range(len(problem)):
        if i in first:
            continue
        low = max(start, problem.enter_day[i])
        high = max(low, min(time_of.get(i, end), problem.leave_day[i], end))
        exposure = background * (high - low) + sum(force(i, j) * sent(j, low, high) for j in time_of if j != i)
        total -= problem.receive[i] * exposure
        if i in time_of:
            now = background + sum(force(i, j) * sends(j, time_of[i]) for j in time_of if j != i)
            total += math.log(problem.receive[i] * now)
    assert set(time_of) <= set(place)
    return total


@pytest.fixture(scope="module")
def busy():
    """A history with hidden plants, removals, partly removed roots, late plantings, latency and touch."""
    rng = np.random.default_rng(4)
    places = field_of(150, 400, rng)
    truth = Truth(
        rate=12.0,
        scale=12.0,
        east=0.8,
        background=1e-4,
        contact=0.02,
        infectious_after=4.0,
        incubation=6.0,
        touching_m=3.0,
    )
    outbreak = spread_out(
        places, truth, [3, 7], 0.0, 70.0, [(40.0, 0.6), (55.0, 0.7), (70.0, 0.6)], rng, removal_after=5.0
    )
    n = len(places)
    send, receive = rng.choice([0.5, 1.0, 2.0], n), rng.choice([0.5, 1.0, 2.0], n)
    enter = np.where(rng.uniform(size=n) < 0.1, rng.uniform(0, 30, n), -np.inf)
    enter[np.isfinite(outbreak.infected)] = -np.inf
    problem = problem_of(
        places, truth, outbreak, 0.0, 40.0, 70.0, beliefs_of(free=(True,) * 6 + (False,)), send=send, receive=receive,
        enter_day=enter, rest=np.where(rng.uniform(size=n) < 0.5, 0.3, 0.0), gone_day=outbreak.removed + 8.0,
    )  # fmt: skip
    return problem, prepare(problem, ONE)


def test_sums_are_those_of_the_definition(busy):
    problem, ready = busy
    chain = start_chain(ready.world, np.random.default_rng(2))
    chain.run(40)
    world = chain.world
    sum_afresh(world)
    assert world.sum[6] > ready.noticed  # hidden ones are among them
    slow = slow_log_likelihood(world, problem, ready.tracked)
    assert log_likelihood(world) == pytest.approx(slow, rel=1e-6)  # single precision of the counts


def test_running_sums_equal_fresh_ones(busy):
    _, ready = busy
    chain = start_chain(ready.world, np.random.default_rng(1))
    for _ in range(5):
        chain.run(60)
        world = chain.world
        running, at = world.sum.copy(), world.mark[LIST, : int(world.sum[6])]
        later = at[world.mark[IS_FIRST, at] == 0]
        by_kernel, total = world.plant[FROM_KERNEL, later].copy(), log_likelihood(world)
        sum_afresh(world)
        np.testing.assert_allclose(world.sum, running, rtol=1e-9, atol=1e-9)
        np.testing.assert_allclose(world.plant[FROM_KERNEL, later], by_kernel, rtol=1e-9, atol=1e-15)
        assert log_likelihood(world) == pytest.approx(total, rel=1e-9)


def test_sums_by_bin_give_the_likelihood_of_any_law(busy):
    problem, _ = busy
    stands = {"wild_easting": np.array([-5.0, 30.0]), "wild_northing": np.array([10.0, 70.0])}
    world = start_chain(
        prepare(replace(problem, wild_send=np.array([3.0, 0.5]), **stands), ONE).world, np.random.default_rng(6)
    ).world
    parts = sums_by_bin(world)
    for _ in range(5):
        world.param[THETA, :4] += np.array([0.2, -0.3, 0.4, -0.1])
        fill_table(world)
        told = log_by_bin(world, *parts)
        world.sum[STAMP] += 1.0
        sum_afresh(world)
        assert told == pytest.approx(log_likelihood(world), rel=1e-9)
    assert world.sum[BY_WILD] > 0


def test_what_a_change_weighs_is_the_difference_of_fresh_sums(busy):
    _, ready = busy
    chain = start_chain(ready.world, np.random.default_rng(3))
    chain.run(50)
    world, rng = chain.world, np.random.default_rng(8)
    for _ in range(60):
        sum_afresh(world)
        before = log_likelihood(world)
        i = int(rng.integers(len(ready.tracked)))
        low, high = max(world.sum[START], world.plant[5, i]), min(world.plant[6, i], world.number[0])
        never = world.mark[PLACE, i] >= 0 and rng.uniform() < 0.5
        u = NOT_AT_ALL if never else float(rng.uniform(low, high))
        gain = weigh_change(world, i, u, 0)
        make_change(world, i, u, 0)
        assert log_likelihood(world) - before == pytest.approx(gain, abs=1e-9)
        sum_afresh(world)
        assert log_likelihood(world) - before == pytest.approx(gain, abs=1e-8)


def test_chance_of_looks_is_the_sum_over_the_day_of_symptoms():
    # worked by slow_reference's way: every day of symptoms apart, by quadrature
    incubation = Incubation(median_d=20.0, sigma=0.5, cut_share=0.05, is_fixed=False)
    looks = [
        (0, 30.0, 0.6, False),
        (0, 45.0, 0.8, False),
        (0, 60.0, 0.7, True),
        (1, 30.0, 0.6, False),
        (1, 60.0, 0.7, False),
    ]
    outbreak = outbreak_by_hand([0, 0], [60.0, NEVER], looks)
    truth = Truth(incubation=20.0, sigma=0.5)
    problem = problem_of(np.array([[0.0, 0], [10, 0]]), truth, outbreak, 0.0, 30.0, 60.0, fixed=False, cut=0.05)
    assert problem.incubation == incubation
    world = prepare(problem, ONE).world

    def density(days):
        z = math.log(days / 20.0) / 0.5
        soonest = 20.0 * math.exp(0.5 * ndtri(0.05))
        return math.exp(-z * z / 2) / (days * 0.5 * math.sqrt(2 * math.pi)) / 0.95 if days > soonest else 0.0

    def chance(plant, u):
        def of(showing):
            product = 1.0
            for one, day, p, hit in looks:
                if one == plant and day >= u:
                    product *= (p if hit else 1 - p) if showing <= day else (0.0 if hit else 1.0)
            return product

        cuts = [20.0 * math.exp(0.5 * ndtri(0.05)) + 1e-12, 30 - u, 45 - u, 60 - u, 2000.0]
        edges = sorted({min(max(c, 1e-6), 2000.0) for c in cuts} | {1e-6})
        return sum(quad(lambda d: density(d) * of(u + d), a, b, limit=200)[0] for a, b in pairwise(edges))

    for plant, u in ((0, 5.0), (0, 25.0), (0, 33.0), (1, 5.0), (1, 35.0)):
        assert math.exp(log_looks(world, plant, u)) == pytest.approx(chance(plant, u), abs=1e-6)
    assert log_looks(world, 0, 60.5) == -math.inf


CALIBRATED = ("rate", "scale", "east", "north", "background", "contact", "start", "infected", "seeds")
PRIORS = {"rate": (math.log(5), 1.0), "scale": (0.0, 0.7), "wind": 1.0, "background": (math.log(1e-3), 1.0),
          "contact": (math.log(0.02), 0.7)}  # fmt: skip
MIDDLE_M, CUT, LATEST, MEAN_SEEDS = 12.0, 0.05, 35.0, 3.0


def history_from_the_prior(rng):
    """Return the truth, its values by name, and the history of an outbreak drawn from the priors."""
    log = {name: mean + sd * rng.normal() for name, (mean, sd) in ((k, v) for k, v in PRIORS.items() if k != "wind")}
    truth = Truth(
        rate=math.exp(log["rate"]), scale=MIDDLE_M * math.exp(log["scale"]), east=PRIORS["wind"] * rng.normal(),
        north=PRIORS["wind"] * rng.normal(), background=math.exp(log["background"]), contact=math.exp(log["contact"]),
        infectious_after=3.0, incubation=10.0, sigma=0.5, touching_m=3.0,
    )  # fmt: skip
    places = field_of(60, 400, rng)
    count = min(int(rng.geometric(1 / (1 + MEAN_SEEDS))) - 1, 60)
    start = rng.uniform(0, LATEST)
    outbreak = spread_out(
        places, truth, rng.choice(60, count, replace=False), start, 60.0, [(40.0, 0.7), (60.0, 0.7)], rng,
        removal_after=5.0, missing=0.2, cut=CUT,
    )  # fmt: skip
    beliefs = beliefs_of(free=(True,) * 6 + (False,), priors=PRIORS, introductions=MEAN_SEEDS)
    problem = problem_of(places, truth, outbreak, 0.0, LATEST, 60.0, beliefs, fixed=False, cut=CUT)
    from spreadmap.dispersal.kernels import Kernel

    problem = replace(problem, kernel=Kernel(family="exponential", scale_m=MIDDLE_M))
    infected = int((outbreak.infected <= problem.end_day).sum())
    values = (*log.values(), truth.east, truth.north, start, infected, count)
    named = dict(
        zip(
            ("rate", "scale", "background", "contact", "east", "north", "start", "infected", "seeds"),
            values,
            strict=True,
        )
    )
    return named, problem


def ranks_of(maps, seed, warm_up, spacing, draws=49):
    """Return the ranks of the truth among draws, as numbers in 0 to 1, (maps, names); ties are broken at random."""
    rng, found = np.random.default_rng(seed), []
    while len(found) < maps:
        truth, problem = history_from_the_prior(rng)
        if not problem.noticed.any():
            continue  # what was seen decides, so that the ranks stay even
        chain = start_chain(prepare(problem, ONE).world, np.random.default_rng(len(found)))
        chain.warm_up(warm_up)
        lines = np.concatenate([chain.run(spacing)[0][-1:] for _ in range(draws)])
        columns = dict(
            zip(
                ("rate", "scale", "east", "north", "background", "contact", "start", "infected", "seeds"),
                lines.T[[0, 1, 2, 3, 4, 5, 7, 8, 9]],
                strict=True,
            )
        )
        line = []
        for name in CALIBRATED:
            below, same = np.sum(columns[name] < truth[name]), np.sum(columns[name] == truth[name])
            line.append((below + rng.uniform() * (1 + same)) / (draws + 1))
        found.append(line)
    return np.array(found)


def check_even(ranks, least):
    """Return the p values by name; every one must be above `least`."""
    p = {name: kstest(ranks[:, at], "uniform").pvalue for at, name in enumerate(CALIBRATED)}
    print({name: round(float(value), 4) for name, value in p.items()})
    assert min(p.values()) > least, p
    return p


def test_ranks_of_the_truth_are_even():
    # histories drawn from the priors, fitted with them: ranks are uniform (Talts et al. 2018, arXiv 1804.06788)
    check_even(ranks_of(60, 11, 250, 15), 0.001)


@pytest.mark.long
@pytest.mark.timeout(7200)
def test_ranks_of_the_truth_are_even_on_many_maps():
    check_even(ranks_of(200, 12, 1000, 60), 0.01)


def test_same_bytes_on_one_and_two_workers(busy):
    _, ready = busy
    pace = Pace(chains=2, warm_up=BLOCK, batch=BLOCK, most_iterations=BLOCK, effective_size=1e9, most_r_hat=1.0)
    one, two = (columns_of(run_chains(ready.world, pace, 3, Engine(workers=workers))) for workers in (1, 2))
    np.testing.assert_array_equal(one, two)
    assert not np.array_equal(one[0], one[1])
    assert not np.array_equal(one, columns_of(run_chains(ready.world, pace, 4, ONE)))


def test_plants_on_one_spot_infect_each_other_by_opposite_ways(busy):
    problem, _ = busy
    heaped = replace(problem, easting=np.round(problem.easting, -1), northing=np.round(problem.northing, -1))
    ready = prepare(heaped, ONE)
    chain = start_chain(ready.world, np.random.default_rng(4))
    chain.run(40)
    held, wild, *_ = sums_by_bin(chain.world)
    # exposures are sums of weights times days: rounding of single precision aside, none is below zero
    assert held.min() > -1e-5 * held.max()
    assert wild.min() >= 0

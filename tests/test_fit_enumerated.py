"""The sampler against exact answers for one to four plants: by hand, and by a chain over all sets of infected plants."""

import math
from itertools import combinations

import numpy as np
import pytest
from fit_worlds import NEVER, Truth, beliefs_of, densities, outbreak_by_hand, problem_of
from scipy.integrate import quad
from scipy.linalg import expm

from spreadmap.engine import Engine
from spreadmap.outbreak.fit_chain import start_chain
from spreadmap.outbreak.fit_compiled_chain import TRIES_FIRST, TRIES_HIDDEN
from spreadmap.outbreak.fit_types import IS_FIRST, TIME
from spreadmap.outbreak.fit_types import NEVER as NOT_AT_ALL
from spreadmap.outbreak.fit_world import prepare

ONE = Engine(workers=1)
INFECTED, SEEDS, OUTSIDE = 8, 9, 10
"""Columns of a record behind the parameters and the start."""
END = 20.0


def fixed_case(places, looks, found, truth, removed=None):
    """Return a world whose parameters are fixed and whose start is (all but) known."""
    outbreak = outbreak_by_hand(np.zeros(len(places)), found, looks, removed)
    free = (False,) * 7
    beliefs = beliefs_of(
        free, {"rate": (math.log(truth.rate), 1), "scale": (0.0, 1), "background": (math.log(truth.background), 1)}
    )
    return prepare(problem_of(np.array(places), truth, outbreak, 0.0, 0.001, 20.0, beliefs), ONE)


def long_run(ready, iterations, seed=5):
    chain = start_chain(ready.world, np.random.default_rng(seed))
    chain.run(500)
    chain.step[[TRIES_HIDDEN, TRIES_FIRST]] = 20  # few plants: cheap, and states kept hang less on each other
    records, times = [], []
    for _ in range(iterations // 4):
        records.append(chain.run(4)[0])
        times.append((chain.world.plant[TIME].copy(), chain.world.mark[IS_FIRST, :-1].copy()))
    return np.concatenate(records), times


def test_two_plants_as_enumerated():
    # Plant 0 noticed on day 20 whenever it was infected, plant 1 looked at once with a chance of 0.5 and not noticed.
    truth = Truth(rate=900.0, scale=10.0, background=0.02)
    looks = [(0, 20.0, 1.0, True), (1, 20.0, 0.5, False)]
    ready = fixed_case([[0.0, 0.0], [8.0, 0.0]], looks, [20.0, NEVER], truth)
    record, times = long_run(ready, 20_000)
    g, e, T, ratio = 900.0 * math.exp(-0.8) / (2 * math.pi * 100), 0.02, 20.0, 20 / 21
    prior = [ratio**m / math.comb(2, m) for m in range(3)]
    # Masses of every case by hand: seeds {}, {0}, {1}, {0, 1}; plant 1 infected or not; miss 0.5 where infected.
    mass = {}
    mass["", 0] = quad(lambda t: e * math.exp(-e * t) * math.exp(-e * t - (e + g) * (T - t)), 0, T)[0]

    # either of them first: twice the chance that one is and the other follows by day 20
    mass["", 1] = 0.5 * quad(lambda t: 2 * e * math.exp(-2 * e * t) * (1 - math.exp(-(e + g) * (T - t))), 0, T)[0]
    mass["0", 0], mass["0", 1] = math.exp(-(e + g) * T), 0.5 * (1 - math.exp(-(e + g) * T))
    mass["1", 1] = 0.5 * (1 - math.exp(-(e + g) * T))
    mass["01", 1] = 0.5
    weight = {
        ("", 0): prior[0],
        ("", 1): prior[0],
        ("0", 0): prior[1],
        ("0", 1): prior[1],
        ("1", 1): prior[1],
        ("01", 1): prior[2],
    }
    total = sum(mass[key] * weight[key] for key in mass)
    infected = sum(mass[key] * weight[key] for key in mass if key[1] == 1) / total
    first0 = sum(mass[key] * weight[key] for key in mass if "0" in key[0]) / total
    first1 = sum(mass[key] * weight[key] for key in mass if "1" in key[0]) / total
    place = {int(plant): at for at, plant in enumerate(ready.tracked)}
    assert np.mean(record[:, INFECTED] == 2) == pytest.approx(infected, abs=0.01)
    assert np.mean([first[place[0]] for _, first in times]) == pytest.approx(first0, abs=0.02)
    assert np.mean(record[:, SEEDS]) == pytest.approx(first0 + first1, abs=0.02)


def test_one_hidden_plant_as_enumerated():
    # A plant never noticed, looked at on day 10 with 0.8 and day 20 with 0.6; background alone can infect it.
    truth = Truth(rate=1e-9, scale=10.0, background=0.05)
    looks = [(0, 20.0, 1.0, True), (1, 10.0, 0.8, False), (1, 20.0, 0.6, False)]
    ready = fixed_case([[0.0, 0.0], [80.0, 0.0]], looks, [20.0, NEVER], truth)
    record, times = long_run(ready, 20_000)
    e, ratio = 0.05, 20 / 21
    miss = lambda t: 0.2 * 0.4 if t < 10 else 0.4  # noqa: E731
    late = (
        quad(lambda t: e * math.exp(-e * t) * miss(t), 0, 10)[0]
        + quad(lambda t: e * math.exp(-e * t) * miss(t), 10, 20)[0]
    )
    none, early, other = math.exp(-e * 20), 0.2 * 0.4, 1 - math.exp(-e * 20)
    prior = [ratio**m / math.comb(2, m) for m in range(3)]
    # plant 0 is infected later (other) or at the start (1); plant 1 not, later, or at the start
    cases = {(0, "no"): prior[0] * other * none, (0, "late"): prior[0] * other * late, (1, "no"): prior[1] * none,
             (1, "late"): prior[1] * late, (0, "first"): prior[1] * other * early, (1, "first"): prior[2] * early}  # fmt: skip
    total = sum(cases.values())
    infected = sum(value for key, value in cases.items() if key[1] != "no") / total
    assert np.mean(record[:, INFECTED] == 2) == pytest.approx(infected, abs=0.01)
    at = int(np.flatnonzero(ready.tracked == 1)[0])
    seen = [u[at] for u, first in times if u[at] < NOT_AT_ALL and not first[at]]
    mean = (
        quad(lambda t: t * e * math.exp(-e * t) * miss(t), 0, 10)[0]
        + quad(lambda t: t * e * math.exp(-e * t) * miss(t), 10, 20)[0]
    ) / late
    assert np.mean(seen) == pytest.approx(mean, abs=0.5)
    assert record[-1, OUTSIDE] <= record[-1, INFECTED]


def growth(places, truth, sending):
    """Return the generator of the chain over sets of infected plants, bit by plant, (2^n, 2^n) [1/day]."""
    n = len(places)
    force = truth.rate * np.array([densities(places, j, truth) * sending[j] for j in range(n)])
    q = np.zeros((2**n, 2**n))
    for state in range(2**n):
        inside = [j for j in range(n) if state >> j & 1]
        for i in set(range(n)) - set(inside):
            q[state, state | 1 << i] = truth.background + force[inside, i].sum()
        q[state, state] = -q[state].sum()
    return q


def enumerated(places, truth, looks, removed, by):
    """Return the exact chance of every plant to be infected at the end, to be so since the start, and to be so by a day.

    And that of every number of infected plants at the end. Without incubation and latency the set of infected plants is
    a Markov chain; looks weigh its states on their days, all sets of first plants are gone through.
    """
    n, ratio = len(places), 20 / 21
    bits = np.array([[state >> i & 1 for i in range(n)] for state in range(2**n)], dtype=bool)
    events = [(day, "look", (plant, chance, hit)) for plant, day, chance, hit in looks]
    events += [(day, "out", plant) for plant, day in enumerate(removed) if day < END]
    events += [(by, "mark", None), (END, "the end", None)]

    def run(marked):
        weight = np.zeros((2**n, 2**n))  # first set, state now
        for size in range(n + 1):
            for first in combinations(range(n), size):
                state = sum(1 << i for i in first)
                weight[state, state] = ratio**size / math.comb(n, size)
        sending, now = np.ones(n), 0.0
        for day, what, which in sorted(events, key=lambda event: event[0]):
            weight = weight @ expm(growth(places, truth, sending) * (day - now))
            now = day
            if what == "look":
                plant, chance, hit = which
                weight = weight * np.where(bits[:, plant], chance if hit else 1 - chance, 0.0 if hit else 1.0)
            elif what == "out":
                sending[which] = 0.0
            elif what == "mark" and marked is not None:
                weight = weight * bits[:, marked]
        return weight

    weight = run(None)
    total, last, since = weight.sum(), weight.sum(axis=0), weight.sum(axis=1)
    numbers = np.array([last[bits.sum(axis=1) == m].sum() for m in range(n + 1)])
    early = np.array([run(i).sum() for i in range(n)])
    return last @ bits / total, since @ bits / total, early / total, numbers / total


CASES = {
    3: (
        [(0.0, 0.0), (8.0, 0.0), (0.0, 13.0)],
        [(0, 6.0, 0.6, False), (0, 12.0, 0.7, True), (1, 12.0, 0.5, False), (1, 20.0, 0.4, False), (2, 20.0, 0.5, False)],
        [12.0, NEVER, NEVER],
        [14.0, NEVER, NEVER],
    ),
    4: (
        [(0.0, 0.0), (8.0, 0.0), (0.0, 13.0), (17.0, 5.0)],
        [(0, 9.0, 0.6, True), (1, 9.0, 0.5, False), (2, 9.0, 0.5, False), (1, 20.0, 0.6, True), (2, 20.0, 0.4, False),
         (3, 20.0, 0.5, False)],
        [9.0, 20.0, NEVER, NEVER],
        [11.0, NEVER, NEVER, NEVER],
    ),
}  # fmt: skip


@pytest.mark.parametrize("plants", CASES)
def test_three_and_four_plants_as_enumerated(plants):
    # misses before a finding, a removal on the way, hidden plants that infect each other
    places, looks, found, removed = CASES[plants]
    truth = Truth(rate=60.0, scale=10.0, background=0.01)
    last, since, early, numbers = enumerated(np.array(places), truth, looks, removed, by=10.0)
    ready = fixed_case(places, looks, found, truth, removed)
    record, times = long_run(ready, 40_000)
    order = np.argsort(ready.tracked)
    u, first = (np.array([one[k] for one in times])[:, order] for k in (0, 1))
    np.testing.assert_allclose((u < NOT_AT_ALL).mean(axis=0), last, atol=0.01)
    np.testing.assert_allclose(first.mean(axis=0), since, atol=0.01)
    np.testing.assert_allclose((u <= 10.0).mean(axis=0), early, atol=0.01)
    counted = np.bincount(record[:, INFECTED].astype(int), minlength=plants + 1) / len(record)
    np.testing.assert_allclose(counted, numbers, atol=0.01)
    assert 0.1 < last[2] < 0.9  # whether plant 2 is infected is open


def test_the_chain_over_sets_is_right_for_two_plants():
    # worked by hand: plant 1 is free on day 20, from plant 0 infected since the start
    truth = Truth(rate=900.0, scale=10.0, background=0.02)
    q = growth(np.array([[0.0, 0.0], [8.0, 0.0]]), truth, np.ones(2))
    g = 900.0 * math.exp(-0.8) / (2 * math.pi * 100)
    assert expm(q * 20.0)[1, 1] == pytest.approx(math.exp(-(0.02 + g) * 20), rel=1e-9)

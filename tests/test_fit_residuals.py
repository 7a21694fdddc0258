"""Where infections befell beside where the law would have them befall: slow sums, true laws, wrong laws."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from fit_worlds import Truth, beliefs_of, densities, field_of, outbreak_by_hand, problem_of, spread_out
from scipy.stats import kstest

from spreadmap.engine import Engine
from spreadmap.outbreak import fit_compiled_residuals as columns
from spreadmap.outbreak.fit_residuals import KeptState, infection_checks, infection_residuals, kept_states, of_sides
from spreadmap.outbreak.fit_types import NEVER

ALONE = Engine(workers=1)
BEGAN = 20.0


def theta_of(truth, factor=1.0):
    """Return the parameters of a truth; the kernel that a problem is given has the true scale."""
    logs = [math.log(max(one, 1e-12)) for one in (truth.background, truth.contact)]
    return np.array([math.log(truth.rate), math.log(factor), truth.east, truth.north, *logs, 0.0])


def state_of(outbreak, theta, until):
    plants = np.flatnonzero(outbreak.infected <= until)
    times = outbreak.infected[plants]
    return KeptState(theta=theta, plant=plants, time=times, is_first=times == times.min())


def slow_line(places, truth, infected, sends, receive, standing, i, gone=()):
    """Return the expectations of an infection by plain loops: log distance with its moments, and the vector.

    The distance is to the nearest plant that sends, or that has sent and is `gone`.
    """
    force, plain, way = np.full(len(places), truth.background), np.zeros(len(places)), np.zeros((len(places), 2))
    nearest = np.full(len(places), np.inf)
    still = replace(truth, east=0.0, north=0.0)
    for j, strength in sends.items():
        r = np.hypot(*(places - places[j]).T)
        force += strength * (truth.rate * densities(places, j, truth) + truth.contact * (r <= truth.touching_m))
        plain += strength * densities(places, j, still)
        way += (strength * densities(places, j, still) / np.maximum(r, 1e-9))[:, None] * (places - places[j])
    for j in (*sends, *gone):
        r = np.hypot(*(places - places[j]).T)
        nearest = np.minimum(nearest, np.where(r > 0, r, np.inf))
    share = np.where(standing & ~infected, receive * force, 0.0)
    share /= share.sum()
    with np.errstate(divide="ignore", invalid="ignore"):
        log_r, vector = (
            np.where(share > 0, np.log(nearest), 0.0),
            np.where(share[:, None] > 0, way / plain[:, None], 0.0),
        )
    mean, vector_mean = share @ log_r, share @ vector
    moments = [share @ (log_r - mean) ** power for power in (2, 3, 4)]
    among = (share[:, None] * (vector - vector_mean)).T @ (vector - vector_mean)
    off = vector[i] - vector_mean
    return np.array([mean, log_r[i] - mean, *moments, *vector_mean, *off, among[0, 0], among[0, 1], among[1, 1]])


def test_lines_are_those_of_plain_loops():
    # plant 0 sends from day 5, is removed on day 12 and sends a quarter till day 16; plant 3 is planted on day 11
    truth = Truth(
        rate=9.0, scale=12.0, east=0.8, north=-0.5, background=2e-3, contact=0.03, touching_m=6.0, infectious_after=5.0
    )  # fmt: skip
    places = np.array([[0.0, 0.0], [5.0, 1.0], [-9.0, 14.0], [20.0, 3.0], [7.0, -16.0], [31.0, 22.0]])
    infected = [0.0, 8.0, 14.0, 17.5, math.inf, math.inf]
    looks = [(plant, 18.0, 0.9, plant < 4) for plant in range(6)]
    outbreak = outbreak_by_hand(infected, [18.0] * 4 + [math.inf] * 2, looks)
    removed, gone, enter = np.full((3, 6), np.inf)
    removed[0], gone[0] = 12.0, 16.0
    receive, send = np.array([1.0, 1.3, 0.7, 1.1, 2.0, 0.4]), np.array([1.5, 0.6, 1.0, 1.0, 1.0, 1.0])
    enter[:] = -np.inf
    enter[3] = 11.0
    problem = problem_of(places, truth, outbreak, 0.0, 18.0, 18.0, beliefs_of(), removed_day=removed, gone_day=gone,
                         rest=np.array([0.25, 0, 0, 0, 0, 0]), receive=receive, send=send, enter_day=enter)  # fmt: skip
    lines = infection_residuals(problem, state_of(outbreak, theta_of(truth), 18.0))
    known = np.array(infected)
    by_hand = [
        slow_line(places, truth, known < 8.0, {0: 1.5}, receive, np.arange(6) != 3, 1),
        slow_line(places, truth, known < 14.0, {0: 1.5 * 0.25, 1: 0.6}, receive, np.full(6, True), 2),
        slow_line(places, truth, known < 17.5, {1: 0.6}, receive, np.full(6, True), 3, gone=(0,)),
    ]
    np.testing.assert_allclose(lines, by_hand, rtol=2e-4, atol=1e-6)


TRUTH = Truth(rate=7.0, scale=10.0, east=0.8, north=0.6, background=1e-4)
OUTBREAKS = 40


@pytest.fixture(scope="module")
def outbreaks():
    """Small outbreaks with every time known, as histories and as they were made."""
    rng, kept, surveys = np.random.default_rng(8), [], [(BEGAN + 60.0, 1.0)]
    while len(kept) < OUTBREAKS:
        places = field_of(300, 60, rng)
        made = spread_out(places, TRUTH, rng.choice(300, 3, replace=False), BEGAN, BEGAN + 60.0, surveys, rng, most=80)
        if made is not None and np.isfinite(made.found).sum() >= 15:
            kept.append((problem_of(places, TRUTH, made, 0.0, BEGAN + 60.0, BEGAN + 60.0), made))
    return kept


def checks_of(outbreak, thetas, engine=ALONE):
    problem, made = outbreak
    return infection_checks(problem, [state_of(made, theta, problem.end_day) for theta in thetas], engine)


def test_with_the_true_law_and_true_times_p_is_even(outbreaks):
    p = np.array([[check.p for check in checks_of(one, [theta_of(TRUTH)])] for one in outbreaks])
    for column in p.T:
        assert kstest(column, "uniform").pvalue > 0.01
        assert np.sum(column < 0.05) <= 7  # 40 outbreaks: eight or more by chance in 0.1 %


@pytest.mark.parametrize(
    ("told", "factor", "which"),
    [
        (TRUTH, 3.0, 0), (TRUTH, 1 / 3, 0), (replace(TRUTH, east=-0.8, north=-0.6), 1.0, 1),
        (replace(TRUTH, east=0.6, north=-0.8), 1.0, 1),
    ],
)  # fmt: skip
def test_a_wrong_law_is_told_by_the_check_that_looks_at_it(outbreaks, told, factor, which):
    p = [checks_of(one, [theta_of(told, factor)])[which].p for one in outbreaks[:20]]
    assert sum(one < 0.05 for one in p) >= 14


def test_a_check_shows_what_was_seen_on_what_the_law_foretells(outbreaks):
    right, side = checks_of(outbreaks[0], [theta_of(TRUTH)])
    wide, _ = checks_of(outbreaks[0], [theta_of(TRUTH, 4.0)])
    assert right.seen[0] == pytest.approx(wide.seen[0], rel=1e-9)  # where they befell is the same
    assert right.low[0] < right.seen[0] < right.high[0]
    assert right.middle[0] == pytest.approx(right.seen[0], rel=0.5)
    assert wide.seen[0] < wide.low[0]
    assert wide.p < right.p
    assert side.middle[0] > 0.5  # ahead of what sends, in the direction of the law
    assert side.middle[1] == pytest.approx(0.5, abs=0.1)


def test_p_is_the_mean_over_states_and_the_same_on_two_workers(outbreaks):
    thetas = [theta_of(TRUTH, factor) for factor in (1.0, 1.6)]
    both = [check.p for check in checks_of(outbreaks[0], thetas)]
    each = [[check.p for check in checks_of(outbreaks[0], [theta])] for theta in thetas]
    assert both == pytest.approx(np.mean(each, axis=0))
    assert [check.p for check in checks_of(outbreaks[0], thetas, Engine(workers=2))] == both


def test_few_infections_tell_nothing(outbreaks):
    problem, made = outbreaks[0]
    plants = np.argsort(made.infected)[:7]
    times = made.infected[plants]
    state = KeptState(theta=theta_of(TRUTH), plant=plants, time=times, is_first=times == times.min())
    checks = infection_checks(problem, [state], ALONE)
    assert [check.p for check in checks] == [1.0, 1.0]
    assert np.isnan(checks[0].seen).all()


def test_states_are_those_that_the_chains_kept():
    chains = [
        SimpleNamespace(kept=[(np.full(7, 1.0 + k), np.array([4.0, NEVER, 2.0]), np.array([0, 0, 1]))]) for k in (0, 1)
    ]
    states = kept_states(chains, SimpleNamespace(tracked=np.array([7, 3, 9])))
    assert [state.theta[0] for state in states] == [1.0, 2.0]
    for state in states:
        assert (state.plant.tolist(), state.time.tolist(), state.is_first.tolist()) == (
            [7, 9],
            [4.0, 2.0],
            [False, True],
        )


def test_right_of_north_is_east_and_p_by_hand():
    # six infections, each 0.3 further north than expected, of variance 0.2 on both axes: chi2 = (6 * 0.3)^2 / (6 * 0.2) = 2.7
    lines = np.zeros((6, columns.COLUMNS))
    lines[:, columns.MEAN_EAST], lines[:, columns.MEAN_NORTH], lines[:, columns.OFF_NORTH] = 0.4, 0.1, 0.3
    lines[:, columns.VAR_EAST] = lines[:, columns.VAR_NORTH] = 0.2
    sd = math.sqrt(0.2 / 6)
    told = of_sides(lines, np.array([0.0, 1.0]))
    assert told == pytest.approx(
        [0.1, 0.4, 0.3, 0.0, sd, sd, math.exp(-1.35)]
    )  # two degrees of freedom: exp(-chi2 / 2)

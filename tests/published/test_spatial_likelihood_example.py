"""A worked example of the likelihood of individuals in space, as it is stated with its formulas.

Hazard on i: lambda_i(t) = eps + beta sum over infected j of exp(-d_ij / alpha). log L = sum over the infected of
ln lambda_i(t_i) less sum over all i of the integral of lambda_i to t_i, or to T where i was never infected. Plants at
(0, 0) infected at 0, (10, 0) at 5, (0, 20) at 12, (30, 0) not by T = 20; alpha = 10, beta = 0.1, eps = 0.001.

The formulas are those of spatial individual-level models (Deardon et al. 2010, Statistica Sinica 20:239-261, discrete
time; its continuous form in Stockdale, Kypraios & O'Neill, pair-based likelihood approximations, both from memory);
the figures were reckoned from them by hand, and are stated to the digits below.
"""

import math

import numpy as np
import pytest
from fit_worlds import Outbreak, Truth, beliefs_of, problem_of

from spreadmap.engine import Engine
from spreadmap.outbreak.fit_compiled import fill_table, log_likelihood
from spreadmap.outbreak.fit_compiled_sums import place_plant, sum_afresh
from spreadmap.outbreak.fit_types import BACKGROUND, RATE, SCALE, STAMP, START, THETA
from spreadmap.outbreak.fit_world import of_a_chain, prepare

LOG_L = -7.73830238001
LAMBDA = {1: 0.03778794412, 2: 0.02522132089}
INTEGRAL = {1: 0.1889397206, 2: 0.2492168878, 3: 0.3443150305}
PLACES = np.array([[0.0, 0.0], [10.0, 0.0], [0.0, 20.0], [30.0, 0.0]])
TIMES = (0.0, 5.0, 12.0, math.inf)
ALPHA, BETA, EPS, T = 10.0, 0.1, 0.001, 20.0


def test_the_stated_formulas_give_the_stated_figures():
    d = np.hypot(*(PLACES[:, None] - PLACES[None]).transpose(2, 0, 1))
    total = 0.0
    for i in range(1, 4):
        end = min(TIMES[i], T)
        force = sum(math.exp(-d[i, j] / ALPHA) for j in range(4) if TIMES[j] < end)
        integral = EPS * end + BETA * sum(
            math.exp(-d[i, j] / ALPHA) * (end - TIMES[j]) for j in range(4) if TIMES[j] < end
        )
        assert integral == pytest.approx(INTEGRAL[i], abs=5e-11)
        if TIMES[i] < T:
            assert EPS + BETA * force == pytest.approx(LAMBDA[i], abs=5e-12)
            total += math.log(EPS + BETA * force)
        total -= integral
    assert total == pytest.approx(LOG_L, abs=5e-12)


def test_the_sampler_has_that_log_likelihood():
    # exp(-d / alpha) is the exponential kernel times 2 pi alpha^2: a rate of 0.1 is 20 pi m2 per day.
    truth = Truth(family="exponential", scale=ALPHA)
    never = np.full(4, np.inf)
    found = np.array([T, T, T, np.inf])
    looks = [(i, T, 1.0, i < 3) for i in range(4)]
    outbreak = Outbreak(
        infected=np.array(TIMES), showing=np.array(TIMES), removed=never, found=found, seeds=np.array([0]), looks=looks
    )
    problem = problem_of(PLACES, truth, outbreak, 0.0, T, T, beliefs_of())
    world = of_a_chain(prepare(problem, Engine(workers=1)).world)
    # each distance of this map has a ring of its own, so that the kernel is taken at the distance itself
    world.sum[START], world.sum[STAMP] = 0.0, 1.0
    world.param[THETA, [RATE, SCALE, BACKGROUND]] = math.log(BETA * 2 * math.pi * ALPHA**2), 0.0, math.log(EPS)
    for i in range(3):
        place_plant(world, i, TIMES[i], 1 if i == 0 else 0)
    fill_table(world)
    sum_afresh(world)
    assert log_likelihood(world) == pytest.approx(LOG_L, abs=1e-7)

"""The fit with every family of kernels, its lengths scaled together and its shape free."""

import math
from dataclasses import replace

import numpy as np
import pytest
from fit_worlds import Truth, beliefs_of, field_of, problem_of, spread_out
from small_worlds import ONE_OF_EACH

from spreadmap.engine import Engine
from spreadmap.outbreak.fit_chain import start_chain
from spreadmap.outbreak.fit_compiled import fill_table, kernel_at, log_likelihood
from spreadmap.outbreak.fit_compiled_law import log_by_bin, sums_by_bin
from spreadmap.outbreak.fit_compiled_sums import sum_afresh
from spreadmap.outbreak.fit_types import SCALE, SHAPE, STAMP, THETA
from spreadmap.outbreak.fit_world import prepare, with_shape

BY_FAMILY = pytest.mark.parametrize("kernel", ONE_OF_EACH, ids=lambda kernel: kernel.family)
ONE = Engine(workers=1)


@pytest.fixture(scope="module")
def made():
    """One outbreak of eighty plants and its history."""
    rng = np.random.default_rng(2)
    places, truth = field_of(80, 300, rng), Truth(rate=15.0, scale=12.0)
    outbreak = spread_out(places, truth, [3, 7], 0.0, 60.0, [(40.0, 0.7), (60.0, 0.7)], rng)
    return places, truth, outbreak


def world_of(made, kernel):
    """Return the sampler's arrays for a kernel whose shape is free where it has one."""
    free = (True, True, True, True, True, False, kernel.shape is not None)
    problem = problem_of(*made, 0.0, 40.0, 60.0, beliefs_of(free=free))
    return prepare(replace(problem, kernel=kernel), ONE).world


@BY_FAMILY
@pytest.mark.parametrize(
    ("longer", "other_shape"), [(0.0, 0.0), (0.7, 0.0), (-1.1, 0.3), (-1.1, 0.3125), (0.4, -0.5125)]
)
def test_the_table_is_the_kernel_of_that_length_and_shape(made, kernel, longer, other_shape):
    world = world_of(made, kernel)
    law = with_shape(kernel, other_shape).scaled(math.exp(longer))
    r = np.geomspace(0.3, 300.0, 40)
    exact = law.location_density(r)
    told = np.array([kernel_at(world, one, longer, other_shape) for one in r])
    if other_shape in (0.0, 0.3):
        np.testing.assert_allclose(told[exact > 1e-30], exact[exact > 1e-30], rtol=2e-5)
    # a shape between two of the table is read off a straight line of logarithms: what lands per log distance is right
    carried = 2 * np.pi * r**2
    np.testing.assert_allclose(carried * told, carried * exact, atol=0.005 * (carried * exact).max())


@BY_FAMILY
def test_running_sums_hold_with_lengths_and_shape_free(made, kernel):
    chain = start_chain(world_of(made, kernel), np.random.default_rng(1))
    record, _ = chain.run(60)
    world = chain.world
    running, total = world.sum.copy(), log_likelihood(world)
    sum_afresh(world)
    np.testing.assert_allclose(world.sum, running, rtol=1e-9, atol=1e-9)
    assert log_likelihood(world) == pytest.approx(total, rel=1e-9)
    moved = np.ptp(record, axis=0)
    assert moved[SCALE] > 0
    assert (moved[SHAPE] > 0) == (kernel.shape is not None)


@BY_FAMILY
def test_sums_by_bin_follow_another_length_and_shape(made, kernel):
    world = start_chain(world_of(made, kernel), np.random.default_rng(6)).world
    parts = sums_by_bin(world)
    before = log_by_bin(world, *parts)
    world.param[THETA, [SCALE, SHAPE]] += [0.3, 0.2 if kernel.shape is not None else 0.0]
    fill_table(world)
    told = log_by_bin(world, *parts)
    assert told != before
    world.sum[STAMP] += 1.0
    sum_afresh(world)
    assert told == pytest.approx(log_likelihood(world), rel=1e-9)

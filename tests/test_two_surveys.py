"""The usual fit to two surveys, which stands beside ours in every table: right in its own world, and only there."""

import itertools
import math
from types import SimpleNamespace

import numpy as np
import pytest
from fit_outbreaks import BEGAN, loss_of_two_surveys, two_surveys
from fit_worlds import Truth, densities, field_of
from scipy.linalg import expm
from scipy.stats import chi2

from spreadmap.dispersal.kernels import Kernel

SCALE = 25.0
EARLY = 30.0


def history(places, sources, hit, gap):
    """Return what the fit takes of a history, and the days of its two surveys."""
    found = np.full(len(places), np.inf)
    found[hit], found[sources] = BEGAN + EARLY + gap, BEGAN + EARLY
    problem = SimpleNamespace(
        easting=places[:, 0], northing=places[:, 1], kernel=Kernel(family="exponential", scale_m=SCALE)
    )
    return problem, SimpleNamespace(found=found), (EARLY, EARLY + gap)


def chances_of_outcomes(places, truth, gap, *, only_the_source):
    """Return the chance of every set of infected plants (1, 2) after the gap, plant 0 being the source.

    Every state of the plants, and a generator of the jumps between them: nothing is assumed but constant forces.
    """
    sent = [truth.rate * densities(places, source, truth) for source in range(3)]
    states = list(itertools.product((0, 1), repeat=2))
    generator = np.zeros((4, 4))
    for a, state in enumerate(states):
        for plant in (1, 2):
            if state[plant - 1]:
                continue
            after = tuple(1 if other == plant else is_in for other, is_in in zip((1, 2), state, strict=True))
            force = sent[0][plant]
            if not only_the_source:
                force += sum(sent[other][plant] for other in (1, 2) if state[other - 1])
            generator[a, states.index(after)] += force
            generator[a, a] -= force
    return dict(zip(states, expm(gap * generator)[0], strict=True))


@pytest.mark.parametrize("gap", [20.0, 200.0])
def test_the_likelihood_of_three_plants_is_that_of_all_their_histories(gap):
    places = np.array([[0.0, 0.0], [9.0, 2.0], [-4.0, 12.0]])
    truth = Truth(rate=8.0, scale=1.3 * SCALE, east=0.7, north=-0.4)
    at = np.array([math.log(8.0), math.log(1.3), 0.7, -0.4])
    by_hand = chances_of_outcomes(places, truth, gap, only_the_source=True)
    mine = {}
    for state in by_hand:
        hit = [plant for plant in (1, 2) if state[plant - 1]]
        mine[state] = math.exp(-loss_of_two_surveys(*history(places, [0], hit, gap))(at))
    assert mine == pytest.approx(by_hand, rel=1e-9)
    # where new cases send as well, as they do: both found is likelier than this fit believes
    assert chances_of_outcomes(places, truth, gap, only_the_source=False)[1, 1] > 1.02 * mine[1, 1]


def test_two_rings_round_one_source_by_hand():
    # rings of 24 plants at 10 and 40 m; 12 and 4 of them, evenly round, found after 30 days
    gap, radius, plants, hits = 30.0, np.array([10.0, 40.0]), 24, np.array([12, 4])
    turns = 2 * np.pi * np.arange(plants) / plants
    ring = np.column_stack([np.sin(turns), np.cos(turns)])
    places = np.vstack([[[0.0, 0.0]], radius[0] * ring, radius[1] * ring])
    found = np.concatenate([1 + plants * k + np.arange(0, plants, plants // hits[k]) for k in (0, 1)])
    middle, covariance = two_surveys(*history(places, [0], found, gap))
    # share found = 1 - exp(-gap rate k(r)) on each ring, k(r) = exp(-r / a) / (2 pi a^2): two equations, rate and a
    dose = -np.log(1 - hits / plants)
    a = (radius[1] - radius[0]) / math.log(dose[0] / dose[1])
    rate = dose[0] * 2 * math.pi * a**2 * math.exp(radius[0] / a) / gap
    np.testing.assert_allclose(middle, [math.log(rate), math.log(a / SCALE), 0, 0], atol=2e-3)
    # information of log(dose) of a ring: n d^2 e^-d / (1 - e^-d); log(dose) grows by r / a - 2 per log(a)
    information = plants * dose**2 * np.exp(-dose) / -np.expm1(-dose)
    slope = np.column_stack([np.ones(2), radius / a - 2])
    np.testing.assert_allclose(
        covariance[:2, :2], np.linalg.inv(slope.T @ (information[:, None] * slope)), rtol=2e-2, atol=1e-6
    )
    np.testing.assert_allclose(covariance[:2, 2:], 0.0, atol=1e-2)


def test_it_finds_the_truth_in_the_world_that_it_assumes():
    # sources of the first survey alone send, and new cases are many: both are needed for its intervals to be right
    truth, gap, sources, maps = Truth(rate=6.0, scale=SCALE, east=0.8, north=-0.6), 120.0, 30, 12
    rng, off, distance = np.random.default_rng(1), [], 0.0
    for _ in range(maps):
        places = field_of(1200, 60, rng)
        dose = gap * truth.rate * sum(densities(places, source, truth) for source in range(sources))
        hit = np.flatnonzero(rng.uniform(size=len(places)) < -np.expm1(-dose))
        middle, covariance = two_surveys(*history(places, np.arange(sources), hit[hit >= sources], gap))
        away = middle - np.array([math.log(truth.rate), 0.0, truth.east, truth.north])
        off.append(away / np.sqrt(np.diag(covariance)))
        distance += away @ np.linalg.solve(covariance, away)
    assert np.abs(np.mean(off, axis=0)).max() * math.sqrt(maps) < 3.3  # standard normal, four of them: 0.4 %
    assert 0.001 < chi2.sf(distance, 4 * maps) < 0.999

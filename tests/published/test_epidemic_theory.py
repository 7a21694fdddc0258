"""Final size, extinction and logistic growth: textbook formulas and their values.

Diekmann & Heesterbeek 2000, Mathematical epidemiology of infectious diseases, Wiley (formulas from memory): final size
z = 1 - exp(-R0 z); extinction q of a branching process is the least root of q = G(q), with G the generating function of
the number of further cases: Poisson exp(R0 (q - 1)), so that q = 1 - z; geometric q = 1 / R0; negative binomial
(1 + R0 (1 - q) / k)^-k. m introductions die out with chance q^m. Logistic: I(t) = 1 / (1 + (1 / I0 - 1) exp(-beta t)).
Values computed from these formulas to the digits given.
"""

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from small_outbreaks import PER_PLANT, apart, clock_of, course_of, draw_of, ground_at, world_of

from spreadmap.outbreak.events import run_draw

TABLE = {  # R0: z, q Poisson, q geometric, q negative binomial with k = 0.5
    1.1: (0.176134143632, 0.823865856368, 0.9090909091, 0.9387489019),
    1.5: (0.582811643866, 0.417188356134, 0.6666666667, 0.7675918792),
    2.0: (0.796812130020, 0.203187869980, 0.5, 0.6403882032),
    2.5: (0.892644753609, 0.107355246391, 0.4, 0.5582575695),
    3.0: (0.940479790707, 0.0595202092926, 0.3333333333, 0.5),
    5.0: (0.993022846349, 0.00697715365114, 0.2, 0.3701562119),
}
LOGISTIC = {10: 0.06945315966, 20: 0.3554609871, 30: 0.8029571528}


def extinct(generating):
    """Return the least root of q = G(q), by telling generations one after another."""
    q = 0.0
    for _ in range(100_000):
        last, q = q, generating(q)
        if abs(q - last) < 1e-15:
            break
    return q


@pytest.mark.parametrize("r0", TABLE)
def test_the_formulas_give_the_table(r0):
    z, poisson, geometric, binomial = TABLE[r0]
    assert brentq(lambda x: x - 1 + math.exp(-r0 * x), 1e-6, 1) == pytest.approx(z, abs=1e-11)
    assert extinct(lambda q: math.exp(r0 * (q - 1))) == pytest.approx(poisson, abs=1e-11)
    assert extinct(lambda q: 1 / (1 + r0 * (1 - q))) == pytest.approx(geometric, abs=1e-9)
    assert extinct(lambda q: (1 + r0 * (1 - q) / 0.5) ** -0.5) == pytest.approx(binomial, abs=1e-9)


def sizes_of(r0, n, groups, members, cases=1, sees=1.0):
    """Return new cases of many outbreaks among n plants, each sending for one day, or until it is seen."""
    size, days = n + cases, 60
    places, group = apart(groups, size)
    first = [g * size + c for g in range(groups) for c in range(cases)]
    course = course_of(
        groups * size, days, gone=dict.fromkeys(first, 1), surveyed=range(1, days), takes_out=True, delay_days=1.0
    )
    world = world_of(
        ground_at(places), sick=first, after=1.0, latency=(1e-12, 0.01), seen=sees, courses=(course,),
        clock=clock_of(days, range(days)), place=group, places=groups,
    )  # fmt: skip
    draw = draw_of(world, per_day_m2=-math.log1p(-r0 * sees / n) / PER_PLANT)
    return run_draw(5, members, world, draw).place_new[:, -1].ravel()


@pytest.mark.parametrize(("r0", "cases"), [(1.5, 1), (2.0, 1), (2.0, 3), (3.0, 1)])
def test_outbreaks_die_out_or_reach_the_final_size(r0, cases):
    """Among many plants the share of small outbreaks is q^m, and the others infect about z of all."""
    n, groups, members = 400, 25, 40
    sizes = sizes_of(r0, n, groups, members, cases)
    z, q = TABLE[r0][:2]
    small = sizes < 0.35 * z * n
    runs = groups * members
    expected = q**cases
    # Of outbreaks in a finite bed a few more die out or end in between: a few in a hundred at n = 400.
    assert abs(small.mean() - expected) < 4 * math.sqrt(expected * (1 - expected) / runs) + 0.015
    assert sizes[~small].mean() / n == pytest.approx(z, abs=0.02 if r0 >= 2 else 0.04)


def test_plants_that_send_until_they_are_seen_die_out_by_their_own_law():
    """Found with chance s every morning: G(q) = s g / (1 - (1 - s) g) with g one day's exp(R0 s (q - 1)); small s: 1 / R0."""
    r0, sees, n, groups, members = 2.0, 0.25, 400, 25, 40

    def generating(q, s=sees):
        day = math.exp(r0 * s * (q - 1))
        return s * day / (1 - (1 - s) * day)

    assert extinct(lambda q: generating(q, 1e-4)) == pytest.approx(TABLE[r0][2], abs=1e-3)
    # The first case sends one day only here: it dies out where all its contacts do.
    q = extinct(generating)
    expected = math.exp(r0 * sees * (q - 1))
    small = sizes_of(r0, n, groups, members, sees=sees) < 60
    assert abs(small.mean() - expected) < 4 * math.sqrt(expected * (1 - expected) / (groups * members)) + 0.015


def test_well_mixed_plants_grow_along_the_logistic():
    """Flight weight 0.01 a day makes the whole days short against the rate; 20 means of 1,000 plants from ten."""
    n, seeds, beta, step, members = 1000, 10, 0.2, 0.01, 200
    days = int(30 / step)
    places, _ = apart(1, n)
    world = world_of(
        ground_at(places), sick=range(seeds), after=1.0, clock=clock_of(days, range(0, days, 250), np.full(days, step)),
        checks=[int(t / step) for t in LOGISTIC],
    )  # fmt: skip
    new = run_draw(7, members, world, draw_of(world, per_day_m2=beta / n / PER_PLANT)).new[0]
    shares = (new + seeds) / n
    for share, value in zip(shares.T, LOGISTIC.values(), strict=True):
        # The mean of random outbreaks lags the curve, by the variance of the odds of growth from ten seeds.
        logit = np.log(share / (1 - share))
        target = math.log(value / (1 - value))
        assert abs(np.median(logit) - target) < 4 * 1.2533 * logit.std() / math.sqrt(members) + 0.06
    assert 1 / (1 + 99 * math.exp(-0.2 * 22.97559925)) == pytest.approx(0.5, abs=1e-9)
    for t, value in LOGISTIC.items():
        assert 1 / (1 + 99 * math.exp(-0.2 * t)) == pytest.approx(value, abs=1e-10)

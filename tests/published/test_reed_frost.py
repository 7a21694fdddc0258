"""Final sizes of the Reed-Frost chain: one case, n susceptibles, chance p of a contact between any two.

Recursion as printed at cdcgov.github.io/reedfrost/implementation, after Lefevre & Picard 1990, A non-standard family of
polynomials and the final size distribution of Reed-Frost epidemic processes, Adv Appl Probab 22:25-48: with q = 1 - p and
m cases, h(0) = 1, h(k) = 1 - sum over i < k of C(k, i) q^((m + i)(k - i)) h(i), and
P(k) = C(n, k) q^((n - k)(m + k)) h(k). The values below are this recursion's, computed here and once by enumeration.
"""

import math

import numpy as np
import pytest
from small_outbreaks import PER_PLANT, apart, clock_of, course_of, draw_of, ground_at, world_of

from spreadmap.outbreak.events import run_draw

CASES = {
    (2, 0.3): (0.49, 0.294, 0.216),
    (3, 0.2): (0.512, 0.24576, 0.159744, 0.082496),
    (3, 0.5): (0.125, 0.09375, 0.1875, 0.59375),
    (5, 0.25): (0.2373046875, 0.1251411438, 0.1173198223, 0.1432279497, 0.1871052012, 0.1899011955),
}
TEN = {0: 0.1968744043, 10: 0.07888422383}
MEAN = {(2, 0.3): 0.726, (3, 0.2): 0.812736, (3, 0.5): 2.25, (5, 0.25): 2.48739142, (10, 0.15): 4.910679178}
RUNS, GROUPS = 100_000, 1000


def recursion(n, p, m=1):
    """Return the chances of 0 to n further cases."""
    q, h = 1 - p, [1.0]
    for k in range(1, n + 1):
        h.append(1 - sum(math.comb(k, i) * q ** ((m + i) * (k - i)) * h[i] for i in range(k)))
    return [math.comb(n, k) * q ** ((n - k) * (m + k)) * h[k] for k in range(n + 1)]


def simulated(n, p, runs):
    """Return how many of so many runs had 0 to n further cases.

    A plant infected on a day sends on the next day only: it shows at once, is found that morning and is out a day after.
    """
    size, days = n + 1, n + 2
    places, group = apart(GROUPS, size)
    cases = range(0, GROUPS * size, size)
    course = course_of(
        GROUPS * size, days, gone=dict.fromkeys(cases, 1), surveyed=range(1, days), takes_out=True, delay_days=1.0
    )
    world = world_of(
        ground_at(places), sick=cases, after=1.0, latency=(1e-12, 0.01), seen=1.0, courses=(course,),
        clock=clock_of(days, range(days)), place=group, places=GROUPS,
    )  # fmt: skip
    draw = draw_of(world, per_day_m2=-math.log1p(-p) / PER_PLANT)
    sizes = run_draw(3, runs // GROUPS, world, draw).place_new[:, -1].ravel()
    return np.bincount(sizes, minlength=size)


@pytest.mark.parametrize("case", MEAN, ids=str)
def test_the_recursion_gives_the_values(case):
    found = recursion(*case)
    printed = dict(enumerate(CASES[case])) if case in CASES else TEN
    for number, value in printed.items():
        assert found[number] == pytest.approx(value, abs=0.5e-10 if value >= 0.1 else 0.5e-11)
    assert sum(k * share for k, share in enumerate(found)) == pytest.approx(MEAN[case], abs=0.5e-8)


@pytest.mark.parametrize("case", MEAN, ids=str)
def test_the_simulator_has_these_final_sizes(case):
    n, p = case
    found, expected = simulated(n, p, RUNS), np.array(recursion(n, p))
    error = np.sqrt(expected * (1 - expected) / RUNS)
    assert found.sum() == RUNS
    assert np.all(np.abs(found / RUNS - expected) <= 4 * error)

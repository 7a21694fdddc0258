"""Degree-days of single days, integrated directly beforehand and once more here.

Expected numbers: computed by integrating each curve numerically, free of the closed forms; `integrated` does so again.
Formulas: Baskerville & Emin 1969, Ecology 50:514-517 (sine, from memory); Allen 1976, Environ Entomol 5:388-396, doi
10.1093/ee/5.3.388 (double); the cutoffs as defined at ipm.ucdavis.edu/WEATHER/ddmoreinfo.html (read).
"""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy import integrate

from spreadmap.biology.degree_days import degree_days

H, V, M = "horizontal", "vertical", "intermediate"

# minimum, maximum, next minimum, lower, upper, method, cutoff, degree-days; deg C except the last block
CELLS = [
    (7, 14, None, 12, None, "average", H, 0),
    *[(7, 14, None, 12, 33, "single_sine", cutoff, 0.46805869) for cutoff in (H, V, M)],
    (7, 14, None, 12, 33, "single_triangle", H, 0.28571429),
    (13, 40, None, 12, None, "average", H, 14.5),
    (13, 40, None, 12, 33, "single_sine", H, 12.944349),
    (13, 40, None, 12, 33, "single_sine", V, 5.8022731),
    (13, 40, None, 12, 33, "single_sine", M, 11.388698),
    (13, 40, None, 12, 33, "single_triangle", H, 13.592593),
    (7, 40, None, 12, None, "average", H, 11.5),
    (7, 40, None, 12, 33, "single_sine", H, 10.939668),
    (7, 40, None, 12, 33, "single_sine", V, 4.5408166),
    (7, 40, None, 12, 33, "single_sine", M, 9.5401513),
    (7, 40, None, 12, 33, "single_triangle", H, 11.136364),
    (7, 20, None, 12, None, "average", H, 1.5),
    *[(7, 20, None, 12, 33, "single_sine", cutoff, 2.8743548) for cutoff in (H, V, M)],
    (7, 20, None, 12, 33, "single_triangle", H, 2.4615385),
    (35, 40, None, 12, None, "average", H, 25.5),
    (35, 40, None, 12, 33, "single_sine", H, 21),
    (35, 40, None, 12, 33, "single_sine", V, 0),
    (35, 40, None, 12, 33, "single_sine", M, 16.5),
    (35, 40, None, 12, 33, "single_triangle", H, 21),
    (5, 18, None, 10.5, None, "average", H, 1.0),
    *[(5, 18, None, 10.5, 27.5, "single_sine", cutoff, 2.5935483) for cutoff in (H, V, M)],
    (5, 18, 8, 10.5, 27.5, "double_sine", H, 2.8192686),
    (5, 18, None, 10.5, 27.5, "single_triangle", H, 2.1634615),
    (5, 18, 8, 10.5, 27.5, "double_triangle", H, 2.4879808),
    (12, 25, None, 10.5, None, "average", H, 8.0),
    *[(12, 25, None, 10.5, 27.5, "single_sine", cutoff, 8.0) for cutoff in (H, V, M)],
    (12, 25, 14, 10.5, 27.5, "double_sine", H, 8.5),
    (12, 25, None, 10.5, 27.5, "single_triangle", H, 8.0),
    (12, 25, 14, 10.5, 27.5, "double_triangle", H, 8.5),
    (18, 33, None, 10.5, None, "average", H, 15.0),
    (18, 33, None, 10.5, 27.5, "single_sine", H, 13.527279),
    (18, 33, None, 10.5, 27.5, "single_sine", V, 6.4879578),
    (18, 33, None, 10.5, 27.5, "single_sine", M, 12.054558),
    (18, 33, 20, 10.5, 27.5, "double_sine", H, 13.966865),
    (18, 33, None, 10.5, 27.5, "single_triangle", H, 13.991667),
    (18, 33, 20, 10.5, 27.5, "double_triangle", H, 14.414103),
    *[(2, 10, 4, 10.5, upper, method, H, 0) for upper in (None, 27.5)
      for method in ("average", "single_sine", "double_sine", "single_triangle", "double_triangle")],
    *[(2, 10, None, 10.5, 27.5, "single_sine", cutoff, 0) for cutoff in (V, M)],
    # deg F, as in American tables: the same formulas in another scale
    (40, 70, None, 50, None, "average", H, 5),
    (40, 70, None, 50, None, "single_sine", H, 7.5424488),
    (45, 75, None, 50, None, "average", H, 10),
    (45, 75, None, 50, None, "single_sine", H, 10.881608),
    (40, 60, None, 50, None, "average", H, 0),
    (40, 60, None, 50, None, "single_sine", H, 10 / math.pi),
]  # fmt: skip


def rate(temperature, lower, upper, cutoff):
    """Return degrees that count at one temperature, as the cutoffs are defined in words."""
    if temperature <= lower:
        return 0.0
    if upper is None or temperature <= upper:
        return temperature - lower
    return {H: upper - lower, V: 0.0, M: max(upper - lower - (temperature - upper), 0.0)}[cutoff]


def half_day(one, other, lower, upper, method, cutoff):
    """Return the integral over half a day from one extreme to the other, numerically."""
    mean, half = (one + other) / 2, abs(other - one) / 2

    def temperature(time):  # time from 0 to 1
        if method == "average":
            return mean
        return mean - half * math.cos(math.pi * time) if "sine" in method else mean + half * (2 * time - 1)

    parts = 400  # steps of the rate are met by many panels
    edges = np.linspace(0, 1, parts + 1)
    whole = sum(
        integrate.quad(lambda t: rate(temperature(t), lower, upper, cutoff), low, high, epsabs=1e-10)[0]
        for low, high in pairwise(edges)
    )
    return whole / 2


@pytest.mark.parametrize("cell", CELLS, ids=str)
def test_printed_digits(cell):
    low, high, after, lower, upper, method, cutoff, expected = cell
    found = degree_days(low, high, lower, upper, method=method, cutoff=cutoff, next_minimum=after)
    assert float(found) == pytest.approx(expected, abs=5.1e-7)


@pytest.mark.parametrize("cell", CELLS, ids=str)
def test_digits_are_those_of_the_integral(cell):
    low, high, after, lower, upper, method, cutoff, expected = cell
    second = after if "double" in method else low
    whole = sum(half_day(one, high, lower, upper, method, cutoff) for one in (low, second))
    assert whole == pytest.approx(expected, abs=2e-6)

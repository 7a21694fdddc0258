"""Degree-days that public pages print, and three of their answers that are wrong.

- A library of thermal biology, page trenchproject.github.io (degree_days) and its tests (rdrr.io, TrenchR, test-19):
  thresholds 12 and 33 deg C, two decimals (read).
- Daily answers for a station called OJAI.C, kept beside those tests as degree-days-*.csv (read): 2016, thresholds 12
  and 33 deg C, four methods, in the layout of a university's calculator; temperatures to one decimal, answers to two.
- ipm.ucanr.edu/PMG/FIG/cit-t01.html: mean 64 deg F, threshold 53 deg F, 11 degree-days (read).
"""

from itertools import pairwise

import numpy as np
import pytest

from spreadmap.biology.degree_days import (
    degree_days,
    degree_days_to_celsius,
    fahrenheit_to_celsius,
)

LOWER, UPPER = 12, 33

ANSWERS = [
    ("single_sine", 7, 14, 0.47), ("single_sine", 7, 10, 0), ("single_sine", 13, 14, 1.5),
    ("single_sine", 13, 40, 12.94), ("single_sine", 7, 40, 10.94),
    ("double_sine", 7, 20, 2.87), ("double_sine", 7, 10, 0), ("double_sine", 13, 14, 1.5), ("double_sine", 35, 40, 21),
    ("double_sine", 13, 40, 12.94), ("double_sine", 7, 40, 10.94),
    ("single_triangle", 7, 14, 0.29), ("single_triangle", 7, 10, 0), ("single_triangle", 13, 14, 1.5),
    ("single_triangle", 35, 40, 21), ("single_triangle", 13, 40, 13.59), ("single_triangle", 7, 40, 11.14),
    ("double_triangle", 7, 20, 2.46), ("double_triangle", 7, 10, 0), ("double_triangle", 35, 40, 21),
    ("double_triangle", 7, 40, 11.14),
]  # fmt: skip

# Wrong in the same tests. Both thresholds lie below a day of 35 to 40, so that its answer is the span of 21; between
# thresholds of 10 and 33 a day of 13 to 32 has its mean less the lower one, 12.5; and no day can hold more than 21.
WRONG = [
    ("single_sine", 35, 40, 12, 5, 21.0),
    ("double_triangle", 13, 32, 10, 1.25, 12.5),
    ("double_triangle", 13, 40, 12, 28.09, 13.592593),
]

# day, minimum, maximum, then single sine, double sine, single triangle, double triangle
OJAI = [
    ("04-15", 7.2, 23.3, 4.40, 4.36, 3.97, 3.91), ("04-16", 6.7, 28.3, 6.64, 7.33, 6.15, 7.08),
    ("04-17", 11.7, 33.9, 10.74, 10.34, 10.78, 10.28), ("04-18", 9.4, 28.3, 7.27, 7.76, 7.03, 7.64),
    ("04-19", 12.2, 29.4, 8.80, 8.10, 8.80, 7.90), ("04-20", 7.8, 27.8, 6.64, 6.57, 6.24, 6.15),
    ("09-23", 9.4, 27.2, 6.73, 7.21, 6.49, 7.09), ("09-24", 12.2, 30.6, 9.40, 9.08, 9.40, 9.02),
    ("09-25", 10.6, 38.9, 11.71, 12.55, 12.17, 13.05), ("09-26", 14.4, 39.4, 13.49, 13.63, 14.08, 14.22),
    ("09-27", 15.0, 37.2, 13.31, 13.72, 13.70, 14.11), ("09-28", 16.7, 30.0, 11.35, 10.93, 11.35, 10.93),
    ("09-29", 15.0, 28.9, 9.95, 9.40, 9.95, 9.40), ("09-30", 12.8, 27.8, 8.30, 8.15, 8.30, 8.15),
    ("10-01", 12.2, 25.6, 6.90, 6.59, 6.90, 6.53),
]  # fmt: skip
OJAI_METHODS = ("single_sine", "double_sine", "single_triangle", "double_triangle")


def same_minimum_again(method, low, high, lower, upper):
    """Return one day's answer as that library reckons it: the next minimum is the same."""
    return float(degree_days(low, high, lower, upper, method=method, next_minimum=low))


@pytest.mark.parametrize(("method", "low", "high", "answer"), ANSWERS)
def test_answers_of_the_library(method, low, high, answer):
    assert same_minimum_again(method, low, high, LOWER, UPPER) == pytest.approx(answer, abs=0.005 + 1e-9)


@pytest.mark.parametrize(("method", "low", "high", "lower", "printed", "right"), WRONG)
def test_wrong_answers_are_not_met(method, low, high, lower, printed, right):
    found = same_minimum_again(method, low, high, lower, UPPER)
    assert found == pytest.approx(right, abs=1e-6)
    assert abs(found - printed) > 7


@pytest.mark.parametrize("method", OJAI_METHODS)
def test_daily_answers_of_a_station(method):
    index = OJAI_METHODS.index(method)
    for now, after in pairwise(OJAI):
        if now[0] == "04-20":  # the next row is of another month
            continue
        found = float(degree_days(now[1], now[2], LOWER, UPPER, method=method, next_minimum=after[1]))
        # half the last digit: temperatures are used as printed
        assert found == pytest.approx(now[3 + index], abs=0.0051), now[0]


def test_mean_less_threshold_in_deg_f():
    # the page gives the mean only; any day about it will do
    assert float(degree_days(54, 74, 53, method="average")) == 11


def test_deg_f_and_deg_c_are_the_same_warmth():
    low, high = np.array([40.0, 45.0, 54.0]), np.array([70.0, 75.0, 74.0])
    in_f = degree_days(low, high, 50.0)
    in_c = degree_days(fahrenheit_to_celsius(low), fahrenheit_to_celsius(high), float(fahrenheit_to_celsius(50.0)))
    assert degree_days_to_celsius(in_f) == pytest.approx(in_c, rel=1e-12)

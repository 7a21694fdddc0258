"""Laws of degree-days: what holds for every method, limits, and direct integration as a slow reference."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from spreadmap.biology.degree_days import (
    CUTOFFS,
    METHODS,
    celsius_to_fahrenheit,
    degree_days,
    degree_days_to_celsius,
    degree_days_to_fahrenheit,
    fahrenheit_to_celsius,
)
from spreadmap.errors import InputError, SettingsError

LAW = settings(derandomize=True, max_examples=60, deadline=None)
DEGREE = st.floats(-20, 45, allow_nan=False).map(lambda value: round(value, 3))
BY_METHOD = pytest.mark.parametrize("method", METHODS)
BY_CUTOFF = pytest.mark.parametrize("cutoff", CUTOFFS)
DAYS = st.tuples(DEGREE, DEGREE, DEGREE).map(lambda three: (*sorted(three[:2]), three[2]))
THRESHOLDS = st.tuples(DEGREE, DEGREE).map(sorted).filter(lambda pair: pair[1] - pair[0] > 0.01)


def of_day(day, lower, upper=None, method="single_sine", cutoff="horizontal"):
    low, high, after = day
    return float(degree_days(low, high, lower, upper, method=method, cutoff=cutoff, next_minimum=after))


def slowly(day, lower, upper, method, cutoff):
    """Return the mean rate over 40,000 moments of the day, each half run from one extreme to the other."""
    low, high, after = day
    time = (np.arange(20_000) + 0.5) / 20_000
    total = 0.0
    for start in (low, after if "double" in method else low):
        mean, half = (start + high) / 2, (high - start) / 2
        if method == "average":
            warm = np.full_like(time, mean)
        elif "sine" in method:
            warm = mean - half * np.cos(math.pi * time)
        else:
            warm = start + (high - start) * time
        rate = np.maximum(warm - lower, 0.0)
        if upper is not None:
            above = warm > upper
            span = upper - lower
            flat = {"horizontal": span, "vertical": 0.0, "intermediate": np.maximum(span - (warm - upper), 0.0)}[cutoff]
            rate = np.where(above, flat, rate)
        total += float(rate.mean()) / 2
    return total


@BY_METHOD
@BY_CUTOFF
@LAW
@given(DAYS, THRESHOLDS)
def test_against_direct_integration(method, cutoff, day, thresholds):
    lower, upper = thresholds
    found = of_day(day, lower, upper, method, cutoff)
    # a jump of the rate is met to one moment of the day
    slack = 3e-4 * (upper - lower) if cutoff == "vertical" else 1e-5
    if method == "average" and cutoff == "vertical":
        assume(abs((day[0] + day[1]) / 2 - upper) > 1e-9)
    if cutoff == "vertical":
        # about a flat top a sine stays near the threshold for many moments
        slack += 0.02 * (upper - lower) if abs(day[1] - upper) < 0.01 or abs(min(day[0], day[2]) - upper) < 0.01 else 0
    assert found == pytest.approx(slowly(day, lower, upper, method, cutoff), abs=slack + 1e-5)


@BY_METHOD
@LAW
@given(DAYS, DEGREE)
def test_without_upper_threshold_against_direct_integration(method, day, lower):
    assert of_day(day, lower, None, method) == pytest.approx(slowly(day, lower, None, method, ""), abs=2e-5)


@BY_METHOD
@LAW
@given(DAYS, st.lists(DEGREE, min_size=3, max_size=3, unique=True).map(sorted))
def test_layers_of_warmth_add_up(method, day, layers):
    low, middle, high = layers
    parts = of_day(day, low, middle, method) + of_day(day, middle, high, method)
    assert of_day(day, low, high, method) == pytest.approx(parts, abs=1e-9)
    assert of_day(day, low, None, method) == pytest.approx(
        of_day(day, low, high, method) + of_day(day, high, None, method), abs=1e-9
    )


@BY_METHOD
@LAW
@given(DAYS, DEGREE, st.floats(0, 10), st.floats(0, 10))
def test_a_warmer_day_and_a_lower_threshold_are_never_less(method, day, lower, warmer, deeper):
    warm = tuple(value + warmer for value in day)
    plain = of_day(day, lower, None, method)
    assert of_day(warm, lower, None, method) >= plain - 1e-9
    assert of_day(day, lower - deeper, None, method) >= plain - 1e-9
    assert of_day(warm, lower, lower + 15, method) >= of_day(day, lower, lower + 15, method) - 1e-9


@BY_METHOD
@BY_CUTOFF
@LAW
@given(DAYS, THRESHOLDS)
def test_no_day_holds_less_than_nothing_or_more_than_the_span(method, cutoff, day, thresholds):
    lower, upper = thresholds
    assert -1e-12 <= of_day(day, lower, upper, method, cutoff) <= upper - lower + 1e-9


@BY_METHOD
@LAW
@given(DAYS, THRESHOLDS)
def test_the_harder_cutoff_leaves_less(method, day, thresholds):
    flat, falling, none = (of_day(day, *thresholds, method, cutoff) for cutoff in CUTOFFS)
    assert flat >= falling - 1e-9
    assert falling >= none - 1e-9


@BY_METHOD
@LAW
@given(DAYS, THRESHOLDS, st.floats(-30, 30))
def test_another_zero_of_the_scale_changes_nothing(method, day, thresholds, shift):
    lower, upper = thresholds
    moved = of_day(tuple(value + shift for value in day), lower + shift, upper + shift, method)
    assert moved == pytest.approx(of_day(day, lower, upper, method), abs=1e-6)


@BY_CUTOFF
@LAW
@given(st.tuples(DEGREE, DEGREE).map(sorted), st.floats(0.1, 30), st.floats(0.1, 30))
def test_methods_agree_when_thresholds_lie_outside_the_day(cutoff, day, below, above):
    low, high = day
    wide = [
        of_day((low, high, low), low - below, high + above, method, cutoff) for method in METHODS
    ]  # lower below the day, upper above it: the mean less the lower threshold
    assert wide == pytest.approx([(low + high) / 2 - low + below] * 5, abs=1e-9)
    cold = [of_day((low, high, low), high + below, high + below + above, method, cutoff) for method in METHODS]
    assert cold == pytest.approx([0.0] * 5, abs=1e-12)
    if cutoff != "intermediate":
        hot = [of_day((low, high, low), low - below - above, low - above, method, cutoff) for method in METHODS]
        assert hot == pytest.approx([below if cutoff == "horizontal" else 0.0] * 5, abs=1e-9)


@LAW
@given(DAYS, THRESHOLDS)
def test_double_methods_with_the_same_minimum_again_are_single(day, thresholds):
    same = (day[0], day[1], day[0])
    for shape in ("sine", "triangle"):
        assert of_day(same, *thresholds, f"double_{shape}") == pytest.approx(
            of_day(same, *thresholds, f"single_{shape}"), abs=1e-12
        )


@BY_METHOD
@BY_CUTOFF
def test_a_day_of_one_temperature_is_the_rate_at_it(method, cutoff):
    # thresholds 10 and 20; by hand: below, at the lower, between, at the upper, above, far above
    found = [of_day((t, t, t), 10, 20, method, cutoff) for t in (5, 10, 14, 20, 23, 40)]
    above = {"horizontal": [10, 10], "intermediate": [7, 0], "vertical": [0, 0]}[cutoff]
    assert found == pytest.approx([0, 0, 4, 10, *above])


def test_methods_differ_where_a_threshold_lies_inside_the_day():
    found = [of_day((5, 18, 5), 10.5, None, method) for method in ("average", "single_triangle", "single_sine")]
    assert found == sorted(found)
    assert found[0] < found[1] < found[2]


def test_arrays_are_their_items():
    low, high, after = np.array([[5.0, 12.0], [18.0, 2.0]]), np.array([[18.0, 25.0], [33.0, 10.0]]), 9.0
    for method in METHODS:
        whole = degree_days(low, high, 10.5, 27.5, method=method, next_minimum=after)
        assert whole.shape == (2, 2)
        items = [of_day((a, b, after), 10.5, 27.5, method) for a, b in zip(low.flat, high.flat, strict=True)]
        assert whole.ravel().tolist() == items


def test_missing_temperatures_stay_missing():
    found = degree_days([5.0, np.nan, 5.0], [18.0, 20.0, np.nan], 10.0, 27.0)
    assert np.isnan(found).tolist() == [False, True, True]
    assert degree_days([], [], 10.0).shape == (0,)


def test_a_night_warmer_than_the_day_before_is_run_through_upwards():
    # the day holds 5 to 10, the next minimum is 12: the second half of the day runs from 10 up to 12, mean 11
    assert of_day((5, 10, 12), 0, None, "double_triangle") == pytest.approx((7.5 + 11) / 2)


def test_scales():
    # freezing, the base of many American windows, and the point where both scales meet; by definition of the scales
    assert fahrenheit_to_celsius([32, 50, -40]).tolist() == [0, 10, -40]
    assert celsius_to_fahrenheit([0, 10, -40]).tolist() == [32, 50, -40]
    # a difference has no 32
    assert degree_days_to_celsius(90.0) == 50
    assert degree_days_to_fahrenheit(50.0) == 90


@pytest.mark.parametrize(
    ("change", "error", "message"),
    [
        ({"upper": 9.0}, SettingsError, r"upper threshold is 9 deg; allowed: above the lower threshold 10 deg"),
        ({"lower": math.nan}, SettingsError, r"lower threshold is nan deg; allowed: a number deg"),
        ({"method": "cosine"}, SettingsError, r"method is 'cosine'; allowed: average, single_sine"),
        ({"cutoff": "slanted"}, SettingsError, r"cutoff is 'slanted'; allowed: horizontal, intermediate, vertical"),
        ({"method": "double_sine"}, SettingsError, r"method 'double_sine' has no next_minimum"),
        ({"maximum": [1.0, 2.0]}, InputError, r"minimum is 5 deg on 2 day\(s\) where the maximum is lower"),
    ],
)
def test_what_cannot_be_reckoned_is_refused(change, error, message):
    given = {"minimum": [5.0, 5.0], "maximum": [18.0, 18.0], "lower": 10.0}
    with pytest.raises(error, match=message):
        degree_days(**{**given, **change})

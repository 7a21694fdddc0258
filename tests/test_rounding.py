"""Fewer bits of mantissa: the bound holds for every number, and nothing else changes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spreadmap.io.rounding import LEAST_NORMAL, rounded, rounding_tags


@given(st.floats(width=32, allow_nan=False, allow_infinity=False), st.integers(4, 22))
def test_any_number_keeps_the_stated_error(number, bits):
    value = np.array([number], dtype=np.float32)
    found = rounded(value, bits)
    if abs(number) >= LEAST_NORMAL:
        assert abs(float(found[0]) / number - 1) <= 2.0 ** -(bits + 1)
        assert np.signbit(found[0]) == np.signbit(value[0])
    np.testing.assert_array_equal(rounded(found, bits), found)


def test_the_bound_is_reached_and_ties_go_to_the_even_number():
    # worked by hand for 4 bits: 1 + 1/32 lies between 1 and 1 + 1/16, 1 + 3/32 between 1 + 1/16 and 1 + 2/16
    values = np.array([1 + 1 / 32, 1 + 3 / 32, 1 + 1 / 33, 1 + 1 / 31], dtype=np.float32)
    assert rounded(values, 4).tolist() == [1.0, 1.125, 1.0, 1.0625]


def test_what_is_no_number_stays_and_the_largest_does_not_become_infinite():
    values = np.array([np.nan, np.inf, -np.inf, 0.0, np.finfo(np.float32).max], dtype=np.float32)
    np.testing.assert_array_equal(rounded(values, 8), values)


def test_all_bits_change_nothing_and_say_nothing():
    values = np.array([1 / 3], dtype=np.float32)
    assert rounded(values, 23) is values
    assert rounding_tags(23) == {}


@pytest.mark.parametrize("bits", [7, 10])
def test_the_tag_names_bits_and_error(bits):
    (says,) = rounding_tags(bits).values()
    assert f"{bits} bits" in says
    assert float(says.split("relative error ")[1].split()[0]) == pytest.approx(2.0 ** -(bits + 1), rel=5e-3)

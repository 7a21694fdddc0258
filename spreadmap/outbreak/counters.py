"""Random numbers by counter: the same for the same plant, member and purpose, whatever was drawn before.

A number is a hash of what it is for, so that two courses of action that are run with one seed differ only where the
action touches a plant, and the order in which plants are told does not matter.

References
----------
The mixing function is that of SplitMix64: Steele, Lea & Flood 2014, Fast splittable pseudorandom number generators,
OOPSLA, doi 10.1145/2660193.2660195, figure 17, with its two multipliers and its golden increment. Bound by
test_events.py::test_numbers_by_counter_are_even_and_apart.
"""

from __future__ import annotations

import math

import numba
import numpy as np

U8 = numba.uint64
F8 = numba.float64
I8 = numba.int64

GOLDEN = np.uint64(0x9E3779B97F4A7C15)
FIRST, SECOND = np.uint64(0xBF58476D1CE4E5B9), np.uint64(0x94D049BB133111EB)
BY_30, BY_27, BY_31, BY_11 = np.uint64(30), np.uint64(27), np.uint64(31), np.uint64(11)
ONE = np.uint64(1)
TO_UNIT = 2.0**-53
MOST_AT_ONCE = 12.0
"""Mean of a Poisson number that is drawn in one piece; exp(-12) keeps all digits of the sums [-]."""


@numba.njit(U8(U8), cache=True, nogil=True, inline="always")
def mixed(word):
    """Return a word whose every bit depends on every bit of the given one."""
    word = (word ^ (word >> BY_30)) * FIRST
    word = (word ^ (word >> BY_27)) * SECOND
    return word ^ (word >> BY_31)


@numba.njit(U8(U8, I8), cache=True, nogil=True, inline="always")
def key_for(key, number):
    """Return the key of one number under another key: chained for draw, member, purpose and plant."""
    return mixed(key + GOLDEN * (np.uint64(number) + ONE))


@numba.njit(F8(U8, I8), cache=True, nogil=True, inline="always")
def even_at(key, number):
    """Return an even number above 0 and below 1, the one of this place in the row of a key."""
    return (float(mixed(key + GOLDEN * (np.uint64(number) + ONE)) >> BY_11) + 0.5) * TO_UNIT


@numba.njit(F8(U8, I8), cache=True, nogil=True)
def normal_at(key, number):
    """Return a standard normal number, from two even ones after Box and Muller."""
    return math.sqrt(-2.0 * math.log(even_at(key, 2 * number))) * math.cos(2.0 * math.pi * even_at(key, 2 * number + 1))


@numba.njit(I8(U8, F8), cache=True, nogil=True)
def poisson_at(key, mean):
    """Return a Poisson number by inversion, never fewer for a larger mean in one piece; large means in several."""
    total, piece = 0, 0
    while mean > 0.0:
        part = min(mean, MOST_AT_ONCE)
        mean -= part
        wanted = even_at(key, piece)
        piece += 1
        share = math.exp(-part)
        below = share
        number = 0
        while wanted > below and share > 0.0:
            number += 1
            share *= part / number
            below += share
        total += number
    return total

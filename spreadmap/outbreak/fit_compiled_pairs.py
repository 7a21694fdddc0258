"""Compiled sorting of ordered pairs into rings by sectors."""

from __future__ import annotations

import math

import numba

from spreadmap.outbreak.fit_types import (
    BIN,
    COMPILED,
    F8,
    I8,
    PAIRS,
    SECTORS,
    SINGLE,
    TOUCH,
    M,
    V,
)  # fmt: skip


@numba.njit(I8(F8, F8, F8, F8, I8), **COMPILED)
def bin_of(east, north, log_first, log_step, rings):
    """Return ring and sector of an offset as one number: sectors are centred on the points of the compass.

    The way back has the sector opposite: what lies on an edge is turned by half a circle as a whole.
    """
    square = east * east + north * north
    ring = 0
    if square > 0.0:
        ring = min(max(int((0.5 * math.log(square) - log_first) / log_step), 0), rings - 1)
    flip = east < 0.0 or (east == 0.0 and north < 0.0)
    turned = math.atan2(-east, -north) if flip else math.atan2(east, north)
    half = int(turned / (2.0 * math.pi) * SECTORS + 0.5)
    return ring * SECTORS + (half + (SECTORS // 2 if flip else 0)) % SECTORS


@numba.njit(numba.void(I8, I8, V, V, V, V, V, V, F8, F8, I8, SINGLE, V, M, F8), **COMPILED)
def count_pairs(begin, end, s_east, s_north, east, north, receive, own, log_first, log_step, rings, counts, touching,
                length, touch_m):  # fmt: skip
    """Fill for sources `begin` to `end` - 1 the receiving weight of all plants by bin, and that of those in touch.

    `own` is each source's place among the plants, below zero where it is none. `length` (2, rings) sums weights and
    weighted log distances by ring.
    """
    for j in range(begin, end):
        touching[j] = 0.0
        for i in range(len(east)):
            if i == own[j]:
                continue
            dx, dy = east[i] - s_east[j], north[i] - s_north[j]
            place = bin_of(dx, dy, log_first, log_step, rings)
            counts[j, place] += receive[i]
            square = dx * dx + dy * dy
            if square <= touch_m * touch_m:
                touching[j] += receive[i]
            if square > 0.0:
                length[0, place // SECTORS] += 1.0
                length[1, place // SECTORS] += 0.5 * math.log(square)


@numba.njit(numba.void(I8, I8, V, V, V, V, F8, F8, I8, PAIRS, F8), **COMPILED)
def pair_bins(begin, end, s_east, s_north, east, north, log_first, log_step, rings, pairs, touch_m):
    """Fill the bin of the way from each source `begin` to `end` - 1 to each plant, with the mark of touch."""
    for j in range(begin, end):
        for i in range(len(east)):
            dx, dy = east[i] - s_east[j], north[i] - s_north[j]
            place = bin_of(dx, dy, log_first, log_step, rings)
            near = touch_m > 0.0 and dx * dx + dy * dy <= touch_m * touch_m
            pairs[j, i] = (place & BIN) | (TOUCH if near else 0)

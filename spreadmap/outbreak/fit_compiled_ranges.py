"""Compiled search for the times at which looks allow an infection at all."""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.outbreak.fit_compiled import day_at, log_looks, sum_at
from spreadmap.outbreak.fit_types import (
    COMPILED,
    END,
    F8,
    FIRST,
    FIXED,
    I8,
    IS_NOTICED,
    LOOK_DAY,
    LOOK_FIRST,
    LOOK_SEASON,
    MEDIAN,
    WORLD,
    V,
)

TIMES_TRIED = 64
"""Times at which a plant is asked whether it can be infected, even over its range, besides those between edges [-]."""


@numba.njit(numba.void(WORLD, I8, F8, F8, V, V, V), **COMPILED)
def widen(w, i, left, right, low, high, mean):
    """Take the stretch between two times into the range of plant `i` if its middle is possible."""
    chance = math.exp(log_looks(w, i, 0.5 * (left + right)))
    if chance > 0.0:
        low[i], high[i] = min(low[i], left), max(high[i], right)
        mean[i] += chance * (right - left)


@numba.njit(numba.void(WORLD, V, V, V, V, V), **COMPILED)
def look_ranges(w, enter, leave, low, high, mean):
    """Fill between which times each plant can have been infected (empty: none) and the mean chance of its looks.

    The edges of what a fixed incubation allows are the looks, and the looks less the incubation: the stretches between
    them are asked one by one, however narrow. A random incubation has no narrow ones but before the look that noticed.
    """
    for i in range(len(enter)):
        low[i], high[i], mean[i] = np.inf, -np.inf, 0.0
        first, last = max(w.number[FIRST], enter[i]), min(w.number[END], leave[i])
        begin, end = w.mark[LOOK_FIRST, i], w.mark[LOOK_FIRST, i + 1]
        if w.mark[IS_NOTICED, i]:
            last = min(last, sum_at(w.days[0], w.looks[LOOK_DAY, end - 1]))
        if not last > first:
            continue
        edges = np.empty(TIMES_TRIED + 1 + 2 * (end - begin))
        for k in range(TIMES_TRIED + 1):
            edges[k] = first + (last - first) * k / TIMES_TRIED
        for k in range(begin, end):
            at = TIMES_TRIED + 1 + 2 * (k - begin)
            edges[at] = sum_at(w.days[0], w.looks[LOOK_DAY, k])
            soonest = w.number[MEDIAN] if w.number[FIXED] > 0.0 else 0.0
            edges[at + 1] = sum_at(w.days[0], day_at(w.days[1], max(w.looks[LOOK_SEASON, k] - soonest, 0.0)))
        edges = np.sort(np.minimum(np.maximum(edges, first), last))
        for k in range(len(edges) - 1):
            if edges[k + 1] > edges[k]:
                widen(w, i, edges[k], edges[k + 1], low, high, mean)
        # the grid is too coarse to say where a range ends: one step more on either side, as far as there is one
        step = (last - first) / TIMES_TRIED
        if low[i] < high[i] and w.number[FIXED] == 0.0:
            low[i], high[i] = max(low[i] - step, first), min(high[i] + step, last)
        mean[i] /= last - first

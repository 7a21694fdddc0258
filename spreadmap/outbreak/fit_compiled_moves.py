"""Compiled moves of the fit's sampler: times, hidden infections, plants infected at the start, start, parameters."""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.outbreak.fit_compiled import log_likelihood, log_looks, log_prior
from spreadmap.outbreak.fit_compiled_sums import make_change, mark_plant, set_live, sum_afresh, weigh_change
from spreadmap.outbreak.fit_types import (
    BACKGROUND,
    COMPILED,
    CONTACT,
    DRAWN_BELOW,
    END,
    F8,
    FIRST,
    FREE,
    HIDDEN,
    HIDDEN_LIST,
    HIGH,
    I8,
    INFECTED,
    IS_FIRST,
    LAST_STAMP,
    LATEST,
    LIST,
    LOG_SEED,
    LOW,
    NEVER,
    NOTICED,
    PARAMETERS,
    PLACE,
    PLANTS,
    RATE,
    REACH,
    SEEDS,
    STAMPED,
    STANDS_FROM,
    STANDS_TO,
    START,
    STRETCHES,
    SUMS,
    THETA,
    TIME,
    TIMES_HIDDEN,
    WORLD,
    V,
)  # fmt: skip

LOCAL = 0.15
"""Standard deviation of a short step in time, as a share of the plant's own range [-]; half of all steps are long."""
OPEN = numba.types.UniTuple(F8, 2)


@numba.njit(F8(), **COMPILED)
def log_uniform():
    """Return the logarithm of a uniform number above zero."""
    return math.log(1.0 - np.random.random())


@numba.njit(OPEN(WORLD, I8), **COMPILED)
def range_of(w, i):
    """Return between which clock times plant `i` can have been infected by another one."""
    low = max(max(w.sum[START], w.plant[STANDS_FROM, i]), w.plant[LOW, i])
    return low, min(min(w.number[END], w.plant[STANDS_TO, i]), w.plant[HIGH, i])


@numba.njit(I8(WORLD, I8), **COMPILED)
def may_be_first(w, i):
    """Return whether plant `i` stood on the day it began, and can have been infected then."""
    start = w.sum[START]
    return 1 if w.plant[STANDS_FROM, i] <= start < min(w.plant[STANDS_TO, i], w.number[END]) else 0


@numba.njit(F8(WORLD, F8), **COMPILED)
def log_first(w, seeds):
    """Return the log prior of one certain set of so many plants infected at the start: geometric, all sets alike."""
    plants = w.number[PLANTS]
    ways = math.lgamma(plants + 1.0) - math.lgamma(seeds + 1.0) - math.lgamma(plants - seeds + 1.0)
    return seeds * w.number[LOG_SEED] - ways


@numba.njit(I8(WORLD, I8), **COMPILED)
def move_time(w, i):
    """Try another time of infection for plant `i`; return whether it was taken."""
    low, high = range_of(w, i)
    if np.random.random() < 0.5:
        u = low + (high - low) * np.random.random()
    else:
        u = w.plant[TIME, i] + LOCAL * (high - low) * np.random.normal()
    if not low < u < high:
        return 0
    looks = log_looks(w, i, u)
    if looks == -np.inf:
        return 0
    gain = weigh_change(w, i, u, 0) + looks - log_looks(w, i, w.plant[TIME, i])
    if log_uniform() < gain:
        make_change(w, i, u, 0)
        return 1
    return 0


@numba.njit(I8(WORLD), **COMPILED)
def draw_candidate(w):
    """Return a plant never noticed, drawn by its weight."""
    below = w.hide[DRAWN_BELOW]
    at = np.searchsorted(below, below[-1] * np.random.random(), side="right")
    return int(w.number[NOTICED]) + min(at, len(below) - 1)


@numba.njit(F8(WORLD, I8), **COMPILED)
def log_weight(w, i):
    """Return the log chance that `draw_candidate` draws plant `i`."""
    at, below = i - int(w.number[NOTICED]), w.hide[DRAWN_BELOW]
    before = below[at - 1] if at > 0 else 0.0
    return math.log((below[at] - before) / below[-1])


@numba.njit(F8(WORLD, F8), **COMPILED)
def share_before(w, u):
    """Return the share of proposed times before `u`, straight within every stretch of the clock [-]."""
    below = w.hide_at[DRAWN_BELOW]
    x = (u - w.number[FIRST]) / (w.number[END] - w.number[FIRST]) * STRETCHES
    k = min(max(int(x), 0), STRETCHES - 1)
    return below[k] + (x - k) * (below[k + 1] - below[k])


@numba.njit(F8(WORLD, F8, F8), **COMPILED)
def draw_time(w, low, high):
    """Return a time between two, drawn by the shares of the stretches of the clock."""
    below = w.hide_at[DRAWN_BELOW]
    first, last = share_before(w, low), share_before(w, high)
    share = first + (last - first) * np.random.random()
    k = min(max(np.searchsorted(below, share, side="right") - 1, 0), STRETCHES - 1)
    x = k + (share - below[k]) / (below[k + 1] - below[k])
    return w.number[FIRST] + (w.number[END] - w.number[FIRST]) * x / STRETCHES


@numba.njit(F8(WORLD, F8, F8, F8), **COMPILED)
def log_time(w, u, low, high):
    """Return the log density with which `draw_time` draws `u` [1/d]."""
    below, long = w.hide_at[DRAWN_BELOW], (w.number[END] - w.number[FIRST]) / STRETCHES
    k = min(max(int((u - w.number[FIRST]) / long), 0), STRETCHES - 1)
    return math.log((below[k + 1] - below[k]) / long / (share_before(w, high) - share_before(w, low)))


@numba.njit(I8(WORLD), **COMPILED)
def move_hidden(w):
    """Try to add one hidden infection or to take one away; return whether it was taken."""
    if np.random.random() < 0.5:
        i = draw_candidate(w)
        if w.mark[PLACE, i] >= 0:
            return 0
        low, high = range_of(w, i)
        if not low < high:
            return 0
        u = draw_time(w, low, high)
        if not low < u < high:
            return 0
        looks = log_looks(w, i, u)
        if looks == -np.inf:
            return 0
        gain = weigh_change(w, i, u, 0) + looks
        gain -= log_time(w, u, low, high) + math.log(w.sum[HIDDEN] + 1.0) + log_weight(w, i)
        if log_uniform() < gain:
            make_change(w, i, u, 0)
            return 1
        return 0
    if w.sum[HIDDEN] == 0.0:
        return 0
    i = w.mark[HIDDEN_LIST, int(w.sum[HIDDEN] * np.random.random())]
    low, high = range_of(w, i)
    u = w.plant[TIME, i]
    gain = weigh_change(w, i, NEVER, 0) - log_looks(w, i, u)
    gain += log_weight(w, i) + math.log(w.sum[HIDDEN]) + log_time(w, u, low, high)
    if log_uniform() < gain:
        make_change(w, i, NEVER, 0)
        return 1
    return 0


@numba.njit(numba.void(WORLD), **COMPILED)
def note_hidden(w):
    """Count which plants are hidden infections now, and since which stretch of the clock."""
    long = (w.number[END] - w.number[FIRST]) / STRETCHES
    for at in range(int(w.sum[HIDDEN])):
        i = w.mark[HIDDEN_LIST, at]
        w.hide[TIMES_HIDDEN, i - int(w.number[NOTICED])] += 1.0
        k = min(max(int((w.plant[TIME, i] - w.number[FIRST]) / long), 0), STRETCHES - 1)
        w.hide_at[TIMES_HIDDEN, k] += 1.0


@numba.njit(I8(WORLD, I8, I8, I8), **COMPILED)
def nth_infected(w, number, seed, least):
    """Return the infected plant with this number among those with mark `seed` and place `least` or later."""
    for at in range(int(w.sum[INFECTED])):
        i = w.mark[LIST, at]
        if w.mark[IS_FIRST, i] == seed and i >= least:
            if number == 0:
                return i
            number -= 1
    return -1


@numba.njit(I8(WORLD, I8), **COMPILED)
def count_seeds_from(w, least):
    """Return how many plants infected at the start have place `least` or later."""
    total = 0
    for at in range(int(w.sum[INFECTED])):
        i = w.mark[LIST, at]
        if w.mark[IS_FIRST, i] == 1 and i >= least:
            total += 1
    return total


@numba.njit(I8(WORLD), **COMPILED)
def move_mark(w):
    """Try to make an infected plant one of the start, or one of the start one infected later; return if taken."""
    seeds, start = w.sum[SEEDS], w.sum[START]
    later = w.sum[INFECTED] - seeds
    if np.random.random() < 0.5:
        if later == 0.0:
            return 0
        i = nth_infected(w, int(later * np.random.random()), 0, 0)
        if may_be_first(w, i) == 0:
            return 0
        looks = log_looks(w, i, start)
        low, high = range_of(w, i)
        if looks == -np.inf:
            return 0
        gain = weigh_change(w, i, start, 1) + looks - log_looks(w, i, w.plant[TIME, i])
        gain += log_first(w, seeds + 1.0) - log_first(w, seeds)
        gain += math.log(later) - math.log(seeds + 1.0) - math.log(high - low)
        if log_uniform() < gain:
            make_change(w, i, start, 1)
            return 1
        return 0
    if seeds == 0.0:
        return 0
    i = nth_infected(w, int(seeds * np.random.random()), 1, 0)
    low, high = range_of(w, i)
    if not low < high:
        return 0
    u = low + (high - low) * np.random.random()
    looks = log_looks(w, i, u)
    if looks == -np.inf:
        return 0
    gain = weigh_change(w, i, u, 0) + looks - log_looks(w, i, start)
    gain += log_first(w, seeds - 1.0) - log_first(w, seeds)
    gain += math.log(seeds) - math.log(later + 1.0) + math.log(high - low)
    if log_uniform() < gain:
        make_change(w, i, u, 0)
        return 1
    return 0


@numba.njit(I8(WORLD), **COMPILED)
def move_hidden_first(w):
    """Try to add a hidden plant infected at the start, or to take one away; return whether it was taken."""
    seeds, start, noticed = w.sum[SEEDS], w.sum[START], int(w.number[NOTICED])
    hidden = count_seeds_from(w, noticed)
    if np.random.random() < 0.5:
        i = draw_candidate(w)
        if w.mark[PLACE, i] >= 0 or may_be_first(w, i) == 0:
            return 0
        looks = log_looks(w, i, start)
        if looks == -np.inf:
            return 0
        gain = weigh_change(w, i, start, 1) + looks
        gain += log_first(w, seeds + 1.0) - log_first(w, seeds) - math.log(hidden + 1.0) - log_weight(w, i)
        if log_uniform() < gain:
            make_change(w, i, start, 1)
            return 1
        return 0
    if hidden == 0:
        return 0
    i = nth_infected(w, int(hidden * np.random.random()), 1, noticed)
    gain = weigh_change(w, i, NEVER, 0) - log_looks(w, i, start)
    gain += log_first(w, seeds - 1.0) - log_first(w, seeds) + math.log(hidden) + log_weight(w, i)
    if log_uniform() < gain:
        make_change(w, i, NEVER, 0)
        return 1
    return 0


@numba.njit(F8(WORLD), **COMPILED)
def all_looks(w):
    """Return the log chance of all looks at infected plants; -inf where a time is out of its range."""
    total = 0.0
    for at in range(int(w.sum[INFECTED])):
        i = w.mark[LIST, at]
        low, high = max(w.sum[START], w.plant[STANDS_FROM, i]), min(w.number[END], w.plant[STANDS_TO, i])
        if w.mark[IS_FIRST, i] == 1:
            if may_be_first(w, i) == 0:
                return -np.inf
        elif not low < w.plant[TIME, i] < high:
            return -np.inf
        total += log_looks(w, i, w.plant[TIME, i])
        if total == -np.inf:
            return total
    return total


@numba.njit(numba.void(WORLD), **COMPILED)
def keep_state(w):
    """Keep times, sums and the table, so that a proposal can be undone."""
    old = w.old
    for at in range(int(w.sum[INFECTED])):
        i = w.mark[LIST, at]
        for row in range(TIME, REACH + 1):
            old[row - TIME, i] = w.plant[row, i]
        old[7, i] = w.mark[STAMPED, i]
    for k in range(PARAMETERS):
        old[8, k] = w.param[THETA, k]
    for k in range(SUMS):
        old[9, k] = w.sum[k]


@numba.njit(numba.void(WORLD), **COMPILED)
def undo(w):
    """Put back what `keep_state` kept; the lists must be those of then."""
    old = w.old
    for k in range(PARAMETERS):
        w.param[THETA, k] = old[8, k]
    for k in range(LAST_STAMP):
        w.sum[k] = old[9, k]
    for at in range(int(w.sum[INFECTED])):
        i = w.mark[LIST, at]
        for row in range(TIME, REACH + 1):
            w.plant[row, i] = old[row - TIME, i]
        w.mark[STAMPED, i] = int(old[7, i])
        set_live(w, i)


@numba.njit(I8(WORLD), **COMPILED)
def move_swap(w):
    """Try to let a plant of the start and one infected later change their parts; return whether it was taken."""
    seeds = w.sum[SEEDS]
    later = w.sum[INFECTED] - seeds
    if seeds == 0.0 or later == 0.0:
        return 0
    first = nth_infected(w, int(seeds * np.random.random()), 1, 0)
    other = nth_infected(w, int(later * np.random.random()), 0, 0)
    start, u = w.sum[START], w.plant[TIME, other]
    low, high = range_of(w, first)
    if may_be_first(w, other) == 0 or not low < u < high:
        return 0
    looks = log_looks(w, other, start) + log_looks(w, first, u)
    if looks == -np.inf:
        return 0
    looks -= log_looks(w, first, start) + log_looks(w, other, u)
    before = log_likelihood(w)
    keep_state(w)
    mark_plant(w, first, u, 0)
    mark_plant(w, other, start, 1)
    sum_afresh(w)
    if log_uniform() < log_likelihood(w) - before + looks:
        return 1
    mark_plant(w, other, u, 0)
    mark_plant(w, first, start, 1)
    hidden = w.sum[HIDDEN]
    undo(w)
    w.sum[HIDDEN] = hidden
    return 0


@numba.njit(I8(WORLD, F8), **COMPILED)
def move_start(w, step):
    """Try another start, with all plants infected then; return whether it was taken."""
    start = w.sum[START] + step * np.random.normal()
    if not w.number[FIRST] < start < w.number[LATEST]:
        return 0
    before, looks = log_likelihood(w), all_looks(w)
    keep_state(w)
    w.sum[START] = start
    for at in range(int(w.sum[INFECTED])):
        i = w.mark[LIST, at]
        if w.mark[IS_FIRST, i] == 1:
            w.plant[TIME, i] = start
    gain = all_looks(w) - looks
    if gain > -np.inf:
        sum_afresh(w)
        if log_uniform() < gain + log_likelihood(w) - before:
            return 1
    undo(w)
    return 0


@numba.njit(I8(WORLD, F8, I8, I8), **COMPILED)
def move_stretch(w, step, with_rates, whole):
    """Try to stretch all times before one about it, with the rates made slower or not; return whether it was taken.

    That one is the end of the fit, or any time since the start: what looks say of plants infected later stays as it is.
    """
    by, end, was = step * np.random.normal(), w.number[END], w.sum[START]
    factor, about = math.exp(by), end if whole else was + (end - was) * np.random.random()
    start = about - factor * (about - was)
    if not w.number[FIRST] < start < w.number[LATEST]:
        return 0
    before, looks, prior = log_likelihood(w), all_looks(w), log_prior(w)
    gain = by if whole else by + math.log((end - was) / (end - start))
    keep_state(w)
    w.sum[START] = start
    for at in range(int(w.sum[INFECTED])):
        i = w.mark[LIST, at]
        if w.mark[IS_FIRST, i] == 1:
            w.plant[TIME, i] = start
        elif w.plant[TIME, i] < about:
            w.plant[TIME, i] = about - factor * (about - w.plant[TIME, i])
            gain += by
    if with_rates:
        for p in (RATE, BACKGROUND, CONTACT):
            if w.param[FREE, p] > 0.0:
                w.param[THETA, p] -= by
    gain += all_looks(w) - looks
    if gain > -np.inf:
        sum_afresh(w)
        gain += log_likelihood(w) - before + log_prior(w) - prior
        if log_uniform() < gain:
            return 1
    undo(w)
    return 0


@numba.njit(I8(WORLD, V), **COMPILED)
def move_rates(w, step):
    """Try other rates at once, for which no pair is summed anew; return whether it was taken."""
    before = log_likelihood(w) + log_prior(w)
    rate, background, contact = w.param[THETA, RATE], w.param[THETA, BACKGROUND], w.param[THETA, CONTACT]
    for p in (RATE, BACKGROUND, CONTACT):
        if w.param[FREE, p] > 0.0:
            w.param[THETA, p] += step[p] * np.random.normal()
    if log_uniform() < log_likelihood(w) + log_prior(w) - before:
        return 1
    w.param[THETA, RATE], w.param[THETA, BACKGROUND], w.param[THETA, CONTACT] = rate, background, contact
    return 0

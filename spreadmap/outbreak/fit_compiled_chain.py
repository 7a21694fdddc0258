"""Compiled loop of the fit's sampler: many iterations of all moves, with one line of record for each."""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.outbreak.fit_compiled import hazard
from spreadmap.outbreak.fit_compiled_law import move_law
from spreadmap.outbreak.fit_compiled_moves import (
    move_hidden,
    move_hidden_first,
    move_mark,
    move_rates,
    move_start,
    move_stretch,
    move_swap,
    move_time,
    note_hidden,
)  # fmt: skip
from spreadmap.outbreak.fit_compiled_sums import sum_afresh
from spreadmap.outbreak.fit_types import (
    BACKGROUND,
    COMPILED,
    F8,
    FROM_KERNEL,
    FROM_TOUCH,
    FROM_WILD,
    I8,
    INFECTED,
    IS_FIRST,
    IS_NOTICED,
    LIST,
    PARAMETERS,
    RECEIVE,
    SEEDS,
    START,
    THETA,
    TIME,
    WORLD,
    M,
    V,
)  # fmt: skip

HIDDEN_MOVES = 3
"""Hidden infections tried per hidden infection and iteration, and five more [-]."""
RATE_MOVES = 4
"""Moves of the rates alone per iteration: they cost next to nothing, and the rates mix slowest otherwise [-]."""
LAW_MOVES = 12
"""Moves of all parameters at once per iteration, all upon one sum over pairs [-]."""
LINE = PARAMETERS + 4
"""Columns of a record: the parameters, start on the clock, infected, infected at the start, expected number of
infections from outside."""
(OF_TIME, OF_HIDDEN, OF_MARK, OF_HIDDEN_FIRST, OF_SWAP, OF_START, OF_STRETCH, OF_STRETCH_RATES, OF_RATES, OF_LAW) = (
    range(10)
)
"""Kinds of moves."""
KINDS = 10
STEP_START, STEP_STRETCH, STEP_STRETCH_RATES, STEP_LAW = PARAMETERS, PARAMETERS + 1, PARAMETERS + 2, PARAMETERS + 3
TRIES_HIDDEN, TRIES_FIRST = PARAMETERS + 4, PARAMETERS + 5
STEPS = PARAMETERS + 6
"""Sizes of steps: of each parameter in moves of the rates, of the start [d], of both stretches, of joint moves [-]; and how
many moves of hidden plants and of plants infected at the start are tried in one iteration. A number that followed the
state itself would draw from another law than the posterior."""


@numba.njit(F8(WORLD), **COMPILED)
def expected_outside(w):
    """Return how many of the later infections came from outside, by their share of the hazard at the time."""
    total, background = 0.0, math.exp(w.param[THETA, BACKGROUND])
    for at in range(int(w.sum[INFECTED])):
        i = w.mark[LIST, at]
        if w.mark[IS_FIRST, i] == 0:
            whole = hazard(w, i, w.plant[FROM_KERNEL, i], w.plant[FROM_TOUCH, i], w.plant[FROM_WILD, i])
            total += w.plant[RECEIVE, i] * background / whole
    return total


@numba.njit(numba.void(WORLD, V, M), **COMPILED)
def count_hidden(w, edge, hits):
    """Count every plant that is infected and was never noticed, by the stretch of the clock in which it was."""
    for at in range(int(w.sum[INFECTED])):
        i = w.mark[LIST, at]
        if w.mark[IS_NOTICED, i] == 0:
            stretch = np.searchsorted(edge, w.plant[TIME, i], side="right") - 1
            hits[i, min(max(stretch, 0), hits.shape[1] - 1)] += 1.0


@numba.njit(numba.void(WORLD, I8, M, V, M, M, V, M), **COMPILED)
def run_block(w, seed, root, step, record, tally, edge, hits):
    """Run as many iterations as `record` has lines; `tally` (kinds, 2) counts moves taken and tried.

    `hits` (tracked plants, stretches) counts hidden infections after every iteration by stretches between `edge`, not at
    all where it has no columns. The generator is that of the thread, seeded at the beginning: a block runs in one thread
    from end to end.
    """
    np.random.seed(seed)
    sum_afresh(w)
    may_hide, may_law = w.hide.shape[1] > 0, np.any(root != 0.0)
    for line in range(len(record)):
        count = int(w.sum[INFECTED])
        for _ in range(count):
            i = w.mark[LIST, int(count * np.random.random())]
            if w.mark[IS_FIRST, i] == 0:
                tally[OF_TIME, 0] += move_time(w, i)
                tally[OF_TIME, 1] += 1.0
        if may_hide:
            for _ in range(int(step[TRIES_HIDDEN])):
                tally[OF_HIDDEN, 0] += move_hidden(w)
                tally[OF_HIDDEN, 1] += 1.0
            for _ in range(int(step[TRIES_FIRST])):
                tally[OF_HIDDEN_FIRST, 0] += move_hidden_first(w)
                tally[OF_HIDDEN_FIRST, 1] += 1.0
        for _ in range(int(step[TRIES_FIRST])):
            tally[OF_MARK, 0] += move_mark(w)
            tally[OF_MARK, 1] += 1.0
        tally[OF_SWAP, 0] += move_swap(w)
        tally[OF_START, 0] += move_start(w, step[STEP_START])
        tally[OF_STRETCH, 0] += move_stretch(w, step[STEP_STRETCH], 0, 0)
        tally[OF_STRETCH_RATES, 0] += move_stretch(w, step[STEP_STRETCH_RATES], 1, line % 2)
        for kind in (OF_SWAP, OF_START, OF_STRETCH, OF_STRETCH_RATES):
            tally[kind, 1] += 1.0
        for _ in range(RATE_MOVES):
            tally[OF_RATES, 0] += move_rates(w, step)
            tally[OF_RATES, 1] += 1.0
        if may_law:
            tally[OF_LAW, 0] += move_law(w, root, step[STEP_LAW], LAW_MOVES)
            tally[OF_LAW, 1] += LAW_MOVES
        note_hidden(w)
        for p in range(PARAMETERS):
            record[line, p] = w.param[THETA, p]
        record[line, PARAMETERS] = w.sum[START]
        record[line, PARAMETERS + 1] = w.sum[INFECTED]
        record[line, PARAMETERS + 2] = w.sum[SEEDS]
        record[line, PARAMETERS + 3] = expected_outside(w)
        if hits.shape[1] > 0:
            count_hidden(w, edge, hits)

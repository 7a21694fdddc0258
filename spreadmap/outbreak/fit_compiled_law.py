"""Compiled moves of all parameters at once: what does not change with them is summed once, by bins of distance and bearing."""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.outbreak.fit_compiled import exposed, fill_table, hazard, log_prior, missed, sends_at, sent_until
from spreadmap.outbreak.fit_compiled_moves import log_uniform
from spreadmap.outbreak.fit_compiled_sums import sum_afresh
from spreadmap.outbreak.fit_types import (
    AT_BEGIN,
    AT_FROM,
    AT_GONE,
    AT_OUT,
    AT_RECEIVE,
    AT_REST,
    AT_SEND,
    AT_SENT,
    AT_TIME,
    BACK,
    BACKGROUND,
    BIN,
    BY_TIME,
    BY_TOUCH,
    COMPILED,
    CONTACT,
    END,
    F8,
    FROM_TOUCH,
    I8,
    INFECTED,
    INFECTIOUS_ON,
    IS_FIRST,
    LAST_STAMP,
    LIST,
    ODD_LIST,
    ODDS,
    OLD_BACK,
    OLD_TABLE,
    PARAMETERS,
    PLACE,
    RATE,
    RECEIVE,
    REVERSE,
    SENT,
    STAMP,
    STANDS_TO,
    START,
    TABLE,
    THETA,
    WILD_COUNTS,
    WORLD,
    M,
    N,
    V,
)  # fmt: skip

BY_BIN = numba.types.Tuple((V, V, N, N, V))


@numba.njit(numba.void(WORLD, I8, F8, V), **COMPILED)
def take_wild(w, i, days, wild):
    """Take what plant `i` misses of wild stands over so many days off the sums by bin."""
    for k in range(len(w.wild_send)):
        wild[w.wild_pair[i, k] & BIN] -= w.plant[RECEIVE, i] * days * w.wild_send[k]


@numba.njit(numba.void(WORLD, V, V), **COMPILED)
def take_odd(w, held, wild):
    """Take what plants that came or went meanwhile miss off the sums by bin; infected ones are reckoned with pairs."""
    start, end = w.sum[START], w.number[END]
    for at in range(int(w.number[ODDS])):
        i = w.mark[ODD_LIST, at]
        if w.mark[PLACE, i] >= 0:
            continue
        x = min(w.plant[STANDS_TO, i], end)
        take_wild(w, i, end - start - exposed(w.plant, start, i, x), wild)
        for other in range(int(w.sum[INFECTED])):
            j = w.mark[LIST, other]
            lost = missed(w.plant, j, w.plant[INFECTIOUS_ON, j], w.plant[SENT, j], i, x)
            held[int(w.bins[REVERSE, w.pair[i, j] & BIN])] -= w.plant[RECEIVE, i] * lost


@numba.njit(BY_BIN(WORLD), **COMPILED)
def sums_by_bin(w):
    """Return exposures by bin to infected plants and to wild stands, and who infected plants got how much from.

    The latter as bin and strength of every sender at each plant's time of infection, one plant of the list after the
    other, with the end of each plant's part.
    """
    n, bins, live = int(w.sum[INFECTED]), w.bins.shape[1], w.live
    start, end = w.sum[START], w.number[END]
    held, back, wild = np.zeros(bins), np.zeros(bins), w.bins[WILD_COUNTS] * (end - start)
    for at in range(n):
        j, sent = w.mark[LIST, at], live[AT_SENT, at]
        for b in range(bins):
            held[b] += w.counts[j, b] * sent
    most = n * (n - 1) // 2 + n  # of two plants only the earlier one can have infected the other
    senders, strength = np.empty(most, dtype=np.int64), np.empty(most)
    ends, length = np.empty(n, dtype=np.int64), 0
    for at in range(n):
        k = w.mark[LIST, at]
        row, u, since, is_first = w.pair[k], live[AT_TIME, at], live[AT_FROM, at], w.mark[IS_FIRST, k] == 1
        take_wild(w, k, end - start - exposed(w.plant, start, k, u), wild)
        for other in range(n):
            if other == at:
                continue
            i = w.mark[LIST, other]
            b = row[i] & BIN
            send, begin, out, rest, gone = (
                live[AT_SEND, other], live[AT_BEGIN, other], live[AT_OUT, other], live[AT_REST, other], live[AT_GONE, other]
            )  # fmt: skip
            lost = live[AT_SENT, other] - sent_until(send, begin, out, rest, gone, u)
            lost += sent_until(send, begin, out, rest, gone, min(since, u))
            now = sends_at(send, begin, out, rest, gone, u)
            back[b] += live[AT_RECEIVE, at] * lost
            if now > 0.0 and not is_first:
                senders[length], strength[length] = b, now
                length += 1
        ends[at] = length
    for b in range(bins):
        held[int(w.bins[REVERSE, b])] -= back[b]
    take_odd(w, held, wild)
    return held, wild, senders[:length], ends, strength[:length]


@numba.njit(F8(WORLD, V, V, N, N, V), **COMPILED)
def log_by_bin(w, held, wild, senders, ends, strength):
    """Return the log likelihood of times of infection for the table in use, from sums by bin."""
    table, back, theta = w.bins[TABLE], w.bins[BACK], w.param[THETA]
    total, by_kernel, by_wild, begin = 0.0, 0.0, 0.0, 0
    for at in range(int(w.sum[INFECTED])):
        i = w.mark[LIST, at]
        if w.mark[IS_FIRST, i] == 0:
            now, stands = 0.0, 0.0
            for e in range(begin, ends[at]):
                now += back[senders[e]] * strength[e]
            for k in range(len(w.wild_send)):
                stands += w.wild_send[k] * table[w.wild_pair[i, k] & BIN]
            total += math.log(hazard(w, i, now, w.plant[FROM_TOUCH, i], stands))
        begin = ends[at]
    for b in range(len(table)):
        by_kernel += held[b] * table[b]
        by_wild += wild[b] * table[b]
    total -= math.exp(theta[RATE]) * (by_kernel + by_wild) + math.exp(theta[CONTACT]) * w.sum[BY_TOUCH]
    return total - math.exp(theta[BACKGROUND]) * w.sum[BY_TIME]


@numba.njit(I8(WORLD, M, F8, I8), **COMPILED)
def move_law(w, root, step, tries):
    """Try other parameters of all kinds at once, so many times; return how often one was taken.

    Steps are of the covariance whose root is given. Days of infection stay as they are meanwhile.
    """
    held, wild, senders, ends, strength = sums_by_bin(w)
    current, taken = log_by_bin(w, held, wild, senders, ends, strength) + log_prior(w), 0
    draw, was = np.empty(PARAMETERS), np.empty(PARAMETERS)
    for _ in range(tries):
        w.bins[OLD_TABLE] = w.bins[TABLE]
        w.bins[OLD_BACK] = w.bins[BACK]
        for p in range(PARAMETERS):
            draw[p], was[p] = np.random.normal(), w.param[THETA, p]
        for p in range(PARAMETERS):
            for k in range(p + 1):
                w.param[THETA, p] += step * root[p, k] * draw[k]
        fill_table(w)
        other = log_by_bin(w, held, wild, senders, ends, strength) + log_prior(w)
        if log_uniform() < other - current:
            current, taken = other, taken + 1
            continue
        for p in range(PARAMETERS):
            w.param[THETA, p] = was[p]
        w.bins[TABLE] = w.bins[OLD_TABLE]
        w.bins[BACK] = w.bins[OLD_BACK]
    if taken > 0:
        w.sum[LAST_STAMP] += 1.0
        w.sum[STAMP] = w.sum[LAST_STAMP]
        sum_afresh(w)
    return taken

"""Compiled sums over pairs of infected plants: made afresh, and what one plant's change does to them."""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.outbreak.fit_compiled import (
    begin_of,
    bring_up,
    exposed,
    hazard,
    missed,
    sent_by,
    strength_at,
)  # fmt: skip
from spreadmap.outbreak.fit_types import (
    ALL_RECEIVE,
    AT_BEGIN,
    AT_OUT,
    AT_RECEIVE,
    AT_SEND,
    AT_SENT,
    AT_SPECIAL,
    AT_TIME,
    BACK,
    BACKGROUND,
    BIN,
    BY_KERNEL,
    BY_TIME,
    BY_TOUCH,
    BY_WILD,
    CHANGE_KERNEL,
    CHANGE_TOUCH,
    CHANGED,
    COMPILED,
    CONTACT,
    END,
    F8,
    FIRST,
    FROM_KERNEL,
    FROM_TOUCH,
    FROM_WILD,
    HIDDEN,
    HIDDEN_LIST,
    HIDDEN_PLACE,
    I8,
    INFECTED,
    INFECTIOUS_ON,
    IS_FIRST,
    IS_NOTICED,
    LIST,
    LIVE_ROWS,
    NEVER,
    ODD_LIST,
    ODDS,
    PLACE,
    RATE,
    REACH,
    RECEIVE,
    REMOVED_ON,
    REST,
    SEEDS,
    SEND,
    SENT,
    STANDS_FROM,
    STANDS_TO,
    START,
    TABLE,
    THETA,
    TIME,
    TOUCHING,
    WILD_COUNTS,
    WORLD,
)  # fmt: skip


@numba.njit(numba.types.boolean(WORLD, I8), **COMPILED)
def is_special(w, i):
    """Return whether plant `i` came after it may have begun, or leaves a rest that sends on."""
    return w.plant[REST, i] > 0.0 or w.plant[STANDS_FROM, i] > w.number[FIRST]


@numba.njit(numba.void(WORLD, I8), **COMPILED)
def set_live(w, i):
    """Write what the loops over pairs need of plant `i` to its place in the list of the infected."""
    at, plant = w.mark[PLACE, i], w.plant
    w.live[AT_TIME, at], w.live[AT_BEGIN, at] = plant[TIME, i], plant[INFECTIOUS_ON, i]
    w.live[AT_SENT, at], w.live[AT_OUT, at] = plant[SENT, i], plant[REMOVED_ON, i]
    w.live[AT_SEND, at], w.live[AT_RECEIVE, at] = plant[SEND, i], plant[RECEIVE, i]
    w.live[AT_SPECIAL, at] = 1.0 if is_special(w, i) else 0.0


@numba.njit(F8(F8, F8, F8), **COMPILED)
def span(begin, out, x):
    """Return for how long a plant infectious from `begin` to `out` sends until `x` [d on the clock]."""
    return max(min(x, out) - begin, 0.0)


@numba.njit(numba.types.UniTuple(F8, 2)(WORLD), **COMPILED)
def lost_of_pairs(w):
    """Return what infected plants send in all but not to each other, through the kernel and by touch.

    And add up what each of them gets at its time of infection. The later of two was never infectious before the earlier
    one was infected; pairs are gone through in the order of time.
    """
    n, live, start, table, back = int(w.sum[INFECTED]), w.live, w.sum[START], w.bins[TABLE], w.bins[BACK]
    order = np.argsort(live[AT_TIME, :n])
    plants, sorted_live = np.empty(n, dtype=np.int64), np.empty((LIVE_ROWS, n))
    for at in range(n):
        plants[at] = w.mark[LIST, order[at]]
        for row in range(LIVE_ROWS):
            sorted_live[row, at] = live[row, order[at]]
    time, begin, sent, out, send, receive, special = sorted_live
    by_kernel, by_touch = 0.0, 0.0
    got_kernel, got_touch = np.zeros(n), np.zeros(n)
    for at in range(n):
        i = plants[at]
        row, rest = w.pair[i], w.plant[REST, i] > 0.0
        for other in range(at + 1, n):
            pair = row[plants[other]]
            there, u = table[pair & BIN], time[other]
            if rest or special[other] > 0.0:
                lost = missed(w.plant, start, i, begin[at], sent[at], plants[other], u)
                now = strength_at(w.plant, i, begin[at], u)
            else:
                lost = sent[at] - send[at] * span(begin[at], out[at], u)
                now = send[at] if begin[at] <= u < out[at] else 0.0
            by_kernel += there * receive[other] * lost + back[pair & BIN] * receive[at] * sent[other]
            got_kernel[other] += there * now
            if pair > BIN:
                by_touch += receive[other] * lost + receive[at] * sent[other]
                got_touch[other] += now
    for at in range(n):
        w.plant[FROM_KERNEL, plants[at]], w.plant[FROM_TOUCH, plants[at]] = got_kernel[at], got_touch[at]
    return by_kernel, by_touch


@numba.njit(numba.void(WORLD), **COMPILED)
def sum_afresh(w):
    """Make all sums from times, marks and the table in use; the slow, plain way."""
    sums, end = w.sum, w.number[END]
    n, start = int(sums[INFECTED]), sums[START]
    by_kernel, by_touch = 0.0, 0.0
    wild_all = 0.0
    for b in range(w.bins.shape[1]):
        wild_all += w.bins[WILD_COUNTS, b] * w.bins[TABLE, b]
    by_wild, by_time = wild_all * (end - start), w.number[ALL_RECEIVE] * (end - start)
    for at in range(n):
        j = w.mark[LIST, at]
        bring_up(w, j)
        w.plant[INFECTIOUS_ON, j] = begin_of(w, w.plant[TIME, j])
        w.plant[SENT, j] = sent_by(w.plant, j, w.plant[INFECTIOUS_ON, j], end)
        w.plant[FROM_KERNEL, j], w.plant[FROM_TOUCH, j] = 0.0, 0.0
        set_live(w, j)
        by_kernel += w.plant[REACH, j] * w.plant[SENT, j]
        by_touch += w.plant[TOUCHING, j] * w.plant[SENT, j]
        short = w.plant[RECEIVE, j] * (end - start - exposed(w.plant, start, j, w.plant[TIME, j]))
        by_wild -= w.plant[FROM_WILD, j] * short
        by_time -= short
    lost_kernel, lost_touch = lost_of_pairs(w)
    by_kernel, by_touch = by_kernel - lost_kernel, by_touch - lost_touch
    for at in range(int(w.number[ODDS])):
        i = w.mark[ODD_LIST, at]
        if w.mark[PLACE, i] >= 0:
            continue
        bring_up(w, i)
        x = min(w.plant[STANDS_TO, i], end)
        for other in range(n):
            j = w.mark[LIST, other]
            pair = w.pair[i, j]
            lost = w.plant[RECEIVE, i] * missed(w.plant, start, j, w.plant[INFECTIOUS_ON, j], w.plant[SENT, j], i, x)
            by_kernel -= w.bins[BACK, pair & BIN] * lost
            if pair > BIN:
                by_touch -= lost
        short = w.plant[RECEIVE, i] * (end - start - exposed(w.plant, start, i, x))
        by_wild -= w.plant[FROM_WILD, i] * short
        by_time -= short
    sums[BY_KERNEL], sums[BY_TOUCH], sums[BY_WILD], sums[BY_TIME] = by_kernel, by_touch, by_wild, by_time


@numba.njit(F8(WORLD, I8, F8, I8), **COMPILED)
def weigh_change(w, i, u, seed):
    """Return by how much the log likelihood grows if plant `i` is infected at `u` (or never); keep what it takes.

    The differences of the sums stand in `w.new` and, for every plant whose force changes, in the rows of changes.
    """
    sums, end = w.sum, w.number[END]
    start, was, will = sums[START], w.mark[PLACE, i] >= 0, u < NEVER
    bring_up(w, i)
    x_idle = min(w.plant[STANDS_TO, i], end)
    x_old = w.plant[TIME, i] if was else x_idle
    x_new = u if will else x_idle
    begin_old, sent_old = (w.plant[INFECTIOUS_ON, i], w.plant[SENT, i]) if was else (NEVER, 0.0)
    begin_new = begin_of(w, u) if will else NEVER
    sent_new = sent_by(w.plant, i, begin_new, end) if will else 0.0
    d_kernel, d_touch = w.plant[REACH, i] * (sent_new - sent_old), w.plant[TOUCHING, i] * (sent_new - sent_old)
    kernel_now, touch_now, grown, ratio, changed = 0.0, 0.0, 0.0, 1.0, 0
    theta = w.param[THETA]
    rate, contact, background = math.exp(theta[RATE]), math.exp(theta[CONTACT]), math.exp(theta[BACKGROUND])
    receive, row, live, table, back = w.plant[RECEIVE, i], w.pair[i], w.live, w.bins[TABLE], w.bins[BACK]
    send, out, special, d_sent = w.plant[SEND, i], w.plant[REMOVED_ON, i], is_special(w, i), sent_new - sent_old
    for at in range(int(sums[INFECTED])):
        k = w.mark[LIST, at]
        if k == i:
            continue
        pair, time, begin = row[k], live[AT_TIME, at], live[AT_BEGIN, at]
        there, here = table[pair & BIN], back[pair & BIN]
        if special or live[AT_SPECIAL, at] > 0.0:
            lost = missed(w.plant, start, i, begin_new, sent_new, k, time)
            lost -= missed(w.plant, start, i, begin_old, sent_old, k, time)
            got = missed(w.plant, start, k, begin, live[AT_SENT, at], i, x_new)
            got -= missed(w.plant, start, k, begin, live[AT_SENT, at], i, x_old)
            now = strength_at(w.plant, i, begin_new, time) - strength_at(w.plant, i, begin_old, time)
            gets = strength_at(w.plant, k, begin, u)
        else:
            lost = d_sent - send * (span(begin_new, out, time) - span(begin_old, out, time))
            got = live[AT_SEND, at] * (span(begin, live[AT_OUT, at], x_old) - span(begin, live[AT_OUT, at], x_new))
            now = send * ((1.0 if begin_new <= time < out else 0.0) - (1.0 if begin_old <= time < out else 0.0))
            gets = live[AT_SEND, at] if begin <= u < live[AT_OUT, at] else 0.0
        d_kernel -= live[AT_RECEIVE, at] * there * lost + receive * here * got
        kernel_now += here * gets
        touch = 0.0
        if pair > BIN:
            touch = 1.0
            d_touch -= live[AT_RECEIVE, at] * lost + receive * got
            touch_now += gets
        if now != 0.0 and w.mark[IS_FIRST, k] == 0:
            before = (
                rate * (w.plant[FROM_KERNEL, k] + w.plant[FROM_WILD, k]) + contact * w.plant[FROM_TOUCH, k] + background
            )
            ratio *= max(before + (rate * there + contact * touch) * now, 1e-300) / max(before, 1e-300)
            if not 1e-100 < ratio < 1e100:
                grown, ratio = grown + math.log(ratio), 1.0
            w.plant[CHANGE_KERNEL, k], w.plant[CHANGE_TOUCH, k] = there * now, touch * now
            w.mark[CHANGED, changed] = k
            changed += 1
    grown += math.log(ratio)
    for at in range(int(w.number[ODDS])):
        k = w.mark[ODD_LIST, at]
        if w.mark[PLACE, k] >= 0 or k == i:
            continue
        pair, x = w.pair[i, k], min(w.plant[STANDS_TO, k], end)
        lost = missed(w.plant, start, i, begin_new, sent_new, k, x) if will else 0.0
        if was:
            lost -= missed(w.plant, start, i, begin_old, sent_old, k, x)
        d_kernel -= w.plant[RECEIVE, k] * w.bins[TABLE, pair & BIN] * lost
        if pair > BIN:
            d_touch -= w.plant[RECEIVE, k] * lost
    more = receive * (exposed(w.plant, start, i, x_new) - exposed(w.plant, start, i, x_old))
    if was and w.mark[IS_FIRST, i] == 0:
        grown -= math.log(hazard(w, i, w.plant[FROM_KERNEL, i], w.plant[FROM_TOUCH, i], w.plant[FROM_WILD, i]))
    if will and seed == 0:
        grown += math.log(hazard(w, i, kernel_now, touch_now, w.plant[FROM_WILD, i]))
    new = w.new
    new[0], new[1], new[2], new[3] = d_kernel, d_touch, w.plant[FROM_WILD, i] * more, more
    new[4], new[5], new[6], new[7], new[8] = kernel_now, touch_now, begin_new, sent_new, changed
    return grown - rate * (d_kernel + new[2]) - contact * d_touch - background * more


@numba.njit(numba.void(WORLD, I8, F8, I8), **COMPILED)
def mark_plant(w, i, u, seed):
    """Set time and mark of plant `i`, and whether it stands on the list of hidden infections."""
    sums = w.sum
    sums[SEEDS] += seed - w.mark[IS_FIRST, i]
    w.plant[TIME, i], w.mark[IS_FIRST, i] = u, seed
    listed, wanted = w.mark[HIDDEN_PLACE, i] >= 0, u < NEVER and seed == 0 and w.mark[IS_NOTICED, i] == 0
    length = int(sums[HIDDEN])
    if wanted and not listed:
        w.mark[HIDDEN_LIST, length], w.mark[HIDDEN_PLACE, i] = i, length
        sums[HIDDEN] += 1.0
    elif listed and not wanted:
        last = w.mark[HIDDEN_LIST, length - 1]
        w.mark[HIDDEN_LIST, w.mark[HIDDEN_PLACE, i]], w.mark[HIDDEN_PLACE, last] = last, w.mark[HIDDEN_PLACE, i]
        w.mark[HIDDEN_PLACE, i] = -1
        sums[HIDDEN] -= 1.0


@numba.njit(numba.void(WORLD, I8, F8, I8), **COMPILED)
def place_plant(w, i, u, seed):
    """Put plant `i` into, or take it off, the lists of the infected and of the hidden."""
    from_list = int(w.sum[INFECTED])
    if u < NEVER and w.mark[PLACE, i] < 0:
        w.mark[LIST, from_list], w.mark[PLACE, i] = i, from_list
        w.sum[INFECTED] += 1.0
    elif u >= NEVER and w.mark[PLACE, i] >= 0:
        last = w.mark[LIST, from_list - 1]
        w.mark[LIST, w.mark[PLACE, i]], w.mark[PLACE, last] = last, w.mark[PLACE, i]
        set_live(w, last)
        w.mark[PLACE, i] = -1
        w.sum[INFECTED] -= 1.0
    mark_plant(w, i, u, seed)
    if u < NEVER:
        set_live(w, i)


@numba.njit(numba.void(WORLD, I8, F8, I8), **COMPILED)
def make_change(w, i, u, seed):
    """Make the change that `weigh_change` weighed last."""
    sums, new = w.sum, w.new
    for at in range(int(new[8])):
        k = w.mark[CHANGED, at]
        w.plant[FROM_KERNEL, k] += w.plant[CHANGE_KERNEL, k]
        w.plant[FROM_TOUCH, k] += w.plant[CHANGE_TOUCH, k]
    sums[BY_KERNEL] += new[0]
    sums[BY_TOUCH] += new[1]
    sums[BY_WILD] += new[2]
    sums[BY_TIME] += new[3]
    w.plant[FROM_KERNEL, i], w.plant[FROM_TOUCH, i], w.plant[INFECTIOUS_ON, i], w.plant[SENT, i] = (
        new[4],
        new[5],
        new[6],
        new[7],
    )
    place_plant(w, i, u, seed)

"""Compiled sums over pairs of infected plants: made afresh, and what one plant's change does to them."""

from __future__ import annotations

import math
from typing import Any

import numba
import numpy as np

from spreadmap.outbreak.fit_compiled import (
    begin_of,
    bring_up,
    exposed,
    hazard,
    missed,
    sends_at,
    sent_by,
    sent_until,
    strength_at,
)  # fmt: skip
from spreadmap.outbreak.fit_types import (
    ALL_RECEIVE,
    ASIDE,
    AT_BEGIN,
    AT_FROM,
    AT_GONE,
    AT_HERE,
    AT_OUT,
    AT_RECEIVE,
    AT_REST,
    AT_SEND,
    AT_SENT,
    AT_THERE,
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
    FROM_KERNEL,
    FROM_TOUCH,
    FROM_WILD,
    GONE_ON,
    HIDDEN,
    HIDDEN_LIST,
    HIDDEN_PLACE,
    I8,
    INFECTED,
    INFECTIOUS_ON,
    IS_FIRST,
    IS_NOTICED,
    LIST,
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
    SORTED_ROWS,
    STANDS_FROM,
    STANDS_TO,
    START,
    TABLE,
    THETA,
    TIME,
    TOUCHING,
    WILD_COUNTS,
    WORLD,
    M,
    N,
    V,
)  # fmt: skip

FAST: Any = {"fastmath": {"contract", "reassoc", "nsz", "nnan"}}
"""For loops of sums: their order is the compiler's, and the same every time."""


@numba.njit(numba.void(WORLD, I8), **COMPILED)
def set_live(w, i):
    """Write what the loops over pairs need of plant `i` to its place in the list of the infected."""
    at, plant = w.mark[PLACE, i], w.plant
    w.live[AT_TIME, at], w.live[AT_BEGIN, at] = plant[TIME, i], plant[INFECTIOUS_ON, i]
    w.live[AT_SENT, at], w.live[AT_OUT, at] = plant[SENT, i], plant[REMOVED_ON, i]
    w.live[AT_SEND, at], w.live[AT_RECEIVE, at] = plant[SEND, i], plant[RECEIVE, i]
    w.live[AT_REST, at], w.live[AT_GONE, at] = plant[REST, i], plant[GONE_ON, i]
    w.live[AT_FROM, at] = plant[STANDS_FROM, i]


@numba.njit(F8(M, I8, V, V, V), **COMPILED, **FAST)
def lost_to_later(live, at, there, here, got):
    """Return what the infected at one place in the order of time sends, but not to the later ones, and they to it.

    `live` is in the order of time. And add up what each of the later ones gets from it at its time of infection.
    """
    send, begin, out, rest, gone = (
        live[AT_SEND, at], live[AT_BEGIN, at], live[AT_OUT, at], live[AT_REST, at], live[AT_GONE, at]
    )  # fmt: skip
    sent, receive, total = live[AT_SENT, at], live[AT_RECEIVE, at], 0.0
    for other in range(at + 1, live.shape[1]):
        u = live[AT_TIME, other]
        lost = sent - sent_until(send, begin, out, rest, gone, u)
        lost += sent_until(send, begin, out, rest, gone, min(live[AT_FROM, other], u))
        total += there[other] * live[AT_RECEIVE, other] * lost + here[other] * receive * live[AT_SENT, other]
        got[other] += there[other] * sends_at(send, begin, out, rest, gone, u)
    return total


@numba.njit(I8(WORLD, N, I8, V, V, N), **COMPILED)
def look_up_later(w, plants, at, there, here, touching):
    """Write the densities between a plant and those after it; return how many touch it, and which."""
    row, table, back, count = w.pair[plants[at]], w.bins[TABLE], w.bins[BACK], 0
    for other in range(at + 1, len(plants)):
        pair = row[plants[other]]
        there[other], here[other] = table[pair & BIN], back[pair & BIN]
        if pair > BIN:
            touching[count] = other
            count += 1
    return count


@numba.njit(numba.types.UniTuple(F8, 2)(WORLD), **COMPILED)
def lost_of_pairs(w):
    """Return what infected plants send in all but not to each other, through the kernel and by touch.

    And add up what each of them gets at its time of infection. The later of two was never infectious before the earlier
    one was infected; pairs are gone through in the order of time.
    """
    n = int(w.sum[INFECTED])
    order = np.argsort(w.live[AT_TIME, :n])
    plants, live = np.empty(n, dtype=np.int64), np.empty((SORTED_ROWS, n))
    for at in range(n):
        plants[at] = w.mark[LIST, order[at]]
        for row in range(SORTED_ROWS):
            live[row, at] = w.live[row, order[at]]
    by_kernel, by_touch, there, here = 0.0, 0.0, np.empty(n), np.empty(n)
    got_kernel, got_touch, touching = np.zeros(n), np.zeros(n), np.empty(n, dtype=np.int64)
    for at in range(n):
        count = look_up_later(w, plants, at, there, here, touching)
        by_kernel += lost_to_later(live, at, there, here, got_kernel)
        for number in range(count):
            other = touching[number]
            i, k, u = plants[at], plants[other], live[AT_TIME, other]
            lost = missed(w.plant, i, live[AT_BEGIN, at], live[AT_SENT, at], k, u)
            by_touch += live[AT_RECEIVE, other] * lost + live[AT_RECEIVE, at] * live[AT_SENT, other]
            got_touch[other] += strength_at(w.plant, i, live[AT_BEGIN, at], u)
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
            lost = w.plant[RECEIVE, i] * missed(w.plant, j, w.plant[INFECTIOUS_ON, j], w.plant[SENT, j], i, x)
            by_kernel -= w.bins[BACK, pair & BIN] * lost
            if pair > BIN:
                by_touch -= lost
        short = w.plant[RECEIVE, i] * (end - start - exposed(w.plant, start, i, x))
        by_wild -= w.plant[FROM_WILD, i] * short
        by_time -= short
    sums[BY_KERNEL], sums[BY_TOUCH], sums[BY_WILD], sums[BY_TIME] = by_kernel, by_touch, by_wild, by_time


@numba.njit(I8(WORLD, I8, F8, F8), **COMPILED)
def look_up_pairs(w, i, begin_new, begin_old):
    """Write the densities between plant `i` and the infected; return how many of these are looked at once more, and which.

    That is whoever touches it, and whoever it can send to at that plant's time of infection under one of the two times at
    which it begins to send.
    """
    row, live, table, back, gone = w.pair[i], w.live, w.bins[TABLE], w.bins[BACK], w.plant[GONE_ON, i]
    count, first, last = 0, min(begin_new, begin_old), max(begin_new, begin_old)
    for at in range(int(w.sum[INFECTED])):
        pair, time = row[w.mark[LIST, at]], live[AT_TIME, at]
        live[AT_THERE, at], live[AT_HERE, at] = table[pair & BIN], back[pair & BIN]
        w.mark[ASIDE, count] = at
        count += 1 if pair > BIN or (first <= time < last and time < gone) else 0
    if w.mark[PLACE, i] >= 0:
        live[AT_THERE, w.mark[PLACE, i]], live[AT_HERE, w.mark[PLACE, i]] = 0.0, 0.0
    return count


@numba.njit(F8(M, I8, F8, F8, F8, F8, F8, F8, F8, F8, F8, F8, F8), **COMPILED, **FAST)
def lost_of_change(live, n, send, out, rest, gone, since, receive, d_sent, begin_new, begin_old, x_new, x_old):
    """Return by how much what does not reach its receiver grows, between a plant and the first `n` infected.

    The plant begins to send at another time, and the end of its exposure changes; densities are those of `look_up_pairs`.
    """
    total = 0.0
    for at in range(n):
        time = live[AT_TIME, at]
        came = min(live[AT_FROM, at], time)
        lost = d_sent - sent_until(send, begin_new, out, rest, gone, time)
        lost += sent_until(send, begin_old, out, rest, gone, time)
        lost += sent_until(send, begin_new, out, rest, gone, came) - sent_until(send, begin_old, out, rest, gone, came)
        other, begin, leaves = live[AT_SEND, at], live[AT_BEGIN, at], live[AT_OUT, at]
        stays, ends = live[AT_REST, at], live[AT_GONE, at]
        got = sent_until(other, begin, leaves, stays, ends, x_old) - sent_until(
            other, begin, leaves, stays, ends, x_new
        )
        got += sent_until(other, begin, leaves, stays, ends, min(since, x_new))
        got -= sent_until(other, begin, leaves, stays, ends, min(since, x_old))
        total += live[AT_RECEIVE, at] * live[AT_THERE, at] * lost + receive * live[AT_HERE, at] * got
    return total


@numba.njit(F8(M, I8, F8), **COMPILED, **FAST)
def got_at(live, n, u):
    """Return what a plant gets at `u` from the first `n` infected, by the densities of `look_up_pairs` [m^-2]."""
    total = 0.0
    for at in range(n):
        total += live[AT_HERE, at] * sends_at(
            live[AT_SEND, at], live[AT_BEGIN, at], live[AT_OUT, at], live[AT_REST, at], live[AT_GONE, at], u
        )
    return total


@numba.njit(F8(WORLD, I8, F8, I8), **COMPILED)
def weigh_change(w, i, u, seed):
    """Return by how much the log likelihood grows if plant `i` is infected at `u` (or never); keep what it takes.

    The differences of the sums stand in `w.new` and, for every plant whose force changes, in the rows of changes.
    """
    plant, live, end, n = w.plant, w.live, w.number[END], int(w.sum[INFECTED])
    was, will = w.mark[PLACE, i] >= 0, u < NEVER
    bring_up(w, i)
    x_idle = min(plant[STANDS_TO, i], end)
    x_old = plant[TIME, i] if was else x_idle
    x_new = u if will else x_idle
    begin_old, sent_old = (plant[INFECTIOUS_ON, i], plant[SENT, i]) if was else (NEVER, 0.0)
    begin_new = begin_of(w, u) if will else NEVER
    sent_new = sent_by(plant, i, begin_new, end) if will else 0.0
    receive, d_sent = plant[RECEIVE, i], sent_new - sent_old
    aside = look_up_pairs(w, i, begin_new, begin_old)
    d_kernel, d_touch = plant[REACH, i] * d_sent, plant[TOUCHING, i] * d_sent
    d_kernel -= lost_of_change(
        live, n, plant[SEND, i], plant[REMOVED_ON, i], plant[REST, i], plant[GONE_ON, i], plant[STANDS_FROM, i],
        receive, d_sent, begin_new, begin_old, x_new, x_old,
    )  # fmt: skip
    kernel_now = got_at(live, n, u) if will else 0.0
    touch_now, grown, ratio, changed = 0.0, 0.0, 1.0, 0
    theta = w.param[THETA]
    rate, contact, background = math.exp(theta[RATE]), math.exp(theta[CONTACT]), math.exp(theta[BACKGROUND])
    for number in range(aside):
        at = w.mark[ASIDE, number]
        k, there, time, touch = w.mark[LIST, at], live[AT_THERE, at], live[AT_TIME, at], 0.0
        if k == i:
            continue
        now = strength_at(plant, i, begin_new, time) - strength_at(plant, i, begin_old, time)
        if w.pair[i, k] > BIN:
            begin, sent, touch = live[AT_BEGIN, at], live[AT_SENT, at], 1.0
            lost = missed(plant, i, begin_new, sent_new, k, time) - missed(plant, i, begin_old, sent_old, k, time)
            got = missed(plant, k, begin, sent, i, x_new) - missed(plant, k, begin, sent, i, x_old)
            d_touch -= live[AT_RECEIVE, at] * lost + receive * got
            touch_now += strength_at(plant, k, begin, u)
        if now != 0.0 and w.mark[IS_FIRST, k] == 0:
            before = rate * (plant[FROM_KERNEL, k] + plant[FROM_WILD, k]) + contact * plant[FROM_TOUCH, k] + background
            ratio *= max(before + (rate * there + contact * touch) * now, 1e-300) / max(before, 1e-300)
            if not 1e-100 < ratio < 1e100:
                grown, ratio = grown + math.log(ratio), 1.0
            plant[CHANGE_KERNEL, k], plant[CHANGE_TOUCH, k] = there * now, touch * now
            w.mark[CHANGED, changed] = k
            changed += 1
    grown += math.log(ratio)
    for at in range(int(w.number[ODDS])):
        k = w.mark[ODD_LIST, at]
        if w.mark[PLACE, k] >= 0 or k == i:
            continue
        pair, x = w.pair[i, k], min(plant[STANDS_TO, k], end)
        lost = missed(plant, i, begin_new, sent_new, k, x) - missed(plant, i, begin_old, sent_old, k, x)
        d_kernel -= plant[RECEIVE, k] * w.bins[TABLE, pair & BIN] * lost
        if pair > BIN:
            d_touch -= plant[RECEIVE, k] * lost
    more = receive * (exposed(plant, w.sum[START], i, x_new) - exposed(plant, w.sum[START], i, x_old))
    if was and w.mark[IS_FIRST, i] == 0:
        grown -= math.log(hazard(w, i, plant[FROM_KERNEL, i], plant[FROM_TOUCH, i], plant[FROM_WILD, i]))
    if will and seed == 0:
        grown += math.log(hazard(w, i, kernel_now, touch_now, plant[FROM_WILD, i]))
    new = w.new
    new[0], new[1], new[2], new[3] = d_kernel, d_touch, plant[FROM_WILD, i] * more, more
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

"""Compiled likelihood of the fit: the kernel by bins, sums over pairs, and what one plant's change does to them."""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.outbreak.fit_types import (
    ALL_RECEIVE,
    BACK,
    BACKGROUND,
    BIN,
    BY_KERNEL,
    BY_TIME,
    BY_TOUCH,
    BY_WILD,
    CHANGE_KERNEL,
    CHANGE_TOUCH,
    COMPILED,
    CONTACT,
    CUT,
    DISC_M,
    EAST,
    END,
    F8,
    FIXED,
    FREE,
    FROM_KERNEL,
    FROM_TOUCH,
    FROM_WILD,
    GONE_ON,
    HIDDEN,
    HIDDEN_LIST,
    HIDDEN_PLACE,
    I8,
    INFECTED,
    INFECTIOUS,
    INFECTIOUS_ON,
    IS_FIRST,
    IS_NOTICED,
    LIST,
    LOG_R0,
    LOG_STEP,
    LOOK_DAY,
    LOOK_FIRST,
    LOOK_SEASON,
    MEDIAN,
    NEAR_M,
    NEVER,
    NORTH,
    ODD_LIST,
    ODDS,
    PARAMETERS,
    PASS_SHOWING,
    PASS_SILENT,
    PLACE,
    PRIOR_MEAN,
    PRIOR_SD,
    RATE,
    REACH,
    RECEIVE,
    REMOVED_ON,
    REST,
    REVERSE,
    SCALE,
    SEEDS,
    SEND,
    SENT,
    SHAPE,
    SIGMA,
    STAMP,
    STAMPED,
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
    V,
)  # fmt: skip

SECTORS = 24
NEAR_DISCS = 8.0
"""Beyond so many canopy radii the kernel at the middle stands for its mean over the disc [-]."""


@numba.njit(F8(V, F8), **COMPILED)
def day_at(clock, u):
    """Return the calendar day [d] at which the clock of flight weights shows `u`; after a rest, its end."""
    low, high = 0, len(clock) - 1
    if u >= clock[high]:
        return float(high) + (u - clock[high])
    while high - low > 1:
        middle = (low + high) // 2
        if clock[middle] <= u:
            low = middle
        else:
            high = middle
    return low + (u - clock[low]) / (clock[low + 1] - clock[low])


@numba.njit(F8(V, F8), **COMPILED)
def sum_at(sums, day):
    """Return a running sum over days at any day, straight between midnights, one a day beyond the last."""
    last = len(sums) - 1
    if day >= last:
        return sums[last] + (day - last)
    if day <= 0.0:
        return sums[0]
    k = int(day)
    return sums[k] + (day - k) * (sums[k + 1] - sums[k])


@numba.njit(F8(V, F8), **COMPILED)
def share_showing(number, season_days):
    """Return the share of infected plants that show after so many season days [-]."""
    if number[FIXED] > 0.0:
        return 1.0 if season_days >= number[MEDIAN] else 0.0
    if season_days <= 0.0:
        return 0.0
    z = math.log(season_days / number[MEDIAN]) / number[SIGMA]
    share = 0.5 * math.erfc(-z / math.sqrt(2.0))
    return max(0.0, (share - number[CUT]) / (1.0 - number[CUT]))


@numba.njit(F8(WORLD, I8, F8), **COMPILED)
def log_looks(w, i, u):
    """Return the log chance of all looks at plant `i` if it was infected at `u` on the clock."""
    day = day_at(w.days[0], u)
    since = sum_at(w.days[1], day)
    first, last = w.mark[LOOK_FIRST, i], w.mark[LOOK_FIRST, i + 1]
    if w.mark[IS_NOTICED, i] and w.looks[LOOK_DAY, last - 1] < day:
        return -np.inf
    showing, silent, before = 0.0, 1.0, 0.0
    for k in range(first, last):
        if w.looks[LOOK_DAY, k] < day:
            continue
        share = share_showing(w.number, w.looks[LOOK_SEASON, k] - since)
        showing = (showing + silent * max(share - before, 0.0)) * w.looks[PASS_SHOWING, k]
        silent *= w.looks[PASS_SILENT, k]
        before = max(share, before)
    total = showing + silent * (1.0 - before)
    return math.log(total) if total > 0.0 else -np.inf


@numba.njit(F8(V, I8, F8), **COMPILED)
def cubic(values, k, x):
    """Return the cubic through four even values, `k - 1` to `k + 2`, at a part `x` of the way from `k` to `k + 1`."""
    a, b, c, d = values[k - 1], values[k], values[k + 1], values[k + 2]
    return (
        b * (1.0 - x * x) * (2.0 - x) / 2.0
        + c * x * (1.0 + x) * (2.0 - x) / 2.0
        - a * x * (1.0 - x) * (2.0 - x) / 6.0
        - d * x * (1.0 - x * x) / 6.0
    )


@numba.njit(F8(WORLD, F8, F8, F8), **COMPILED)
def kernel_at(w, r, log_f, log_shape):
    """Return the location density at a distance [m^-2], lengths times exp(log_f), shape times exp(log_shape)."""
    number, log_k, grid = w.number, w.log_k, w.shape_grid
    at = (math.log(max(r, 1e-9)) - log_f - number[LOG_R0]) / number[LOG_STEP]
    at = min(max(at, 1.0), log_k.shape[1] - 2.000001)
    k = int(at)
    part = at - k
    value = cubic(log_k[0], k, part)
    if len(grid) > 1:
        place = (log_shape - grid[0]) / (grid[1] - grid[0])
        place = min(max(place, 0.0), len(grid) - 1.000001)
        row = int(place)
        low, high = cubic(log_k[row], k, part), cubic(log_k[row + 1], k, part)
        value = low + (place - row) * (high - low)
    return math.exp(value - 2.0 * log_f)


@numba.njit(numba.void(WORLD), **COMPILED)
def fill_table(w):
    """Fill the density of every bin [m^-2], and that of the way back, for the parameters as they are."""
    number, disc, theta = w.number, w.disc, w.param[THETA]
    table, back = w.bins[TABLE], w.bins[BACK]
    weight = np.empty(SECTORS)
    for s in range(SECTORS):
        bearing = 2.0 * math.pi * s / SECTORS
        weight[s] = math.exp(theta[EAST] * math.sin(bearing) + theta[NORTH] * math.cos(bearing))
    weight /= weight.mean()
    near = number[NEAR_M]
    for ring in range(len(w.ring_m)):
        r, density = w.ring_m[ring], 0.0
        if r > NEAR_DISCS * number[DISC_M]:
            density = kernel_at(w, r, theta[SCALE], theta[SHAPE])
        else:
            for p in range(len(disc)):
                east, north = r + number[DISC_M] * disc[p, 0], number[DISC_M] * disc[p, 1]
                density += disc[p, 2] * kernel_at(w, math.sqrt(east * east + north * north), theta[SCALE], theta[SHAPE])
        bend = 1.0 if near <= 0.0 else -math.expm1(-((r / near) ** 2))
        for s in range(SECTORS):
            table[ring * SECTORS + s] = density * (1.0 + (weight[s] - 1.0) * bend)
    for b in range(len(table)):
        back[b] = table[int(w.bins[REVERSE, b])]


@numba.njit(F8(M, I8, F8, F8), **COMPILED)
def sent_by(plant, j, begin, x):
    """Return strength times time that plant `j`, infectious since `begin`, has sent until clock time `x` [plant d]."""
    whole = min(x, plant[REMOVED_ON, j]) - begin
    total = whole if whole > 0.0 else 0.0
    if plant[REST, j] > 0.0:
        part = min(x, plant[GONE_ON, j]) - max(begin, plant[REMOVED_ON, j])
        if part > 0.0:
            total += plant[REST, j] * part
    return plant[SEND, j] * total


@numba.njit(F8(M, I8, F8, F8), **COMPILED)
def strength_at(plant, j, begin, x):
    """Return how strongly plant `j`, infectious since `begin`, sends at clock time `x` [medium plants]."""
    if x < begin:
        return 0.0
    if x < plant[REMOVED_ON, j]:
        return plant[SEND, j]
    return plant[SEND, j] * plant[REST, j] if x < plant[GONE_ON, j] else 0.0


@numba.njit(F8(WORLD, F8), **COMPILED)
def begin_of(w, u):
    """Return when a plant infected at `u` becomes infectious, on the clock."""
    if w.number[INFECTIOUS] == 0.0:
        return u
    return sum_at(w.days[0], day_at(w.days[0], u) + w.number[INFECTIOUS])


@numba.njit(F8(M, F8, I8, F8), **COMPILED)
def exposed(plant, start, i, x):
    """Return how long plant `i` stood exposed from the start to `x` [d on the clock]."""
    return max(0.0, x - max(start, plant[STANDS_FROM, i]))


@numba.njit(F8(M, F8, I8, F8, F8, I8, F8), **COMPILED)
def missed(plant, start, j, begin, sent, i, x):
    """Return what plant `j` sends in all but not to plant `i`, exposed from its planting to `x` only [plant d]."""
    lost = sent - sent_by(plant, j, begin, x)
    if plant[STANDS_FROM, i] > start:
        lost += sent_by(plant, j, begin, min(plant[STANDS_FROM, i], x))
    return lost


@numba.njit(F8(numba.float32[::1], V), fastmath={"contract", "reassoc", "nsz"}, **COMPILED)
def dot(counts, values):
    """Return the sum of products; the order of the sum is the compiler's, and the same every time."""
    total = 0.0
    for b in range(len(counts)):
        total += counts[b] * values[b]
    return total


@numba.njit(numba.void(WORLD, I8), **COMPILED)
def bring_up(w, i):
    """Make what plant `i` sends to all, and gets from wild stands, that of the table in use."""
    if w.mark[STAMPED, i] == int(w.sum[STAMP]):
        return
    w.plant[REACH, i] = dot(w.counts[i], w.bins[TABLE])
    wild = 0.0
    for k in range(len(w.wild_send)):
        wild += w.wild_send[k] * w.bins[TABLE, w.wild_pair[i, k] & BIN]
    w.plant[FROM_WILD, i] = wild
    w.mark[STAMPED, i] = int(w.sum[STAMP])


@numba.njit(F8(WORLD, I8, F8, F8, F8), **COMPILED)
def hazard(w, i, by_kernel, by_touch, by_wild):
    """Return infections of plant `i` per day of full flight."""
    theta = w.param[THETA]
    force = math.exp(theta[RATE]) * (by_kernel + by_wild) + math.exp(theta[CONTACT]) * by_touch
    return w.plant[RECEIVE, i] * max(force + math.exp(theta[BACKGROUND]), 1e-300)


@numba.njit(F8(WORLD), **COMPILED)
def log_likelihood(w):
    """Return the log likelihood of times of infection from the sums in the state; looks are apart."""
    total = 0.0
    for at in range(int(w.sum[INFECTED])):
        i = w.mark[LIST, at]
        if w.mark[IS_FIRST, i] == 0:
            total += math.log(hazard(w, i, w.plant[FROM_KERNEL, i], w.plant[FROM_TOUCH, i], w.plant[FROM_WILD, i]))
    theta, sums = w.param[THETA], w.sum
    return (
        total
        - math.exp(theta[RATE]) * (sums[BY_KERNEL] + sums[BY_WILD])
        - math.exp(theta[CONTACT]) * sums[BY_TOUCH]
        - math.exp(theta[BACKGROUND]) * sums[BY_TIME]
    )


@numba.njit(F8(WORLD), **COMPILED)
def log_prior(w):
    """Return the log prior density of the parameters that are free, up to a constant."""
    total = 0.0
    theta = w.param[THETA]
    for p in range(PARAMETERS):
        if w.param[FREE, p] > 0.0:
            total -= 0.5 * ((theta[p] - w.param[PRIOR_MEAN, p]) / w.param[PRIOR_SD, p]) ** 2
    return total


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
        by_kernel += w.plant[REACH, j] * w.plant[SENT, j]
        by_touch += w.plant[TOUCHING, j] * w.plant[SENT, j]
    for at in range(n):
        i = w.mark[LIST, at]
        u, receive, kernel_now, touch_now = w.plant[TIME, i], w.plant[RECEIVE, i], 0.0, 0.0
        for other in range(n):
            j = w.mark[LIST, other]
            if j == i:
                continue
            pair = w.pair[i, j]
            density, touch = w.bins[BACK, pair & BIN], 1.0 if pair > BIN else 0.0
            lost = receive * missed(w.plant, start, j, w.plant[INFECTIOUS_ON, j], w.plant[SENT, j], i, u)
            by_kernel -= density * lost
            by_touch -= touch * lost
            now = strength_at(w.plant, j, w.plant[INFECTIOUS_ON, j], u)
            kernel_now += density * now
            touch_now += touch * now
        w.plant[FROM_KERNEL, i], w.plant[FROM_TOUCH, i] = kernel_now, touch_now
        short = receive * (end - start - exposed(w.plant, start, i, u))
        by_wild -= w.plant[FROM_WILD, i] * short
        by_time -= short
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

    The differences of the sums stand in `w.new` and, for every infected plant, in the rows of changes.
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
    kernel_now, touch_now, grown = 0.0, 0.0, 0.0
    theta = w.param[THETA]
    rate, contact, background = math.exp(theta[RATE]), math.exp(theta[CONTACT]), math.exp(theta[BACKGROUND])
    receive = w.plant[RECEIVE, i]
    for at in range(int(sums[INFECTED])):
        k = w.mark[LIST, at]
        w.plant[CHANGE_KERNEL, k], w.plant[CHANGE_TOUCH, k] = 0.0, 0.0
        if k == i:
            continue
        pair = w.pair[i, k]
        there, here, touch = w.bins[TABLE, pair & BIN], w.bins[BACK, pair & BIN], 1.0 if pair > BIN else 0.0
        lost = missed(w.plant, start, i, begin_new, sent_new, k, w.plant[TIME, k]) if will else 0.0
        if was:
            lost -= missed(w.plant, start, i, begin_old, sent_old, k, w.plant[TIME, k])
        got = missed(w.plant, start, k, w.plant[INFECTIOUS_ON, k], w.plant[SENT, k], i, x_new)
        got -= missed(w.plant, start, k, w.plant[INFECTIOUS_ON, k], w.plant[SENT, k], i, x_old)
        d_kernel -= w.plant[RECEIVE, k] * there * lost + receive * here * got
        d_touch -= touch * (w.plant[RECEIVE, k] * lost + receive * got)
        if w.mark[IS_FIRST, k] == 0:
            now = strength_at(w.plant, i, begin_new, w.plant[TIME, k]) if will else 0.0
            if was:
                now -= strength_at(w.plant, i, begin_old, w.plant[TIME, k])
            if now != 0.0:
                before = (
                    rate * (w.plant[FROM_KERNEL, k] + w.plant[FROM_WILD, k])
                    + contact * w.plant[FROM_TOUCH, k]
                    + background
                )
                after = max(before + (rate * there + contact * touch) * now, 1e-300)
                w.plant[CHANGE_KERNEL, k], w.plant[CHANGE_TOUCH, k] = there * now, touch * now
                grown += math.log(after / max(before, 1e-300))
        if will and seed == 0:
            now = strength_at(w.plant, k, w.plant[INFECTIOUS_ON, k], u)
            kernel_now += here * now
            touch_now += touch * now
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
    new[4], new[5], new[6], new[7] = kernel_now, touch_now, begin_new, sent_new
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
        w.mark[PLACE, i] = -1
        w.sum[INFECTED] -= 1.0
    mark_plant(w, i, u, seed)


@numba.njit(numba.void(WORLD, I8, F8, I8), **COMPILED)
def make_change(w, i, u, seed):
    """Make the change that `weigh_change` weighed last."""
    sums, new = w.sum, w.new
    for at in range(int(sums[INFECTED])):
        k = w.mark[LIST, at]
        if w.plant[CHANGE_KERNEL, k] != 0.0 or w.plant[CHANGE_TOUCH, k] != 0.0:
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

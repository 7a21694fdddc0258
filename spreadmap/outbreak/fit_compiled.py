"""Compiled likelihood of the fit: clocks, looks, the kernel by bins, and what one plant sends, gets and misses."""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.outbreak.fit_types import (
    BACK,
    BACKGROUND,
    BIN,
    BY_KERNEL,
    BY_TIME,
    BY_TOUCH,
    BY_WILD,
    COMPILED,
    CONTACT,
    CUT,
    DISC_M,
    EAST,
    F8,
    FIXED,
    FREE,
    FROM_KERNEL,
    FROM_TOUCH,
    FROM_WILD,
    GONE_ON,
    I8,
    INFECTED,
    INFECTIOUS,
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
    NORTH,
    PARAMETERS,
    PASS_SHOWING,
    PASS_SILENT,
    PRIOR_MEAN,
    PRIOR_SD,
    RATE,
    REACH,
    RECEIVE,
    REMOVED_ON,
    REST,
    REVERSE,
    SCALE,
    SECTORS,
    SEND,
    SHAPE,
    SIGMA,
    STAMP,
    STAMPED,
    STANDS_FROM,
    TABLE,
    THETA,
    WORLD,
    M,
    V,
)  # fmt: skip

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


@numba.njit(F8(F8, F8, F8, F8, F8, F8), **COMPILED)
def sent_until(send, begin, out, rest, gone, x):
    """Return strength times time sent until clock time `x` by a plant infectious since `begin` [plant d].

    It is removed at `out`, where a share `rest` of its strength stays until `gone`.
    """
    whole, part = max(min(x, out) - begin, 0.0), max(min(x, gone) - max(begin, out), 0.0)
    return send * (whole + rest * part)


@numba.njit(F8(F8, F8, F8, F8, F8, F8), **COMPILED)
def sends_at(send, begin, out, rest, gone, x):
    """Return how strongly such a plant sends at clock time `x` [medium plants]."""
    share = 1.0 if x < out else (rest if x < gone else 0.0)
    return send * share if begin <= x else 0.0


@numba.njit(F8(M, I8, F8, F8), **COMPILED)
def sent_by(plant, j, begin, x):
    """Return strength times time that plant `j`, infectious since `begin`, has sent until clock time `x` [plant d]."""
    return sent_until(plant[SEND, j], begin, plant[REMOVED_ON, j], plant[REST, j], plant[GONE_ON, j], x)


@numba.njit(F8(M, I8, F8, F8), **COMPILED)
def strength_at(plant, j, begin, x):
    """Return how strongly plant `j`, infectious since `begin`, sends at clock time `x` [medium plants]."""
    return sends_at(plant[SEND, j], begin, plant[REMOVED_ON, j], plant[REST, j], plant[GONE_ON, j], x)


@numba.njit(F8(V, F8, F8), **COMPILED)
def begins(clock, u, delay):
    """Return when a plant infected at `u` becomes infectious so many calendar days later, on the clock."""
    return u if delay == 0.0 else sum_at(clock, day_at(clock, u) + delay)


@numba.njit(F8(WORLD, F8), **COMPILED)
def begin_of(w, u):
    """Return when a plant infected at `u` becomes infectious, on the clock of a world."""
    return begins(w.days[0], u, w.number[INFECTIOUS])


@numba.njit(F8(M, F8, I8, F8), **COMPILED)
def exposed(plant, start, i, x):
    """Return how long plant `i` stood exposed from the start to `x` [d on the clock]."""
    return max(0.0, x - max(start, plant[STANDS_FROM, i]))


@numba.njit(F8(M, I8, F8, F8, I8, F8), **COMPILED)
def missed(plant, j, begin, sent, i, x):
    """Return what plant `j` sends in all but not to plant `i`, exposed from its planting to `x` only [plant d]."""
    return sent - sent_by(plant, j, begin, x) + sent_by(plant, j, begin, min(plant[STANDS_FROM, i], x))


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

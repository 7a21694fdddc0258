"""Compiled spread of one made outbreak between two dates, one infection after another (Gillespie's method)."""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.outbreak.fit_types import COMPILED, F8, I8, M, V

(EAST_M, NORTH_M, RECEIVES, SENDS, FROM_ON, UNTIL, INFECTED_ON, BEGINS_ON, OUT_ON) = range(9)
"""Rows of the made outbreak's plants: place [m], weights, from and to when they stand, and on the clock when they were
infected, become infectious and are taken out; 1e18 where never."""
ROWS = 9
(
    RATE,
    BACKGROUND,
    CONTACT,
    LENGTHS,
    TOWARD_EAST,
    TOWARD_NORTH,
    BESSEL,
    NEAR,
    LOG_FIRST,
    LOG_STEP,
    LEAST,
    TOUCH,
    DELAY,
) = range(13)
"""Parameters of a made outbreak: rates, factor on lengths, direction and I0 of its length, near radius [m], first log
distance and step of the kernel's table, least distance [m], touching distance [m], infectious after [calendar d]."""
LATER = 1e18


@numba.njit(numba.void(M, V, V, I8, F8, V), **COMPILED)
def add_force(plants, law, log_k, j, sign, force):
    """Add what plant `j` sends to the force on all, or take it away."""
    last = len(log_k) - 1.000001
    kappa_east, kappa_north = law[TOWARD_EAST], law[TOWARD_NORTH]
    for i in range(plants.shape[1]):
        if i == j:
            continue
        east, north = plants[EAST_M, i] - plants[EAST_M, j], plants[NORTH_M, i] - plants[NORTH_M, j]
        r = math.sqrt(east * east + north * north)
        at = (math.log(max(r, law[LEAST]) / law[LENGTHS]) - law[LOG_FIRST]) / law[LOG_STEP]
        at = min(max(at, 0.0), last)
        k = int(at)
        density = math.exp(log_k[k] + (at - k) * (log_k[k + 1] - log_k[k])) / law[LENGTHS] ** 2
        if r > 0.0 and law[BESSEL] != 1.0:
            turn = math.exp((kappa_east * east + kappa_north * north) / r) / law[BESSEL]
            bend = 1.0 if law[NEAR] <= 0.0 else -math.expm1(-((r / law[NEAR]) ** 2))
            density *= 1.0 + (turn - 1.0) * bend
        gain = law[RATE] * density + (law[CONTACT] if r <= law[TOUCH] else 0.0)
        force[i] += sign * plants[SENDS, j] * gain


@numba.njit(F8(V, F8, F8), **COMPILED)
def begins(clock, u, delay):
    """Return when a plant infected at `u` becomes infectious, on the clock."""
    if delay == 0.0:
        return u
    low, high = 0, len(clock) - 1
    if u >= clock[high]:
        return LATER
    while high - low > 1:
        middle = (low + high) // 2
        if clock[middle] <= u:
            low = middle
        else:
            high = middle
    day = low + (u - clock[low]) / (clock[low + 1] - clock[low]) + delay
    k = int(day)
    return clock[k] + (day - k) * (clock[k + 1] - clock[k]) if k < len(clock) - 1 else LATER


@numba.njit(I8(I8, M, V, V, V, V, V, F8, F8, I8), **COMPILED)
def spread_on(seed, plants, law, log_k, clock, wild, force, first, last, most):
    """Infect plants from clock time `first` to `last`; return how many are infected then, `most` at most.

    `wild` is the force from wild stands on each plant. Times of infection and of becoming infectious are filled in.
    """
    np.random.seed(seed)
    n, now, count = plants.shape[1], first, 0
    force[:] = 0.0
    for j in range(n):
        if plants[INFECTED_ON, j] < LATER:
            count += 1
            if plants[BEGINS_ON, j] <= now < plants[OUT_ON, j]:
                add_force(plants, law, log_k, j, 1.0, force)
    while count < most:
        total, soon, which, leaves = 0.0, last, -1, 0
        for j in range(n):
            if plants[INFECTED_ON, j] < LATER:
                if now < plants[BEGINS_ON, j] < soon and plants[BEGINS_ON, j] < plants[OUT_ON, j]:
                    soon, which, leaves = plants[BEGINS_ON, j], j, 0
                if now < plants[OUT_ON, j] < soon and plants[BEGINS_ON, j] < plants[OUT_ON, j]:
                    soon, which, leaves = plants[OUT_ON, j], j, 1
            elif plants[FROM_ON, j] <= now < plants[UNTIL, j]:
                total += plants[RECEIVES, j] * max(force[j] + wild[j] + law[BACKGROUND], 0.0)
        wait = -math.log(1.0 - np.random.random()) / total if total > 0.0 else LATER
        if now + wait >= soon:
            now = soon
            if which < 0:
                break
            add_force(plants, law, log_k, which, -1.0 if leaves == 1 else 1.0, force)
            continue
        now += wait
        left = total * np.random.random()
        for j in range(n):
            if plants[INFECTED_ON, j] >= LATER and plants[FROM_ON, j] <= now < plants[UNTIL, j]:
                left -= plants[RECEIVES, j] * max(force[j] + wild[j] + law[BACKGROUND], 0.0)
                if left <= 0.0:
                    plants[INFECTED_ON, j] = now
                    plants[BEGINS_ON, j] = begins(clock, now, law[DELAY])
                    count += 1
                    if plants[BEGINS_ON, j] <= now:
                        add_force(plants, law, log_k, j, 1.0, force)
                    break
    return count

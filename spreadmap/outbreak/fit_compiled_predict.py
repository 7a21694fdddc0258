"""Compiled spread of one made outbreak between two dates, one infection after another (Gillespie's method)."""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.outbreak.fit_compiled import begins
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


@numba.njit(numba.types.UniTuple(F8, 2)(V, V, F8, F8, F8), **COMPILED)
def densities_at(law, log_k, east, north, r):
    """Return the density of arrivals `r` away with no direction favoured, and with that of the law [m^-2]."""
    at = (math.log(max(r, law[LEAST]) / law[LENGTHS]) - law[LOG_FIRST]) / law[LOG_STEP]
    at = min(max(at, 0.0), len(log_k) - 1.000001)
    k = int(at)
    plain = math.exp(log_k[k] + (at - k) * (log_k[k + 1] - log_k[k])) / law[LENGTHS] ** 2
    if r <= 0.0 or law[BESSEL] == 1.0:
        return plain, plain
    turn = math.exp((law[TOWARD_EAST] * east + law[TOWARD_NORTH] * north) / r) / law[BESSEL]
    bend = 1.0 if law[NEAR] <= 0.0 else -math.expm1(-((r / law[NEAR]) ** 2))
    return plain, plain * (1.0 + (turn - 1.0) * bend)


@numba.njit(F8(V, F8, F8), **COMPILED)
def gain_of(law, density, r):
    """Return the force that one medium plant sends, by the density of arrivals and by touch [1/day]."""
    return law[RATE] * density + (law[CONTACT] if r <= law[TOUCH] else 0.0)


@numba.njit(numba.void(M, V, V, I8, F8, V), **COMPILED)
def add_force(plants, law, log_k, j, sign, force):
    """Add what plant `j` sends to the force on all, or take it away."""
    for i in range(plants.shape[1]):
        if i == j:
            continue
        east, north = plants[EAST_M, i] - plants[EAST_M, j], plants[NORTH_M, i] - plants[NORTH_M, j]
        r = math.sqrt(east * east + north * north)
        density = densities_at(law, log_k, east, north, r)[1]
        force[i] += sign * plants[SENDS, j] * gain_of(law, density, r)


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

"""Compiled: which plant each infection of a state befell, beside all plants that it could have befallen."""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.outbreak.fit_compiled_predict import (
    BACKGROUND,
    BEGINS_ON,
    EAST_M,
    FROM_ON,
    INFECTED_ON,
    LEAST,
    NORTH_M,
    OUT_ON,
    RECEIVES,
    SENDS,
    UNTIL,
    densities_at,
    gain_of,
)
from spreadmap.outbreak.fit_types import COMPILED, F8, I8, M, N, V

(FORCE, PLAIN, EASTWARD, NORTHWARD, NEAREST) = range(5)
"""Rows of what is kept of every plant: force on it [1/day]; what arrives there if no direction is favoured [m^-2], and that
times the unit vector from its source; distance to the nearest plant that has been infectious [m]."""
SUMS_KEPT = 5
(
    MEAN, OFF, VARIANCE, THIRD, FOURTH, MEAN_EAST, MEAN_NORTH, OFF_EAST, OFF_NORTH, VAR_EAST, VAR_BOTH, VAR_NORTH,
) = range(12)  # fmt: skip
"""Columns of an infection: of the log distance [log m] its expectation, what the plant infected differs from that, and the
central moments; of the vector toward the plant [-] expectation, difference and covariance."""
COLUMNS = 12
FAR_M = 1e9


@numba.njit(numba.void(M, V, V, I8, F8, M), **COMPILED)
def add_sent(plants, law, log_k, j, strength, kept):
    """Add what plant `j` sends at a strength, below zero to take it away, to what is kept of all others."""
    for i in range(plants.shape[1]):
        if i == j:
            continue
        east, north = plants[EAST_M, i] - plants[EAST_M, j], plants[NORTH_M, i] - plants[NORTH_M, j]
        r = math.sqrt(east * east + north * north)
        plain, turned = densities_at(law, log_k, east, north, r)
        sent = strength * plants[SENDS, j]
        kept[FORCE, i] += sent * gain_of(law, turned, r)
        kept[PLAIN, i] += sent * plain
        if r > 0.0:
            kept[EASTWARD, i] += sent * plain * east / r
            kept[NORTHWARD, i] += sent * plain * north / r
        kept[NEAREST, i] = min(kept[NEAREST, i], max(r, law[LEAST]))


@numba.njit(F8(M, M, I8, F8), **COMPILED)
def strength_on(plants, after, j, u):
    """Return which part of its strength plant `j` sends with at clock time `u` [-]."""
    if u < plants[BEGINS_ON, j]:
        return 0.0
    if u < plants[OUT_ON, j]:
        return 1.0
    return after[0, j] if u < after[1, j] else 0.0


@numba.njit(numba.void(V, V, V, V, I8, V), **COMPILED)
def expect(share, log_r, toward_east, toward_north, i, row):
    """Fill in the line of an infection of plant `i`, from the chance of every plant to be the one, and its values."""
    row[:] = 0.0
    for j in range(len(share)):
        row[MEAN] += share[j] * log_r[j]
        row[MEAN_EAST] += share[j] * toward_east[j]
        row[MEAN_NORTH] += share[j] * toward_north[j]
    for j in range(len(share)):
        if share[j] == 0.0:
            continue
        off, east, north = log_r[j] - row[MEAN], toward_east[j] - row[MEAN_EAST], toward_north[j] - row[MEAN_NORTH]
        row[VARIANCE] += share[j] * off**2
        row[THIRD] += share[j] * off**3
        row[FOURTH] += share[j] * off**4
        row[VAR_EAST] += share[j] * east * east
        row[VAR_BOTH] += share[j] * east * north
        row[VAR_NORTH] += share[j] * north * north
    row[OFF] = log_r[i] - row[MEAN]
    row[OFF_EAST], row[OFF_NORTH] = toward_east[i] - row[MEAN_EAST], toward_north[i] - row[MEAN_NORTH]


@numba.njit(I8(M, M, V, V, V, N, F8, M), **COMPILED)
def residuals_of(plants, after, law, log_k, wild, order, start, lines):
    """Fill in a line for each infection after `start` while some plant sends, in the `order` of times; return how many.

    Each plant that stands and is not infected yet could have been the one, with a chance in proportion to the force on it
    then. `after` holds the part of its strength that a removed plant still sends with, and until when on the clock.
    """
    n, count = plants.shape[1], 0
    kept, sends = np.zeros((SUMS_KEPT, n)), np.zeros(n)
    kept[NEAREST, :] = FAR_M
    share, log_r, toward_east, toward_north = np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n)
    for place in range(len(order)):
        i, sending = order[place], 0
        u = plants[INFECTED_ON, i]
        for earlier in range(place):
            j = order[earlier]
            now = strength_on(plants, after, j, u)
            if now != sends[j]:
                add_sent(plants, law, log_k, j, now - sends[j], kept)
                sends[j] = now
            sending += 1 if now > 0.0 else 0
        if u <= start or sending == 0:
            continue
        total = 0.0
        for j in range(n):
            share[j] = 0.0
            if plants[INFECTED_ON, j] >= u and plants[FROM_ON, j] <= u < plants[UNTIL, j]:
                share[j] = plants[RECEIVES, j] * max(kept[FORCE, j] + wild[j] + law[BACKGROUND], 0.0)
                total += share[j]
                log_r[j], plain = math.log(kept[NEAREST, j]), max(kept[PLAIN, j], 1e-300)
                toward_east[j], toward_north[j] = kept[EASTWARD, j] / plain, kept[NORTHWARD, j] / plain
        if share[i] <= 0.0:
            continue
        for j in range(n):
            share[j] /= total
        expect(share, log_r, toward_east, toward_north, i, lines[count])
        count += 1
    return count

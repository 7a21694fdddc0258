"""Compiled sums over pairs whose distances and bearings are kept."""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.pressure.compiled import CM, F8, V

I4 = numba.int64
I1 = numba.int64[::1]
F2 = numba.float32[:, ::1]
F1 = numba.float32[::1]
NOWHERE = 80.0
"""Logarithm of a distance at which nothing arrives: pairs that are left out, or summed elsewhere."""


@numba.njit(numba.void(I4, I4, V, V, V, F8, I1, V, V, I1, CM, F8, F2, F2), cache=True, nogil=True)
def keep_pairs(
    begin, end, r_east, r_north, r_radius, apart, r_plant, s_east, s_north, s_plant, roses, near, log_r, turn
):  # fmt: skip
    """Fill log distance and the bent excess of the rose for receptors `begin` to `end` - 1.

    The mean over a disc of radius R dampens the harmonic m at distance r by 1 - m^2 x/8 + m^2 (m^2 - 4) x^2/192 with
    x = (R/r)^2, from the powers of the Laplacian; pairs closer than `apart` radii are left to points.
    """
    for i in range(begin, end):
        for j in range(len(s_east)):
            east, north = r_east[i] - s_east[j], r_north[i] - s_north[j]
            r = math.sqrt(east * east + north * north)
            turn[i, j] = 0.0
            if r < apart * r_radius[i] or (r_plant[i] >= 0 and r_plant[i] == s_plant[j]):
                log_r[i, j] = NOWHERE
                continue
            log_r[i, j] = math.log(max(r, 1e-9))
            if r > 0.0 and roses.shape[1] > 0:
                rose = roses[j] if len(roses) > 1 else roses[0]
                part = (r_radius[i] / r) ** 2
                x, y = north / r, east / r
                c, s, total = x, y, 0.0
                for order in range(len(rose)):
                    square = (order + 1.0) ** 2
                    damped = 1.0 - square * part / 8.0 + square * (square - 4.0) * part * part / 192.0
                    total += damped * (rose[order].real * c + rose[order].imag * s)
                    c, s = c * x - s * y, s * x + c * y
                bend = 1.0 if near <= 0.0 else -math.expm1(-((r / near) ** 2))
                turn[i, j] = 2.0 * total * bend


@numba.njit(
    numba.void(I4, I4, F2, F2, F1, I1, F2, numba.float32, numba.float32, numba.float32, V), cache=True, nogil=True,
    fastmath={"contract", "reassoc", "nsz"},
)  # fmt: skip
def sum_kept(begin, end, log_r, turn, strength, which, tables, first, per_step, wind, out):
    """Add density times strength over all kept pairs of receptors `begin` to `end` - 1; `which` table each one has."""
    last = np.float32(tables.shape[1] - 2)
    for i in range(begin, end):
        line, bearing, table = log_r[i], turn[i], tables[which[i]]
        total = 0.0
        for j in range(len(strength)):
            place = min(max((line[j] - first) * per_step, np.float32(0.0)), last)
            index = np.int32(place)
            t = place - np.float32(index)
            low = table[index]
            total += strength[j] * (low + t * (table[index + 1] - low)) * (np.float32(1.0) + wind * bearing[j])
        out[i] += total


@numba.njit(numba.void(I4, I4, I1, I1, V, V, V, V, V, F8, F8, F8, V), cache=True, nogil=True)
def sum_kept_points(begin, end, receptor, source, log_r, turn, weight, strength, table, first, per_step, wind, out):
    """Add density times strength over points `begin` to `end` - 1 that stand for discs close to a source."""
    for k in range(begin, end):
        place = min(max((log_r[k] - first) * per_step, 0.0), len(table) - 2.0)
        index = int(place)
        t = place - index
        density = table[index] + t * (table[index + 1] - table[index])
        out[receptor[k]] += strength[source[k]] * weight[k] * density * max(1.0 + wind * turn[k], 0.0)

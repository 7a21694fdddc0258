"""Compiled sums over near pairs of sources and receptors, found in lists of square blocks."""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.pressure.compiled import CM, F8, C, M, V, _directed, disc_mean, seven_points
from spreadmap.pressure.compiled_mesh import _quintic
from spreadmap.pressure.split import near_share

I4 = numba.int64
I1 = numba.int64[::1]


@numba.njit(F8(F8, F8, F8, C), cache=True, nogil=True, inline="always")
def _excess_of(east, north, r, rose):
    """Return 2 pi h - 1 for an offset, by real recurrences."""
    x, y = north / r, east / r
    c, s, total = x, y, 0.0
    for order in range(len(rose)):
        total += rose[order].real * c + rose[order].imag * s
        c, s = c * x - s * y, s * x + c * y
    return 2.0 * total


@numba.njit(
    numba.void(
        I4, I4, V, V, V, V, V, I1, V, V, V, I1, I1, I4, I4, F8, F8, F8, CM, V, F8, F8, V, V, V, V, V, F8, F8, F8, F8, F8,
        M, V, V,
    ),
    cache=True, nogil=True,
)  # fmt: skip
def sum_near_pairs(
    begin, end, r_east, r_north, r_radius, r_exact, r_simple, r_plant, s_east, s_north, strength, s_plant, start,
    block_rows, block_cols, west, south, block, roses, weight, log_first, step, mass, mass_slope, bent, bent_slope,
    log_density, near, cut, reach, per_step, valid_from, pieces, out, sent,
):  # fmt: skip
    """Add to receptors `begin` to `end` - 1 the near part of what they get, and to `sent` what sources give.

    Sources are sorted by block, row by row; `start` says where each block begins. Where the disc of a receptor
    matters, the far part at its middle is taken off the mean over the disc: a mesh adds just that. Same plants are
    left out.
    """
    reach2 = reach * reach
    for i in range(begin, end):
        col, row = math.floor((r_east[i] - west) / block), math.floor((r_north[i] - south) / block)
        first_col, last_col = min(max(col - 1, 0), block_cols - 1), max(min(col + 1, block_cols - 1), 0)
        total = 0.0
        for other in range(max(row - 1, 0), min(row + 1, block_rows - 1) + 1):
            for j in range(start[other * block_cols + first_col], start[other * block_cols + last_col + 1]):
                east, north = r_east[i] - s_east[j], r_north[i] - s_north[j]
                r2 = east * east + north * north
                if r2 >= reach2 or (r_plant[i] >= 0 and r_plant[i] == s_plant[j]):
                    continue
                r = math.sqrt(r2)
                rose = roses[j] if len(roses) > 1 else roses[0]
                if r < r_simple[i]:
                    far = (1.0 - near_share(r, cut)) * _directed(east, north, log_first, step, log_density, near, rose)
                    if r < r_exact[i]:
                        value = disc_mean(
                            east, north, r_radius[i],
                            log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, rose,
                        ) - far  # fmt: skip
                    else:
                        value = seven_points(
                            east, north, r_radius[i], log_first, step, log_density, near, rose
                        ) - far  # fmt: skip
                elif r < valid_from:
                    value = near_share(r, cut) * _directed(east, north, log_first, step, log_density, near, rose)
                else:
                    place = r * per_step
                    index = int(place)
                    t = place - index
                    value = ((pieces[index, 3] * t + pieces[index, 2]) * t + pieces[index, 1]) * t + pieces[index, 0]
                    if len(rose) > 0:
                        bend = ((pieces[index, 7] * t + pieces[index, 6]) * t + pieces[index, 5]) * t + pieces[index, 4]
                        value = max(value + bend * _excess_of(east, north, r, rose), 0.0)
                value *= strength[j]
                total += value
                if len(weight) > 0:
                    sent[j] += weight[i] * value
        out[i] += total


@numba.njit(numba.void(V, V, V, V, M, I1, I1, V), cache=True, nogil=True)
def mesh_between(r_east, r_north, s_east, s_north, image, receptor, source, out):
    """Fill what a mesh makes of each listed pair; places in mesh steps, `image` the kernel's coefficients, wrapped."""
    n_rows, n_cols = image.shape
    re, rn, se, sn = np.empty(6), np.empty(6), np.empty(6), np.empty(6)
    for k in range(len(receptor)):
        i, j = receptor[k], source[k]
        col, row = math.floor(r_east[i]), math.floor(r_north[i])
        col_s, row_s = math.floor(s_east[j]), math.floor(s_north[j])
        _quintic(r_east[i] - col, re)
        _quintic(r_north[i] - row, rn)
        _quintic(s_east[j] - col_s, se)
        _quintic(s_north[j] - row_s, sn)
        # Both splines together reach over eleven nodes along each axis.
        total = 0.0
        for down in range(-5, 6):
            along_n = 0.0
            for a in range(6):
                if 0 <= a - down < 6:
                    along_n += rn[a] * sn[a - down]
            for across in range(-5, 6):
                along_e = 0.0
                for b in range(6):
                    if 0 <= b - across < 6:
                        along_e += re[b] * se[b - across]
                total += along_n * along_e * image[(row - row_s + down) % n_rows, (col - col_s + across) % n_cols]
        out[k] = total

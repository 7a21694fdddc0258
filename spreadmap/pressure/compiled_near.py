"""Compiled work close to sources: means of the near part over small squares, and stamps of cell means from tables.

A table holds B-spline coefficients of a cell's mean over a lattice of offsets between source and cell, `q` to the
cell, sorted by phase: all cells of one source share the same nine or sixteen weights, and its rows lie in one piece.
"""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.pressure.compiled import (
    F8,
    PIECE,
    THREE_W,
    THREE_X,
    C,
    M,
    V,
    _directed,
    _far_row,
    cell_mean,
)
from spreadmap.pressure.split import near_share

I4 = numba.int64
U4 = numba.uint64
I1 = numba.int64[::1]
F = numba.float32[::1]
TWO_X = 1.0 / math.sqrt(3.0)
EXACT_SIDES, NINE_SIDES = 4.0, 24.0
"""Within so many sides of the source a square's mean is integrated along its edge, then from nine points, then four."""


@numba.njit(F8(F8, F8, F8, F8, F8, V, F8, C, F8, numba.boolean), cache=True, nogil=True)
def part_nine(east, north, side, log_first, step, log_density, near, rose, cut, is_near):
    """Return the mean of the near or the far part over a square, from nine points."""
    mean = 0.0
    for i in range(3):
        for j in range(3):
            x, y = east + THREE_X[i] * side / 2, north + THREE_X[j] * side / 2
            share = near_share(math.sqrt(x * x + y * y), cut)
            if not is_near:
                share = 1.0 - share
            if share > 0.0:
                mean += (THREE_W[i] * THREE_W[j] / 4) * share * _directed(
                    x, y, log_first, step, log_density, near, rose
                )  # fmt: skip
    return mean


@numba.njit(
    numba.void(I4, I4, I4, F8, F8, F8, V, V, V, V, V, F8, C, F8, F8, F8, M), cache=True, nogil=True
)  # fmt: skip
def square_means(
    first, last, low, side, log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, rose, cut, reach,
    factor, out,
):  # fmt: skip
    """Add to rows `first` to `last` - 1 means of the near part over squares about the source, row 0 northernmost.

    The middle of square (i, j) lies (low + j + 1/2) sides east and (low + i + 1/2) sides south of the source.
    """
    corner = TWO_X * side / 2
    for i in range(first, last):
        north = -(low + i + 0.5) * side
        for j in range(out.shape[1]):
            east = (low + j + 0.5) * side
            r = math.sqrt(east * east + north * north)
            if r > reach:
                continue
            if r < EXACT_SIDES * side:
                out[i, j] += (
                    factor
                    * near_share(r, cut)
                    * cell_mean(
                        east, north, side, log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, rose
                    )
                )
            elif r < NINE_SIDES * side:
                out[i, j] += factor * part_nine(east, north, side, log_first, step, log_density, near, rose, cut, True)
            else:
                total = 0.0
                for corner_n in (-corner, corner):
                    for corner_e in (-corner, corner):
                        x, y = east + corner_e, north + corner_n
                        share = near_share(math.sqrt(x * x + y * y), cut)
                        if share > 0.0:
                            total += share * _directed(x, y, log_first, step, log_density, near, rose)
                out[i, j] += factor * total / 4.0


@numba.njit(numba.void(F8, V), cache=True, nogil=True, inline="always")
def _cubic(t, w):
    """Fill the four weights of a point that lies t behind the second of its nodes."""
    s = 1.0 - t
    w[0] = s * s * s / 6.0
    w[1] = (4.0 - 6.0 * t * t + 3.0 * t * t * t) / 6.0
    w[2] = (4.0 - 6.0 * s * s + 3.0 * s * s * s) / 6.0
    w[3] = t * t * t / 6.0


@numba.njit(numba.void(F8, V), cache=True, nogil=True, inline="always")
def _quadratic(t, w):
    """Fill the three weights of a point that lies t behind the middle one of its nodes."""
    w[0] = (0.5 - t) * (0.5 - t) / 2.0
    w[1] = 0.75 - t * t
    w[2] = (0.5 + t) * (0.5 + t) / 2.0


@numba.njit(numba.void(F, F, I4, I1, F), cache=True, nogil=True, fastmath={"contract"})
def nine_more(out, table, start, at, w):
    """Add nine pieces of a table by their weights."""
    w0, w1, w2, w3, w4, w5, w6, w7, w8 = w[0], w[1], w[2], w[3], w[4], w[5], w[6], w[7], w[8]
    n = len(out)
    a, b = table[at[0] + start : at[0] + start + n], table[at[1] + start : at[1] + start + n]
    c, d = table[at[2] + start : at[2] + start + n], table[at[3] + start : at[3] + start + n]
    e, f = table[at[4] + start : at[4] + start + n], table[at[5] + start : at[5] + start + n]
    g, h = table[at[6] + start : at[6] + start + n], table[at[7] + start : at[7] + start + n]
    k = table[at[8] + start : at[8] + start + n]
    for i in range(n):
        out[i] += (
            (w0 * a[i] + w1 * b[i] + w2 * c[i])
            + (w3 * d[i] + w4 * e[i] + w5 * f[i])
            + (w6 * g[i] + w7 * h[i] + w8 * k[i])
        )


@numba.njit(numba.void(F, F, I4, I1, F), cache=True, nogil=True, fastmath={"contract"})
def sixteen_more(out, table, start, at, w):
    """Add sixteen pieces of a table by their weights, eight at a time: more are not put into vector registers."""
    w0, w1, w2, w3, w4, w5, w6, w7 = w[0], w[1], w[2], w[3], w[4], w[5], w[6], w[7]
    v0, v1, v2, v3, v4, v5, v6, v7 = w[8], w[9], w[10], w[11], w[12], w[13], w[14], w[15]
    n = len(out)
    a, b = table[at[0] + start : at[0] + start + n], table[at[1] + start : at[1] + start + n]
    c, d = table[at[2] + start : at[2] + start + n], table[at[3] + start : at[3] + start + n]
    e, f = table[at[4] + start : at[4] + start + n], table[at[5] + start : at[5] + start + n]
    g, h = table[at[6] + start : at[6] + start + n], table[at[7] + start : at[7] + start + n]
    for i in range(n):
        out[i] += (w0 * a[i] + w1 * b[i] + w2 * c[i] + w3 * d[i]) + (w4 * e[i] + w5 * f[i] + w6 * g[i] + w7 * h[i])
    a, b = table[at[8] + start : at[8] + start + n], table[at[9] + start : at[9] + start + n]
    c, d = table[at[10] + start : at[10] + start + n], table[at[11] + start : at[11] + start + n]
    e, f = table[at[12] + start : at[12] + start + n], table[at[13] + start : at[13] + start + n]
    g, h = table[at[14] + start : at[14] + start + n], table[at[15] + start : at[15] + start + n]
    for i in range(n):
        out[i] += (v0 * a[i] + v1 * b[i] + v2 * c[i] + v3 * d[i]) + (v4 * e[i] + v5 * f[i] + v6 * g[i] + v7 * h[i])


@numba.njit(numba.void(I4, I4, I4, F8, F8, I1, F, M), cache=True, nogil=True)
def lattice(q, order, size, row_part, col_part, at, w, work):
    """Fill the weights of a source's place within its cell, (order + 1)^2, and where in the table their pieces start."""
    wr, wc, shift, part, nodes = work[0], work[1], size // 2, size * size, order + 1
    place_r, place_c = q * (0.5 - row_part), q * (0.5 - col_part)
    if order == 2:
        base_r, base_c = math.floor(place_r + 0.5), math.floor(place_c + 0.5)
        _quadratic(place_r - base_r, wr)
        _quadratic(place_c - base_c, wc)
    else:
        base_r, base_c = math.floor(place_r), math.floor(place_c)
        _cubic(place_r - base_r, wr)
        _cubic(place_c - base_c, wc)
    for k in range(nodes):
        node = base_r - 1 + k
        start = (node % q) * q * part + (node // q + shift) * size
        for m in range(nodes):
            w[nodes * k + m] = wr[k] * wc[m]
            at[nodes * k + m] = start
    for m in range(nodes):
        node = base_c - 1 + m
        start = (node % q) * part + node // q + shift
        for k in range(nodes):
            at[nodes * k + m] += start


@numba.njit(numba.void(F, I4, I4, I4, I4, I4, I4, I4), cache=True, nogil=True)
def empty_hole(made, start, top, bottom, left, right, hole, size):
    """Set to zero what a stamp made within its hole."""
    for down in range(max(top, -hole), min(bottom, hole) + 1):
        for east in range(max(left, -hole), min(right, hole + 1)):
            made[down * size + east - start] = np.float32(0.0)


@numba.njit(numba.void(M, F, I4, I4, I4, I4, I4, F8), cache=True, nogil=True, fastmath={"contract"})
def add_rows(out, made, row, col, count, width, size, factor):
    """Add `count` rows of a stamp, `size` values apart, times a factor, from a row and column of a tile on.

    Indices without a sign: with one, each would be asked whether it counts from the end, and none would be put into
    vector registers.
    """
    for down in range(U4(count)):
        begin, target = down * U4(size), U4(row) + down
        for east in range(U4(width)):
            out[target, U4(col) + east] += factor * made[begin + east]


@numba.njit(numba.void(I4, I4, M, V, V, V, I1, F, I4, I4, I4, I1, I4), cache=True, nogil=True)
def stamp(row0, col0, out, s_row, s_col, strength, chosen, table, q, order, size, half, hole):
    """Add one tier of the near part of the chosen sources to a tile.

    Places are in cells, (0, 0) the outer corner of the grid's north-western cell, rows counted southward; `row0` and
    `col0` are the tile's first cell. The table is (q, q, size, size), flat, of splines of an `order`, 2 or 3, and nothing
    outside the disc whose rows are `half` long to each side; cells within `hole` rows and columns of the source's own
    are left to a finer tier.

    All rows of a stamp are made in one piece, since a row by itself costs more to begin than to fill.
    """
    reach = len(half) // 2
    n_rows, n_cols = out.shape
    w, at, work = np.empty(16, np.float32), np.empty(16, np.int64), np.empty((2, 4))
    made = np.empty(size * size, np.float32)
    for j in chosen:
        own_row, own_col = math.floor(s_row[j]), math.floor(s_col[j])
        top, bottom = max(-reach, row0 - own_row), min(reach, row0 + n_rows - 1 - own_row)
        left, right = max(-reach, col0 - own_col), min(reach, col0 + n_cols - 1 - own_col) + 1
        if top > bottom or left >= right:
            continue
        lattice(q, order, size, s_row[j] - own_row, s_col[j] - own_col, at, w, work)
        start = top * size + left
        count = bottom * size + right - start
        made[:count] = np.float32(0.0)
        if order == 2:
            nine_more(made[:count], table, start, at, w)
        else:
            sixteen_more(made[:count], table, start, at, w)
        empty_hole(made, start, top, bottom, left, right, hole, size)
        row, col = own_row + top - row0, own_col + left - col0
        add_rows(out, made, row, col, bottom - top + 1, right - left, size, strength[j])


@numba.njit(numba.void(I4, I4, M, V, V, V, I1, I1, I4, F8, numba.complex128[:, ::1], F8, M, F8), cache=True, nogil=True)
def stamp_by_row(
    row0, col0, out, s_row, s_col, strength, order, half, hole, side, roses, per_step, pieces, curved
):  # fmt: skip
    """Add the near part of sources that each have a rose of their own, cell by cell from a table over distance.

    `pieces` holds the mean over a cell but for the curvature by bearing, which is added within `curved`.
    """
    reach = len(half) // 2
    n_rows, n_cols = out.shape
    work, value, centre = np.empty((8, PIECE)), np.empty(PIECE), np.empty(PIECE)
    shift, floor = side * side / 24.0, 1e-12 * side * side
    for j in order:
        own_row, own_col = math.floor(s_row[j]), math.floor(s_col[j])
        if own_col + reach < col0 or own_col - reach >= col0 + n_cols:
            continue
        for down in range(max(-reach, row0 - own_row), min(reach, row0 + n_rows - 1 - own_row) + 1):
            wide = half[down + reach]
            north = (s_row[j] - own_row - down - 0.5) * side
            for part in range(2):
                first, last = own_col - wide, own_col + wide
                if -hole <= down <= hole:
                    if part == 0:
                        last = own_col - hole - 1
                    else:
                        first = own_col + hole + 1
                elif part == 1:
                    break
                first, last = max(first, col0), min(last, col0 + n_cols - 1) + 1
                for begin in range(first, last, PIECE):
                    count = min(PIECE, last - begin)
                    for i in range(count):
                        centre[i] = (begin + i + 0.5 - s_col[j]) * side
                    nearest = max(max(centre[0], -centre[count - 1]), 0.0)
                    _far_row(
                        centre[:count], 0.0, north, side, per_step, shift, roses[j],
                        math.hypot(nearest, north) < curved, floor, pieces, value[:count], work,
                    )  # fmt: skip
                    target = out[own_row + down - row0]
                    for i in range(count):
                        target[begin + i - col0] += strength[j] * value[i]


@numba.njit(
    numba.void(I4, I4, M, V, V, V, I1, I4, F8, F8, F8, V, V, V, V, V, F8, numba.complex128[:, ::1], F8),
    cache=True, nogil=True,
)  # fmt: skip
def stamp_exactly(
    row0, col0, out, s_row, s_col, strength, order, reach, side, log_first, step, mass, mass_slope, bent, bent_slope,
    log_density, near, roses, cut,
):  # fmt: skip
    """Add the near part over the cells within `reach` rows and columns of each source's own, without a table."""
    n_rows, n_cols = out.shape
    for j in order:
        own_row, own_col = math.floor(s_row[j]), math.floor(s_col[j])
        rose = roses[j] if len(roses) > 1 else roses[0]
        for row in range(max(own_row - reach, row0), min(own_row + reach, row0 + n_rows - 1) + 1):
            for col in range(max(own_col - reach, col0), min(own_col + reach, col0 + n_cols - 1) + 1):
                east, north = (col + 0.5 - s_col[j]) * side, (s_row[j] - row - 0.5) * side
                value = cell_mean(
                    east, north, side, log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, rose
                ) - part_nine(east, north, side, log_first, step, log_density, near, rose, cut, False)
                out[row - row0, col - col0] += strength[j] * value


@numba.njit(numba.void(M), cache=True, nogil=True)
def never_below_zero(out):
    """Set what rounding left below zero to zero."""
    for row in range(U4(out.shape[0])):
        for col in range(U4(out.shape[1])):
            out[row, col] = max(out[row, col], 0.0)


@numba.njit(
    [F8(M, numba.types.Array(kind, 2, "A")) for kind in (numba.float32, F8)],
    cache=True, nogil=True, fastmath={"contract", "nnan", "nsz", "reassoc"},
)  # fmt: skip
def hand_over(part, values):
    """Write a tile into its place, nothing of it below zero, and return its largest value."""
    most = 0.0
    for row in range(U4(part.shape[0])):
        source, target = part[row], values[row]
        for col in range(U4(part.shape[1])):
            value = max(source[col], 0.0)
            most = max(most, value)
            target[col] = value
    return most


@numba.njit(numba.void(I4, I4, M, V, V, V, I1, I4, F8, numba.boolean[:, ::1]), cache=True, nogil=True)
def mark_faint(row0, col0, out, s_row, s_col, strength, order, reach, least, marks):
    """Mark cells within `reach` rows and columns of a source whose sum is below `least` times its strength."""
    n_rows, n_cols = out.shape
    for j in order:
        own_row, own_col = math.floor(s_row[j]), math.floor(s_col[j])
        for row in range(max(own_row - reach, row0), min(own_row + reach, row0 + n_rows - 1) + 1):
            for col in range(max(own_col - reach, col0), min(own_col + reach, col0 + n_cols - 1) + 1):
                if out[row - row0, col - col0] < least * strength[j]:
                    marks[row - row0, col - col0] = True

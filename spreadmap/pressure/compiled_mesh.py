"""Compiled work on meshes: laying sources down, sampling the far kernel, reading the sum off at cells and at points."""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.pressure.compiled import F8, M, V

I4 = numba.int64
U4 = numba.uint64
I1 = numba.int64[::1]
T = numba.float64[:, :, ::1]


@numba.njit(numba.void(F8, V), cache=True, nogil=True, inline="always")
def _quintic(t, w):
    """Fill the six weights of a point that lies t behind the third of its nodes."""
    s = 1.0 - t
    w[0] = s * s * s * s * s / 120.0
    w[1] = (26.0 + t * (-50.0 + t * (20.0 + t * (20.0 + t * (-20.0 + 5.0 * t))))) / 120.0
    w[2] = (66.0 + t * t * (-60.0 + t * t * (30.0 - 10.0 * t))) / 120.0
    w[3] = (26.0 + t * (50.0 + t * (20.0 + t * (-20.0 + t * (-20.0 + 10.0 * t))))) / 120.0
    w[4] = (1.0 + t * (5.0 + t * (10.0 + t * (10.0 + t * (5.0 - 5.0 * t))))) / 120.0
    w[5] = t * t * t * t * t / 120.0


@numba.njit(numba.void(V, V, M, T), cache=True, nogil=True)
def lay_down(east, north, weight, mesh):
    """Add every source to each mesh with its weight for that mesh; places in mesh steps, weights (sources, meshes)."""
    we, wn = np.empty(6), np.empty(6)
    for j in range(len(east)):
        col, row = math.floor(east[j]), math.floor(north[j])
        _quintic(east[j] - col, we)
        _quintic(north[j] - row, wn)
        for term in range(weight.shape[1]):
            for a in range(6):
                for b in range(6):
                    mesh[term, row - 2 + a, col - 2 + b] += weight[j, term] * wn[a] * we[b]


@numba.njit(numba.void(V, V, M, V), cache=True, nogil=True)
def read_points(east, north, mesh, out):
    """Add the sum at each point; places in mesh steps."""
    we, wn = np.empty(6), np.empty(6)
    for j in range(len(east)):
        col, row = math.floor(east[j]), math.floor(north[j])
        _quintic(east[j] - col, we)
        _quintic(north[j] - row, wn)
        total = 0.0
        for a in range(6):
            line = 0.0
            for b in range(6):
                line += we[b] * mesh[row - 2 + a, col - 2 + b]
            total += wn[a] * line
        out[j] += total


@numba.njit(numba.void(I1, M, I1, M, M, M), cache=True, nogil=True, fastmath={"contract"})
def read_cells(row_first, row_weight, col_first, col_weight, mesh, out):
    """Add the means over the cells of a tile: along the columns for every row of the mesh, then along the rows."""
    low = row_first.min()
    high = row_first.max() + 7
    n_cols = len(col_first)
    wide = np.empty((high - low, n_cols))
    for row in range(low, high):
        line = mesh[row]
        for col in range(U4(n_cols)):
            first = U4(col_first[col])
            wide[row - low, col] = (
                col_weight[col, 0] * line[first] + col_weight[col, 1] * line[first + U4(1)]
                + col_weight[col, 2] * line[first + U4(2)] + col_weight[col, 3] * line[first + U4(3)]
                + col_weight[col, 4] * line[first + U4(4)] + col_weight[col, 5] * line[first + U4(5)]
                + col_weight[col, 6] * line[first + U4(6)]
            )  # fmt: skip
    for row in range(U4(len(row_first))):
        first = U4(row_first[row] - low)
        w0, w1, w2, w3, w4, w5, w6 = (
            row_weight[row, 0], row_weight[row, 1], row_weight[row, 2], row_weight[row, 3], row_weight[row, 4],
            row_weight[row, 5], row_weight[row, 6],
        )  # fmt: skip
        for col in range(U4(n_cols)):
            out[row, col] += (
                w0 * wide[first, col] + w1 * wide[first + U4(1), col] + w2 * wide[first + U4(2), col]
                + w3 * wide[first + U4(3), col] + w4 * wide[first + U4(4), col] + w5 * wide[first + U4(5), col]
                + w6 * wide[first + U4(6), col]
            )  # fmt: skip


@numba.njit(numba.void(I4, I4, F8, F8, M, numba.complex128[::1], M), cache=True, nogil=True)
def sample_far(first, last, h, per_step, pieces, rose, out):
    """Add the far kernel at the nodes `first` to `last` - 1 steps north and south of the source, wrapped round.

    Four offsets that mirror each other share the distance and the powers of the bearing.
    """
    n_rows, n_cols = out.shape
    half = n_cols // 2
    for row in range(first, last):
        for col in range(half + 1):
            r = h * math.sqrt(float(row * row + col * col))
            place = r * per_step
            index = int(place)
            if index >= len(pieces):
                continue
            t = place - index
            still = ((pieces[index, 3] * t + pieces[index, 2]) * t + pieces[index, 1]) * t + pieces[index, 0]
            even_c, odd_c, even_s, odd_s = 0.0, 0.0, 0.0, 0.0
            if len(rose) > 0 and r > 0.0:
                bent = ((pieces[index, 7] * t + pieces[index, 6]) * t + pieces[index, 5]) * t + pieces[index, 4]
                x, y = h * row / r, h * col / r
                c, s = x, y
                for order in range(len(rose)):
                    if order % 2 == 0:
                        odd_c += rose[order].real * c
                        odd_s += rose[order].imag * s
                    else:
                        even_c += rose[order].real * c
                        even_s += rose[order].imag * s
                    c, s = c * x - s * y, s * x + c * y
                even_c *= 2.0 * bent
                odd_c *= 2.0 * bent
                even_s *= 2.0 * bent
                odd_s *= 2.0 * bent
            south, west = (n_rows - row) % n_rows, (n_cols - col) % n_cols
            out[row, col] += still + even_c + odd_c + even_s + odd_s
            if west != col:
                out[row, west] += still + even_c + odd_c - even_s - odd_s
            if south != row:
                out[south, col] += still + even_c - odd_c - even_s + odd_s
                if west != col:
                    out[south, west] += still + even_c - odd_c + even_s - odd_s


@numba.njit(numba.void(I4, I4, numba.complex128[:, ::1], V, V), cache=True, nogil=True)
def divide(first, last, spectrum, along_rows, along_cols):
    """Divide rows `first` to `last` - 1 of a spectrum by the squares of both splines' spectra."""
    for row in range(first, last):
        for col in range(spectrum.shape[1]):
            b = along_rows[row] * along_cols[col]
            spectrum[row, col] /= b * b


@numba.njit(
    numba.void(I4, I4, numba.complex128[:, ::1], M, numba.boolean, numba.complex128[:, ::1]), cache=True, nogil=True
)
def add_product(first, last, spectrum, kernel, is_odd, out):
    """Add a spectrum times a real kernel, or times i and the kernel where that is odd, to rows of another."""
    for row in range(first, last):
        for col in range(spectrum.shape[1]):
            value, factor = spectrum[row, col], kernel[row, col]
            if is_odd:
                out[row, col] += complex(-value.imag * factor, value.real * factor)
            else:
                out[row, col] += value * factor

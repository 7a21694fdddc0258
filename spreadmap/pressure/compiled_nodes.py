"""Compiled work on tables of the nodes of a wind field: adding them up, and stamps from the four about a source."""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.pressure.compiled import M, V
from spreadmap.pressure.compiled_near import I1, I4, F, add_rows, empty_hole, lattice, nine_more, sixteen_more

FM = numba.float32[:, ::1]
IM = numba.int64[:, ::1]


@numba.njit(numba.void(F, F, numba.float32), cache=True, nogil=True, fastmath={"contract"})
def _add_scaled(out, part, factor):
    """Add one piece of a table times a factor."""
    for i in range(len(out)):
        out[i] += factor * part[i]


@numba.njit(numba.void(I4, I4, FM, FM, FM), cache=True, nogil=True)
def add_up(first, last, factor, parts, out):
    """Set values `first` to `last` - 1 of every node's table to the sum of the parts by the node's factors."""
    for node in range(len(out)):
        own = out[node, first:last]
        own[:] = np.float32(0.0)
        for term in range(len(parts)):
            _add_scaled(own, parts[term, first:last], factor[node, term])


@numba.njit(numba.void(I4, I4, M, V, V, V, I1, FM, IM, M, I4, I4, I4, I1, I4), cache=True, nogil=True)
def stamp_between(
    row0, col0, out, s_row, s_col, strength, chosen, tables, corner, weight, q, order, size, half, hole
):  # fmt: skip
    """Add one tier of the near part of the chosen sources to a tile, from tables by weight; see `stamp`.

    Source j takes table `corner[j, k]` (one row: the same for all) with weight `weight[j, k]`.
    """
    reach = len(half) // 2
    n_rows, n_cols = out.shape
    w, at, work = np.empty(16, np.float32), np.empty(16, np.int64), np.empty((2, 4))
    scaled, made = np.empty(16, np.float32), np.empty(size * size, np.float32)
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
        nodes = corner[j] if len(corner) > 1 else corner[0]
        for k in range(len(nodes)):
            if weight[j, k] == 0.0:
                continue
            for i in range((order + 1) ** 2):
                scaled[i] = w[i] * weight[j, k]
            if order == 2:
                nine_more(made[:count], tables[nodes[k]], start, at, scaled)
            else:
                sixteen_more(made[:count], tables[nodes[k]], start, at, scaled)
        empty_hole(made, start, top, bottom, left, right, hole, size)
        row, col = own_row + top - row0, own_col + left - col0
        add_rows(out, made, row, col, bottom - top + 1, right - left, size, strength[j])

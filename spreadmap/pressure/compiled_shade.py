"""Compiled work behind screens: what every source lacks, or sends, over one square block of places.

A block is cut in four again and again. Where the same pieces of screens stand between a source and all of a part, and
the kernel is smooth there, the part's polynomial gets the source's share at a few nodes; else single places are tried,
down to parts of a few places. Polynomials of larger parts are handed down exactly. The same nodes, with the weights of
the places gathered on them, tell what a source sends.
"""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.pressure.compiled import (
    CM,
    F8,
    PIECE,
    C,
    I,
    M,
    V,
    _directed,
    cell_mean,
    crosses,
    disc_mean,
    nine_points,
    seven_points,
)

DEPTH = 4
"""How often a block is halved along each side [-]."""
ALONG = 2**DEPTH
LEVEL_FIRST = np.array([(4**level - 1) // 3 for level in range(DEPTH + 2)])
NODES = 6
"""Nodes of a polynomial along each side [-]."""
NODE_X = np.cos((np.arange(NODES)[::-1] + 0.5) * np.pi / NODES)
BARY = np.array([1.0 / np.prod([x - other for other in NODE_X if other != x]) for x in NODE_X])
MOST_JOINED = 8
WELL_OUTSIDE = 3.0
"""Distance of a source in half sides from which angles about a part's middle are used [-]."""
BINS_PER_DOUBLING = 2
I1 = numba.int64[::1]
B2 = numba.boolean[:, ::1]


@numba.njit(numba.void(F8, V), cache=True, nogil=True, inline="always")
def lagrange(t, w):
    """Fill the weights of the nodes for a place t between -1 and 1 of a part."""
    for a in range(NODES):
        w[a] = BARY[a]
        for b in range(NODES):
            if b != a:
                w[a] *= t - NODE_X[b]


@numba.njit(numba.void(V, V, numba.int64, F8, F8, C, F8, M, V, M), cache=True, nogil=True)
def far_values(east, north, count, per_step, shift, rose, floor, pieces, value, work):
    """Fill the densities, or cell means, at offsets far from a source; as in the rows of exact sums, place by place."""
    r, cosine, sine, c1, c2, s1, s2, flat = (
        work[0], work[1], work[2], work[3], work[4], work[5], work[6], work[7],
    )  # fmt: skip
    for k in range(count):
        distance = math.sqrt(east[k] * east[k] + north[k] * north[k] + floor)
        r[k] = distance
        cosine[k] = north[k] / distance
        sine[k] = east[k] / distance
    if len(rose) > 0:
        for k in range(count):
            flat[k] = shift / (r[k] * r[k])
            c1[k] = 0.0
            c2[k] = 0.0
            s1[k] = 0.0
            s2[k] = 0.0
        for order in range(len(rose), 0, -1):
            even, odd, square = 2.0 * rose[order - 1].real, 2.0 * rose[order - 1].imag, float(order * order)
            for k in range(count):
                double, part = 2.0 * cosine[k], 1.0 - square * flat[k]
                c2[k] = even * part + double * c1[k] - c2[k]
                s2[k] = odd * part + double * s1[k] - s2[k]
            c1, c2 = c2, c1
            s1, s2 = s2, s1
        for k in range(count):
            flat[k] = cosine[k] * c1[k] - c2[k] + sine[k] * s1[k]
    last = len(pieces) - 1
    for k in range(count):
        place = r[k] * per_step
        index = min(int(place), last)
        t = place - index
        total = ((pieces[index, 3] * t + pieces[index, 2]) * t + pieces[index, 1]) * t + pieces[index, 0]
        if len(rose) > 0:
            bent = ((pieces[index, 7] * t + pieces[index, 6]) * t + pieces[index, 5]) * t + pieces[index, 4]
            total += bent * flat[k]
        value[k] = max(total, 0.0)


@numba.njit(numba.boolean(F8, F8, F8, F8, F8, F8, F8, F8, F8, F8, F8, F8), cache=True, nogil=True)
def may_stand_between(ax, ay, bx, by, from_e, from_n, from_half_e, from_half_n, to_e, to_n, to_half_e, to_half_n):
    """Tell whether a straight path from a box to another may cross a piece; boxes by middle and half sides.

    It may not where the piece lies beside both boxes, seen along either axis or along the line between their middles.
    """
    if max(ax, bx) < min(from_e - from_half_e, to_e - to_half_e):
        return False
    if min(ax, bx) > max(from_e + from_half_e, to_e + to_half_e):
        return False
    if max(ay, by) < min(from_n - from_half_n, to_n - to_half_n):
        return False
    if min(ay, by) > max(from_n + from_half_n, to_n + to_half_n):
        return False
    across_e, across_n = -(to_n - from_n), to_e - from_e
    wide = max(
        abs(across_e) * from_half_e + abs(across_n) * from_half_n, abs(across_e) * to_half_e + abs(across_n) * to_half_n
    )
    a = across_e * (ax - from_e) + across_n * (ay - from_n)
    b = across_e * (bx - from_e) + across_n * (by - from_n)
    if min(a, b) > wide or max(a, b) < -wide:
        return False
    # Both boxes on one side of the piece's line.
    line_e, line_n = -(by - ay), bx - ax
    near = line_e * (from_e - ax) + line_n * (from_n - ay)
    near_wide = abs(line_e) * from_half_e + abs(line_n) * from_half_n
    other = line_e * (to_e - ax) + line_n * (to_n - ay)
    other_wide = abs(line_e) * to_half_e + abs(line_n) * to_half_n
    if near - near_wide > 0.0 and other - other_wide > 0.0:
        return False
    return not (near + near_wide < 0.0 and other + other_wide < 0.0)


@numba.njit(F8(F8, F8, F8, F8, F8, I1, numba.int64, M, V, V, V), cache=True, nogil=True)
def joined(dx, dy, half, s_east, s_north, active, count, ends, factor, low, high):
    """Return the share that passes pieces which all stand before a part, if it is the same all over it, else -1.

    Pieces that meet in a joint leave no gap: what counts is the angle only, as its tangent from the part's middle.
    """
    least, most = math.inf, -math.inf
    for corner_e in (-half, half):
        for corner_n in (-half, half):
            x, y = dx + corner_e, dy + corner_n
            t = (dx * y - dy * x) / (dx * x + dy * y)
            least, most = min(least, t), max(most, t)
    for k in range(count):
        piece = active[k]
        ax, ay = ends[piece, 0] - s_east, ends[piece, 1] - s_north
        bx, by = ends[piece, 2] - s_east, ends[piece, 3] - s_north
        if ax * by - ay * bx < 0.0:
            ax, ay, bx, by = bx, by, ax, ay
        cross_a, dot_a = dx * ay - dy * ax, dx * ax + dy * ay
        cross_b, dot_b = dx * by - dy * bx, dx * bx + dy * by
        low[k] = cross_a / dot_a if dot_a > 0.0 else (math.inf if cross_a > 0.0 else -math.inf)
        high[k] = cross_b / dot_b if dot_b > 0.0 else (math.inf if cross_b > 0.0 else -math.inf)
    passing, begin = -1.0, least
    while begin < most:
        # What covers the stretch from `begin` to the next end of a piece.
        end = most
        for k in range(count):
            if begin < low[k] < end:
                end = low[k]
            if begin < high[k] < end:
                end = high[k]
        share = 1.0
        for k in range(count):
            if low[k] <= begin and high[k] >= end:
                share *= factor[active[k]]
        if passing < 0.0:
            passing = share
        elif abs(share - passing) > 1e-12:
            return -1.0
        begin = end
    return passing


@numba.njit(
    numba.void(
        numba.boolean, F8, F8, F8, V, V, V, V, V, I, I, V, V, V, I, CM, I, M, M, V, F8, F8, V, V, F8, F8, V, F8,
        F8, F8, V, V, V, V, V, F8, F8, M, B2, M, M, V, V,
    ),
    cache=True, nogil=True,
)  # fmt: skip
def shade_block(
    is_visible, west, south, size, east, north, radius, exact, simple, plant, start, s_east, s_north, strength, s_plant,
    roses, group_start, group_box, ends, factor, reach, side, faint, greatest, log_first_r, per_log_r, moment_weight,
    valid_from, log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, per_step, pieces, smooth,
    coefficient, moment, out, sent,
):  # fmt: skip
    """Add to `out` and `sent` what passes the screens, or take off what they hold back, for one block of places.

    Places are sorted by part, `start` says where each of the smallest parts begins; with a `side` they are cells.
    Sources are sorted by group, `group_box` holds each group's middle and half sides. A source whose `greatest` density
    over a part is below its `faint` is left out there. `moment_weight` of no length asks for nothing sent.
    """
    shift, floor = side * side / 24.0, 1e-12 * max(side * side, 1e-6)
    n_pieces = len(factor)
    active = np.empty((DEPTH + 2, n_pieces + 1), np.int64)
    count = np.zeros(DEPTH + 2, np.int64)
    passing = np.ones(DEPTH + 2)
    stack_level, stack_part = np.empty(4 * DEPTH + 4, np.int64), np.empty(4 * DEPTH + 4, np.int64)
    px, py, pw = np.empty(PIECE), np.empty(PIECE), np.empty(PIECE)
    which = np.empty(PIECE, np.int64)
    value, work = np.empty(PIECE), np.empty((8, PIECE))
    low, high = np.empty(MOST_JOINED), np.empty(MOST_JOINED)
    wants_sent = len(moment_weight) > 0
    middle_e, middle_n, half_block = west + size / 2, south + size / 2, size / 2
    for group in range(len(group_start) - 1):
        box = group_box[group]
        gap_e = max(abs(box[0] - middle_e) - box[2] - half_block, 0.0)
        gap_n = max(abs(box[1] - middle_n) - box[3] - half_block, 0.0)
        if math.hypot(gap_e, gap_n) > reach:
            continue
        found = 0
        for piece in range(n_pieces):
            if may_stand_between(
                ends[piece, 0], ends[piece, 1], ends[piece, 2], ends[piece, 3], box[0], box[1], box[2], box[3],
                middle_e, middle_n, half_block, half_block,
            ):  # fmt: skip
                active[0, found] = piece
                found += 1
        if found == 0 and not is_visible:
            continue
        for j in range(group_start[group], group_start[group + 1]):
            rose = roses[j] if len(roses) > 1 else roses[0]
            count[0], passing[0] = found, 1.0
            stack_level[0], stack_part[0], depth = 0, 0, 1
            given = 0.0
            while depth > 0:
                depth -= 1
                level, part = stack_level[depth], stack_part[depth]
                first = start[part << (2 * (DEPTH - level))]
                last = start[(part + 1) << (2 * (DEPTH - level))]
                if first == last:
                    continue
                half = half_block / (1 << level)
                col, row = 0, 0
                for bit in range(level):
                    col |= ((part >> (2 * bit)) & 1) << bit
                    row |= ((part >> (2 * bit + 1)) & 1) << bit
                dx, dy = west + (2 * col + 1) * half - s_east[j], south + (2 * row + 1) * half - s_north[j]
                away = math.hypot(max(abs(dx) - half, 0.0), max(abs(dy) - half, 0.0))
                if away > reach:
                    continue
                if faint[j] > 0.0 and away > 0.0:
                    place = int((math.log(away) - log_first_r) * per_log_r)
                    if place >= 0 and greatest[min(place, len(greatest) - 1)] <= faint[j]:
                        continue
                share, kept, all_before = passing[level], 0, True
                wide = half * (1.0 + 1e-6)
                for k in range(count[level]):
                    piece = active[level, k]
                    ax, ay = ends[piece, 0] - s_east[j], ends[piece, 1] - s_north[j]
                    bx, by = ends[piece, 2] - s_east[j], ends[piece, 3] - s_north[j]
                    turn = ax * by - ay * bx
                    if turn == 0.0:
                        continue
                    if turn < 0.0:
                        ax, ay, bx, by = bx, by, ax, ay
                    at, by_size = ax * dy - ay * dx, wide * (abs(ax) + abs(ay))
                    if at + by_size < 0.0:
                        continue
                    is_full = at - by_size > 0.0
                    at, by_size = by * dx - bx * dy, wide * (abs(bx) + abs(by))
                    if at + by_size < 0.0:
                        continue
                    is_full = is_full and at - by_size > 0.0
                    at = (by - ay) * (dx - ax) - (bx - ax) * (dy - ay)
                    by_size = wide * (abs(by - ay) + abs(bx - ax))
                    if at + by_size < 0.0:
                        continue
                    is_before = at - by_size > 0.0
                    if is_full and is_before:
                        share *= factor[piece]
                        continue
                    active[level + 1, kept] = piece
                    kept += 1
                    all_before = all_before and is_before
                far_off = abs(dx) + abs(dy) > WELL_OUTSIDE * half and math.hypot(dx, dy) > WELL_OUTSIDE * half
                if kept > 0 and all_before and kept <= MOST_JOINED and far_off:
                    common = joined(
                        dx, dy, wide, s_east[j], s_north[j], active[level + 1], kept, ends, factor, low, high
                    )
                    if common >= 0.0:
                        share *= common
                        kept = 0
                if kept == 0:
                    weight = (share if is_visible else share - 1.0) * strength[j]
                    if weight == 0.0:
                        continue
                    place = int(BINS_PER_DOUBLING * math.log2(max(math.hypot(dx, dy) / half, 1.0)))
                    if place < smooth.shape[1] and smooth[level, place]:
                        for a in range(NODES):
                            for b in range(NODES):
                                px[a * NODES + b] = dx + half * NODE_X[b]
                                py[a * NODES + b] = dy + half * NODE_X[a]
                        far_values(
                            px, py, NODES * NODES, per_step, shift, rose, floor, pieces, value, work
                        )  # fmt: skip
                        node = LEVEL_FIRST[level] + part
                        for k in range(NODES * NODES):
                            coefficient[node, k] += weight * value[k]
                        if wants_sent:
                            total = 0.0
                            for k in range(NODES * NODES):
                                total += moment[node, k] * value[k]
                            given += weight * total
                        continue
                if level < DEPTH:
                    passing[level + 1], count[level + 1] = share, kept
                    for child in range(4):
                        stack_level[depth], stack_part[depth] = level + 1, 4 * part + child
                        depth += 1
                    continue
                for begin in range(first, last, PIECE):
                    chosen = 0
                    for i in range(begin, min(begin + PIECE, last)):
                        if plant[i] >= 0 and plant[i] == s_plant[j]:
                            continue
                        x, y = east[i] - s_east[j], north[i] - s_north[j]
                        own = share
                        for k in range(kept):
                            piece = active[level + 1, k]
                            if crosses(
                                x, y, ends[piece, 0] - s_east[j], ends[piece, 1] - s_north[j],
                                ends[piece, 2] - s_east[j], ends[piece, 3] - s_north[j],
                            ):  # fmt: skip
                                own *= factor[piece]
                        weight = (own if is_visible else own - 1.0) * strength[j]
                        if weight != 0.0:
                            which[chosen], px[chosen], py[chosen], pw[chosen] = i, x, y, weight
                            chosen += 1
                    far_values(px, py, chosen, per_step, shift, rose, floor, pieces, value, work)
                    for k in range(chosen):
                        i = which[k]
                        r = math.sqrt(px[k] * px[k] + py[k] * py[k])
                        if r < exact[i]:
                            if side > 0.0:
                                value[k] = cell_mean(
                                    px[k], py[k], side, log_first, step, mass, mass_slope, bent, bent_slope,
                                    log_density, near, rose,
                                )  # fmt: skip
                            else:
                                value[k] = disc_mean(
                                    px[k], py[k], radius[i], log_first, step, mass, mass_slope, bent, bent_slope,
                                    log_density, near, rose,
                                )  # fmt: skip
                        elif r < simple[i]:
                            if side > 0.0:
                                value[k] = nine_points(px[k], py[k], side, log_first, step, log_density, near, rose)
                            else:
                                value[k] = seven_points(
                                    px[k], py[k], radius[i], log_first, step, log_density, near, rose
                                )  # fmt: skip
                        elif r < valid_from:
                            value[k] = _directed(px[k], py[k], log_first, step, log_density, near, rose)
                        out[i] += pw[k] * value[k]
                        if wants_sent:
                            given += pw[k] * moment_weight[i] * value[k]
            if wants_sent:
                sent[j] += given


@numba.njit(numba.void(numba.int64, numba.boolean, M), cache=True, nogil=True, inline="always")
def _halves(side, is_down, w):
    """Fill the weights of a part's nodes at those of its lower or upper half, (nodes of the half, nodes of the part)."""
    line = np.empty(NODES)
    for a in range(NODES):
        lagrange(NODE_X[a] / 2 + (side - 0.5), line)
        for b in range(NODES):
            if is_down:
                w[a, b] = line[b]
            else:
                w[b, a] = line[b]


@numba.njit(numba.void(M, F8, F8, F8, V, V, I, V), cache=True, nogil=True)
def read_block(coefficient, west, south, size, east, north, start, out):
    """Hand the polynomials down to the smallest parts, and add them to the places there."""
    half = np.empty((2, NODES, NODES))
    for side in range(2):
        _halves(side, True, half[side])
    wide = np.empty((NODES, NODES))
    for level in range(DEPTH):
        for part in range(4**level):
            if start[part << (2 * (DEPTH - level))] == start[(part + 1) << (2 * (DEPTH - level))]:
                continue
            mine = coefficient[LEVEL_FIRST[level] + part]
            for child in range(4):
                other = coefficient[LEVEL_FIRST[level + 1] + 4 * part + child]
                along, up = half[child & 1], half[child >> 1]
                for a in range(NODES):
                    for b in range(NODES):
                        total = 0.0
                        for c in range(NODES):
                            total += along[b, c] * mine[a * NODES + c]
                        wide[a, b] = total
                for a in range(NODES):
                    for b in range(NODES):
                        total = 0.0
                        for c in range(NODES):
                            total += up[a, c] * wide[c, b]
                        other[a * NODES + b] += total
    we, wn = np.empty(NODES), np.empty(NODES)
    half_part = size / 2 / 2**DEPTH
    for part in range(4**DEPTH):
        col, row = 0, 0
        for bit in range(DEPTH):
            col |= ((part >> (2 * bit)) & 1) << bit
            row |= ((part >> (2 * bit + 1)) & 1) << bit
        middle_e, middle_n = west + (2 * col + 1) * half_part, south + (2 * row + 1) * half_part
        mine = coefficient[LEVEL_FIRST[DEPTH] + part]
        for i in range(start[part], start[part + 1]):
            lagrange((east[i] - middle_e) / half_part, we)
            lagrange((north[i] - middle_n) / half_part, wn)
            total = 0.0
            for a in range(NODES):
                line = 0.0
                for b in range(NODES):
                    line += we[b] * mine[a * NODES + b]
                total += wn[a] * line
            out[i] += total


@numba.njit(numba.void(V, F8, F8, F8, V, V, I, M), cache=True, nogil=True)
def gather_block(weight, west, south, size, east, north, start, moment):
    """Gather the weights of places on the nodes of their parts, from the smallest parts up."""
    we, wn = np.empty(NODES), np.empty(NODES)
    half_part = size / 2 / 2**DEPTH
    for part in range(4**DEPTH):
        col, row = 0, 0
        for bit in range(DEPTH):
            col |= ((part >> (2 * bit)) & 1) << bit
            row |= ((part >> (2 * bit + 1)) & 1) << bit
        middle_e, middle_n = west + (2 * col + 1) * half_part, south + (2 * row + 1) * half_part
        mine = moment[LEVEL_FIRST[DEPTH] + part]
        for i in range(start[part], start[part + 1]):
            lagrange((east[i] - middle_e) / half_part, we)
            lagrange((north[i] - middle_n) / half_part, wn)
            for a in range(NODES):
                for b in range(NODES):
                    mine[a * NODES + b] += weight[i] * wn[a] * we[b]
    half = np.empty((2, NODES, NODES))
    for side in range(2):
        _halves(side, False, half[side])
    wide = np.empty((NODES, NODES))
    for level in range(DEPTH - 1, -1, -1):
        for part in range(4**level):
            mine = moment[LEVEL_FIRST[level] + part]
            for child in range(4):
                other = moment[LEVEL_FIRST[level + 1] + 4 * part + child]
                along, up = half[child & 1], half[child >> 1]
                for a in range(NODES):
                    for b in range(NODES):
                        total = 0.0
                        for c in range(NODES):
                            total += along[b, c] * other[a * NODES + c]
                        wide[a, b] = total
                for a in range(NODES):
                    for b in range(NODES):
                        total = 0.0
                        for c in range(NODES):
                            total += up[a, c] * wide[c, b]
                        mine[a * NODES + b] += total

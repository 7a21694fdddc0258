"""Compiled: which plants a source reaches, as a list of tree nodes with bounds, and the exact value of one pair.

All plants that can be infected are covered by the nodes of a source's lists: one that the plants of a small tree node,
its group, share for what is far, and one of its own for the rest. A node's bound is not below the sum of its plants'
hazards, so that drawing a node by its bound, a plant in it by its weight, and keeping it with value over bound gives
every plant its own hazard: thinning, exact whatever the bounds. Lists hold nothing of rates: all draws of one law share
them.
"""

from __future__ import annotations

import math

import numba
import numpy as np

from spreadmap.outbreak.arrival_tables import BEARINGS, UNBOUNDED
from spreadmap.pressure.compiled import _directed, _even, disc_mean, passed, seven_points

F8 = numba.float64
I8 = numba.int64
V = numba.float64[::1]
M = numba.float64[:, ::1]
M3 = numba.float64[:, :, ::1]
CM = numba.complex128[:, ::1]
I1 = numba.int64[::1]
IM = numba.int64[:, ::1]

FEW_ENTRIES, MOST_ENTRIES = 16, 128
"""A list has this many entries before it may end, and at most, unless a node has no bound [-]: work against tightness."""
WASTE = 1.0
"""Share of the proposals that a list may let go to waste, about [-]."""
TIGHT = 1.5
"""A list of a group keeps a node whose bound is at most so many times what its middle has [-]."""
NEAR = -1.0
"""Bound of entries that a group leaves to the lists of its plants."""
WINDOWS = 7
STEP = 2.0 * math.pi / BEARINGS

TABLES = (M, V, V, V, V, V, M, CM, M, M, M, M, F8, F8)
"""Types of the fields of `ArrivalTables`, in their order."""
LAND = (M, I1, V, M, IM, I1, I1, V, I1)
"""Types of places (n, 5) with weight and strength, tree order, heaped weights, boxes, parts; touching pairs with their
heaped weights; and the group of every plant."""


@numba.njit(
    F8(I8, I8, I8, M, M, V, V, V, V, V, M, CM, M, M, M, V), cache=True, nogil=True,
)  # fmt: skip
def pair_value(
    s, source, plant, land, strands, mass, mass_slope, bent, bent_slope, log_density, pieces, roses, exact, simple,
    ends, factor,
):  # fmt: skip
    """Return one strand's mean density over a plant's canopy disc from one source, screens taken off [m^-2].

    The rules are those of `pressure.compiled.sum_at_points`, so that sums and draws have one hazard.
    """
    row = strands[s]
    first, last = int(row[6]), int(row[7])
    rose = roses[int(row[10]) + (0 if row[11] > 0 else source)]
    east, north = land[plant, 0] - land[source, 0], land[plant, 1] - land[source, 1]
    r = math.sqrt(east * east + north * north)
    if r < exact[s, plant]:
        value = disc_mean(
            east, north, land[plant, 2], row[1], row[2], mass[first:last], mass_slope[first:last], bent[first:last],
            bent_slope[first:last], log_density[first:last], row[3], rose,
        )  # fmt: skip
    elif r < simple[s, plant]:
        value = seven_points(east, north, land[plant, 2], row[1], row[2], log_density[first:last], row[3], rose)
    elif r < row[5]:
        value = _directed(east, north, row[1], row[2], log_density[first:last], row[3], rose)
    else:
        value = _even(east, north, row[4], pieces[int(row[8]) : int(row[9])], rose)
    value *= row[0]
    if len(factor) > 0:
        value *= passed(land[source, 0], land[source, 1], land[plant, 0], land[plant, 1], ends, factor)
    return value


@numba.njit(F8(F8, F8, F8, I8, I8, M, M, CM), cache=True, nogil=True, inline="always")
def far_value(east, north, r, s, source, strands, pieces, roses):
    """Return one strand's density at an offset far from a source, as `pair_value` does, without handing over tables."""
    row, column = int(strands[s, 10]), roses.shape[1]
    if strands[s, 11] == 0.0:
        row += source
    where = r * strands[s, 4]
    index = min(int(where), int(strands[s, 9] - strands[s, 8]) - 1)
    t = where - index
    index += int(strands[s, 8])
    value = ((pieces[index, 3] * t + pieces[index, 2]) * t + pieces[index, 1]) * t + pieces[index, 0]
    if column > 0:
        z, total = complex(north / r, -east / r), 0.0 + 0.0j
        for order in range(column - 1, -1, -1):
            total = (total + roses[row, order]) * z
        more = ((pieces[index, 7] * t + pieces[index, 6]) * t + pieces[index, 5]) * t + pieces[index, 4]
        value += more * 2.0 * total.real
    return max(value, 0.0) * strands[s, 0]


@numba.njit(numba.void(numba.complex128[::1], F8, M), cache=True, nogil=True)
def fill_windows(rose, more, windows):
    """Fill for every tried bearing the greatest excess of a rose within 1, 2, 4 ... 64 steps of it, (7, bearings)."""
    value = np.empty(BEARINGS)
    for b in range(BEARINGS):
        z = complex(math.cos(b * STEP), -math.sin(b * STEP))
        total = 0.0 + 0.0j
        for order in range(len(rose) - 1, -1, -1):
            total = (total + rose[order]) * z
        value[b] = 2.0 * total.real + more
    for b in range(BEARINGS):
        windows[0, b] = max(value[b - 1], value[b], value[(b + 1) % BEARINGS])
    half = 1
    for level in range(1, WINDOWS):
        for b in range(BEARINGS):
            windows[level, b] = max(windows[level - 1, b - half], windows[level - 1, (b + half) % BEARINGS])
        half *= 2


@numba.njit(F8(F8, V, F8, F8), cache=True, nogil=True, inline="always")
def _at_distance(r, values, log_first, per_log):
    """Return the value of the bin in which a distance lies; the first for all that is nearer."""
    place = (math.log(r) - log_first) * per_log if r > 0.0 else 0.0
    return values[min(max(int(place), 0), len(values) - 1)]


@numba.njit(
    numba.types.UniTuple(F8, 2)(F8, F8, F8, F8, I8, M, F8, F8, numba.boolean, M, V, V, F8, F8),
    cache=True, nogil=True,
)  # fmt: skip
def _node_bound(
    west, east, south, north, node, box, share, near, is_directed, windows, greatest, here, log_first, per_log
):  # fmt: skip
    """Return a bound on one strand's density from any source in a box over any disc of a node, and about their middles'.

    Both are means over discs [m^-2].
    """
    left, right, bottom, top, radius = box[node, 0], box[node, 1], box[node, 2], box[node, 3], box[node, 4]
    gap_e = max(left - east, west - right, 0.0)
    gap_n = max(bottom - north, south - top, 0.0)
    nearest = max(math.sqrt(gap_e * gap_e + gap_n * gap_n) - radius, 0.0)
    mid_e, mid_n = (left + right - west - east) / 2, (bottom + top - south - north) / 2
    middle = math.sqrt(mid_e * mid_e + mid_n * mid_n)
    half = math.sqrt((right - left) ** 2 + (top - bottom) ** 2) / 2 + radius
    half += math.sqrt((east - west) ** 2 + (north - south) ** 2) / 2
    bound = _at_distance(nearest, greatest, log_first, per_log)
    about = _at_distance(max(middle, half / 2), here, log_first, per_log)
    most, usual = 1.0, 1.0
    if is_directed:
        level, at = WINDOWS - 1, 0
        if middle > 0.0:
            at = math.floor(math.atan2(mid_e, mid_n) / STEP + 0.5) % BEARINGS
            usual = max(1.0 + windows[0, at], 0.0)
        if half < middle:
            # The window is counted from a tried bearing, which may lie half a step from the middle's.
            steps = math.asin(half / middle) / STEP + 0.5
            level, reach = 0, 1.0
            while reach < steps and level < WINDOWS - 1:
                reach *= 2.0
                level += 1
        excess = windows[level, at]
        if excess >= 0.0:
            most = 1.0 + excess
        elif nearest > 6.5 * near:
            most = max(1.0 + excess, 0.0) + 0.01
    return share * bound * most, share * min(about * usual, bound * most)


@numba.njit(numba.void(V, I1, I8), cache=True, nogil=True)
def _sink(waste, slot, count):
    """Restore a heap, greatest waste on top, after its top was changed."""
    at = 0
    while True:
        child = 2 * at + 1
        if child >= count:
            return
        if child + 1 < count and waste[slot[child + 1]] > waste[slot[child]]:
            child += 1
        if waste[slot[child]] <= waste[slot[at]]:
            return
        slot[at], slot[child] = slot[child], slot[at]
        at = child


@numba.njit(numba.void(V, I1, I8), cache=True, nogil=True)
def _rise(waste, slot, count):
    """Restore a heap after its last item was added."""
    at = count - 1
    while at > 0:
        above = (at - 1) // 2
        if waste[slot[above]] >= waste[slot[at]]:
            return
        slot[at], slot[above] = slot[above], slot[at]
        at = above


@numba.njit(numba.void(I8, I8, I1, M, CM, M3), cache=True, nogil=True)
def _windows_of(first, last, plants, strands, roses, windows):
    """Fill the windows of every strand whose rose differs from plant to plant: the greatest over some plants."""
    spare = np.empty((WINDOWS, BEARINGS))
    for s in range(len(strands)):
        if roses.shape[1] == 0 or strands[s, 11] > 0.0:
            continue
        row = int(strands[s, 10])
        fill_windows(roses[row + plants[first]], strands[s, 12], windows[s])
        for at in range(first + 1, last):
            fill_windows(roses[row + plants[at]], strands[s, 12], spare)
            windows[s] = np.maximum(windows[s], spare)


@numba.njit(
    I8(I8, F8, F8, F8, F8, I8, I8, F8, *LAND, *TABLES, M, V, M3, I1, I1, V, V, V, I1), cache=True, nogil=True,
)  # fmt: skip
def _refine(
    source, west, east, south, north, count, few, beside, land, order, heaped, box, part, touch_start, touching,
    touch_heaped, home, strands, mass, mass_slope, bent, bent_slope, log_density, pieces, roses, exact, simple, greatest,
    here, log_first, per_log, ends, factor, windows, node, strand, bound, waste, usual, slot,
):  # fmt: skip
    """Cut the first `count` entries where most proposals would be wasted; return how many there are then, or -1.

    `source` is a plant, or -1 for any plant in the box, whose strength is one and whose windows are filled. For a box
    the entries that no cut would make tight, because of the box itself, have the bound `NEAR`. A list has `few` entries
    before it may end; `beside` is about what other lists of the same source hold [m^-2].
    """
    heap, room, own = 0, len(node), math.sqrt((east - west) ** 2 + (north - south) ** 2)
    wasted, kept = 0.0, beside
    again, begin, end = -1, 0, count
    while True:
        for turn in range(end - begin + (again >= 0)):
            at = begin + turn if turn < end - begin else again
            here_node, s = node[at], strand[at]
            first, last = part[here_node, 0], part[here_node, 1]
            weight, is_single = heaped[last] - heaped[first], last - first == 1
            if is_single and source >= 0:
                plant, value = order[first], 0.0
                if plant != source:
                    value = pair_value(
                        s, source, plant, land, strands, mass, mass_slope, bent, bent_slope, log_density, pieces, roses,
                        exact, simple, ends, factor,
                    )  # fmt: skip
                bound[at] = usual[at] = land[plant, 3] * value
                kept += usual[at]
                continue
            most, about = _node_bound(
                west, east, south, north, here_node, box, strands[s, 0], strands[s, 3], roses.shape[1] > 0, windows[s],
                greatest[s], here[s], log_first, per_log,
            )  # fmt: skip
            if source < 0 and (most >= UNBOUNDED / 2 or most > TIGHT * about):
                wide = math.sqrt(
                    (box[here_node, 1] - box[here_node, 0]) ** 2 + (box[here_node, 3] - box[here_node, 2]) ** 2
                )
                if is_single or wide <= own:
                    bound[at], usual[at] = NEAR, 0.0
                    continue
            bound[at], usual[at] = weight * most, weight * about
            kept += usual[at]
            if is_single:
                continue
            waste[at] = UNBOUNDED if most >= UNBOUNDED / 2 else bound[at] - usual[at]
            wasted += waste[at] if waste[at] < UNBOUNDED / 2 else 0.0
            slot[heap] = at
            heap += 1
            _rise(waste, slot, heap)
        if heap == 0:
            return count
        top = slot[0]
        if waste[top] < UNBOUNDED / 2 and (
            count >= MOST_ENTRIES or waste[top] <= 0.0 or (count >= few and wasted <= WASTE * kept)
        ):
            return count
        if count + 1 > room:
            return -1
        heap -= 1
        slot[0] = slot[heap]
        _sink(waste, slot, heap)
        wasted -= waste[top] if waste[top] < UNBOUNDED / 2 else 0.0
        kept -= usual[top]
        cut = node[top]
        node[top] = part[cut, 2]
        node[count], strand[count] = part[cut, 3], strand[top]
        again, begin, end = top, count, count + 1
        count += 1


@numba.njit(I8(M, IM, I1, I1), cache=True, nogil=True)
def _every_root(strands, part, node, strand):
    """Begin a list with the root of the tree for every strand; return how many entries that are, or -1."""
    if len(part) == 0:
        return 0
    if len(node) < len(strands):
        return -1
    for s in range(len(strands)):
        node[s], strand[s] = 0, s
    return len(strands)


@numba.njit(I8(I8, *LAND, *TABLES, M, V, M3, I1, I1, V, V, V, I1), cache=True, nogil=True)
def list_of_group(
    group, land, order, heaped, box, part, touch_start, touching, touch_heaped, home, strands, mass, mass_slope, bent,
    bent_slope, log_density, pieces, roses, exact, simple, greatest, here, log_first, per_log, ends, factor, windows,
    node, strand, bound, waste, usual, slot,
):  # fmt: skip
    """Fill the list that all plants of a tree node share; return how many entries it has, or -1 where arrays are short.

    Entries with the bound `NEAR` are left to the lists of single plants.
    """
    _windows_of(part[group, 0], part[group, 1], order, strands, roses, windows)
    count = _every_root(strands, part, node, strand)
    if count < 0:
        return -1
    return _refine(
        -1, box[group, 0], box[group, 1], box[group, 2], box[group, 3], count, FEW_ENTRIES, 0.0, land, order, heaped, box,
        part, touch_start, touching, touch_heaped, home, strands, mass, mass_slope, bent, bent_slope, log_density,
        pieces, roses, exact, simple, greatest, here, log_first, per_log, ends, factor, windows, node, strand, bound,
        waste, usual, slot,
    )  # fmt: skip


@numba.njit(I8(I8, I8, F8, *LAND, *TABLES, M, V, M3, I1, I1, V, V, V, I1), cache=True, nogil=True)
def list_of(
    source, count, beside, land, order, heaped, box, part, touch_start, touching, touch_heaped, home, strands, mass,
    mass_slope, bent, bent_slope, log_density, pieces, roses, exact, simple, greatest, here, log_first, per_log, ends,
    factor, windows, node, strand, bound, waste, usual, slot,
):  # fmt: skip
    """Fill the list of one source; return how many entries it has, or -1 where the arrays are too short.

    The first `count` entries are what its group left to it; without a group, for which `count` is -1, all plants are
    covered. Bounds are of weight times density from a source of strength one [m^-2]; a single plant's is exact.
    """
    few = 1
    if count < 0:
        count, few = _every_root(strands, part, node, strand), FEW_ENTRIES
        if count < 0:
            return -1
    if count == 0:
        return 0
    for s in range(len(strands)):
        if roses.shape[1] > 0 and strands[s, 11] == 0.0:
            fill_windows(roses[int(strands[s, 10]) + source], strands[s, 12], windows[s])
    east, north = land[source, 0], land[source, 1]
    return _refine(
        source, east, east, north, north, count, few, beside, land, order, heaped, box, part, touch_start, touching,
        touch_heaped, home, strands, mass, mass_slope, bent, bent_slope, log_density, pieces, roses, exact, simple,
        greatest, here, log_first, per_log, ends, factor, windows, node, strand, bound, waste, usual, slot,
    )  # fmt: skip


@numba.njit(F8(V, I8, V, I1, I1, I1), cache=True, nogil=True)
def fill_alias(bound, count, share, other, small, large):
    """Fill the alias table of a list by Vose's method; return the sum of the bounds.

    References
    ----------
    Vose 1991, IEEE Trans Softw Eng 17:972-975, doi 10.1109/32.92917.
    """
    total = 0.0
    for at in range(count):
        total += bound[at]
    if total <= 0.0:
        return 0.0
    few, many = 0, 0
    for at in range(count):
        share[at], other[at] = bound[at] * count / total, at
        if share[at] < 1.0:
            small[few] = at
            few += 1
        else:
            large[many] = at
            many += 1
    while few > 0 and many > 0:
        few -= 1
        low, high = small[few], large[many - 1]
        other[low] = high
        share[high] -= 1.0 - share[low]
        if share[high] < 1.0:
            many -= 1
            small[few] = high
            few += 1
    while many > 0:
        many -= 1
        share[large[many]] = 1.0
    while few > 0:
        few -= 1
        share[small[few]] = 1.0
    return total


@numba.njit(I8(V, I8, I8, F8), cache=True, nogil=True, inline="always")
def place_in(heaped, first, last, wanted):
    """Return the last place from `first` to `last` - 1 whose heaped value is not above the wanted one."""
    low, high = first, last - 1
    while low < high:
        middle = (low + high + 1) // 2
        if heaped[middle] <= wanted:
            low = middle
        else:
            high = middle - 1
    return low

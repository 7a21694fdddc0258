"""Compiled sums over sources. All lengths in metres, densities per square metre.

The mean of the kernel over a cell or a canopy disc is its mass there divided by the area. The mass in any area is the
integral along its edge, counter-clockwise, of (F(r) + e(bearing) G(r)) d(angle) / 2 pi, with F and G the cumulative
radial masses and e the excess of the rose: exact at any distance from the source, inside and outside. Where that
would be a small difference of large numbers, the density at many points is taken.

Bearings need no arc tangent: a rose is a polynomial in (north - i east) / r, or in north / r and east / r.
"""

from __future__ import annotations

import math

import numba
import numpy as np

F8 = numba.float64
V = numba.float64[::1]
C = numba.complex128[::1]
M = numba.float64[:, ::1]
CM = numba.complex128[:, ::1]
I = numba.int64[::1]  # noqa: E741  the name of the type, as in the signatures

GAUSS_X, GAUSS_W = (np.ascontiguousarray(part) for part in np.polynomial.legendre.leggauss(20))
THREE_X, THREE_W = (np.ascontiguousarray(part) for part in np.polynomial.legendre.leggauss(3))
TWO_PI = 2 * math.pi
RIM_POINTS = 128
CROWDING = 0.9
SMALL_MASS = 1e-12
"""Mass below which the difference of two cumulative masses keeps too few digits."""
PIECE = 512
"""Cells of a row that are worked on together, so that their columns stay in the nearest cache."""


@numba.njit(F8(F8, F8, F8, V, V), cache=True, nogil=True, inline="always")
def _hermite(log_r, log_first, step, value, slope):
    """Interpolate a table with its slopes; beyond its ends it keeps its end values."""
    place = (log_r - log_first) / step
    if place <= 0.0:
        return value[0]
    index = int(place)
    if index >= len(value) - 1:
        return value[-1]
    t = place - index
    s = 1.0 - t
    return (
        value[index] * s * s * (1.0 + 2.0 * t)
        + value[index + 1] * t * t * (3.0 - 2.0 * t)
        + step * (slope[index] * t * s * s - slope[index + 1] * t * t * s)
    )


@numba.njit(F8(F8, F8, F8, V), cache=True, nogil=True, inline="always")
def _density(r, log_first, step, log_density):
    """Interpolate the density with four points of the logarithm; within the table's first node it is that node's."""
    place = (math.log(r) - log_first) / step if r > 0.0 else 0.0
    index = min(max(int(place), 1), len(log_density) - 3)
    t = min(max(place - index, -1.0), 2.0)
    a, b, c, d = log_density[index - 1], log_density[index], log_density[index + 1], log_density[index + 2]
    value = (
        -a * t * (t - 1) * (t - 2) / 6
        + b * (t + 1) * (t - 1) * (t - 2) / 2
        - c * (t + 1) * t * (t - 2) / 2
        + d * (t + 1) * t * (t - 1) / 6
    )
    return math.exp(value) if value > -689.0 else 0.0


@numba.njit(F8(F8, F8, C), cache=True, nogil=True, inline="always")
def _excess(east, north, rose):
    """Return 2 pi h - 1 for the bearing of a unit vector, by Horner's scheme."""
    z = complex(north, -east)
    total = 0.0 + 0.0j
    for order in range(len(rose) - 1, -1, -1):
        total = (total + rose[order]) * z
    return 2.0 * total.real


@numba.njit(F8(F8, F8, F8, F8, V, F8, C), cache=True, nogil=True, inline="always")
def _directed(east, north, log_first, step, log_density, near, rose):
    """Return the density at an offset from a source."""
    r = math.sqrt(east * east + north * north)
    value = _density(r, log_first, step, log_density)
    if r > 0.0 and len(rose) > 0:
        bend = 1.0 if near <= 0.0 or r > 6.5 * near else -math.expm1(-((r / near) ** 2))
        value *= 1.0 + _excess(east / r, north / r, rose) * bend
    return max(value, 0.0)


@numba.njit(F8(F8, F8, F8, F8, F8, F8, F8, F8, V, V, V, V, C), cache=True, nogil=True)
def _edge(x0, y0, x1, y1, base, bent_base, log_first, step, mass, mass_slope, bent, bent_slope, rose):
    """Integrate along one straight edge, seen from a source at the origin; counter-clockwise counts as positive.

    A base taken off F or G falls out round a closed edge that leaves the source outside, and with it the difference
    of large numbers.
    """
    length = math.hypot(x1 - x0, y1 - y0)
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    signed = x0 * uy - y0 * ux
    gap = abs(signed)
    if gap < 1e-12 * length:
        return 0.0
    along0 = x0 * ux + y0 * uy
    v0, v1 = math.asinh(along0 / gap), math.asinh((along0 + length) / gap)
    px, py = x0 - along0 * ux, y0 - along0 * uy
    # The place along the edge is gap sinh v; pieces short in v follow a near corner and a fine rose alike.
    pieces = int((v1 - v0) / min(3.0, 16.0 / (len(rose) + 1))) + 1
    half = (v1 - v0) / (2 * pieces)
    total = 0.0
    for piece in range(pieces):
        centre = v0 + (2 * piece + 1) * half
        for node in range(len(GAUSS_X)):
            v = centre + half * GAUSS_X[node]
            stretch = math.cosh(v)
            along = gap * math.sinh(v)
            r = gap * stretch
            log_r = math.log(r)
            value = _hermite(log_r, log_first, step, mass, mass_slope) - base
            if len(rose) > 0:
                more = _hermite(log_r, log_first, step, bent, bent_slope) - bent_base
                value += _excess((px + along * ux) / r, (py + along * uy) / r, rose) * more
            total += GAUSS_W[node] * value / stretch
    total *= half / TWO_PI
    return total if signed > 0 else -total


@numba.njit(F8(F8, F8, F8, F8, F8, V, V, V, V, V, F8, C), cache=True, nogil=True)
def cell_mean(east, north, side, log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, rose):
    """Return the mean density over a square cell whose centre lies at an offset from the source."""
    west, right, south, top = east - side / 2, east + side / 2, north - side / 2, north + side / 2
    base, bent_base = 0.0, 0.0
    # A source on the edge, up to rounding, counts as inside: its edge adds nothing, so a base would not fall out.
    slack = 1e-9 * side
    if west > slack or right < -slack or south > slack or top < -slack:
        log_r = math.log(math.sqrt(east * east + north * north))
        base = _hermite(log_r, log_first, step, mass, mass_slope)
        bent_base = _hermite(log_r, log_first, step, bent, bent_slope)
    total = 0.0
    for x0, y0, x1, y1 in (
        (west, south, right, south), (right, south, right, top), (right, top, west, top), (west, top, west, south),
    ):  # fmt: skip
        total += _edge(x0, y0, x1, y1, base, bent_base, log_first, step, mass, mass_slope, bent, bent_slope, rose)
    if total > SMALL_MASS:
        return total / (side * side)
    mean = 0.0
    for i in range(len(GAUSS_X)):
        for j in range(len(GAUSS_X)):
            mean += (GAUSS_W[i] * GAUSS_W[j] / 4) * _directed(
                east + GAUSS_X[i] * side / 2, north + GAUSS_X[j] * side / 2, log_first, step, log_density, near, rose
            )
    return mean


@numba.njit(F8(F8, F8, F8, F8, F8, V, F8, C), cache=True, nogil=True)
def nine_points(east, north, side, log_first, step, log_density, near, rose):
    """Return the mean density over a square cell from nine points."""
    mean = 0.0
    for i in range(3):
        for j in range(3):
            mean += (THREE_W[i] * THREE_W[j] / 4) * _directed(
                east + THREE_X[i] * side / 2, north + THREE_X[j] * side / 2, log_first, step, log_density, near, rose
            )
    return mean


@numba.njit(F8(F8, F8, F8, F8, F8, V, V, V, V, V, F8, C), cache=True, nogil=True)
def disc_mean(east, north, radius, log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, rose):
    """Return the mean density over a canopy disc whose centre lies at an offset from the source."""
    total = 0.0
    d = math.sqrt(east * east + north * north)
    ce, cn = (-east / d, -north / d) if d > 0.0 else (1.0, 0.0)
    base, bent_base = 0.0, 0.0
    # Close to the rim the bearing turns so fast that only F = 0 at the source keeps the sum smooth.
    if d > 1.25 * radius:
        base = _hermite(math.log(d), log_first, step, mass, mass_slope)
        bent_base = _hermite(math.log(d), log_first, step, bent, bent_slope)
    for point in range(RIM_POINTS):
        # Even steps of `even` crowd points of the rim where it comes nearest to the source.
        even = TWO_PI * (point + 0.5) / RIM_POINTS
        turn, crowd = even - CROWDING * math.sin(even), 1.0 - CROWDING * math.cos(even)
        ahead, across = math.cos(turn), math.sin(turn)
        cosine, sine = ce * ahead - cn * across, cn * ahead + ce * across
        x, y = east + radius * cosine, north + radius * sine
        r2 = max(x * x + y * y, 1e-300)
        r = math.sqrt(r2)
        log_r = math.log(r)
        value = _hermite(log_r, log_first, step, mass, mass_slope) - base
        if len(rose) > 0:
            value += _excess(x / r, y / r, rose) * (_hermite(log_r, log_first, step, bent, bent_slope) - bent_base)
        total += value * crowd * radius * (east * cosine + north * sine + radius) / r2
    total /= RIM_POINTS
    if total > SMALL_MASS:
        return total / (math.pi * radius * radius)
    mean = 0.0
    for ring in range(len(GAUSS_X)):
        out = radius * math.sqrt((GAUSS_X[ring] + 1.0) / 2.0)
        for point in range(32):
            turn = TWO_PI * (point + 0.5) / 32
            mean += GAUSS_W[ring] * _directed(
                east + out * math.cos(turn), north + out * math.sin(turn), log_first, step, log_density, near, rose
            )
    return mean / 64.0


@numba.njit(F8(F8, F8, F8, F8, F8, V, F8, C), cache=True, nogil=True)
def seven_points(east, north, radius, log_first, step, log_density, near, rose):
    """Return the mean density over a canopy disc from Radon's seven points."""
    mean = 0.25 * _directed(east, north, log_first, step, log_density, near, rose)
    out = radius * math.sqrt(2.0 / 3.0)
    for point in range(6):
        turn = point * math.pi / 3.0
        mean += 0.125 * _directed(
            east + out * math.sin(turn), north + out * math.cos(turn), log_first, step, log_density, near, rose
        )
    return mean


@numba.njit(numba.boolean(F8, F8, F8, F8, F8, F8), cache=True, nogil=True, inline="always")
def crosses(east, north, ax, ay, bx, by):
    """Tell whether the straight path from the source to an offset crosses a piece, its ends as offsets too.

    A path through the joint of two pieces crosses one of them, so that a line of pieces has no leak.
    """
    if (east * ay - north * ax > 0.0) == (east * by - north * bx > 0.0):
        return False
    side_source = (by - ay) * ax - (bx - ax) * ay
    side_place = (bx - ax) * (north - ay) - (by - ay) * (east - ax)
    return side_source * side_place < 0.0


@numba.njit(F8(F8, F8, F8, F8, M, V), cache=True, nogil=True)
def passed(x0, y0, x1, y1, ends, factor):
    """Return the product of the factors of the screen pieces that a straight path crosses."""
    share = 1.0
    for piece in range(len(factor)):
        if crosses(
            x1 - x0, y1 - y0, ends[piece, 0] - x0, ends[piece, 1] - y0, ends[piece, 2] - x0, ends[piece, 3] - y0
        ):  # fmt: skip
            share *= factor[piece]
    return share


@numba.njit(F8(F8, F8, F8, M, C), cache=True, nogil=True, inline="always")
def _even(east, north, per_step, pieces, rose):
    """Return the density at an offset far from a source, from the even table."""
    r = math.sqrt(east * east + north * north)
    place = r * per_step
    index = min(int(place), len(pieces) - 1)
    t = place - index
    value = ((pieces[index, 3] * t + pieces[index, 2]) * t + pieces[index, 1]) * t + pieces[index, 0]
    if len(rose) > 0:
        bent = ((pieces[index, 7] * t + pieces[index, 6]) * t + pieces[index, 5]) * t + pieces[index, 4]
        value += bent * _excess(east / r, north / r, rose)
    return max(value, 0.0)


@numba.njit(
    numba.void(
        V, V, V, V, V, I, V, V, V, I, CM, V, M, V, F8, F8, V, V, V, V, V, F8, F8, F8, M, V, V
    ),
    cache=True,
    nogil=True,
)  # fmt: skip
def sum_at_points(
    r_east, r_north, r_radius, r_exact, r_simple, r_plant, s_east, s_north, strength, s_plant, roses, weight, ends,
    factor, log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, per_step, valid_from, pieces,
    out, sent,
):  # fmt: skip
    """Add to `out` what each receptor gets and to `sent` what each source gives to weighted receptors."""
    for i in range(len(r_east)):
        total = 0.0
        for j in range(len(s_east)):
            if r_plant[i] >= 0 and r_plant[i] == s_plant[j]:
                continue
            east, north = r_east[i] - s_east[j], r_north[i] - s_north[j]
            r = math.sqrt(east * east + north * north)
            if r < r_exact[i]:
                value = disc_mean(
                    east, north, r_radius[i],
                    log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, roses[j],
                )  # fmt: skip
            elif r < r_simple[i]:
                value = seven_points(east, north, r_radius[i], log_first, step, log_density, near, roses[j])
            elif r < valid_from:
                value = _directed(east, north, log_first, step, log_density, near, roses[j])
            else:
                value = _even(east, north, per_step, pieces, roses[j])
            value *= strength[j]
            if len(factor) > 0:
                value *= passed(s_east[j], s_north[j], r_east[i], r_north[i], ends, factor)
            total += value
            if len(weight) > 0:
                sent[j] += weight[i] * value
        out[i] = total


@numba.njit(numba.void(F8, F8, V, F8, F8, M, V, V), cache=True, nogil=True)
def _shade(s_east, s_north, c_east, north, side, ends, factor, value):
    """Multiply the cells of one row that lie behind each screen piece, seen from a source, by its factor.

    What lies behind a piece is convex, so that its part of a row is one run of cells: three straight limits. Cells that
    touch a limit are asked one by one.
    """
    for piece in range(len(factor)):
        ax, ay, bx, by = (
            ends[piece, 0] - s_east, ends[piece, 1] - s_north, ends[piece, 2] - s_east, ends[piece, 3] - s_north,
        )  # fmt: skip
        turn = ax * by - ay * bx
        if turn == 0.0:
            continue
        a_east, a_north, b_east, b_north = ax, ay, bx, by
        if turn < 0.0:
            ax, ay, bx, by = bx, by, ax, ay
        low, high, is_on_limit = -1.0, float(len(value)), False
        for limit in range(3):
            if limit == 0:
                rise, start = -ay, ax * north
            elif limit == 1:
                rise, start = by, -north * bx
            else:
                rise, start = by - ay, -(bx - ax) * (north - ay) - (by - ay) * ax
            start += rise * (c_east[0] - s_east)
            rise *= side
            if rise > 0.0:
                low = max(low, -start / rise)
            elif rise < 0.0:
                high = min(high, -start / rise)
            elif start == 0.0:
                is_on_limit = True
            elif start < 0.0:
                high = -1.0
        if low > high + 1.0:
            continue
        first, last = max(math.floor(low), 0), min(math.ceil(high), len(value) - 1)
        for col in range(first, last + 1):
            is_inner = first + 1 < col < last - 1 and not is_on_limit
            if is_inner or crosses(c_east[col] - s_east, north, a_east, a_north, b_east, b_north):
                value[col] *= factor[piece]


@numba.njit(
    numba.void(V, F8, F8, F8, F8, F8, C, numba.boolean, F8, M, V, M),
    cache=True,
    nogil=True,
)
def _far_row(c_east, s_east, north, side, per_step, shift, rose, is_curved, near_floor, pieces, value, work):
    """Fill `value` with the cell means of one row far from a source: the even table, and the rose by Clenshaw sums."""
    count = len(c_east)
    r, cosine, sine, c1, c2, s1, s2, flat = (
        work[0], work[1], work[2], work[3], work[4], work[5], work[6], work[7],
    )  # fmt: skip
    for col in range(count):
        east = c_east[col] - s_east
        distance = math.sqrt(east * east + north * north + near_floor)
        r[col] = distance
        cosine[col] = north / distance
        sine[col] = east / distance
    if len(rose) > 0:
        # The curvature by bearing takes shift m^2 / r^2 off the harmonic m; `flat` holds shift / r^2 until it is known.
        bow = shift if is_curved else 0.0
        for col in range(count):
            flat[col] = bow / (r[col] * r[col])
            c1[col] = 0.0
            c2[col] = 0.0
            s1[col] = 0.0
            s2[col] = 0.0
        for order in range(len(rose), 0, -1):
            even, odd, square = 2.0 * rose[order - 1].real, 2.0 * rose[order - 1].imag, float(order * order)
            for col in range(count):
                double, part = 2.0 * cosine[col], 1.0 - square * flat[col]
                c2[col] = even * part + double * c1[col] - c2[col]
                s2[col] = odd * part + double * s1[col] - s2[col]
            c1, c2 = c2, c1
            s1, s2 = s2, s1
        # With b_1 and b_2 of each series: cosines add up to x b_1 - b_2, sines to y b_1.
        for col in range(count):
            flat[col] = cosine[col] * c1[col] - c2[col] + sine[col] * s1[col]
    last = len(pieces) - 1
    for col in range(count):
        place = r[col] * per_step
        index = min(int(place), last)
        t = place - index
        total = ((pieces[index, 3] * t + pieces[index, 2]) * t + pieces[index, 1]) * t + pieces[index, 0]
        if len(rose) > 0:
            bent = ((pieces[index, 7] * t + pieces[index, 6]) * t + pieces[index, 5]) * t + pieces[index, 4]
            total += bent * flat[col]
        value[col] = max(total, 0.0)


@numba.njit(
    numba.void(V, V, F8, V, V, V, CM, M, V, F8, F8, V, V, V, V, V, F8, F8, M, F8, F8, F8, M),
    cache=True,
    nogil=True,
)
def sum_on_rows(
    c_east, c_north, side, s_east, s_north, strength, roses, ends, factor,
    log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, per_step, pieces, exact, simple, curved,
    out,
):  # fmt: skip
    """Add every source's cell means to the rows of a block, source by source."""
    work = np.empty((8, PIECE))
    value = np.empty(len(c_east))
    shift = side * side / 24.0
    floor = 1e-12 * side * side
    for j in range(len(s_east)):
        rose = roses[j]
        for row in range(len(c_north)):
            north = c_north[row] - s_north[j]
            for first in range(0, len(c_east), PIECE):
                last = min(first + PIECE, len(c_east))
                nearest = max(max(c_east[first] - s_east[j], s_east[j] - c_east[last - 1]), 0.0)
                _far_row(
                    c_east[first:last], s_east[j], north, side, per_step, shift, rose,
                    math.hypot(nearest, north) < curved, floor, pieces, value[first:last], work,
                )  # fmt: skip
            if abs(north) < simple:
                reach = math.sqrt(simple * simple - north * north)
                begin = max(int((s_east[j] - reach - c_east[0]) / side), 0)
                end = min(int((s_east[j] + reach - c_east[0]) / side) + 2, len(c_east))
                for col in range(begin, end):
                    east = c_east[col] - s_east[j]
                    r = math.sqrt(east * east + north * north)
                    if r < exact:
                        value[col] = cell_mean(
                            east, north, side,
                            log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, rose,
                        )  # fmt: skip
                    elif r < simple:
                        value[col] = nine_points(east, north, side, log_first, step, log_density, near, rose)
            if len(factor) > 0:
                _shade(s_east[j], s_north[j], c_east, north, side, ends, factor, value)
            for col in range(len(c_east)):
                out[row, col] += strength[j] * value[col]

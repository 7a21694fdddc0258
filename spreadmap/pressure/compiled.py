"""Compiled sums over sources. All lengths in metres, densities per square metre.

The mean of the kernel over a cell or a canopy disc is its mass there divided by the area. The mass in any area with a
straight or curved edge is the integral along the edge, counter-clockwise, of (F(r) + e(bearing) G(r)) d(angle) / 2 pi,
with F and G the cumulative radial masses and e the excess of the rose: exact at any distance from the source, inside
and outside. Where that would be a small difference of large numbers, the density at Gauss points is taken.
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

GAUSS_X, GAUSS_W = np.polynomial.legendre.leggauss(24)
GAUSS_X, GAUSS_W = np.ascontiguousarray(GAUSS_X), np.ascontiguousarray(GAUSS_W)
TWO_PI = 2 * math.pi
EXACT_CELLS = 6
GAUSS_CELLS = 40
EXACT_RADII = 8.0
FOUR_POINT_RADII = 80.0
SMALL_MASS = 1e-7


@numba.njit(F8(F8, F8, F8, V, V), cache=True, nogil=True, inline="always")
def _hermite(log_r, log_first, step, value, slope):
    """Interpolate a table with its slopes; below the table zero, above it the last value."""
    place = (log_r - log_first) / step
    if place <= 0.0:
        return 0.0 if place < 0.0 else value[0]
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
    if r <= 0.0:
        return math.exp(log_density[0]) if log_density[0] > -689.0 else 0.0
    place = (math.log(r) - log_first) / step
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
        bend = 1.0 if near <= 0.0 else -math.expm1(-((r / near) ** 2))
        value *= 1.0 + _excess(east / r, north / r, rose) * bend
    return value


@numba.njit(F8(F8, F8, F8, F8, F8, F8, V, V, V, V, C), cache=True, nogil=True)
def _edge(x0, y0, x1, y1, log_first, step, mass, mass_slope, bent, bent_slope, rose):
    """Integrate along one straight edge, seen from a source at the origin; counter-clockwise counts as positive."""
    length = math.hypot(x1 - x0, y1 - y0)
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    signed = x0 * uy - y0 * ux
    gap = abs(signed)
    if gap < 1e-12 * length:
        return 0.0
    along0 = x0 * ux + y0 * uy
    v0, v1 = math.asinh(along0 / gap), math.asinh((along0 + length) / gap)
    half, centre = (v1 - v0) / 2, (v1 + v0) / 2
    px, py = x0 - along0 * ux, y0 - along0 * uy
    total = 0.0
    for node in range(len(GAUSS_X)):
        v = centre + half * GAUSS_X[node]
        along = gap * math.sinh(v)
        r = gap * math.cosh(v)
        log_r = math.log(r)
        value = _hermite(log_r, log_first, step, mass, mass_slope)
        if len(rose) > 0:
            value += _excess((px + along * ux) / r, (py + along * uy) / r, rose) * _hermite(
                log_r, log_first, step, bent, bent_slope
            )
        total += GAUSS_W[node] * value / math.cosh(v)
    total *= half / TWO_PI
    return total if signed > 0 else -total


@numba.njit(F8(F8, F8, F8, F8, F8, V, V, V, V, V, F8, C), cache=True, nogil=True)
def cell_mean(east, north, side, log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, rose):
    """Return the mean density over a square cell whose centre lies at an offset from the source."""
    west, right, south, top = east - side / 2, east + side / 2, north - side / 2, north + side / 2
    total = 0.0
    total += _edge(west, south, right, south, log_first, step, mass, mass_slope, bent, bent_slope, rose)
    total += _edge(right, south, right, top, log_first, step, mass, mass_slope, bent, bent_slope, rose)
    total += _edge(right, top, west, top, log_first, step, mass, mass_slope, bent, bent_slope, rose)
    total += _edge(west, top, west, south, log_first, step, mass, mass_slope, bent, bent_slope, rose)
    if total > SMALL_MASS:
        return total / (side * side)
    mean = 0.0
    for i in range(len(GAUSS_X)):
        for j in range(len(GAUSS_X)):
            mean += (GAUSS_W[i] * GAUSS_W[j] / 4) * _directed(
                east + GAUSS_X[i] * side / 2, north + GAUSS_X[j] * side / 2, log_first, step, log_density, near, rose
            )
    return max(mean, 0.0)


@numba.njit(F8(F8, F8, F8, F8, F8, V, V, V, V, V, F8, C), cache=True, nogil=True)
def disc_mean(east, north, radius, log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, rose):
    """Return the mean density over a canopy disc whose centre lies at an offset from the source."""
    r = math.sqrt(east * east + north * north)
    if radius <= 0.0 or r > FOUR_POINT_RADII * radius:
        return _directed(east, north, log_first, step, log_density, near, rose)
    if r > EXACT_RADII * radius:
        a = radius / math.sqrt(2.0)
        return 0.25 * (
            _directed(east + a, north, log_first, step, log_density, near, rose)
            + _directed(east - a, north, log_first, step, log_density, near, rose)
            + _directed(east, north + a, log_first, step, log_density, near, rose)
            + _directed(east, north - a, log_first, step, log_density, near, rose)
        )
    total = 0.0
    inside = r < radius
    count = 96 if inside else len(GAUSS_X)
    ce, cn = (east / r, north / r) if r > 0.0 else (0.0, 1.0)
    for node in range(count):
        if inside:
            turn = TWO_PI * (node + 0.5) / count
            across, ahead = math.sin(turn), math.cos(turn)
            weight = TWO_PI / count
            half = math.sqrt(max(radius * radius - (r * across) ** 2, 0.0))
            first, last = 0.0, r * ahead + half
        else:
            u = math.pi / 2 * GAUSS_X[node]
            across = radius / r * math.sin(u)
            ahead = math.sqrt(max(1.0 - across * across, 1e-300))
            weight = math.pi / 2 * GAUSS_W[node] * radius * math.cos(u) / (r * ahead)
            half = radius * math.cos(u)
            first, last = r * ahead - half, r * ahead + half
        value = _hermite(math.log(max(last, 1e-300)), log_first, step, mass, mass_slope)
        if first > 0.0:
            value -= _hermite(math.log(first), log_first, step, mass, mass_slope)
        if len(rose) > 0:
            more = _hermite(math.log(max(last, 1e-300)), log_first, step, bent, bent_slope)
            if first > 0.0:
                more -= _hermite(math.log(first), log_first, step, bent, bent_slope)
            value += more * _excess(ce * ahead + cn * across, cn * ahead - ce * across, rose)
        total += weight * value
    return max(total / TWO_PI, 0.0) / (math.pi * radius * radius)


@numba.njit(F8(F8, F8, F8, F8, M, V), cache=True, nogil=True)
def passed(x0, y0, x1, y1, ends, factor):
    """Return the product of the factors of the screen pieces that a straight path crosses."""
    share = 1.0
    for piece in range(len(factor)):
        ax, ay, bx, by = ends[piece, 0], ends[piece, 1], ends[piece, 2], ends[piece, 3]
        side_a = (x1 - x0) * (ay - y0) - (y1 - y0) * (ax - x0)
        side_b = (x1 - x0) * (by - y0) - (y1 - y0) * (bx - x0)
        if side_a * side_b >= 0.0:
            continue
        side_0 = (bx - ax) * (y0 - ay) - (by - ay) * (x0 - ax)
        side_1 = (bx - ax) * (y1 - ay) - (by - ay) * (x1 - ax)
        if side_0 * side_1 < 0.0:
            share *= factor[piece]
    return share


@numba.njit(
    numba.void(
        V, V, V, I, V, V, V, I, CM, V, M, V, F8, F8, V, V, V, V, V, F8, V, V
    ),
    cache=True,
    nogil=True,
)  # fmt: skip
def sum_at_points(
    r_east, r_north, r_radius, r_plant, s_east, s_north, strength, s_plant, roses, weight, ends, factor,
    log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, out, sent,
):  # fmt: skip
    """Add to `out` what each receptor gets and to `sent` what each source gives to weighted receptors."""
    for i in range(len(r_east)):
        total = 0.0
        for j in range(len(s_east)):
            if r_plant[i] >= 0 and r_plant[i] == s_plant[j]:
                continue
            value = strength[j] * disc_mean(
                r_east[i] - s_east[j], r_north[i] - s_north[j], r_radius[i],
                log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, roses[j],
            )  # fmt: skip
            if len(factor) > 0:
                value *= passed(s_east[j], s_north[j], r_east[i], r_north[i], ends, factor)
            total += value
            if len(weight) > 0:
                sent[j] += weight[i] * value
        out[i] = total


@numba.njit(F8(F8, V), cache=True, nogil=True, inline="always")
def _even(place, table):
    """Interpolate a table with even steps by four points; never below zero."""
    index = int(place)
    if index < 1 or index > len(table) - 3:
        return 0.0 if index >= 1 else table[0]
    t = place - index
    value = (
        -table[index - 1] * t * (t - 1) * (t - 2) / 6
        + table[index] * (t + 1) * (t - 1) * (t - 2) / 2
        - table[index + 1] * (t + 1) * t * (t - 2) / 2
        + table[index + 2] * (t + 1) * t * (t - 1) / 6
    )
    return max(value, 0.0)


@numba.njit(F8(F8, F8, F8, V, F8, C), cache=True, nogil=True, inline="always")
def _far(east, north, per_step, table, near, rose):
    """Return the density at an offset several cells away, from the even table."""
    r = math.sqrt(east * east + north * north)
    value = _even(r * per_step, table)
    if len(rose) > 0:
        bend = 1.0 if near <= 0.0 or r > 6.0 * near else -math.expm1(-((r / near) ** 2))
        value *= 1.0 + _excess(east / r, north / r, rose) * bend
    return value


@numba.njit(
    numba.void(V, V, F8, V, V, V, CM, M, V, F8, F8, V, V, V, V, V, F8, F8, V, M),
    cache=True,
    nogil=True,
)
def sum_on_rows(
    c_east, c_north, side, s_east, s_north, strength, roses, ends, factor,
    log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, per_step, table, out,
):  # fmt: skip
    """Add every source's cell means to the rows of a block, source by source."""
    gauss = side / (2.0 * math.sqrt(3.0))
    for j in range(len(s_east)):
        rose = roses[j]
        for row in range(len(c_north)):
            north = c_north[row] - s_north[j]
            rows_off = abs(north) / side
            for col in range(len(c_east)):
                east = c_east[col] - s_east[j]
                off = max(abs(east) / side, rows_off)
                if off > GAUSS_CELLS:
                    value = _far(east, north, per_step, table, near, rose)
                elif off > EXACT_CELLS:
                    value = 0.25 * (
                        _far(east + gauss, north + gauss, per_step, table, near, rose)
                        + _far(east + gauss, north - gauss, per_step, table, near, rose)
                        + _far(east - gauss, north + gauss, per_step, table, near, rose)
                        + _far(east - gauss, north - gauss, per_step, table, near, rose)
                    )
                else:
                    value = cell_mean(
                        east, north, side, log_first, step, mass, mass_slope, bent, bent_slope, log_density, near, rose
                    )
                if len(factor) > 0:
                    value *= passed(s_east[j], s_north[j], c_east[col], c_north[row], ends, factor)
                out[row, col] += strength[j] * value

"""What lands in a raster cell and on a canopy disc: exact means of a kernel over areas, for still air.

The maps use faster, compiled forms of these in `pressure/`; here they stand for themselves, family by family, and
tests/test_kernel_areas.py holds the maps against them.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.special import erf, erfc

from spreadmap.dispersal.kernels import Kernel
from spreadmap.errors import InputError
from spreadmap.values.arrays import FloatArray

RELATIVE_ERROR_BOUND = 1e-9
"""Largest relative error of both functions [-]; bound by test_kernel_areas.py."""
NODES, WEIGHTS = np.polynomial.legendre.leggauss(24)
FIRST_PIECE = 0.7
"""Length of a piece at the first try; the place along a line is its hyperbolic sine [-]."""
MOST_DOUBLINGS = 12
CLOSE_ENOUGH = 2e-12
WIDEST = 45.0
"""Beyond this place along a line seen from closest by, less than 1e-19 is left [-]."""
PLACES_AT_ONCE = 2_000_000

Integrand = Callable[[np.ndarray, FloatArray], FloatArray]


def _integral(function: Integrand, low: FloatArray, high: FloatArray) -> FloatArray:
    """Return integrals from `low` to `high`, shape (n,); `function` takes rows (m,) and places (m, points).

    Gauss's rule on even pieces, twice as many each time, for those rows that still change.
    """
    found, before = np.zeros(len(low)), np.full(len(low), np.nan)
    rows = np.flatnonzero(high > low)
    if len(rows) == 0:
        return found
    pieces = int(np.ceil(np.max(high - low, initial=0.0) / FIRST_PIECE))
    for _ in range(MOST_DOUBLINGS):
        part = (np.arange(pieces)[:, None] + (NODES + 1) / 2).ravel()
        weight = np.tile(WEIGHTS, pieces)
        some = max(1, PLACES_AT_ONCE // len(part))
        for chunk in (rows[first : first + some] for first in range(0, len(rows), some)):
            wide = (high[chunk] - low[chunk]) / pieces
            found[chunk] = function(chunk, low[chunk, None] + wide[:, None] * part) @ weight * wide / 2
        rows = rows[~(np.abs(found[rows] - before[rows]) <= CLOSE_ENOUGH * np.abs(found[rows]))]
        if len(rows) == 0:
            break
        before, pieces = found.copy(), 2 * pieces
    return found


def mass_in_rectangle(
    kernel: Kernel,
    west_m: FloatArray | float,
    south_m: FloatArray | float,
    east_m: FloatArray | float,
    north_m: FloatArray | float,
) -> FloatArray:
    """Return the share of a source's arrivals that land in rectangles.

    Parameters
    ----------
    kernel : Kernel
    west_m, south_m, east_m, north_m : arrays of one shape, or floats
        Sides of each rectangle as offsets from the source, which may lie inside, on a side, on a corner or outside. [m]

    Returns
    -------
    array of that shape
        0 to 1 [-]

    Raises
    ------
    InputError
        If a side is not finite, or east lies west of west, or north south of south.

    Notes
    -----
    The mass in an area is the integral along its edge, counter-clockwise, of F(r) d(bearing) / 2 pi (divergence
    theorem; our derivation). Along a line at distance h, with the place along it h sinh v, this is F(h cosh v) / cosh v
    dv / 2 pi. Round an area that leaves the source outside, -(1 - F) does as well as F, and keeps the digits where F is
    nearly one. Gaussian: a product of two differences of error functions. Bound by
    tests/published/test_cell_mass.py and test_kernel_areas.py::test_a_rectangle_holds_the_mass_that_quadrature_finds.
    """
    sides = np.broadcast_arrays(*(np.asarray(side, dtype=np.float64) for side in (west_m, south_m, east_m, north_m)))
    west, south, east, north = (side.ravel() for side in sides)
    _check_rectangles(west, south, east, north)
    mass = np.zeros(len(west))
    for share, one in kernel.parts():
        form = _gaussian_rectangles if one.family == "gaussian" else _rectangles
        mass += share * form(one, west, south, east, north)
    return mass.reshape(sides[0].shape)


def _check_rectangles(west: FloatArray, south: FloatArray, east: FloatArray, north: FloatArray) -> None:
    """Refuse rectangles without a right way round."""
    wrong = ~(np.isfinite(west + south + east + north) & (west <= east) & (south <= north))
    if wrong.any():
        at = int(np.flatnonzero(wrong)[0])
        msg = (
            f"rectangle {at} of {len(west)} has west {west[at]}, south {south[at]}, east {east[at]}, north {north[at]} m, "
            f"and {int(wrong.sum())} in all are unusable; allowed: finite metres, west up to east, south up to north. "
            "Put the sides in this order."
        )
        raise InputError(msg)


def _rectangles(kernel: Kernel, west: FloatArray, south: FloatArray, east: FloatArray, north: FloatArray) -> FloatArray:
    """Return the masses edge by edge; `ahead` is positive where the source lies on the inner side of an edge."""
    ahead = np.stack([-south, east, north, -west])
    begin = np.stack([west, south, -east, -north])
    end = np.stack([east, north, -west, -south])
    gap = np.abs(ahead)
    is_outside = (ahead < 0).any(axis=0)
    nearest = np.hypot(np.clip(0.0, west, east), np.clip(0.0, south, north))
    by_beyond = is_outside & (kernel.mass_within(nearest) > 0.5)
    safe = np.where(gap > 0, gap, 1.0)
    with np.errstate(over="ignore"):
        low, high = (np.clip(np.arcsinh(place / safe), -WIDEST, WIDEST).ravel() for place in (begin, end))
    # An edge in line with the source is seen under no angle.
    high = np.where(gap.ravel() > 0, high, low)
    distance, counts_beyond = safe.ravel(), np.tile(by_beyond, 4)

    def seen(rows: np.ndarray, place: FloatArray) -> FloatArray:
        stretch = np.cosh(place)
        radius = distance[rows, None] * stretch
        held = np.empty_like(radius)
        is_beyond = counts_beyond[rows]
        held[~is_beyond] = kernel.mass_within(radius[~is_beyond])
        held[is_beyond] = -kernel.mass_beyond(radius[is_beyond])
        return held / stretch

    edges = _integral(seen, low, high).reshape(4, -1)
    is_empty = (west == east) | (south == north)
    return np.where(is_empty, 0.0, np.maximum((np.sign(ahead) * edges).sum(axis=0) / (2 * np.pi), 0.0))


def _gaussian_rectangles(
    kernel: Kernel, west: FloatArray, south: FloatArray, east: FloatArray, north: FloatArray
) -> FloatArray:
    """Return the masses of a gaussian: each axis by itself."""
    a = kernel.scale_m
    return _erf_between(west / a, east / a) * _erf_between(south / a, north / a) / 4


def _erf_between(low: FloatArray, high: FloatArray) -> FloatArray:
    """Return erf(high) - erf(low), by the complement where both lie on one side of zero."""
    near, far = np.minimum(np.abs(low), np.abs(high)), np.maximum(np.abs(low), np.abs(high))
    return np.asarray(np.where(low * high > 0, erfc(near) - erfc(far), erf(high) - erf(low)))


def mean_over_disc(kernel: Kernel, distance_m: FloatArray | float, radius_m: FloatArray | float) -> FloatArray:
    """Return the mean density of arrivals over canopy discs.

    Parameters
    ----------
    kernel : Kernel
    distance_m : array, or float
        From the source to the disc's centre, zero or more; the source may lie inside, on the rim or outside. [m]
    radius_m : array of the same shape, or float
        Of the disc, zero or more; a disc of no size has the density at its place. [m]

    Returns
    -------
    array of their shape [m^-2]

    Raises
    ------
    InputError
        If a distance or a radius is not finite, or below zero.

    Notes
    -----
    Mass = F(R - d) where the source lies within the rim, and the integral of f(r) t(r) / pi over the distances between
    |d - R| and d + R, with t half the angle that the disc takes up of the circle of radius r about the source:
    tan^2(t/2) = (R - d + r)(R + d - r) / ((d + r - R)(d + r + R)), half-angle form of the law of cosines. The logarithm
    of distance goes as the cosine of an even place, which takes away the root at both ends. All terms are positive.
    Bound by test_kernel_areas.py::test_a_disc_has_the_mean_that_quadrature_finds.
    """
    distances, radii = np.broadcast_arrays(
        np.asarray(distance_m, dtype=np.float64), np.asarray(radius_m, dtype=np.float64)
    )
    d, size = distances.ravel(), radii.ravel()
    wrong = ~(np.isfinite(d) & np.isfinite(size) & (d >= 0) & (size >= 0))
    if wrong.any():
        at = int(np.flatnonzero(wrong)[0])
        msg = (
            f"disc {at} of {len(d)} has distance {d[at]} m and radius {size[at]} m, and {int(wrong.sum())} in all are "
            "unusable; allowed: finite metres, zero or more. Correct or leave out these discs."
        )
        raise InputError(msg)
    mean = kernel.location_density(d).copy()
    has_size = size > 0
    area = np.pi * size[has_size] ** 2
    mean[has_size] = sum(share * _discs(one, d[has_size], size[has_size]) for share, one in kernel.parts()) / area
    return mean.reshape(distances.shape)


def _discs(kernel: Kernel, d: FloatArray, size: FloatArray) -> FloatArray:
    """Return the masses on discs of a size above zero."""
    nearest, farthest = np.abs(d - size), d + size
    ratio = np.minimum(d, size) / np.maximum(d, size)
    with np.errstate(divide="ignore"):
        # The logarithm of farthest over nearest; a rim through the source is followed until nothing is left.
        wide = np.where(ratio < 0.5, 2 * np.arctanh(np.minimum(ratio, 0.5)), np.log(farthest / nearest))
    wide = np.minimum(wide, 2 * WIDEST)
    is_outside = d > size

    def ring(rows: np.ndarray, place: FloatArray) -> FloatArray:
        span, far, near = wide[rows, None], farthest[rows, None], nearest[rows, None]
        radius = far * np.exp(-span * np.cos(place / 2) ** 2)
        inner = -far * np.expm1(-span * np.cos(place / 2) ** 2)
        above = np.where(span < 2 * WIDEST, near * np.expm1(span * np.sin(place / 2) ** 2), radius)
        first, second = np.where(is_outside[rows, None], (above, radius + near), (radius + near, above))
        half = 2 * np.arctan2(np.sqrt(first * inner), np.sqrt(second * (radius + far)))
        return np.asarray(radius * kernel.distance_density(radius) * half / np.pi * span / 2 * np.sin(place))

    rings = _integral(ring, np.zeros(len(d)), np.where(wide > 0, np.pi, 0.0))
    begin = np.maximum(nearest, farthest * np.exp(-wide))
    # Within: all of it. On the rim itself half of the little that lands closer than the integral begins.
    inside = np.where(is_outside, 0.0, np.where(d == size, 0.5, 1.0)) * kernel.mass_within(begin)
    return rings + inside

"""Bearings and winds: the one file where directions are converted.

Wind *from* is clockwise from grid north, as it is reported. A density over bearings *toward* which air moves is held
as Fourier coefficients c_m = mean of exp(i m bearing), m = 1..M, so that
h(bearing) = (1 + 2 Re sum_m c_m exp(-i m bearing)) / 2 pi.
Turning, blending and smoothing are then products.
"""

from __future__ import annotations

import numpy as np
from scipy import special

from spreadmap.values.arrays import ComplexArray, FloatArray

PIECE = 512
"""Roses looked at together, so that a large wind raster needs little memory."""
BEARINGS_PER_HARMONIC = 128
FLOOR = 2e-3
"""Share of the mean density that a smoothed rose keeps at least [-]: more than can be missed between bearings tried."""


def toward_from(wind_from_deg: FloatArray | float) -> FloatArray:
    """Return the bearing toward which air moves, 0 to below 360 [deg]."""
    return np.mod(np.asarray(wind_from_deg, dtype=np.float64) + 180.0, 360.0)


def components_to_from_deg(wind_u: FloatArray | float, wind_v: FloatArray | float) -> FloatArray:
    """Return the direction the wind comes from, 0 to below 360; NaN where both parts are zero [deg].

    `wind_u` is toward east, `wind_v` toward north [m/s]: (10, 10) comes from 225 degrees.
    """
    u, v = np.asarray(wind_u, dtype=np.float64), np.asarray(wind_v, dtype=np.float64)
    direction = np.mod(np.rad2deg(np.arctan2(-u, -v)), 360.0)
    # A tiny negative angle is rounded up to 360 by the remainder; that is north.
    return np.where((u == 0) & (v == 0), np.nan, np.where(direction >= 360.0, 0.0, direction))


def from_deg_to_components(
    wind_from_deg: FloatArray | float, speed: FloatArray | float
) -> tuple[FloatArray, FloatArray]:
    """Return the parts of the wind toward east and toward north, in the unit of `speed`."""
    bearing = np.deg2rad(toward_from(wind_from_deg))
    pace = np.asarray(speed, dtype=np.float64)
    return pace * np.sin(bearing), pace * np.cos(bearing)


def mean_direction(direction_deg: FloatArray, weight: FloatArray | None = None) -> float:
    """Return the circular mean of directions, 0 to below 360 [deg]; NaN where they cancel out or there are none."""
    angle = np.deg2rad(np.asarray(direction_deg, dtype=np.float64))
    weights = np.ones_like(angle) if weight is None else weight
    total = np.sum(weights * np.exp(1j * angle))
    return float(np.mod(np.rad2deg(np.angle(total)), 360.0)) if abs(total) > 1e-12 * weights.sum() else float("nan")


def _series(rose: ComplexArray, bearings: int) -> tuple[FloatArray, FloatArray]:
    """Return 2 pi h at even bearings, for roses (n, M) and for their Cesaro means; each (n, bearings)."""
    orders = np.arange(1, rose.shape[-1] + 1)
    angle = 2 * np.pi * np.arange(bearings) / bearings
    wave = 2 * np.concatenate([np.cos(np.outer(orders, angle)), np.sin(np.outer(orders, angle))])
    parts = np.concatenate([rose.real, rose.imag], axis=-1)
    taper = np.tile(1 - orders / (len(orders) + 1), 2)
    return 1 + parts @ wave, 1 + (parts * taper) @ wave


def never_negative(rose: ComplexArray) -> ComplexArray:
    """Return roses smoothed just so much that their density is nowhere negative.

    Parameters
    ----------
    rose : complex array, shape (..., M)
        Coefficients of densities, cut off after M.

    Returns
    -------
    complex array, same shape
        c_m (1 - s m/(M+1)), with the smallest s from 0 to 1 for which the density keeps above a small floor at every
        bearing tried; where s is above 0, the floor's share of calm is mixed in for the bearings between those. A
        rose whose cut-off series is above the floor comes back unchanged.

    Notes
    -----
    With s = 1 this is Fejer's taper; the Cesaro mean of a density is a density, so that s never needs to pass 1.
    Bound by test_bearings.py::test_a_rose_is_never_negative.
    """
    harmonics = rose.shape[-1]
    flat = rose.reshape(-1, harmonics)
    smoothing = np.zeros(len(flat))
    for first in range(0, len(flat), PIECE):
        raw, mean = _series(flat[first : first + PIECE], BEARINGS_PER_HARMONIC * harmonics)
        low = raw < FLOOR
        needed = (FLOOR - raw) / np.where(mean > raw, mean - raw, 1e-300)
        smoothing[first : first + PIECE] = np.minimum(np.where(low, needed, 0.0), 1.0).max(axis=1)
    orders = np.arange(1, harmonics + 1)
    taper = (1 - smoothing[:, None] * orders / (harmonics + 1)) * np.where(smoothing > 0, 1 - FLOOR, 1.0)[:, None]
    return np.asarray((flat * taper).reshape(rose.shape))


def parts_of_rose(parts: ComplexArray, share: FloatArray, whole: ComplexArray) -> ComplexArray:
    """Return roses close to those of the parts of a record whose mean by share is exactly the record's rose.

    Parameters
    ----------
    parts : complex array, shape (n, M)
        Roses of the parts, each with a density that is nowhere negative.
    share : array, shape (n,)
        Share of each part; they sum to one. [-]
    whole : complex array, shape (M,)
        Rose of the record, nowhere negative, and at least a small floor.

    Returns
    -------
    complex array, shape (n, M)
        What the parts' mean lacks is given to each of them, then all are blended with `whole` just so much that none
        is negative: parts with too few hours to tell them apart have nearly the record's rose.

    Notes
    -----
    Bound by test_bearings.py::test_parts_make_up_the_whole.
    """
    ready = parts + (whole - blended(parts, share))
    bearings = BEARINGS_PER_HARMONIC * len(whole)
    low, all_round = _series(ready, bearings)[0], _series(whole[None, :], bearings)[0]
    least = FLOOR / 2
    needed = np.where(low < least, (least - low) / np.maximum(all_round - low, 1e-300), 0.0)
    mixed_in = float(np.clip(needed.max(), 0.0, 1.0))
    return np.asarray((1 - mixed_in) * ready + mixed_in * whole)


def blended(roses: ComplexArray, weight: FloatArray) -> ComplexArray:
    """Return the weighted mean of roses (n, M), shape (M,): coefficients of the mean of their densities.

    `weight` (n,) is zero or more [-]; zeros where no rose has weight.
    """
    total = float(np.sum(weight))
    if total <= 0:
        return np.zeros(roses.shape[-1], dtype=np.complex128)
    return np.asarray(np.asarray(weight, dtype=np.float64) @ roses / total, dtype=np.complex128)


def smoothed(rose: ComplexArray, over_deg: FloatArray | float) -> ComplexArray:
    """Return roses each bearing of which is spread evenly over a width: c_m sin(m w/2) / (m w/2), any shape (..., M).

    `over_deg` is the whole width w, 0 to 360, of any shape; the result has that shape and the harmonics [deg]. 0 changes
    nothing, 360 leaves no direction. Bound by test_bearings.py::test_smoothing_is_the_running_mean.
    """
    orders = np.arange(1, rose.shape[-1] + 1)
    width = np.asarray(over_deg, dtype=np.float64)[..., None]
    return np.asarray(rose * np.sinc(orders * width / 360.0))


def rose_of_histogram(sector_weight: FloatArray, isotropic_weight: float, harmonics: int) -> ComplexArray:
    """Return the coefficients of a histogram of bearings *toward* which air moves, shape (harmonics,).

    Parameters
    ----------
    sector_weight : array, shape (sectors,)
        Weight of each of the even sectors, sector 0 centred on north, clockwise; each is spread over its sector. [-]
    isotropic_weight : float
        Weight of what favours no bearing. [-]
    harmonics : int
        Number of coefficients. [-]
    """
    count = len(sector_weight)
    centre = 360.0 * np.arange(count) / count
    return rose_of_bearings(centre, np.asarray(sector_weight, np.float64), isotropic_weight, harmonics, 360.0 / count)


def rose_of_bearings(
    bearing_deg: FloatArray,
    weight: FloatArray,
    isotropic_weight: float,
    harmonics: int,
    spread_deg: FloatArray | float = 0.0,
) -> ComplexArray:
    """Return the Fourier coefficients of weighted bearings; their density is never negative.

    Parameters
    ----------
    bearing_deg, weight : arrays, shape (n,)
        Bearings toward which air moves [deg], of hours or of classes of a histogram, and their weights, zero or
        more [-].
    isotropic_weight : float
        Weight of calm and variable hours, which favour no bearing. [-]
    harmonics : int
        Number of coefficients. [-]
    spread_deg : float or array, shape (n,)
        Width over which each bearing is spread evenly: 10 where whole tens were reported, the width of the class
        for a histogram. [deg]

    Returns
    -------
    complex array, shape (harmonics,)
        Zeros where there is no weight at all.
    """
    orders = np.arange(1, harmonics + 1)
    total = float(weight.sum()) + isotropic_weight
    if total <= 0:
        return np.zeros(harmonics, dtype=np.complex128)
    angle = np.deg2rad(bearing_deg)
    width = np.asarray(spread_deg, dtype=np.float64)
    raw = [np.sum(weight * np.sinc(order * width / 360.0) * np.exp(1j * order * angle)) for order in orders]
    return never_negative(np.array(raw, dtype=np.complex128) / total)


def rose_of_von_mises(bearing_deg: FloatArray, concentration: FloatArray, harmonics: int) -> ComplexArray:
    """Return the coefficients of von Mises densities: I_m(k)/I_0(k) exp(i m bearing), shape (..., harmonics).

    `bearing_deg` [deg] and `concentration` [-] have one shape. Concentration 0 gives zeros: no bearing is favoured.
    The series is cut off and can be negative for steady winds; `never_negative` mends that.

    References
    ----------
    Mardia & Jupp 2000, Directional Statistics, section 3.5.4 (from memory); bound by
    tests/published/test_von_mises.py.
    """
    orders = np.arange(1, harmonics + 1)
    k = np.asarray(concentration, dtype=np.float64)[..., None]
    ratio = special.ive(orders, k) / special.ive(0, k)
    return np.asarray(ratio * np.exp(1j * orders * np.deg2rad(np.asarray(bearing_deg))[..., None]))


def concentration_of(resultant: FloatArray) -> FloatArray:
    """Return the von Mises concentration whose mean resultant length I1/I0 is `resultant`.

    `resultant` lies from 0 to below 1. Starts from the piecewise form of Fisher 1993 (from memory) and takes
    Newton steps; 0.999 is the longest length used.
    """
    length = np.clip(np.asarray(resultant, dtype=np.float64), 0.0, 0.999)
    low = 2 * length + length**3 + 5 * length**5 / 6
    high = 1 / (2 * (1 - length))
    k = np.where(length < 0.53, low, np.where(length < 0.85, -0.4 + 1.39 * length + 0.43 / (1 - length), high))
    k = np.maximum(k, 1e-12)
    for _ in range(8):
        ratio = special.ive(1, k) / special.ive(0, k)
        k = np.maximum(k - (ratio - length) / np.maximum(1 - ratio**2 - ratio / k, 1e-9), 1e-12)
    return np.where(length > 0, k, 0.0)


def bearing_density(rose: ComplexArray, bearing_deg: FloatArray | float) -> FloatArray:
    """Return the density of one rose at bearings of any shape, per radian; its integral over the circle is one."""
    angle = np.deg2rad(np.asarray(bearing_deg, dtype=np.float64))
    total = np.ones_like(angle)
    for order, coefficient in enumerate(rose, start=1):
        total = total + 2 * np.real(coefficient * np.exp(-1j * order * angle))
    return total / (2 * np.pi)


def turned(rose: ComplexArray, by_deg: FloatArray | float) -> ComplexArray:
    """Return roses turned clockwise; `by_deg` has any shape, the result that shape and the harmonics [deg]."""
    orders = np.arange(1, rose.shape[-1] + 1)
    return np.asarray(rose * np.exp(1j * orders * np.deg2rad(np.asarray(by_deg, dtype=np.float64))[..., None]))


def sharpening_room(rose: ComplexArray, most: float) -> float:
    """Return by how much a rose's coefficients may be multiplied before its density turns negative, up to `most`."""
    lowest = float(_series(rose[None, :], BEARINGS_PER_HARMONIC * rose.shape[-1])[0].min()) - 1
    return most if lowest >= 0 else min(most, max(1.0, -1.0 / lowest))


def sector_shares_of(rose: ComplexArray, sectors: int) -> FloatArray:
    """Return the share of a rose's density in even sectors, sector 0 centred on grid north, shape (sectors,) [-]."""
    orders = np.arange(1, rose.shape[-1] + 1)
    centre = 2 * np.pi * np.arange(sectors) / sectors
    wave = np.exp(-1j * np.outer(centre, orders)) * np.sinc(orders / sectors)
    return np.asarray((1 + 2 * np.real(wave @ rose)) / sectors)

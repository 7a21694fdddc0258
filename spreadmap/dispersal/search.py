"""A distance found from the share of arrivals within it, where no closed form exists."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from spreadmap.values.arrays import FloatArray

Radial = Callable[[FloatArray], FloatArray]
LEAST_LOG, MOST_LOG = -700.0, 700.0
MOST_STEPS = 120
CLOSE_ENOUGH = 4e-16
"""Step in the logarithm of distance, as a part of it, below which the search ends [-]."""


def find_quantile(
    share: FloatArray,
    mass: Radial,
    beyond: Radial,
    slope: Radial,
    low_m: FloatArray | float = 0.0,
    high_m: FloatArray | float = np.inf,
) -> FloatArray:
    """Return the distances within which shares of arrivals end, by Newton's steps held between brackets.

    Parameters
    ----------
    share : array, any shape
        0 to 1; 0 gives 0 m and 1 gives infinity. [-]
    mass, beyond : functions of an array of distances [m]
        Share within and share beyond, each to full relative accuracy [-].
    slope : function of an array of distances [m]
        Derivative of `mass` by the logarithm of distance [-].
    low_m, high_m : arrays that fit `share`, or floats
        Distances that hold the answer between them. [m]

    Returns
    -------
    array, shape of `share` [m]

    Notes
    -----
    Up to half of all arrivals ln F is matched, beyond that ln(1 - F), both over ln r: close to straight lines, also far
    out in either tail. A step that leaves the bracket is replaced by its middle. Bound by
    test_kernels.py::test_quantile_inverts_mass and test_kernel_mixture.py::test_quantile_inverts_mass.
    """
    wanted = np.asarray(share, dtype=np.float64)
    flat = wanted.ravel()
    found = np.where(flat >= 1, np.inf, np.where(np.isnan(flat), np.nan, 0.0))
    inside = np.flatnonzero((flat > 0) & (flat < 1))
    with np.errstate(divide="ignore"):
        low = np.broadcast_to(np.log(np.asarray(low_m, dtype=np.float64)), wanted.shape).ravel()[inside]
        high = np.broadcast_to(np.log(np.asarray(high_m, dtype=np.float64)), wanted.shape).ravel()[inside]
    low, high = np.maximum(low, LEAST_LOG), np.minimum(high, MOST_LOG)
    part = flat[inside]
    is_low = part <= 0.5
    target = np.log(np.where(is_low, part, 1 - part))
    at = (low + high) / 2
    for _ in range(MOST_STEPS):
        radius = np.exp(at)
        held = np.where(is_low, mass(radius), beyond(radius))
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            ahead = np.where(is_low, 1.0, -1.0) * (np.log(held) - target)
            low, high = np.where(ahead <= 0, at, low), np.where(ahead >= 0, at, high)
            newton = at - ahead * held / slope(radius)
        step = np.where((newton >= low) & (newton <= high), newton, (low + high) / 2)
        moved = np.abs(step - at)
        at = step
        if (moved <= CLOSE_ENOUGH * np.maximum(1.0, np.abs(at))).all():
            break
    found[inside] = np.exp(at)
    return found.reshape(wanted.shape)

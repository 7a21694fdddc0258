"""How far arrivals go toward one bearing: shares, distances and the line of one density, from the law of arrivals."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from scipy import integrate, optimize

from spreadmap.dispersal.bearings import bearing_density
from spreadmap.dispersal.climate import NO_MEAN_DIRECTION
from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.spread import Spread
from spreadmap.errors import SettingsError
from spreadmap.values.arrays import ComplexArray

MOST_DECAY = 40.0
"""exp(-40) is nothing beside one: beyond 6.3 near radii direction has its full hold [-]."""
FARTHEST_M = 1e7
"""Farther than a quarter of the way round the Earth no distance means anything [m]."""


def near_share(kernel: Kernel, near_radius_m: float, distance_m: float) -> float:
    """Return the integral of f(s) exp(-s^2/m^2) from 0 to r: the share within r on which direction has no hold [-].

    Written as F(r) exp(-r^2/m^2) + the integral of F(m sqrt(t)) exp(-t) for t from 0 to r^2/m^2, which has no pole at
    the source. Bound by test_toward.py::test_shares_are_integrals_of_the_law.
    """
    if near_radius_m <= 0 or distance_m <= 0:
        return 0.0
    end = (distance_m / near_radius_m) ** 2
    inside = _near_integral(kernel, near_radius_m, math.sqrt(min(end, MOST_DECAY)))
    return inside + (float(kernel.mass_within(distance_m)) * math.exp(-end) if end < MOST_DECAY else 0.0)


@lru_cache(maxsize=64)
def _near_integral(kernel: Kernel, near_radius_m: float, last: float) -> float:
    """Return the integral of F(m sqrt(t)) exp(-t) up to t = last^2; kept, for it is the same far from the source [-]."""
    inside, _ = integrate.quad(
        lambda root: 2 * root * float(kernel.mass_within(near_radius_m * root)) * math.exp(-root * root),
        0.0,
        last,
        epsabs=1e-13,
        epsrel=1e-11,
        limit=200,
    )
    return float(inside)


def _excess(coefficients: ComplexArray, bearing_deg: float) -> float:
    """Return 2 pi h(bearing) - 1, never below -1."""
    return max(-1.0, float(2 * np.pi * bearing_density(coefficients, bearing_deg)) - 1)


def _density_toward(law: Spread, excess: float, distance_m: float) -> float:
    """Return the density of arrivals at one distance where direction adds `excess` [m^-2]."""
    m = law.near_radius_m
    far = -math.expm1(-((distance_m / m) ** 2)) if m > 0 else float(distance_m > 0)
    return float(law.kernel.location_density(distance_m)) * (1 + excess * far)


def share_toward(law: Spread, bearing_deg: float, distance_m: float, coefficients: ComplexArray | None = None) -> float:
    """Return which share of the landings toward a bearing lies within a distance [-].

    Parameters
    ----------
    law : Spread
    bearing_deg : float
        Bearing from the source, clockwise from grid north. [deg]
    distance_m : float
        Zero or more. [m]
    coefficients : complex array, shape (M,), optional
        What `law.coefficients_at` gives for a source; left out: the climate's rose.

    Returns
    -------
    float
        0 to 1; NaN where nothing lands toward that bearing.

    Notes
    -----
    Landings per radian within r are (F(r) + e (F(r) - N(r))) / 2 pi, with e = 2 pi h(bearing) - 1 and N of `near_share`.
    Without a near radius the share is that of the kernel, toward every bearing. None: follows from the law of `Spread`.
    """
    landed = whole = 0.0
    for share, strand, excess in _strands(law, bearing_deg, coefficients):
        landed += share * _landed(strand, excess, distance_m)
        whole += share * (1 + excess * (1 - near_share(strand.kernel, strand.near_radius_m, math.inf)))
    return landed / whole if whole > 1e-12 else float("nan")


def _strands(law: Spread, bearing_deg: float, given: ComplexArray | None) -> list[tuple[float, Spread, float]]:
    """Return every strand with its share and what direction adds toward a bearing [-]."""
    if given is not None:
        if law.strands:
            msg = "coefficients were given for a law with strands, each of which has its own; leave them out"
            raise ValueError(msg)
        return [(1.0, law, _excess(given, bearing_deg))]
    return [
        (share, strand, _excess(strand.wind_influence * strand.climate.rose, bearing_deg))
        for share, strand in law.each_strand()
    ]


def _landed(law: Spread, excess: float, distance_m: float) -> float:
    """Return 2 pi times the landings per radian within a distance [-]."""
    within = float(law.kernel.mass_within(distance_m))
    return within + excess * (within - near_share(law.kernel, law.near_radius_m, distance_m))


def quantile_toward(law: Spread, bearing_deg: float, share: float, coefficients: ComplexArray | None = None) -> float:
    """Return the distance within which a share of the landings toward a bearing lies [m].

    Parameters
    ----------
    law, bearing_deg, coefficients
        As for `share_toward`.
    share : float
        Above 0 and below 1. [-]

    Returns
    -------
    float
        NaN where nothing lands toward that bearing; infinity where the distance is more than ten thousand kilometres.

    Raises
    ------
    SettingsError
        If `share` lies outside its range.
    """
    if not 0 < share < 1:
        msg = f"share is {share}; allowed: above 0 and below 1. Give for example 0.95."
        raise SettingsError(msg)
    if math.isnan(share_toward(law, bearing_deg, 1.0, coefficients)):
        return float("nan")

    def lacking(log_distance: float) -> float:
        return share_toward(law, bearing_deg, math.exp(log_distance), coefficients) - share

    middle = float(law.kernel.quantile(share))
    if not math.isfinite(middle) or middle > FARTHEST_M:
        return math.inf
    low, high = math.log(max(middle, 1e-6)), math.log(max(middle, 1e-6))
    while lacking(low) > 0 and low > -60:
        low -= 1.0
    while lacking(high) < 0:
        high += 1.0
        if high > math.log(FARTHEST_M):
            return math.inf
    return math.exp(optimize.brentq(lacking, low, high, xtol=1e-12)) if high > low else middle


def reach_toward(law: Spread, bearing_deg: float, density_m2: float, coefficients: ComplexArray | None = None) -> float:
    """Return how far the line of one density of arrivals reaches toward a bearing [m].

    Parameters
    ----------
    law, bearing_deg, coefficients
        As for `share_toward`.
    density_m2 : float
        Density of arrivals from one source of strength one, above 0. [m^-2]

    Returns
    -------
    float
        The greatest distance with that density; 0 where the density is nowhere so high toward that bearing.

    Raises
    ------
    SettingsError
        If `density_m2` is not above 0.

    Notes
    -----
    This line reaches farther downwind, bound by tests/published/test_von_mises.py against a closed form.
    """
    if not density_m2 > 0:
        msg = f"density is {density_m2} per square metre; allowed: above 0. Give the density of the line."
        raise SettingsError(msg)
    strands = _strands(law, bearing_deg, coefficients)

    def density(distance_m: float) -> float:
        return sum(share * _density_toward(strand, excess, distance_m) for share, strand, excess in strands)

    steps = np.exp(np.linspace(math.log(1e-4), math.log(FARTHEST_M), 2000))
    dense = [density(float(r)) >= density_m2 for r in steps]
    if not any(dense):
        return 0.0
    last = int(np.flatnonzero(dense)[-1])
    if last == len(steps) - 1:
        return math.inf
    return float(optimize.brentq(lambda r: density(r) / density_m2 - 1, steps[last], steps[last + 1], xtol=1e-10))


def reach_sentences(law: Spread, share: float) -> tuple[str, ...]:
    """Return within which distance a share of landings lies down, across and up the wind; nothing without a wind.

    Down the wind is the mean bearing of the climate's rose.
    """
    if len(law.climate.rose) == 0 or abs(law.climate.rose[0]) < NO_MEAN_DIRECTION:
        return ()
    down = float(np.rad2deg(np.angle(law.climate.rose[0])))
    return tuple(
        quantile_words(bearing, share, quantile_toward(law, bearing, share))
        for bearing in (down, down + 90.0, down + 180.0)
    )


def quantile_words(bearing_deg: float, share: float, distance_m: float) -> str:
    """Return a directional distance as a sentence: "95 % of landings toward 60 degrees lie within 74 m."."""
    toward = f"toward {bearing_deg % 360:.0f} degrees"
    if math.isnan(distance_m):
        return f"Nothing lands {toward}."
    if math.isinf(distance_m):
        return f"{100 * share:.4g} % of landings {toward} lie within no distance that means anything: the tail is too long."
    length = f"{distance_m:.0f}" if distance_m >= 10 else f"{distance_m:.2g}"
    return f"{100 * share:.4g} % of landings {toward} lie within {length} m."

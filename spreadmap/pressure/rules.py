"""How near a source which rule for the mean over a cell or disc is good enough, found by trying it.

Beyond `simple_m` the rule with one evaluation errs by less than the tolerance, between `exact_m` and `simple_m` the
rule with a few points does; nearer, the mass is integrated exactly. Trying works for any kernel family and any rose.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from spreadmap.dispersal.spread import Spread
from spreadmap.pressure.kept import KEPT, law_key
from spreadmap.pressure.tables import NEGLIGIBLE, greatest_density
from spreadmap.values.arrays import ComplexArray, FloatArray

TOLERANCE = 1e-4
"""Largest relative error of one source's share that a rule may have [-]."""
UPWIND_SHARE = 0.05
"""Where wind leaves less than this share of the still-air density, errors count against this share [-]."""
TRIED = 32
BEARINGS = 8
NEAREST_SIZES = 2.0

GAUSS_3 = np.polynomial.legendre.leggauss(3)
GAUSS_6 = np.polynomial.legendre.leggauss(6)
GAUSS_10 = np.polynomial.legendre.leggauss(10)
RADON_POINTS = np.array([(0.0, 0.0)] + [(np.sin(t), np.cos(t)) for t in np.arange(6) * np.pi / 3]) * np.sqrt(2 / 3)
RADON_WEIGHTS = np.array([0.25] + [0.125] * 6)
"""Seven points in a disc, exact to degree five: Radon 1948 (from memory); bound by test_pressure_points.py."""

Rule = Callable[[FloatArray, FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """Distances from a source: exact integration nearer than `exact_m`, the simple rule from `simple_m` on."""

    exact_m: float
    simple_m: float


def square_points(nodes: tuple[FloatArray, FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Return points (n, 2) in a square of side 2 about zero and their weights, which add up to one."""
    x, w = nodes
    east, north = np.meshgrid(x, x)
    return np.stack([east.ravel(), north.ravel()], axis=1), np.outer(w, w).ravel() / 4


def disc_points(nodes: tuple[FloatArray, FloatArray] = GAUSS_6, bearings: int = 16) -> tuple[FloatArray, FloatArray]:
    """Return many points (n, 2) in a disc of radius 1 and their weights, which add up to one."""
    x, w = nodes
    radius = np.sqrt((x + 1) / 2)
    turn = 2 * np.pi * (np.arange(bearings) + 0.5) / bearings
    points = np.stack([np.outer(radius, np.sin(turn)), np.outer(radius, np.cos(turn))], axis=-1).reshape(-1, 2)
    return points, np.repeat(w / 2 / len(turn), len(turn))


def worst_rose(roses: ComplexArray) -> ComplexArray:
    """Return the rose with the finest detail, which asks most of a rule."""
    orders = np.arange(1, roses.shape[1] + 1)
    return np.asarray(roses[int(np.argmax(np.abs(roses) @ orders.astype(np.float64) ** 2))])


def curvature(rose: ComplexArray) -> float:
    """Return a bound on the second derivative by bearing of the rose's excess [-]."""
    orders = np.arange(1, len(rose) + 1)
    return float(2 * np.sum(np.abs(rose) * orders**2))


def reach_of_cell(spread: Spread, rose: ComplexArray, cell_m: float, farthest_m: float) -> Reach:
    """Return the reach of the rules for a square cell: nine points, and the centre with its curvature; kept."""
    key = ("cell", law_key(spread, rose), cell_m, farthest_m)
    return KEPT.get(key, lambda: _reach_of_cell(spread, rose, cell_m, farthest_m))


def _reach_of_cell(spread: Spread, rose: ComplexArray, cell_m: float, farthest_m: float) -> Reach:

    def simple(east: FloatArray, north: FloatArray) -> FloatArray:
        away = cell_m / 8
        middle = spread.density(east, north, rose)
        around = sum(
            spread.density(east + a, north + b, rose) for a, b in ((away, 0), (-away, 0), (0, away), (0, -away))
        )
        return middle + cell_m**2 / 24 * (around - 4 * middle) / away**2

    few = _rule(spread, rose, *square_points(GAUSS_3), cell_m / 2)
    many = _rule(spread, rose, *square_points(GAUSS_10), cell_m / 2)
    return _reach(spread, cell_m, farthest_m, simple, few, many)


def reach_of_disc(spread: Spread, rose: ComplexArray, radius_m: float, farthest_m: float) -> Reach:
    """Return the reach of the rules for a canopy disc: seven points, and the centre alone; kept."""
    key = ("disc", law_key(spread, rose), radius_m, farthest_m)
    return KEPT.get(key, lambda: _reach_of_disc(spread, rose, radius_m, farthest_m))


def _reach_of_disc(spread: Spread, rose: ComplexArray, radius_m: float, farthest_m: float) -> Reach:

    def simple(east: FloatArray, north: FloatArray) -> FloatArray:
        return spread.density(east, north, rose)

    few = _rule(spread, rose, RADON_POINTS, RADON_WEIGHTS, radius_m)
    many = _rule(spread, rose, *disc_points(), radius_m)
    return _reach(spread, radius_m, farthest_m, simple, few, many)


def _rule(spread: Spread, rose: ComplexArray, points: FloatArray, weights: FloatArray, half_m: float) -> Rule:
    """Return the function that takes the weighted mean of the density over points around a place."""

    def mean(east: FloatArray, north: FloatArray) -> FloatArray:
        values = spread.density(east[..., None] + half_m * points[:, 0], north[..., None] + half_m * points[:, 1], rose)
        return np.asarray(values @ weights)

    return mean


def _reach(spread: Spread, size_m: float, farthest_m: float, simple: Rule, few: Rule, many: Rule) -> Reach:
    """Return from where on each rule keeps the tolerance at every distance that still matters."""
    nearest = NEAREST_SIZES * size_m
    if farthest_m <= nearest:
        return Reach(exact_m=nearest, simple_m=nearest)
    tried = np.geomspace(nearest, farthest_m, TRIED)
    turn = 2 * np.pi * (np.arange(BEARINGS) + 0.3) / BEARINGS
    east, north = np.outer(tried, np.sin(turn)), np.outer(tried, np.cos(turn))
    truth = many(east, north)
    scale = np.maximum(truth, UPWIND_SHARE * spread.kernel.location_density(tried)[:, None])
    matters = scale > NEGLIGIBLE * greatest_density(spread.kernel, size_m / 2)
    found = []
    for rule in (few, simple):
        bad = np.flatnonzero((matters & (np.abs(rule(east, north) - truth) > TOLERANCE * scale)).any(axis=1))
        found.append(nearest if len(bad) == 0 else float(tried[min(bad[-1] + 1, TRIED - 1)]))
    return Reach(exact_m=found[0], simple_m=max(found))

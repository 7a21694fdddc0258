"""What the compiled sums need of a kernel: cumulative mass over log distance, density over even distance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.integrate import cumulative_simpson

from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.spread import Spread
from spreadmap.pressure.kept import KEPT, law_key
from spreadmap.values.arrays import FloatArray

LEAST_NODES = 4097
MOST_NODES = 65537
NODES_PER_QUARTILE_RATIO = 256
NEAREST_SHARE = 1e-16
NEAREST_M = 1e-9
LEAST_LOG = -690.0
EVEN_STEPS = 16384
EVEN_ERROR = 1e-6
NEGLIGIBLE = 1e-14
"""Share of the greatest density below which a relative error does not matter [-]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RadialTables:
    """Mass and density of one kernel at nodes even in log distance.

    `mass` is F(r) and `bent_mass` is G(r), the integral of 2 pi s k(s) (1 - exp(-s^2/m^2)) up to r; each comes with
    its derivative by log r, so that cubic Hermite pieces keep about ten digits. `log_density` is ln k, held above
    -690.
    """

    log_first: float
    step: float
    mass: FloatArray
    mass_slope: FloatArray
    bent_mass: FloatArray
    bent_slope: FloatArray
    log_density: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EvenTable:
    """Cubic pieces of k and of g = k (1 - exp(-r^2/m^2)) over even steps of distance, (steps, 8).

    Numbers 0 to 3 of a piece are for k, 4 to 7 for g, by rising power of the part of the step. From `valid_from_m` on
    the relative error is below 1e-6, wherever k is above 1e-14 of its greatest value there.
    """

    step_m: float
    valid_from_m: float
    pieces: FloatArray


def bending(distance_m: FloatArray, near_radius_m: float) -> FloatArray:
    """Return 1 - exp(-r^2/m^2): how far direction counts at a distance; 1 everywhere without a near radius [-]."""
    if near_radius_m <= 0:
        return np.ones_like(distance_m)
    return -np.expm1(-((distance_m / near_radius_m) ** 2))


def radial_tables(spread: Spread, farthest_m: float) -> RadialTables:
    """Return the tables of a law of arrivals, from where nothing lands yet to `farthest_m` at least; kept."""
    return KEPT.get(("radial", law_key(spread), farthest_m), lambda: _radial_tables(spread, farthest_m))


def _radial_tables(spread: Spread, farthest_m: float) -> RadialTables:
    kernel = spread.kernel
    low, quarter, three = (float(kernel.quantile(share)) for share in (NEAREST_SHARE, 0.25, 0.75))
    last = np.log(farthest_m * 1.01)
    first = min(np.log(max(low, NEAREST_M)), last - 1.0)
    # A kernel that is narrow in log distance needs closer nodes.
    wanted = NODES_PER_QUARTILE_RATIO * (last - first) / np.log(max(three / quarter, 1 + 1e-6))
    nodes = int(np.clip(wanted, LEAST_NODES, MOST_NODES))
    # Every interval of the table is halved for the integral, so that Simpson's rule has its midpoint.
    fine = np.linspace(first, last, 2 * nodes - 1)
    radius = np.exp(fine)
    step = float(fine[2] - fine[0])
    slope = 2 * np.pi * radius**2 * kernel.location_density(radius)
    bent = slope * bending(radius, spread.near_radius_m)
    mass = kernel.mass_within(radius[::2])
    start = float(mass[0] * bending(radius[:1], spread.near_radius_m)[0])
    with np.errstate(divide="ignore"):
        log_density = np.maximum(np.log(kernel.location_density(radius[::2])), LEAST_LOG)
    return RadialTables(
        log_first=float(first),
        step=step,
        mass=mass,
        mass_slope=slope[::2].copy(),
        bent_mass=np.asarray(start + cumulative_simpson(bent, dx=step / 2, initial=0.0)[::2]),
        bent_slope=bent[::2].copy(),
        log_density=log_density,
    )


def even_table(spread: Spread, farthest_m: float, widest_step_m: float, cell_m: float = 0.0) -> EvenTable:
    """Return cubic pieces of k and g out to `farthest_m`; with a `cell_m`, of their means over a cell.

    The mean of a smooth function over a square of side h is its centre value plus h^2/24 times its Laplacian, to
    fourth order; the radial part of the Laplacian is put into the table, so that it costs nothing in the sums. Kept.
    """
    key = ("even", law_key(spread), farthest_m, widest_step_m, cell_m)
    return KEPT.get(key, lambda: _even_table(spread, farthest_m, widest_step_m, cell_m))


def _even_table(spread: Spread, farthest_m: float, widest_step_m: float, cell_m: float) -> EvenTable:
    step = min(farthest_m / EVEN_STEPS, widest_step_m)
    count = int(np.ceil(farthest_m / step)) + 2
    nodes = (np.arange(count + 3, dtype=np.float64) - 1) * step
    parts, valid = [], 0
    for power in (0, 1):
        value = _mean_over_cell(spread, np.abs(nodes), cell_m, power)
        a, b, c, d = value[:-3], value[1:-2], value[2:-1], value[3:]
        parts += [b, -a / 3 - b / 2 + c - d / 6, (a + c) / 2 - b, (d - a) / 6 + (b - c) / 2]
        middle = _mean_over_cell(spread, nodes[1:-2] + step / 2, cell_m, power)
        found = (9 * (b + c) - a - d) / 16
        wrong = np.abs(found - middle) > EVEN_ERROR * np.abs(middle)
        bad = np.flatnonzero(wrong & (middle > NEGLIGIBLE * max(float(middle.max()), 0.0)))
        valid = max(valid, int(bad[-1]) + 1 if len(bad) else 0)
    return EvenTable(step_m=step, valid_from_m=(valid + 1) * step, pieces=np.ascontiguousarray(np.stack(parts, axis=1)))


def _mean_over_cell(spread: Spread, distance_m: FloatArray, cell_m: float, power: int) -> FloatArray:
    """Return k (power 0) or g (power 1) plus h^2/24 times its Laplacian without the part by bearing."""

    def value(radius: FloatArray) -> FloatArray:
        density = spread.kernel.location_density(radius)
        return density * bending(radius, spread.near_radius_m) if power else density

    if cell_m == 0:
        return value(distance_m)
    # The table is used from more than a cell away on; nearer distances only have to be finite.
    radius = np.maximum(distance_m, cell_m)
    away = cell_m / 8
    before, here, after = value(radius - away), value(radius), value(radius + away)
    laplacian = (after - 2 * here + before) / away**2 + (after - before) / (2 * away * radius)
    return here + cell_m**2 / 24 * laplacian


def greatest_density(kernel: Kernel, within_m: float) -> float:
    """Return the mean density within a distance of the source, about the greatest value of a sum [m^-2]."""
    return float(kernel.mass_within(within_m)) / (np.pi * within_m**2)

"""What the compiled sums need of a kernel: cumulative mass and log density, tabulated over log distance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.integrate import cumulative_simpson

from spreadmap.dispersal.kernels import Kernel
from spreadmap.dispersal.spread import Spread
from spreadmap.values.arrays import FloatArray

NODES = 4097
NEAREST_SHARE = 1e-9
LEAST_LOG = -690.0


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


def radial_tables(spread: Spread, farthest_m: float) -> RadialTables:
    """Return the tables of a law of arrivals, from where nothing lands yet to `farthest_m` at least [m]."""
    kernel, near = spread.kernel, spread.near_radius_m
    middle = float(kernel.quantile(0.5))
    first = np.log(max(min(float(kernel.quantile(NEAREST_SHARE)), middle / 100), middle * 1e-9))
    last = np.log(max(farthest_m * 1.01, middle * 100))
    log_r = np.linspace(first, last, NODES)
    step = float(log_r[1] - log_r[0])
    # Every interval of the table is halved for the integral, so that Simpson's rule has its midpoint.
    fine = np.linspace(first, last, 2 * NODES - 1)
    radius = np.exp(fine)
    slope = 2 * np.pi * radius**2 * kernel.location_density(radius)
    bent = slope * (-np.expm1(-((radius / near) ** 2)) if near > 0 else 1.0)
    bent_mass = cumulative_simpson(bent, dx=step / 2, initial=0.0)[::2]
    with np.errstate(divide="ignore"):
        log_density = np.maximum(np.log(kernel.location_density(np.exp(log_r))), LEAST_LOG)
    return RadialTables(
        log_first=float(first),
        step=step,
        mass=kernel.mass_within(np.exp(log_r)),
        mass_slope=slope[::2].copy(),
        bent_mass=np.asarray(bent_mass + (kernel.mass_within(np.exp(first)) if near == 0 else 0.0)),
        bent_slope=bent[::2].copy(),
        log_density=log_density,
    )


def even_density(kernel: Kernel, step_m: float, farthest_m: float) -> FloatArray:
    """Return k at distances 0, step, 2 step ... beyond `farthest_m`, for sums over far cells [m^-2]."""
    return kernel.location_density(np.arange(int(np.ceil(farthest_m / step_m)) + 4, dtype=np.float64) * step_m)

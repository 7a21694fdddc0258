"""Kernel and wind together: the density of arrivals at a place, seen from one source."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spreadmap.dispersal.kernels import Kernel, kernel_from_settings
from spreadmap.errors import SettingsError
from spreadmap.values.arrays import ComplexArray, FloatArray
from spreadmap.values.settings import Settings
from spreadmap.values.wind import WindClimate

UNIT_DISTANCE_M = 10.0
"""Distance at which one confirmed medium plant in still air gives pressure one, by definition of the unit [m]."""
BREAK_DISTANCES_M = (100.0, 30.0, 10.0, 1.0)
"""Class breaks are the pressure of that plant at these distances [m]; they never move between surveys."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spread:
    """The two-dimensional law of arrivals.

    k(r, bearing) = k(r) (1 + (2 pi h - 1)(1 - exp(-r^2/m^2))), with h = (1 - w)/2 pi + w rose(bearing), `w` the
    `wind_influence` [-] and `m` the `near_radius_m` [m] within which direction means nothing. The wind at the source
    governs. Mass over the plane stays one; bound by test_spread.py.
    """

    kernel: Kernel
    climate: WindClimate
    wind_influence: float
    near_radius_m: float

    @property
    def harmonics(self) -> int:
        """Return the number of Fourier coefficients."""
        return len(self.climate.rose)

    def scaled(self, factor: float) -> Spread:
        """Return the same law with every length of the kernel multiplied by `factor`."""
        return Spread(
            kernel=self.kernel.scaled(factor),
            climate=self.climate,
            wind_influence=self.wind_influence,
            near_radius_m=self.near_radius_m,
        )

    def coefficients_at(self, easting: FloatArray, northing: FloatArray) -> ComplexArray:
        """Return w times the rose at each source, shape (n, M); between cells linear, beyond the field its edge."""
        east, north = np.asarray(easting, dtype=np.float64), np.asarray(northing, dtype=np.float64)
        climate = self.climate
        if climate.field is None or climate.field_easting is None or climate.field_northing is None:
            same: ComplexArray = self.wind_influence * climate.rose
            return np.repeat(same[None, :], len(east), axis=0)
        col, col_part = _position(climate.field_easting, east)
        row, row_part = _position(-climate.field_northing, -north)
        field = climate.field
        last_row, last_col = field.shape[0] - 1, field.shape[1] - 1
        below, right = np.minimum(row + 1, last_row), np.minimum(col + 1, last_col)
        upper = field[row, col] * (1 - col_part)[:, None] + field[row, right] * col_part[:, None]
        lower = field[below, col] * (1 - col_part)[:, None] + field[below, right] * col_part[:, None]
        return np.asarray(self.wind_influence * (upper * (1 - row_part)[:, None] + lower * row_part[:, None]))

    def density(self, east_m: FloatArray, north_m: FloatArray, coefficients: ComplexArray) -> FloatArray:
        """Return the density at offsets from one source, any shape, with its coefficients (M,) [m^-2]."""
        r = np.hypot(east_m, north_m)
        bearing = np.arctan2(east_m, north_m)
        excess = np.zeros_like(r)
        for order, coefficient in enumerate(coefficients, start=1):
            excess = excess + 2 * np.real(coefficient * np.exp(-1j * order * bearing))
        far = -np.expm1(-((r / self.near_radius_m) ** 2)) if self.near_radius_m > 0 else (r > 0) * 1.0
        return self.kernel.location_density(r) * (1 + excess * far)


def _position(axis: FloatArray, value: FloatArray) -> tuple[np.ndarray, FloatArray]:
    """Return index and part between neighbours of `value` on an ascending axis, held at its ends."""
    if len(axis) == 1:
        return np.zeros(len(value), dtype=np.int64), np.zeros(len(value))
    index = np.clip(np.searchsorted(axis, value, side="right") - 1, 0, len(axis) - 2)
    part = (value - axis[index]) / (axis[index + 1] - axis[index])
    return index, np.clip(part, 0.0, 1.0)


def spread_from_settings(settings: Settings, climate: WindClimate) -> Spread:
    """Return the law of arrivals that settings and wind climate describe."""
    return Spread(
        kernel=kernel_from_settings(settings.kernel),
        climate=climate,
        wind_influence=settings.wind.wind_influence,
        near_radius_m=settings.wind.near_radius_m,
    )


def unit_density(kernel: Kernel) -> float:
    """Return the density 10 m from a source in still air: one unit of relative infection pressure [m^-2].

    Raises
    ------
    SettingsError
        If the kernel is so narrow or so sharp a ring that nothing at all arrives there: the unit would be zero.
    """
    unit = float(kernel.location_density(UNIT_DISTANCE_M))
    if not unit > 0:
        msg = (
            f"kernel {kernel.in_words()}: nothing arrives at {UNIT_DISTANCE_M:g} m, where one unit of pressure is defined; "
            f"half of all arrivals end within {kernel.quantile(0.5):.4g} m. Correct the lengths in settings.kernel, or "
            "leave out the smallest factors of settings.kernel.scale_run."
        )
        raise SettingsError(msg)
    return unit


def breaks(kernel: Kernel) -> tuple[float, ...]:
    """Return the class breaks, pressure of one confirmed medium plant at 100, 30, 10 and 1 m, ascending [units]."""
    values = kernel.location_density(np.array(BREAK_DISTANCES_M)) / unit_density(kernel)
    return tuple(sorted(float(value) for value in values))

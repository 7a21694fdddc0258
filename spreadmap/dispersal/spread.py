"""Kernel and wind together: the density of arrivals at a place, seen from one source."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from spreadmap.dispersal.climate import climate_of_class
from spreadmap.dispersal.kernels import Kernel, far_kernel, kernel_from_settings, mixture_of
from spreadmap.dispersal.physics import physical_kernels
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

    A law may be made of `strands`, pairs of a share of all arrivals and a law of its own, with shares that sum to one:
    one for each class of wind speed, whose windier hours carry farther and come from other directions. Its density is
    then the sum over strands; `kernel` is theirs together without direction, and `climate` that of all hours.
    """

    kernel: Kernel
    climate: WindClimate
    wind_influence: float
    near_radius_m: float
    strands: tuple[tuple[float, Spread], ...] = ()

    def each_strand(self) -> tuple[tuple[float, Spread], ...]:
        """Return the strands with their shares of arrivals [-]; a law without strands is one of its own."""
        return self.strands or ((1.0, self),)

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
            strands=tuple((share, strand.scaled(factor)) for share, strand in self.strands),
        )

    def coefficients_at(self, easting: FloatArray, northing: FloatArray) -> ComplexArray:
        """Return w times the rose at each source, shape (n, M); between cells linear, beyond the field its edge.

        Of a law with strands these are the coefficients of all hours together: ask the strands for their own.
        """
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
        """Return the density at offsets from one source, any shape, with its coefficients (M,) [m^-2].

        Raises
        ------
        ValueError
            If the law has strands: each has coefficients of its own, see `density_from`.
        """
        if self.strands:
            msg = "a law with strands has no single coefficients; use density_from"
            raise ValueError(msg)
        r = np.hypot(east_m, north_m)
        turn = np.exp(-1j * np.arctan2(east_m, north_m))
        power = turn
        excess = np.zeros_like(r)
        for coefficient in coefficients:
            excess = excess + 2 * np.real(coefficient * power)
            power = power * turn
        far = -np.expm1(-((r / self.near_radius_m) ** 2)) if self.near_radius_m > 0 else (r > 0) * 1.0
        return self.kernel.location_density(r) * (1 + excess * far)

    def density_from(
        self, easting: FloatArray, northing: FloatArray, east_m: FloatArray, north_m: FloatArray
    ) -> FloatArray:
        """Return the density at offsets (n, k) from sources at places (n,), all strands together, (n, k) [m^-2]."""
        total = np.zeros(np.shape(east_m))
        for share, strand in self.each_strand():
            wind = strand.coefficients_at(easting, northing).T[:, :, None]
            total = total + share * strand.density(east_m, north_m, wind)
        return total


def _position(axis: FloatArray, value: FloatArray) -> tuple[np.ndarray, FloatArray]:
    """Return index and part between neighbours of `value` on an ascending axis, held at its ends."""
    if len(axis) == 1:
        return np.zeros(len(value), dtype=np.int64), np.zeros(len(value))
    index = np.clip(np.searchsorted(axis, value, side="right") - 1, 0, len(axis) - 2)
    part = (value - axis[index]) / (axis[index + 1] - axis[index])
    return index, np.clip(part, 0.0, 1.0)


def spread_from_settings(settings: Settings, climate: WindClimate) -> Spread:
    """Return the law of arrivals that settings and wind climate describe.

    With `settings.physics.use_physics` every class of wind speed is a strand with its kernel from physics and its own
    rose, bent from place to place like the rose of all hours; a far share is mixed into every one of them.

    Raises
    ------
    SettingsError
        If a setting is out of range, or physics are asked for without an hourly wind record.
    """
    wind, near = settings.wind.wind_influence, settings.wind.near_radius_m
    if not settings.physics.use_physics:
        kernel = kernel_from_settings(settings.kernel)
        return Spread(kernel=kernel, climate=climate, wind_influence=wind, near_radius_m=near)
    classes = climate.speed_classes
    if not classes:
        msg = (
            "settings.physics.use_physics is true, and there is no hourly wind record with hours of flight, whose speeds "
            "the physical kernel needs. Give one as inputs.wind_hours, or set use_physics to false."
        )
        raise SettingsError(msg)
    plain = physical_kernels(settings.physics, np.array([each.mean_speed_m_s for each in classes]))
    far_share, far = settings.kernel.far_share, far_kernel(settings.kernel)
    shares = [each.share for each in classes]
    parts = [((1 - far_share) * share, kernel) for share, kernel in zip(shares, plain, strict=True)]
    strands = tuple(
        (
            each.share,
            Spread(
                kernel=replace(kernel, far_share=far_share, far=far),
                climate=climate_of_class(climate, each),
                wind_influence=wind,
                near_radius_m=near,
            ),
        )
        for each, kernel in zip(classes, plain, strict=True)
    )
    whole = mixture_of([*parts, (far_share, far)] if far is not None else parts)
    return Spread(kernel=whole, climate=climate, wind_influence=wind, near_radius_m=near, strands=strands)


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

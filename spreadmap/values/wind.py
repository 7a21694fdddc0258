"""Wind as it comes in, and the climate of directions that is made of it."""

from __future__ import annotations

from dataclasses import dataclass
from dataclasses import field as made_by

import numpy as np

from spreadmap.values.arrays import BoolArray, ComplexArray, FloatArray, column, freeze_columns


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WindHours:
    """One item per hour. `time_utc` is `datetime64[m]`; `wind_from_deg` is clockwise from grid north.

    NaN direction with a speed means variable; speed below the calm limit means calm whatever the direction.
    NaN in `gust_m_s`, `temperature_c`, `rain_mm` means "not recorded". `is_coarse` marks directions given in
    whole tens of degrees.
    """

    time_utc: np.ndarray
    wind_from_deg: FloatArray
    speed_m_s: FloatArray
    gust_m_s: FloatArray
    temperature_c: FloatArray
    rain_mm: FloatArray
    is_coarse: BoolArray

    def __post_init__(self) -> None:
        """Freeze every column."""
        numbers = dict.fromkeys(("wind_from_deg", "speed_m_s", "gust_m_s", "temperature_c", "rain_mm"), np.float64)
        freeze_columns(self, {**numbers, "time_utc": "datetime64[m]", "is_coarse": np.bool_}, len(self.time_utc))

    def __len__(self) -> int:
        """Return the number of hours."""
        return len(self.time_utc)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WindRaster:
    """Mean wind vectors on a regular grid in the working CRS, toward grid east and grid north [m/s].

    `easting` ascends, `northing` descends; `wind_u`, `wind_v` are (periods, rows, cols) with NaN where there is no
    value; `month` holds 1 to 12 for each period, or 0 for "the whole season". `mean_speed_m_s` has the same shape,
    or is None where the source gives no mean scalar speed.
    """

    easting: FloatArray
    northing: FloatArray
    month: np.ndarray
    wind_u: FloatArray
    wind_v: FloatArray
    mean_speed_m_s: FloatArray | None = None

    def __post_init__(self) -> None:
        """Freeze the arrays and check their shapes."""
        for name, dtype in (("easting", np.float64), ("northing", np.float64), ("month", np.int64)):
            object.__setattr__(self, name, column(getattr(self, name), dtype))
        shape = (len(self.month), len(self.northing), len(self.easting))
        for name in ("wind_u", "wind_v", "mean_speed_m_s"):
            given = getattr(self, name)
            if given is not None:
                array = column(given, np.float64)
                if array.shape != shape:
                    msg = f"{name} has shape {array.shape} where {shape} is needed"
                    raise ValueError(msg)
                object.__setattr__(self, name, array)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpeedClass:
    """Flight hours whose speed lies from `lower_m_s` to below `upper_m_s` (infinite for the last class) [m/s].

    `share` is their share of flight hours, `mean_speed_m_s` their mean speed, both weighted by season; `rose` (M,) are
    their Fourier coefficients as in `WindClimate`. Over all classes, the shares sum to one and the sum of share times
    rose is the climate's `rose`. No class's density is negative.
    """

    lower_m_s: float
    upper_m_s: float
    share: float
    mean_speed_m_s: float
    rose: ComplexArray

    def __post_init__(self) -> None:
        """Freeze the coefficients."""
        object.__setattr__(self, "rose", column(self.rose, np.complex128))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WindClimate:
    """Density of the bearings toward which air moves while mites fly, as Fourier coefficients.

    h(bearing) = (1 + 2 Re sum_m c_m exp(-i m bearing)) / 2 pi, with c_m = mean of exp(i m bearing), m = 1..M, and
    `rose` (M,) holding c_1..c_M. With `field_easting`, `field_northing` and `field` (rows, cols, M), the coefficients
    vary from place to place; otherwise `rose` counts everywhere. `basis` says in words which inputs made it.
    `sector_share` (16,) are shares of flight hours by direction *toward* which air moves, sector 0 centred on grid
    north; calm and variable hours are in `calm_share` and have no sector. `sector_share_all_hours` (16,) and
    `calm_share_all_hours` are the same of every hour of the record whose wind is known, hours alike; zeros and 0
    without an hourly record. `speed_classes` split the flight hours of the record by speed, slowest first, without the
    classes that have no hour; empty without an hourly record. Where a raster bends the record's rose, `field_turn_deg`
    and `field_sharpness` (rows, cols) say by how much it is turned clockwise [deg] and its coefficients multiplied [-].
    """

    rose: ComplexArray
    basis: str
    hours_used: int = 0
    calm_share: float = 0.0
    mean_speed_m_s: float = float("nan")
    sector_share: FloatArray
    sector_share_all_hours: FloatArray = made_by(default_factory=lambda: np.zeros(16))
    calm_share_all_hours: float = 0.0
    speed_classes: tuple[SpeedClass, ...] = ()
    remarks: tuple[str, ...] = ()
    field_easting: FloatArray | None = None
    field_northing: FloatArray | None = None
    field: ComplexArray | None = None
    field_turn_deg: FloatArray | None = None
    field_sharpness: FloatArray | None = None

    def __post_init__(self) -> None:
        """Freeze the arrays."""
        object.__setattr__(self, "rose", column(self.rose, np.complex128))
        for name in ("sector_share", "sector_share_all_hours"):
            object.__setattr__(self, name, column(getattr(self, name), np.float64, 16, name))
        lengths = ("field_easting", "field_northing", "field_turn_deg", "field_sharpness")
        for name, dtype in (*((name, np.float64) for name in lengths), ("field", np.complex128)):
            if getattr(self, name) is not None:
                object.__setattr__(self, name, column(getattr(self, name), dtype))

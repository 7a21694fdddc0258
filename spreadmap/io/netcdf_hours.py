"""Hourly wind of one place from NetCDF, by CF standard names."""

from __future__ import annotations

import contextlib
import datetime as dt
import re
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from spreadmap.dispersal.bearings import components_to_from_deg, toward_from
from spreadmap.errors import InputError
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.hour_columns import (
    LEAST_TEMPERATURE_C,
    MOST_GUST_M_S,
    MOST_RAIN_MM,
    MOST_SPEED_M_S,
    MOST_TEMPERATURE_C,
    TO_METRES_PER_SECOND,
    HourColumns,
)
from spreadmap.io.netcdf import (
    check_degrees,
    check_size,
    decode_times,
    find_variable,
    open_netcdf,
    reading_values,
    speed_unit_of,
    time_variable,
    to_celsius,
    to_millimetres,
    units_of,
)
from spreadmap.io.project_file import WindHoursBlock
from spreadmap.values.arrays import BoolArray, FloatArray
from spreadmap.values.settings import Settings

if TYPE_CHECKING:
    import xarray as xr

RAIN_NAMES = (
    "precipitation_amount", "rainfall_amount", "lwe_thickness_of_precipitation_amount", "thickness_of_rainfall_amount",
    "precipitation_flux", "rainfall_flux", "lwe_precipitation_rate", "rainfall_rate",
)  # fmt: skip
UTC_NAMES = ("UTC", "+00:00", "-00:00")
ZONE = re.compile(r"(?:\d[ ]?)(UTC|GMT|Z)$|(?::\d{2}(?:\.\d+)?[ ]?)([+-]\d{1,2}(?::?\d{2})?)$")
"""A zone behind the day or the clock of "... since ..."."""


def read_netcdf_hours(path: Path, block: WindHoursBlock, settings: Settings, book: FaultBook) -> HourColumns:
    """Return the hours of a file that holds one place.

    Wind is `eastward_wind` and `northward_wind`, or `wind_from_direction` or `wind_to_direction` with `wind_speed`;
    beside it `wind_speed_of_gust`, `air_temperature` and one of the names of rain. A variable that the block's columns
    name is taken whatever its standard name. Times count on the clock that the block declares; where an hour has bounds,
    its beginning counts.

    Raises
    ------
    InputError
        If something is missing, holds several places, or is in units that are not known or not those declared.
    """
    with open_netcdf(path) as dataset:
        axis = time_variable(dataset)
        if axis is None:
            msg = "has no axis of time (standard name time, units such as hours since 2026-01-01). Export it again"
            raise InputError(msg)
        if block.north == "grid":
            msg = "is NetCDF, whose directions count from true north by their names. Remove north from its block"
            raise InputError(msg)
        with reading_values():
            times = _beginnings(dataset, axis, block)
            from_deg, speed = _wind(dataset, str(axis.dims[0]), block)
            beside = _beside(dataset, str(axis.dims[0]), block)
    usable = _usable(from_deg, speed, beside)
    lost = int(np.sum(~usable))
    if lost > settings.inputs.most_rows_aside * len(usable):
        msg = (
            f"holds impossible values in {lost} of {len(usable)} hours; allowed: at most "
            f"{settings.inputs.most_rows_aside:.0%}. Mend the file, or raise settings.inputs.most_rows_aside"
        )
        raise InputError(msg)
    if lost:
        book.assume(block.file, f"{lost} hours hold impossible values", "They were left out.")
    return HourColumns(
        file=block.file,
        local=list(times),
        wind_from_deg=from_deg,
        speed_m_s=speed,
        gust_m_s=beside["gust"],
        temperature_c=beside["temperature_c"],
        rain_mm=beside["rain_mm"],
        # by components a calm hour has no direction; by direction one may be missing
        no_direction=~np.isfinite(from_deg) & (speed > 0),
        is_usable=usable,
    )


def _usable(from_deg: FloatArray, speed: FloatArray, beside: dict[str, FloatArray]) -> BoolArray:
    """Return which hours hold nothing impossible, shape (n,); what is not on record is possible."""
    limits = (
        (from_deg, 0.0, 360.0),
        (speed, 0.0, MOST_SPEED_M_S),
        (beside["gust"], 0.0, MOST_GUST_M_S),
        (beside["temperature_c"], LEAST_TEMPERATURE_C, MOST_TEMPERATURE_C),
        (beside["rain_mm"], 0.0, MOST_RAIN_MM),
    )
    return np.asarray(
        np.all([np.isnan(each) | ((each >= least) & (each <= most)) for each, least, most in limits], axis=0)
    )


def _beginnings(dataset: xr.Dataset, axis: xr.DataArray, block: WindHoursBlock) -> list[dt.datetime]:
    """Return the beginning of every hour on the file's clock."""
    units = units_of(axis)
    zone = ZONE.search(units)
    if zone and (zone[1] or zone[2]).strip("+-0:") not in ("", "UTC", "GMT", "Z"):
        msg = f"counts its times from another clock than UTC ({shown(units)}). Export it in UTC"
        raise InputError(msg)
    if zone and block.time_zone.strip() not in UTC_NAMES:
        msg = (
            f"counts its times in UTC ({shown(units)}), but time_zone says {shown(block.time_zone)}. Correct time_zone"
        )
        raise InputError(msg)
    times = decode_times(axis)
    bounds = str(axis.attrs.get("bounds", ""))
    if bounds in dataset.variables and dataset[bounds].shape == (len(times), 2):
        lower = dataset[bounds][:, 0]
        # by the conventions, bounds have the units of their axis
        lower.attrs.update({key: axis.attrs[key] for key in ("units", "calendar") if key in axis.attrs})
        times = decode_times(lower)
    return [moment.astype("datetime64[s]").item() for moment in times]


def _values(variable: xr.DataArray, dimension: str, block: WindHoursBlock, *, is_direction: bool = False) -> FloatArray:
    """Return a variable along its axis of time, shape (n,), codes for "missing" as NaN.

    Other dimensions may have one step only. A code that could be a direction counts for the others alone.
    """
    if dimension not in variable.dims:
        msg = f"variable {shown(variable.name)} has no axis of time. Export it again"
        raise InputError(msg)
    wide = [f"{name} ({size})" for name, size in variable.sizes.items() if name != dimension and size != 1]
    if wide:
        msg = f"variable {shown(variable.name)} holds several places or heights: {', '.join(wide)}. Cut it to one"
        raise InputError(msg)
    check_size(variable)
    values = np.array(variable.values, dtype=np.float64).reshape(variable.sizes[dimension])
    for code in block.missing_codes:
        with contextlib.suppress(ValueError):
            number = float(code)
            if not (is_direction and 0 <= number <= 360):
                values[np.isclose(values, number, rtol=1e-6, atol=0)] = np.nan
    return values


def _wind(dataset: xr.Dataset, dimension: str, block: WindHoursBlock) -> tuple[FloatArray, FloatArray]:
    """Return directions the wind comes from, NaN for none [deg], and speeds [m/s]."""

    def find(ours: str, *names: str) -> xr.DataArray | None:
        return find_variable(dataset, names, block.columns.get(ours, ""))

    def pace(variable: xr.DataArray) -> FloatArray:
        return _values(variable, dimension, block) * TO_METRES_PER_SECOND[speed_unit_of(variable, block.speed_unit)]

    u, v = find("wind_u", "eastward_wind"), find("wind_v", "northward_wind")
    came_from, speed = find("wind_from_deg", "wind_from_direction"), find("speed", "wind_speed")
    goes_to = find_variable(dataset, ("wind_to_direction",))
    if speed is not None and came_from is not None:
        check_degrees(came_from)
        return _values(came_from, dimension, block, is_direction=True), pace(speed)
    if speed is not None and goes_to is not None:
        check_degrees(goes_to)
        # half a turn either way: what it comes from, of what it goes to
        return toward_from(_values(goes_to, dimension, block, is_direction=True)), pace(speed)
    if u is not None and v is not None:
        east, north = pace(u), pace(v)
        return components_to_from_deg(east, north), np.hypot(east, north)
    msg = (
        "has no wind by CF standard names: eastward_wind and northward_wind, or wind_from_direction (or "
        "wind_to_direction) and wind_speed. Name its variables under columns in its block"
    )
    raise InputError(msg)


def _beside(dataset: xr.Dataset, dimension: str, block: WindHoursBlock) -> dict[str, FloatArray]:
    """Return gusts [m/s], temperature [deg C] and rain [mm in the hour], NaN where the file has none."""
    steps = dataset.sizes[dimension]
    found = {name: np.full(steps, np.nan) for name in ("gust", "temperature_c", "rain_mm")}
    gust = find_variable(dataset, ("wind_speed_of_gust",), block.columns.get("gust", ""))
    if gust is not None:
        unit = speed_unit_of(gust, block.speed_unit)
        found["gust"] = _values(gust, dimension, block) * TO_METRES_PER_SECOND[unit]
    warm = find_variable(dataset, ("air_temperature",), block.columns.get("temperature_c", ""))
    if warm is not None:
        factor, summand = to_celsius(warm)
        found["temperature_c"] = _values(warm, dimension, block) * factor + summand
    rain = find_variable(dataset, RAIN_NAMES, block.columns.get("rain_mm", ""))
    if rain is not None:
        found["rain_mm"] = _values(rain, dimension, block) * to_millimetres(rain)
    return found

"""Rasters of mean wind from NetCDF: CF standard names, longitudes either way round, latitudes up or down, months."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
from affine import Affine
from pyproj import CRS
from pyproj.exceptions import CRSError

from spreadmap.dispersal.bearings import toward_from
from spreadmap.errors import CrsError, RasterError
from spreadmap.io.faults import FaultBook, shown
from spreadmap.io.netcdf import (
    LATITUDE_UNITS,
    LONGITUDE_UNITS,
    check_degrees,
    check_size,
    decode_times,
    find_variable,
    open_netcdf,
    reading_values,
    speed_unit_of,
    time_variable,
    units_of,
)
from spreadmap.io.project_file import WindRasterBlock
from spreadmap.io.read_crs import WGS84, WorkingCrs, parse_crs, same_crs, transform_positions
from spreadmap.io.wind_planes import WindPlanes, as_components
from spreadmap.values.arrays import FloatArray, IntArray
from spreadmap.values.inventory import Inventory

if TYPE_CHECKING:
    import xarray as xr

BEYOND_CELLS = 3
"""Cells that are read beyond the plants and their margin on every side."""
MOST_UNEVEN = 0.02
"""Largest difference between steps of an even axis, as a share of a step; single precision writes such steps [-]."""
NAMES: dict[str, tuple[str, ...]] = {
    "u": ("eastward_wind", "x_wind"),
    "v": ("northward_wind", "y_wind"),
    "speed": ("wind_speed",),
    "direction": ("wind_from_direction", "wind_to_direction"),
}
GRID_NAMES = ("x_wind", "y_wind")
ACROSS = ("projection_x_coordinate", "longitude")
ALONG = ("projection_y_coordinate", "latitude")
LENGTH_UNITS = {"m": 1.0, "metre": 1.0, "meter": 1.0, "metres": 1.0, "meters": 1.0, "km": 1000.0, "kilometer": 1000.0,
                "kilometre": 1000.0}  # fmt: skip


def read_netcdf_planes(
    path: Path, block: WindRasterBlock, working: WorkingCrs, inventory: Inventory, margin_m: float, book: FaultBook
) -> WindPlanes:
    """Return the wind of a NetCDF file round the plants, on its own grid with row 0 in the north.

    Which components count stands in the block; each is found by its standard name, or by the name the block gives.
    `x_wind` and `y_wind` follow the file's own grid, the others true north. Months are those of the block, else of the
    axis of time; several steps of one month are averaged.

    Raises
    ------
    RasterError, CrsError, InputError
        If something is missing, ambiguous, uneven, too large, or in units that are not known or not those declared.
    """
    if not block.components:
        msg = (
            "has no component named in its block (components = []); allowed: u and v, u and v and speed, direction and "
            "speed. Name those that are to be read, or remove components from the block: then u and v are read"
        )
        raise RasterError(msg)
    with open_netcdf(path) as dataset, reading_values():
        found = {str(name): _variable(dataset, name, block) for name in block.components}
        first = next(iter(found.values()))
        crs = _crs_of(dataset, first, block, book)
        across, along = _axis(dataset, first, ACROSS, crs), _axis(dataset, first, ALONG, crs)
        cols, rows, transform = _window(across, along, crs, working, inventory, margin_m)
        periods, months = _months(dataset, first, block, {str(across.dims[0]), str(along.dims[0])})
        planes = {
            name: _plane(variable, (str(along.dims[0]), str(across.dims[0])), rows, cols, periods)
            for name, variable in found.items()
        }
        for name, variable in found.items():
            if name == "direction":
                check_degrees(variable)
            else:
                speed_unit_of(variable, block.speed_unit)
        if found.get("direction", first).attrs.get("standard_name") == "wind_to_direction":
            planes["direction"] = toward_from(planes["direction"])  # half a turn: what it comes from
        north = _north(found, block)
    u, v, speed = as_components(planes, block.speed_unit)
    every = sorted(set(months))
    stacks = [_by_month(stack, months, every) for stack in ([u, v] if speed is None else [u, v, speed])]
    return WindPlanes(
        crs=crs,
        transform=transform,
        months=tuple(every),
        u=stacks[0],
        v=stacks[1],
        speed=stacks[2] if speed is not None else None,
        north=north,
    )


def _variable(dataset: xr.Dataset, name: str, block: WindRasterBlock) -> xr.DataArray:
    """Return the variable of one component."""
    mapped = {str(key): value for key, value in block.variables.items()}
    found = find_variable(dataset, NAMES[name], mapped.get(name, ""))
    if found is None:
        msg = (
            f"has no variable with the standard name {' or '.join(NAMES[name])} (for {name}). Name it under variables in "
            "its block, or correct components"
        )
        raise RasterError(msg)
    return found


def _north(found: dict[str, xr.DataArray], block: WindRasterBlock) -> Literal["true", "grid"]:
    """Return from which north the wind counts; the standard names say it, the block where there is none."""
    names = {
        str(variable.attrs["standard_name"])
        for key, variable in found.items()
        if key != "speed" and variable.attrs.get("standard_name") in NAMES[key]
    }
    if not names:
        return block.north
    kinds = {name in GRID_NAMES for name in names}
    if len(kinds) > 1:
        msg = (
            f"mixes components of the grid and of true north: {', '.join(sorted(names))}. Name two that belong together"
        )
        raise RasterError(msg)
    by_name: Literal["true", "grid"] = "grid" if kinds.pop() else "true"
    if "north" in block.model_fields_set and block.north != by_name:
        msg = f"has {' and '.join(sorted(names))}, which count from {by_name} north. Correct north in its block"
        raise RasterError(msg)
    return by_name


def _crs_of(dataset: xr.Dataset, variable: xr.DataArray, block: WindRasterBlock, book: FaultBook) -> CRS:
    """Return the CRS: of the grid mapping, or declared, or WGS 84 for degrees of latitude and longitude, which is told."""
    own = _mapped_crs(dataset, variable)
    declared = parse_crs(block.crs) if block.crs else None
    if own is not None and declared is not None and not same_crs(own, declared):
        msg = f"has another CRS than its block declares ({block.crs}). Remove crs from the block, or export again"
        raise CrsError(msg)
    found = own if own is not None else declared
    if found is not None:
        if found.is_geographic and found.is_derived:
            msg = "lies on a grid with a rotated pole, which is not read. Bring it to latitude and longitude first"
            raise CrsError(msg)
        return found
    lat, lon = find_variable(dataset, ("latitude",)), find_variable(dataset, ("longitude",))
    is_degrees = (
        lat is not None
        and lon is not None
        and lat.ndim == lon.ndim == 1
        and units_of(lat).casefold() in LATITUDE_UNITS
        and units_of(lon).casefold() in LONGITUDE_UNITS
        and {lat.dims[0], lon.dims[0]} <= set(variable.dims)
    )
    if not is_degrees:
        msg = (
            "has no CRS: neither a grid mapping nor latitude and longitude in degrees_north and degrees_east; it is never "
            'guessed. Declare crs = "EPSG:..." in its block'
        )
        raise CrsError(msg)
    book.assume(block.file, "names no CRS for its latitudes and longitudes", "They were taken as WGS 84 (EPSG:4326).")
    return parse_crs("EPSG:4326")


def _mapped_crs(dataset: xr.Dataset, variable: xr.DataArray) -> CRS | None:
    """Return the CRS of a variable's grid mapping, None without one."""
    name = str(variable.attrs.get("grid_mapping", variable.encoding.get("grid_mapping", ""))).split(":")[0].strip()
    if not name:
        return None
    if name not in dataset.variables:
        msg = f"has the grid mapping {shown(name)}, which is not in it. Export it again"
        raise CrsError(msg)
    notes = dict(dataset[name].attrs)
    try:
        for key in ("crs_wkt", "spatial_ref"):
            if isinstance(notes.get(key), str):
                return CRS.from_wkt(notes[key])
        return CRS.from_cf(notes)
    except (CRSError, KeyError, ValueError, TypeError) as error:
        msg = f"has the grid mapping {shown(name)}, which cannot be understood. Declare crs in an export with crs_wkt"
        raise CrsError(msg) from error


def _axis(dataset: xr.Dataset, variable: xr.DataArray, names: tuple[str, str], crs: CRS) -> xr.DataArray:
    """Return the axis across (west to east) or along (south to north), one value for each step, in the CRS's unit."""
    name = names[1] if crs.is_geographic else names[0]
    found = [
        dataset[key]
        for key in dataset.variables
        if dataset[key].attrs.get("standard_name") == name
        and dataset[key].ndim == 1
        and dataset[key].dims[0] in variable.dims
    ]
    if len(found) != 1:
        msg = (
            f"has {len(found)} axes with the standard name {name} and one value for each row or column; allowed: 1. Bring "
            "it to an even grid first"
        )
        raise RasterError(msg)
    axis = found[0]
    if axis.size < 2:
        msg = f"has one {name} only. Give a raster of at least two by two cells"
        raise RasterError(msg)
    check_size(axis)
    units = units_of(axis).casefold()
    if crs.is_geographic:
        allowed = LONGITUDE_UNITS if name == "longitude" else LATITUDE_UNITS
        factor = 1.0 if units in allowed else float("nan")
    else:
        factor = LENGTH_UNITS.get(units, float("nan")) / crs.axis_info[0].unit_conversion_factor
    if not np.isfinite(factor):
        said = "degrees_east or degrees_north" if crs.is_geographic else "m, km"
        msg = f"axis {shown(axis.name)} has the units {shown(units_of(axis))}; allowed: {said}. Export it again"
        raise RasterError(msg)
    return axis * factor if factor != 1.0 else axis


def _window(
    across: xr.DataArray, along: xr.DataArray, crs: CRS, working: WorkingCrs, inventory: Inventory, margin_m: float
) -> tuple[IntArray, IntArray, Affine]:
    """Return the columns west to east and rows north to south round the plants, and where they lie."""
    x, y = np.asarray(across.values, dtype=np.float64), np.asarray(along.values, dtype=np.float64)
    west, east = inventory.easting.min() - margin_m, inventory.easting.max() + margin_m
    south, north = inventory.northing.min() - margin_m, inventory.northing.max() + margin_m
    rim_east, rim_north = np.meshgrid(np.linspace(west, east, 9), np.linspace(south, north, 9))
    if crs.is_geographic:
        rim_x, rim_y = working.lon_lat(rim_east.ravel(), rim_north.ravel())
        middle = float(rim_x[len(rim_x) // 2])
        x, rim_x = (middle + np.mod(each - middle + 180.0, 360.0) - 180.0 for each in (x, rim_x))
    else:
        # from the working CRS into the file's own
        rim_x, rim_y = _into(crs, working, rim_east.ravel(), rim_north.ravel())
    cols, left, step_x = _even(x, np.sort(rim_x), "columns")
    rows, lower, step_y = _even(y, np.sort(rim_y), "rows")
    rows = rows[::-1]
    top = lower + (len(rows) - 0.5) * step_y
    return cols, rows, Affine(step_x, 0.0, left - step_x / 2, 0.0, -step_y, top)


def _into(crs: CRS, working: WorkingCrs, easting: FloatArray, northing: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return positions of the working CRS in a raster's CRS."""
    if same_crs(crs, working.crs):
        return easting, northing
    return transform_positions(WGS84, WorkingCrs(crs, crs.name), *working.lon_lat(easting, northing))


def _even(values: FloatArray, rim: FloatArray, what: str) -> tuple[IntArray, float, float]:
    """Return the indices, ascending by value, that lie round the rim; the first value and the even step between them."""
    if not np.isfinite(values).all():
        msg = f"has {what} without a place. Export it again"
        raise RasterError(msg)
    order = np.argsort(values, kind="stable")
    placed = values[order]
    step = float(np.median(np.diff(placed)))
    if step <= 0:
        msg = f"has {what} in the same place. Export it again"
        raise RasterError(msg)
    near = np.flatnonzero((placed >= rim[0] - BEYOND_CELLS * step) & (placed <= rim[-1] + BEYOND_CELLS * step))
    if len(near) < 2:
        msg = "covers 0 plants. Extend the raster, correct its CRS, or leave it out"
        raise RasterError(msg)
    cut = placed[near]
    steps = np.diff(cut)
    if np.ptp(steps) > MOST_UNEVEN * float(steps.mean()):
        msg = f"has {what} that do not lie evenly. Bring it to an even grid first"
        raise RasterError(msg)
    return order[near].astype(np.int64), float(cut[0]), float((cut[-1] - cut[0]) / (len(cut) - 1))


def _months(
    dataset: xr.Dataset, variable: xr.DataArray, block: WindRasterBlock, place: set[str]
) -> tuple[str, list[int]]:
    """Return the dimension of periods, empty if there is none, and the month of each period."""
    others = [str(name) for name in variable.dims if name not in place and variable.sizes[name] != 1]
    if len(others) > 1:
        msg = (
            f"variable {shown(variable.name)} has the axes {', '.join(others)} beside its place. Cut it to one of them"
        )
        raise RasterError(msg)
    single = [
        str(name) for name in variable.dims if name not in place and time_variable(dataset, str(name)) is not None
    ]
    period = others[0] if others else single[0] if single else ""
    count = variable.sizes[period] if period else 1
    axis = time_variable(dataset, period) if period else None
    by_axis: list[int] = []
    if axis is not None:
        by_axis = [int(month) for month in decode_times(axis).astype("datetime64[M]").astype(np.int64) % 12 + 1]
    if not block.months:
        if by_axis or count == 1:
            return period, by_axis or [0]
        msg = f"has {count} periods in {shown(period)}, which is no axis of time. Declare months in its block"
        raise RasterError(msg)
    if len(block.months) != count:
        msg = f"has {count} periods; allowed: {len(block.months)}, as months in its block says. Correct months"
        raise RasterError(msg)
    if by_axis and by_axis != list(block.months):
        msg = (
            f"has the months {', '.join(map(str, by_axis))} on its axis of time, others than its block declares. Correct "
            "months, or leave it out"
        )
        raise RasterError(msg)
    return period, list(block.months)


def _plane(variable: xr.DataArray, place: tuple[str, str], rows: IntArray, cols: IntArray, period: str) -> FloatArray:
    """Return the cells of a window, (periods, rows, cols)."""
    missing = [name for name in (*place, period) if name and name not in variable.dims]
    extra = [str(name) for name in variable.dims if name not in (*place, period) and variable.sizes[name] != 1]
    if missing or extra:
        msg = f"variable {shown(variable.name)} does not lie on the same axes as the others. Export it again"
        raise RasterError(msg)
    count = variable.sizes[period] if period else 1
    check_size(variable, (count, len(rows), len(cols)))
    low_row, low_col = int(rows.min()), int(cols.min())
    part = variable.isel({place[0]: slice(low_row, int(rows.max()) + 1)})
    # columns may lie at both ends of the file: then the rows are read whole
    if int(cols.max()) - low_col + 1 == len(cols):
        part = part.isel({place[1]: slice(low_col, int(cols.max()) + 1)})
        cols = cols - low_col
    check_size(part)
    part = part.transpose(*([period] if period else []), ..., *place)
    values = np.asarray(part.values, dtype=np.float64).reshape(count, part.sizes[place[0]], part.sizes[place[1]])
    return np.asarray(values[:, rows - low_row][:, :, cols])


def _by_month(stack: FloatArray, months: list[int], every: list[int]) -> FloatArray:
    """Return the mean of all steps of each month, NaN where none has a value, (months, rows, cols)."""
    out = np.full((len(every), *stack.shape[1:]), np.nan)
    for place, month in enumerate(every):
        steps = stack[[index for index, each in enumerate(months) if each == month]]
        known = np.isfinite(steps)
        count = known.sum(axis=0)
        total = np.where(known, steps, 0.0).sum(axis=0)
        out[place] = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return out

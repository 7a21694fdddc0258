"""NetCDF files opened with care: one local file, small enough, variables by their CF standard name, units checked.

Standard names and units are those of the CF conventions (cfconventions.org, standard name table and section 3.1; from
memory). The libraries come with the extra `netcdf`; without them a file is refused with the remedy.
"""

from __future__ import annotations

import contextlib
import importlib
import struct
import subprocess
import sys
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from spreadmap.errors import InputError
from spreadmap.io import guard
from spreadmap.io.faults import shown

if TYPE_CHECKING:
    import xarray as xr

MOST_VALUES = 20_000_000
"""Most values of one variable, or of one packed piece of it, that are decoded; a small file can claim far more."""
PROBE = Path(__file__).with_name("hdf5_probe.py")
LONGEST_WALK_S = 20
"""How long a walk through all pointers of an HDF5 file may take [s]; a sound one takes less than one; our choice."""
MOST_OBJECTS = 10_000
"""Most groups and variables that are looked through."""

SPEED_UNITS = {
    "m s-1": "m/s", "m/s": "m/s", "m s^-1": "m/s", "m s**-1": "m/s", "m.s-1": "m/s", "meter second-1": "m/s",
    "metre second-1": "m/s", "km h-1": "km/h", "km/h": "km/h", "km hr-1": "km/h", "mph": "mph", "mile hour-1": "mph",
    "miles/hour": "mph", "knot": "knots", "knots": "knots", "kt": "knots", "kts": "knots",
}  # fmt: skip
DEGREE_UNITS = ("degree", "degrees", "deg", "degree_true", "degrees_true", "arc_degree")
LATITUDE_UNITS = ("degrees_north", "degree_north", "degree_n", "degrees_n", "degreen", "degreesn")
LONGITUDE_UNITS = ("degrees_east", "degree_east", "degree_e", "degrees_e", "degreee", "degreese")
TEMPERATURE_UNITS = {
    "k": (1.0, -273.15), "kelvin": (1.0, -273.15), "degc": (1.0, 0.0), "deg_c": (1.0, 0.0), "celsius": (1.0, 0.0),
    "degree_celsius": (1.0, 0.0), "degrees_celsius": (1.0, 0.0), "degree_c": (1.0, 0.0), "degrees_c": (1.0, 0.0),
    "°c": (1.0, 0.0), "degf": (5 / 9, -160 / 9), "fahrenheit": (5 / 9, -160 / 9),
    "degree_fahrenheit": (5 / 9, -160 / 9),
}  # fmt: skip
"""Factor and what is added, to degrees Celsius."""
RAIN_UNITS = {
    "kg m-2": 1.0, "kg/m2": 1.0, "kg m**-2": 1.0, "mm": 1.0, "cm": 10.0, "m": 1000.0, "mm h-1": 1.0, "mm/h": 1.0,
    "mm hr-1": 1.0, "kg m-2 s-1": 3600.0, "kg m**-2 s**-1": 3600.0, "mm s-1": 3600.0, "m s-1": 3_600_000.0,
}  # fmt: skip
"""Factor to millimetres in an hour; a kilogram of water on a square metre is a millimetre."""
CALENDARS = ("standard", "gregorian", "proleptic_gregorian")
BROKEN = (
    OSError, ValueError, KeyError, IndexError, TypeError, AttributeError, RuntimeError, OverflowError, EOFError,
    NotImplementedError, AssertionError, MemoryError, struct.error,
)  # fmt: skip
"""What the libraries raise at files that are cut short or were made to harm."""


@contextmanager
def open_netcdf(path: Path) -> Iterator[xr.Dataset]:
    """Open a NetCDF file; times stay numbers, values lie still in the file.

    Raises
    ------
    InputError
        If it is no NetCDF, points at other files, cannot be read, or the extra `netcdf` is not installed.
    """
    guard.check_kind(path, guard.NETCDF)
    with path.open("rb") as file:
        first = file.read(4)
    is_hdf5 = first.startswith(b"\x89HDF")
    if first == b"CDF\x05":
        msg = "is classic NetCDF with 64-bit data, which is not read. Save it as NetCDF-4"
        raise InputError(msg)
    library = _libraries(is_hdf5)
    with reading_values():
        if is_hdf5:
            check_walk(path)
            check_hdf5(path)
        with warnings.catch_warnings():
            # a file with two fill values: both mean that there is none
            warnings.simplefilter("ignore", library.SerializationWarning)
            # dimensions without a name are met in files that other programs wrote
            how = {"engine": "h5netcdf", "phony_dims": "access"} if is_hdf5 else {"engine": "scipy"}
            dataset = library.open_dataset(path, decode_times=False, decode_timedelta=False, cache=False, **how)
    try:
        yield dataset
    finally:
        dataset.close()


@contextmanager
def reading_values() -> Iterator[None]:
    """Turn what the libraries raise at a broken file into an InputError; our own errors pass."""
    try:
        yield
    except InputError:
        raise
    except BROKEN as error:
        said = " ".join(str(error).split())[:120]
        msg = f"cannot be read as NetCDF ({said or type(error).__name__}). Export it again"
        raise InputError(msg) from error


def _libraries(is_hdf5: bool) -> Any:
    """Return xarray, after looking whether all that a file needs is installed; loaded for NetCDF only: half a second."""
    try:
        for name in ("h5py", "h5netcdf") if is_hdf5 else ():
            importlib.import_module(name)
        return importlib.import_module("xarray")
    except ImportError as error:
        msg = (
            f"is NetCDF, and {error.name or 'a library'} is not installed. Install the extra for it: "
            "pip install 'spreadmap[netcdf]'; or export the file as .csv or .tif"
        )
        raise InputError(msg) from error


def check_walk(path: Path) -> None:
    """Refuse an HDF5 file that cannot be walked through: pointers in a circle keep the library busy for ever (InputError)."""
    command = [sys.executable, "-I", str(PROBE), str(path)]
    try:
        done = subprocess.run(
            command, stdin=subprocess.DEVNULL, capture_output=True, timeout=LONGEST_WALK_S, check=False
        )
    except subprocess.TimeoutExpired as error:
        msg = f"could not be walked through in {LONGEST_WALK_S} s: its inner pointers are damaged. Export it again"
        raise InputError(msg) from error
    if done.returncode:
        msg = "ends the program that looks through it: its inner pointers are damaged. Export it again"
        raise InputError(msg)


def check_hdf5(path: Path) -> None:
    """Refuse an HDF5 file that takes values from other files, or has an axis too long to be opened (InputError)."""
    h5py = importlib.import_module("h5py")
    seen: set[Any] = set()
    with h5py.File(path, "r") as file:
        waiting: list[Any] = [file]
        while waiting:
            group = waiting.pop()
            for name in group:
                if isinstance(group.get(name, getlink=True), h5py.ExternalLink):
                    msg = f"points at another file in {shown(name)}. Copy the values into one file"
                    raise InputError(msg)
                if not isinstance(group.get(name, getlink=True), h5py.HardLink):
                    continue
                item = group[name]
                address = h5py.h5o.get_info(item.id).addr
                if address in seen:
                    continue
                seen.add(address)
                if len(seen) > MOST_OBJECTS:
                    msg = f"holds more than {MOST_OBJECTS} variables and groups. Cut out what is needed"
                    raise InputError(msg)
                if isinstance(item, h5py.Group):
                    waiting.append(item)
                elif isinstance(item, h5py.Dataset):
                    _check_dataset(item, name)


def _check_dataset(item: Any, name: str) -> None:
    """Refuse a variable whose values lie in another file, or an axis of a length that no wind has."""
    if item.external or item.is_virtual:
        msg = f"takes {shown(name)} from another file. Copy the values into one file"
        raise InputError(msg)
    # axes are decoded as soon as the file is opened
    if len(item.shape or ()) == 1 and item.shape[0] > MOST_VALUES:
        msg = f"has {item.shape[0]:,} values in {shown(name)}; allowed: {MOST_VALUES:,}. Cut it to what is needed"
        raise InputError(msg)


def check_size(variable: xr.DataArray, shape: Sequence[int] | None = None) -> None:
    """Refuse a variable of which more values would be decoded than is sensible; `shape` of the part that is read."""
    pieces = variable.encoding.get("chunksizes") or ()
    wanted = tuple(variable.shape if shape is None else shape)
    for what, size in (("values are to be read", wanted), ("values lie in one packed piece", tuple(pieces))):
        if size and float(np.prod([float(each) for each in size])) > MOST_VALUES:
            msg = (
                f"variable {shown(variable.name)}: {' x '.join(str(each) for each in size)} {what}; allowed: "
                f"{MOST_VALUES:,}. Cut it to the plants' surroundings, and to the season"
            )
            raise InputError(msg)


def find_variable(dataset: xr.Dataset, names: Sequence[str], mapped: str = "") -> xr.DataArray | None:
    """Return the variable with one of the standard names, or the one that the project file names; None if none.

    Raises
    ------
    InputError
        If the named one is not there, or several have the standard name.
    """
    if mapped:
        if mapped not in dataset.variables:
            every = ", ".join(sorted(map(str, dataset.variables)))
            msg = f"has no variable {shown(mapped)}; allowed: {every}. Correct the name in the project file"
            raise InputError(msg)
        return dataset[mapped]
    for name in names:
        found = [key for key in dataset.variables if dataset[key].attrs.get("standard_name") == name]
        if len(found) > 1:
            every = ", ".join(sorted(map(str, found)))
            msg = f"has several variables with the standard name {name}: {every}. Say in the project file which one counts"
            raise InputError(msg)
        if found:
            return dataset[found[0]]
    return None


def units_of(variable: xr.DataArray) -> str:
    """Return the units of a variable as they stand in it, spaces made even; empty if it has none."""
    return " ".join(str(variable.attrs.get("units", "")).split())


def speed_unit_of(variable: xr.DataArray, declared: str) -> str:
    """Return the unit of a speed, which must be the declared one; the declared one where the file is silent.

    Raises
    ------
    InputError
        If the units are not known, or are not those declared.
    """
    units = units_of(variable)
    if not units:
        return declared
    unit = SPEED_UNITS.get(units.casefold())
    if unit is None:
        msg = _unknown(variable, "m s-1, km h-1, mph, knots")
        raise InputError(msg)
    if unit != declared:
        msg = f"variable {shown(variable.name)} is in {units}, but speed_unit says {declared}. Correct speed_unit"
        raise InputError(msg)
    return unit


def check_degrees(variable: xr.DataArray) -> None:
    """Refuse a direction in other units than degrees; without units, degrees are what its standard name says."""
    if units_of(variable).casefold() not in ("", *DEGREE_UNITS):
        msg = _unknown(variable, "degree")
        raise InputError(msg)


def to_celsius(variable: xr.DataArray) -> tuple[float, float]:
    """Return factor and summand to degrees Celsius; refuses units it does not know, and none."""
    found = TEMPERATURE_UNITS.get(units_of(variable).casefold())
    if found is None:
        msg = _unknown(variable, "K, degC, degF")
        raise InputError(msg)
    return found


def to_millimetres(variable: xr.DataArray) -> float:
    """Return the factor to millimetres in an hour; refuses units it does not know, and none."""
    found = RAIN_UNITS.get(units_of(variable).casefold())
    if found is None:
        msg = _unknown(variable, "kg m-2, mm, m, kg m-2 s-1, mm h-1")
        raise InputError(msg)
    return found


def _unknown(variable: xr.DataArray, allowed: str) -> str:
    """Return the message about units that are not known."""
    return (
        f"variable {shown(variable.name)} has the units {shown(units_of(variable))}; allowed: {allowed}. Give it one of "
        "these, or export the file again"
    )


def time_variable(dataset: xr.Dataset, dimension: str = "") -> xr.DataArray | None:
    """Return the axis of time, a variable of one dimension in units "... since ...", None if there is none."""
    found = [
        dataset[key]
        for key in dataset.variables
        if " since " in units_of(dataset[key])
        and dataset[key].ndim == 1
        and (not dimension or dataset[key].dims[0] == dimension)
        and (dataset[key].attrs.get("standard_name") == "time" or key == dataset[key].dims[0])
    ]
    return found[0] if found else None


def decode_times(variable: xr.DataArray) -> np.ndarray:
    """Return the times of an axis, shape (n,), `datetime64[m]`; a calendar that clocks do not keep is refused.

    Raises
    ------
    InputError
        If the times cannot be told.
    """
    check_size(variable)
    calendar = str(variable.attrs.get("calendar", "standard")).casefold()
    values = np.array(["NaT"], dtype="datetime64[m]")
    if calendar in CALENDARS:
        # times beyond what a datetime64 can hold ask for one more library: they are none of ours either
        with reading_values(), contextlib.suppress(ImportError):
            decoded = _libraries(is_hdf5=False).decode_cf(variable.to_dataset(name="axis_of_time"), decode_coords=False)
            values = decoded["axis_of_time"].values
    if not np.issubdtype(values.dtype, np.datetime64) or np.isnat(values).any():
        msg = (
            f"its times ({shown(units_of(variable))}, calendar {shown(calendar)}) are no days of our calendar. Export it "
            "again with the standard calendar"
        )
        raise InputError(msg)
    return np.asarray(values.astype("datetime64[m]"))

"""Wind from NetCDF: standard names, units, clocks, longitudes either way, latitudes either way, months, what is refused."""

import sys

import h5py
import numpy as np
import pyproj
import pytest
import xarray as xr
from small_projects import CRS, EAST, NORTH, PROJECT, make_project
from small_records import inventory_at

from spreadmap.dispersal.bearings import components_to_from_deg
from spreadmap.errors import CrsError, InputError, RasterError
from spreadmap.io import hdf5_probe, netcdf
from spreadmap.io.faults import FaultBook
from spreadmap.io.project_file import WindHoursBlock, WindRasterBlock
from spreadmap.io.read_crs import grid_convergence_deg, working_crs
from spreadmap.io.read_project import read_project
from spreadmap.io.read_wind_hours import read_wind_hours
from spreadmap.io.read_wind_raster import read_wind_raster
from spreadmap.values.settings import Settings

WORKING = working_crs(CRS)
PLANTS = inventory_at((EAST, NORTH), (EAST + 200, NORTH + 100))
LON, LAT = (float(each[0]) for each in WORKING.lon_lat(np.array([EAST]), np.array([NORTH])))
TURN = float(grid_convergence_deg(WORKING.crs, np.array([LON]), np.array([LAT]))[0])
"""By how much grid north lies clockwise of true north at the plants [deg]."""
SINCE = "hours since 2026-05-01 00:00:00"
ENGINES = {"NETCDF4": "h5netcdf", "NETCDF3_64BIT": "scipy", "NETCDF3_CLASSIC": "scipy"}


def variable(dims, values, units="", name="", **more):
    notes = {"units": units, "standard_name": name} | more
    return (dims, np.asarray(values, dtype=float), {key: value for key, value in notes.items() if value})


def save(path, variables, form="NETCDF4", **encoding):
    data = xr.Dataset({key: xr.Variable(*value) for key, value in variables.items()})
    data.to_netcdf(path, format=form, engine=ENGINES[form], encoding=encoding or None)
    return path


def hours_file(path, *, form="NETCDF4", since=SINCE, steps=None, **variables):
    steps = np.arange(len(next(iter(variables.values()))[1])) if steps is None else steps
    return save(path, {"time": variable("time", steps, since, "time")} | variables, form)


def read_hours(path, convergence=0.0, settings=None, **keys):
    book = FaultBook()
    block = WindHoursBlock(**({"file": path.name, "time_zone": "UTC", "speed_unit": "m/s"} | keys))
    hours = read_wind_hours([block], [path], convergence, settings or Settings(), book)
    book.raise_if_stopped()
    return hours, book


def by_direction(direction, speed, units="m s-1"):
    return {
        "dd": variable("time", direction, "degree", "wind_from_direction"),
        "ff": variable("time", speed, units, "wind_speed"),
    }


@pytest.mark.parametrize("form", ENGINES)
def test_hours_come_by_standard_name(tmp_path, form):
    path = hours_file(
        tmp_path / "w.nc", form=form, **by_direction([10, 200, 0], [1, 2, 0]),
        g=variable("time", [2, np.nan, 0], "m s-1", "wind_speed_of_gust"),
        t=variable("time", [283.15, 273.15, np.nan], "K", "air_temperature"),
        r=variable("time", [0, 0.5, 1], "kg m-2", "precipitation_amount"),
    )  # fmt: skip
    hours, book = read_hours(path)
    assert np.datetime_as_string(hours.time_utc, unit="h").tolist() == [f"2026-05-01T{h:02d}" for h in range(3)]
    np.testing.assert_allclose(hours.wind_from_deg, [10, 200, np.nan])
    np.testing.assert_allclose(hours.speed_m_s, [1, 2, 0])
    np.testing.assert_allclose(hours.gust_m_s, [2, np.nan, 0])
    np.testing.assert_allclose(hours.temperature_c, [10, 0, np.nan])
    np.testing.assert_allclose(hours.rain_mm, [0, 0.5, 1])
    assert book.rows == {"w.nc": 3}
    assert not book.faults


def test_parts_of_the_wind_and_directions_toward_become_directions_from(tmp_path):
    parts = hours_file(
        tmp_path / "uv.nc", u=variable("time", [10, 3, 0], "m s-1", "eastward_wind"),
        v=variable("time", [10, -4, 0], "m s-1", "northward_wind"),
    )  # fmt: skip
    hours, _ = read_hours(parts)
    # (10, 10) comes from 225 degrees, (3, -4) has speed 5; calm has no direction
    np.testing.assert_allclose(hours.wind_from_deg, [225, 323.13010235, np.nan])
    np.testing.assert_allclose(hours.speed_m_s, [np.sqrt(200), 5, 0])
    toward = by_direction([45, 270], [3, 4])
    toward["dd"][2]["standard_name"] = "wind_to_direction"
    hours, _ = read_hours(hours_file(tmp_path / "to.nc", **toward))
    np.testing.assert_allclose(hours.wind_from_deg, [225, 90])
    turned, _ = read_hours(tmp_path / "to.nc", convergence=1.5)
    np.testing.assert_allclose(turned.wind_from_deg, [223.5, 88.5])


@pytest.mark.parametrize(
    ("units", "declared", "metres"),
    # one mile is 1609.344 m, one nautical mile 1852 m, by definition
    [("m s-1", "m/s", 1), ("m s**-1", "m/s", 1), ("km h-1", "km/h", 1 / 3.6), ("knot", "knots", 1852 / 3600),
     ("mph", "mph", 1609.344 / 3600), ("", "knots", 1852 / 3600)],
)  # fmt: skip
def test_speeds_follow_their_units(tmp_path, units, declared, metres):
    path = hours_file(tmp_path / "w.nc", **by_direction([10.0], [10.0], units))
    assert read_hours(path, speed_unit=declared)[0].speed_m_s[0] == pytest.approx(10 * metres)


@pytest.mark.parametrize(
    ("units", "name", "millimetres"),
    [("kg m-2", "precipitation_amount", 2.0), ("m", "lwe_thickness_of_precipitation_amount", 2000.0),
     ("kg m-2 s-1", "precipitation_flux", 7200.0), ("mm h-1", "lwe_precipitation_rate", 2.0)],
)  # fmt: skip
def test_rain_follows_its_units(tmp_path, units, name, millimetres):
    given = 2.0 if millimetres < 500 else 2.0 / 1000
    path = hours_file(tmp_path / "w.nc", **by_direction([10.0], [1.0]), r=variable("time", [given], units, name))
    assert read_hours(path)[0].rain_mm[0] == pytest.approx(millimetres * given / 2)


@pytest.mark.parametrize(("units", "value"), [("K", 293.15), ("degC", 20.0), ("degF", 68.0), ("Celsius", 20.0)])
def test_temperature_follows_its_units(tmp_path, units, value):
    warm = variable("time", [value], units, "air_temperature")
    path = hours_file(tmp_path / "w.nc", **by_direction([10.0], [1.0]), t=warm)
    assert read_hours(path)[0].temperature_c[0] == pytest.approx(20.0)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"ff": ("m s-1", "wind_speed", "km/h")}, r"'ff' is in m s-1, but speed_unit says km/h. Correct speed_unit"),
        ({"ff": ("furlong", "wind_speed", "m/s")}, r"'ff' has the units 'furlong'; allowed: m s-1, km h-1"),
        ({"dd": ("radian", "wind_from_direction", "m/s")}, r"'dd' has the units 'radian'; allowed: degree"),
        ({"t": ("", "air_temperature", "m/s")}, r"'t' has the units ''; allowed: K, degC, degF"),
        ({"r": ("bucket", "precipitation_amount", "m/s")}, r"'r' has the units 'bucket'; allowed: kg m-2"),
        ({"ff2": ("m s-1", "wind_speed", "m/s")}, r"several variables with the standard name wind_speed: ff, ff2"),
        ({"ff": ("m s-1", "speed_of_a_train", "m/s")}, r"has no wind by CF standard names: eastward_wind and"),
    ],
)  # fmt: skip
def test_units_and_names_are_never_guessed(tmp_path, change, says):
    wind = by_direction([10.0], [10.0])
    ((key, (units, name, declared)),) = change.items()
    wind[key] = variable("time", [10.0], units, name)
    path = hours_file(tmp_path / "w.nc", **wind)
    with pytest.raises(InputError, match=says):
        read_hours(path, speed_unit=declared)


def test_a_named_variable_counts_whatever_its_standard_name(tmp_path):
    wind = by_direction([10.0], [10.0])
    wind["ff2"] = variable("time", [3.0], "m s-1", "wind_speed")
    path = hours_file(tmp_path / "w.nc", **wind)
    assert read_hours(path, columns={"speed": "ff2"})[0].speed_m_s.tolist() == [3.0]
    with pytest.raises(InputError, match=r"w.nc: has no variable 'ff9'; allowed: dd, ff, ff2, time"):
        read_hours(path, columns={"speed": "ff9"})


def test_the_clock_is_the_declared_one_and_may_not_contradict_the_file(tmp_path):
    path = hours_file(tmp_path / "w.nc", **by_direction([10.0], [1.0]))
    hours, _ = read_hours(path, time_zone="America/Chicago")
    assert str(hours.time_utc[0]) == "2026-05-01T05:00"
    for zone in (" UTC", "Z", " +00:00", " +0"):
        utc = hours_file(tmp_path / "utc.nc", since=SINCE + zone, **by_direction([10.0], [1.0]))
        assert str(read_hours(utc)[0].time_utc[0]) == "2026-05-01T00:00"
        with pytest.raises(
            InputError, match=r"utc.nc: counts its times in UTC .*, but time_zone says 'America/Chicago'"
        ):
            read_hours(utc, time_zone="America/Chicago")
    other = hours_file(tmp_path / "other.nc", since=SINCE + " -6:00", **by_direction([10.0], [1.0]))
    with pytest.raises(InputError, match=r"other.nc: counts its times from another clock than UTC"):
        read_hours(other)


def test_an_hour_with_bounds_begins_at_the_lower_one(tmp_path):
    wind = by_direction([10.0, 20.0], [1.0, 1.0])
    path = save(tmp_path / "w.nc", {
        "time": variable("time", [1, 2], SINCE, "time", bounds="time_bounds"),
        "time_bounds": variable(("time", "two"), [[0, 1], [1, 2]]), **wind,
    })  # fmt: skip
    assert [str(time)[11:] for time in read_hours(path)[0].time_utc] == ["00:00", "01:00"]


def test_gaps_doubles_and_hours_without_wind_are_told(tmp_path):
    path = hours_file(tmp_path / "w.nc", steps=[0, 1, 1, 5], **by_direction([10, np.nan, 30, 40], [1, 2, 3, 4]))
    hours, book = read_hours(path)
    np.testing.assert_array_equal(hours.speed_m_s, [1, np.nan, 4])
    assert [fault.sentence() for fault in book.faults] == [
        "w.nc: 1 hours have no wind on record. They are no hours of flight.",
        "w.nc: 1 hours come twice. The first row of each was taken.",
        "w.nc: 3 hours are missing between the first and the last. They stay missing.",
    ]


def test_codes_for_missing_are_those_declared(tmp_path):
    path = hours_file(tmp_path / "w.nc", **by_direction([10, 999, 99], [1, 2, -99]))
    with pytest.raises(InputError, match=r"holds impossible values in 2 of 3 hours; allowed: at most 5%"):
        read_hours(path)
    hours, _ = read_hours(path, missing_codes=["999", "-99", "99"])
    np.testing.assert_array_equal(hours.speed_m_s, [1, np.nan, np.nan])


def test_few_impossible_hours_are_left_out_and_told(tmp_path):
    path = hours_file(tmp_path / "w.nc", **by_direction(np.full(40, 15.0), [*np.ones(39), 500.0]))
    hours, book = read_hours(path)
    assert len(hours) == 39
    assert book.faults[0].sentence() == "w.nc: 1 hours hold impossible values. They were left out."


def test_hours_of_one_place_only(tmp_path):
    place = {"dims": ("time", "station")}
    one = hours_file(
        tmp_path / "one.nc", steps=[0, 1], dd=variable(place["dims"], [[10], [20]], "degree", "wind_from_direction"),
        ff=variable(place["dims"], [[1], [2]], "m s-1", "wind_speed"),
    )  # fmt: skip
    assert read_hours(one)[0].wind_from_deg.tolist() == [10, 20]
    two = hours_file(
        tmp_path / "two.nc", steps=[0], dd=variable(place["dims"], [[10, 20]], "degree", "wind_from_direction"),
        ff=variable(place["dims"], [[1, 2]], "m s-1", "wind_speed"),
    )  # fmt: skip
    with pytest.raises(InputError, match=r"'dd' holds several places or heights: station \(2\). Cut it to one"):
        read_hours(two)


def test_hours_that_cannot_be_told_are_refused(tmp_path):
    wind = by_direction([10.0], [1.0])
    with pytest.raises(InputError, match="has no axis of time"):
        read_hours(save(tmp_path / "a.nc", wind))
    with pytest.raises(InputError, match="directions count from true north by their names. Remove north"):
        read_hours(hours_file(tmp_path / "b.nc", **wind), north="grid")
    odd = {"time": variable("time", [0], SINCE, "time", calendar="360_day"), **wind}
    with pytest.raises(InputError, match=r"c.nc: "):
        read_hours(save(tmp_path / "c.nc", odd))


# ---- files that are not what they say ------------------------------------------------------------------------------


def test_a_missing_extra_is_named_with_its_remedy(tmp_path, monkeypatch):
    path = hours_file(tmp_path / "w.nc", **by_direction([10.0], [1.0]))
    monkeypatch.setitem(sys.modules, "h5py", None)
    with pytest.raises(
        InputError, match=r"w.nc: is NetCDF, and h5py is not installed. .*pip install 'spreadmap\[netcdf\]'"
    ):
        read_hours(path)


def test_other_content_is_refused(tmp_path):
    path = tmp_path / "w.nc"
    path.write_bytes(b"time,speed\n")
    with pytest.raises(InputError, match=r"w.nc: holds something else than its ending"):
        read_hours(path)
    path.write_bytes(b"CDF\x05" + b"\x00" * 100)
    with pytest.raises(InputError, match=r"w.nc: is classic NetCDF with 64-bit data"):
        read_hours(path)


@pytest.mark.parametrize("form", ["NETCDF4", "NETCDF3_64BIT"])
def test_a_file_cut_short_is_refused(tmp_path, form):
    whole = hours_file(tmp_path / "w.nc", form=form, **by_direction(np.full(200, 10.0), np.full(200, 1.0))).read_bytes()
    path = tmp_path / "cut.nc"
    for kept in (10, 50, 100, 400, len(whole) - 300):
        path.write_bytes(whole[:kept])
        with pytest.raises(InputError, match=r"cut.nc: "):
            read_hours(path)


def test_damaged_bytes_never_surface_as_a_defect(tmp_path):
    # classic NetCDF only: the HDF5 library itself can hang on damaged pointers, which nothing in Python can stop
    draws = np.random.default_rng(7)
    whole = hours_file(tmp_path / "w.nc", form="NETCDF3_64BIT", **by_direction([10.0] * 9, [1.0] * 9)).read_bytes()
    refused = 0
    for _ in range(150):
        hurt = bytearray(whole)
        for place in draws.integers(4, len(hurt), 4):
            hurt[place] = draws.integers(0, 256)
        path = tmp_path / "hurt.nc"
        path.write_bytes(hurt)
        try:
            hours, _ = read_hours(path)
        except InputError:
            refused += 1
        else:
            assert hours is None or len(hours) <= 9
    assert refused > 20


def test_values_from_other_files_are_refused(tmp_path):
    path = hours_file(tmp_path / "w.nc", **by_direction([10.0], [1.0]))
    with h5py.File(path, "a") as file:
        file["elsewhere"] = h5py.ExternalLink("secret.nc", "/x")
    with pytest.raises(InputError, match=r"w.nc: points at another file in 'elsewhere'. Copy the values into one file"):
        read_hours(path)
    path = hours_file(tmp_path / "v.nc", **by_direction([10.0], [1.0]))
    (tmp_path / "secret").write_bytes(b"\x00" * 80)
    with h5py.File(path, "a") as file:
        file.create_group("deep").create_dataset("x", shape=(10,), dtype="f8", external=[(tmp_path / "secret", 0, 80)])
    with pytest.raises(InputError, match=r"v.nc: takes 'x' from another file. Copy the values into one file"):
        read_hours(path)


def test_a_small_file_that_claims_to_be_huge_is_refused_before_it_is_decoded(tmp_path):
    path = tmp_path / "w.nc"
    with h5py.File(path, "w") as file:
        for name in ("time", "ff"):
            file.create_dataset(name, shape=(10**9,), chunks=(10**6,), dtype="f8", compression="gzip")
        file["time"].make_scale("time")
        file["ff"].dims[0].attach_scale(file["time"])
    assert path.stat().st_size < 100_000
    with pytest.raises(InputError, match=r"w.nc: has 1,000,000,000 values in '(ff|time)'; allowed: 20,000,000"):
        read_hours(path)
    path = raster_file(tmp_path / "r.nc", *DEGREES)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(netcdf, "MOST_VALUES", 50)
        with pytest.raises(InputError, match=r"r.nc: variable 'u': 1 x \d+ x \d+ values are to be read; allowed: 50"):
            read_raster(path)
    packed = raster_file(tmp_path / "p.nc", *DEGREES, u={"chunksizes": (40, 40)})
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(netcdf, "MOST_VALUES", 1500)
        with pytest.raises(InputError, match=r"p.nc: variable 'u': 40 x 40 values lie in one packed piece"):
            read_raster(packed)


# ---- rasters -------------------------------------------------------------------------------------------------------

CELL = 0.002
DEGREES = (LON + CELL * (np.arange(40) - 20), LAT - CELL * (np.arange(40) - 20))
"""Longitudes ascending, latitudes descending, round the plants."""
EASTWARD = {"u": ("m s-1", "eastward_wind"), "v": ("m s-1", "northward_wind")}


def raster_file(
    path, lon, lat, values=(3.0, 4.0), names=EASTWARD, *, periods=(), extra=(), axes=None, notes=None, **encoding
):
    """Write planes; `values` are numbers or arrays (lat, lon), one for each name; `periods` is a time axis."""
    dims = ("lat", "lon")
    axes = axes or {
        "lat": variable("lat", lat, "degrees_north", "latitude"), "lon": variable("lon", lon, "degrees_east", "longitude")
    }  # fmt: skip
    made = dict(axes) | dict(extra)
    for (key, (units, name)), value in zip(names.items(), values, strict=True):
        plane = np.broadcast_to(
            np.asarray(value, dtype=float), (*([len(periods[2])] if periods else []), len(lat), len(lon))
        )
        made[key] = variable((*([periods[0]] if periods else []), *dims), plane, units, name, **(notes or {}))
    if periods:
        made[periods[0]] = variable(periods[0], periods[2], periods[1], "time" if "since" in periods[1] else "")
    return save(path, made, **encoding)


def read_raster(*paths, plants=PLANTS, working=WORKING, **keys):
    book = FaultBook()
    blocks = [WindRasterBlock(**({"file": path.name, "speed_unit": "m/s"} | keys)) for path in paths]
    raster = read_wind_raster(blocks, list(paths), working, plants, book)
    book.raise_if_stopped()
    return raster, book


def on_grid(u, v):
    """Return a true vector as it stands on the working grid: bearings are smaller by the convergence."""
    turn = np.deg2rad(TURN)
    return u * np.cos(turn) - v * np.sin(turn), u * np.sin(turn) + v * np.cos(turn)


def test_components_come_by_standard_name_and_are_turned_to_grid_north(tmp_path):
    raster, book = read_raster(raster_file(tmp_path / "r.nc", *DEGREES))
    assert raster.month.tolist() == [0]
    u, v = on_grid(3.0, 4.0)
    np.testing.assert_allclose(raster.wind_u, u, atol=2e-3)
    np.testing.assert_allclose(raster.wind_v, v, atol=2e-3)
    assert raster.mean_speed_m_s is None
    assert [fault.sentence() for fault in book.faults] == [
        "r.nc: names no CRS for its latitudes and longitudes. They were taken as WGS 84 (EPSG:4326)."
    ]
    assert book.rows == {"r.nc": 1}


def test_every_value_lands_where_its_coordinates_say(tmp_path):
    lon, lat = DEGREES
    # wind that grows by 0.01 m/s with every cell toward the east and by 1 m/s with every cell toward the north
    slope = 0.01 * np.add.outer(100 * (lat - LAT) / CELL, (lon - LON) / CELL)
    raster, _ = read_raster(raster_file(tmp_path / "r.nc", lon, lat, (slope, 0.0)))
    across, along = WORKING.lon_lat(*np.meshgrid(raster.easting, raster.northing))
    expected = 0.01 * (100 * (along - LAT) + (across - LON)) / CELL
    np.testing.assert_allclose(raster.wind_u[0], expected * np.cos(np.deg2rad(TURN)), atol=0.0015)


def test_either_way_round_lands_in_the_same_place(tmp_path):
    lon, lat = DEGREES
    slope = 0.4 * np.add.outer(np.arange(40.0), 2 * np.arange(40.0))
    plain, _ = read_raster(raster_file(tmp_path / "a.nc", lon, lat, (slope, 4.0)))
    whole_circle = raster_file(tmp_path / "b.nc", np.mod(lon, 360), lat, (slope, 4.0))
    ascending = raster_file(tmp_path / "c.nc", lon, lat[::-1], (slope[::-1], 4.0))
    turned = raster_file(tmp_path / "d.nc", lon[::-1], lat, (slope[:, ::-1], 4.0))
    assert np.ptp(plain.wind_u) > 2
    for path in (whole_circle, ascending, turned):
        other, _ = read_raster(path)
        np.testing.assert_allclose(other.wind_u, plain.wind_u, atol=1e-6)
        np.testing.assert_allclose(other.wind_v, plain.wind_v, atol=1e-6)
        np.testing.assert_allclose(other.easting, plain.easting, atol=1e-6)


@pytest.mark.parametrize("crs", ["EPSG:32631", "EPSG:32660"])
def test_the_ends_of_the_file_meet_round_the_globe(tmp_path, crs):
    # plants beside the meridian of Greenwich, and beside that of 180 degrees
    working = working_crs(crs)
    place = (0.001, 51.0) if crs == "EPSG:32631" else (179.99, -17.0)
    east, north = (float(each) for each in working.from_degrees.transform(*place))
    plants = inventory_at((east, north), (east + 50, north))
    lon, lat = np.arange(0.0, 360.0, 0.5), np.arange(place[1] - 5, place[1] + 5, 0.5)
    values = np.broadcast_to(np.cos(np.deg2rad(lon - place[0])), (len(lat), len(lon)))
    raster, _ = read_raster(raster_file(tmp_path / "w.nc", lon, lat, (values, 0.0)), plants=plants, working=working)
    # cos 0 = 1 at the plants, and nearly so 0.5 degrees away; the convergence turns little of it
    assert np.hypot(raster.wind_u, raster.wind_v).min() > 0.999


def test_months_come_from_the_axis_of_time(tmp_path):
    # 15 May, 15 June, 15 May a year later: days since 1 January 2025
    days = ("time", "days since 2025-01-01", [134, 165, 499])
    stack = np.array([1.0, 5.0, 3.0])[:, None, None]
    path = raster_file(tmp_path / "r.nc", *DEGREES, (stack, 0.0), periods=days)
    raster, _ = read_raster(path)
    assert raster.month.tolist() == [5, 6]
    # May is the mean of two years
    np.testing.assert_allclose(np.hypot(raster.wind_u, raster.wind_v)[:, 0, 0], [2, 5], atol=1e-6)
    assert read_raster(path, months=[5, 6, 5])[0].month.tolist() == [5, 6]
    with pytest.raises(
        RasterError, match=r"has the months 5, 6, 5 on its axis of time, others than its block declares"
    ):
        read_raster(path, months=[5, 7, 5])
    with pytest.raises(RasterError, match=r"has 3 periods; allowed: 2"):
        read_raster(path, months=[5, 6])


def test_a_year_without_a_value_leaves_the_other_year(tmp_path):
    stack = np.ones((2, 40, 40)) * np.array([1.0, 3.0])[:, None, None]
    stack[0, 20, 20] = np.nan
    days = ("time", "days since 2025-01-01", [134, 499])
    raster, _ = read_raster(raster_file(tmp_path / "r.nc", *DEGREES, (stack, stack), periods=days))
    assert np.isfinite(raster.wind_u).all()
    assert raster.wind_u.max() > 2.2  # one cell of 3 among cells of 2, between which values are drawn


def test_months_may_be_declared(tmp_path):
    stack = np.array([1.0, 5.0])[:, None, None]
    path = raster_file(tmp_path / "r.nc", *DEGREES, (stack, 0.0), periods=("period", "1", [0, 1]))
    with pytest.raises(RasterError, match=r"has 2 periods in 'period', which is no axis of time. Declare months"):
        read_raster(path)
    raster, _ = read_raster(path, months=[7, 4])
    assert raster.month.tolist() == [4, 7]
    np.testing.assert_allclose(np.hypot(raster.wind_u, raster.wind_v)[:, 0, 0], [5, 1], atol=1e-6)
    one = raster_file(tmp_path / "one.nc", *DEGREES)
    assert read_raster(one, months=[9])[0].month.tolist() == [9]


def test_direction_and_speed_become_components_before_any_resampling(tmp_path):
    names = {"dd": ("degree", "wind_from_direction"), "ff": ("km h-1", "wind_speed")}
    turns = np.broadcast_to(np.where(np.arange(40) % 2, 350.0, 10.0), (40, 40))
    path = raster_file(tmp_path / "r.nc", *DEGREES, (turns, 36.0), names)
    raster, _ = read_raster(path, components=["direction", "speed"], speed_unit="km/h")
    off_north = np.mod(components_to_from_deg(raster.wind_u, raster.wind_v) + TURN + 180, 360) - 180
    assert np.abs(off_north).max() <= 10.05
    assert np.hypot(raster.wind_u, raster.wind_v).max() <= 10 + 1e-6
    names["dd"] = ("degree", "wind_to_direction")
    path = raster_file(tmp_path / "to.nc", *DEGREES, (90.0, 36.0), names)
    raster, _ = read_raster(path, components=["direction", "speed"], speed_unit="km/h")
    np.testing.assert_allclose(raster.wind_u, 10 * np.cos(np.deg2rad(TURN)), atol=2e-3)
    with pytest.raises(RasterError, match=r"has no variable with the standard name eastward_wind or x_wind \(for u\)"):
        read_raster(path)


def test_mean_speed_comes_where_the_block_asks_for_it(tmp_path):
    names = EASTWARD | {"ff": ("m s-1", "wind_speed")}
    path = raster_file(tmp_path / "r.nc", *DEGREES, (3.0, 4.0, 7.0), names)
    assert read_raster(path)[0].mean_speed_m_s is None
    np.testing.assert_allclose(read_raster(path, components=["u", "v", "speed"])[0].mean_speed_m_s, 7.0)


def projected(path, code, names, values=(0.0, 4.0), unit="m", *, wkt=True, cell=100.0):
    """Write a raster on a projected grid round the plants, with its grid mapping."""
    crs = pyproj.CRS(code)
    east, north = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(LON, LAT)
    factor = 1000.0 if unit == "km" else 1.0
    axes = {
        "lat": variable("lat", (north + cell * (20 - np.arange(40))) / factor, unit, "projection_y_coordinate"),
        "lon": variable("lon", (east + cell * (np.arange(40) - 20)) / factor, unit, "projection_x_coordinate"),
    }
    notes = {"crs_wkt": crs.to_wkt()} if wkt else {k: v for k, v in crs.to_cf().items() if k != "crs_wkt"}
    mapping = {"mapping": ((), np.array(0), notes)}
    return raster_file(path, np.arange(40), np.arange(40), values, names, axes=axes, extra=mapping,
                       notes={"grid_mapping": "mapping"})  # fmt: skip


GRIDWARD = {"u": ("m s-1", "x_wind"), "v": ("m s-1", "y_wind")}


@pytest.mark.parametrize("wkt", [True, False])
@pytest.mark.parametrize("unit", ["m", "km"])
def test_wind_along_a_grid_follows_that_grid(tmp_path, wkt, unit):
    raster, book = read_raster(projected(tmp_path / "r.nc", "EPSG:32615", GRIDWARD, unit=unit, wkt=wkt))
    other = grid_convergence_deg(pyproj.CRS("EPSG:32615"), np.array([LON]), np.array([LAT]))[0]
    assert abs(other - TURN) > 2
    # a bearing from the other grid's north is larger by its convergence from true north, and smaller by ours again
    bearing = np.rad2deg(np.arctan2(raster.wind_u, raster.wind_v))
    np.testing.assert_allclose(bearing, other - TURN, atol=0.05)
    np.testing.assert_allclose(np.hypot(raster.wind_u, raster.wind_v), 4.0, atol=1e-5)
    assert not book.faults
    same, _ = read_raster(projected(tmp_path / "same.nc", CRS, GRIDWARD))
    np.testing.assert_allclose(same.wind_u, 0.0, atol=1e-6)
    true, _ = read_raster(projected(tmp_path / "true.nc", "EPSG:32615", EASTWARD))
    np.testing.assert_allclose(true.wind_u, on_grid(0.0, 4.0)[0], atol=3e-3)


def test_names_and_block_may_not_contradict(tmp_path):
    grid = projected(tmp_path / "grid.nc", CRS, GRIDWARD)
    with pytest.raises(RasterError, match=r"has x_wind and y_wind, which count from grid north. Correct north"):
        read_raster(grid, north="true")
    with pytest.raises(RasterError, match=r"has eastward_wind and northward_wind, which count from true north"):
        read_raster(raster_file(tmp_path / "true.nc", *DEGREES), north="grid")
    mixed = {"u": ("m s-1", "eastward_wind"), "v": ("m s-1", "y_wind")}
    with pytest.raises(RasterError, match=r"mixes components of the grid and of true north: eastward_wind, y_wind"):
        read_raster(raster_file(tmp_path / "mixed.nc", *DEGREES, names=mixed))
    with pytest.raises(CrsError, match=r"has another CRS than its block declares \(EPSG:4326\)"):
        read_raster(grid, crs="EPSG:4326")
    with pytest.raises(InputError, match=r"'u' is in m s-1, but speed_unit says knots"):
        read_raster(grid, speed_unit="knots")


def test_variables_without_a_standard_name_are_named_in_the_block(tmp_path):
    names = {"u10": ("m s**-1", "unknown"), "v10": ("m s**-1", "unknown")}
    path = raster_file(tmp_path / "r.nc", *DEGREES, names=names)
    raster, _ = read_raster(path, variables={"u": "u10", "v": "v10"})
    np.testing.assert_allclose(raster.wind_u, on_grid(3.0, 4.0)[0], atol=2e-3)
    raster, _ = read_raster(path, variables={"u": "u10", "v": "v10"}, north="grid")
    np.testing.assert_allclose(raster.wind_v, on_grid(3.0, 4.0)[1], atol=2e-3)  # degrees: grid north is true north


def test_a_crs_is_never_guessed(tmp_path):
    lon, lat = DEGREES
    for units in ("degrees", ""):
        axes = {"lat": variable("lat", lat, units, "latitude"), "lon": variable("lon", lon, units, "longitude")}
        path = raster_file(tmp_path / f"no{units}.nc", lon, lat, axes=axes)
        with pytest.raises(
            CrsError, match=r"has no CRS: neither a grid mapping nor latitude and longitude in degrees_nor"
        ):
            read_raster(path)
        with pytest.raises(RasterError, match=r"allowed: degrees_east or degrees_north"):
            read_raster(path, crs="EPSG:4326")
    plain = raster_file(tmp_path / "plain.nc", lon, lat)
    assert not read_raster(plain, crs="EPSG:4326")[1].faults
    lost = raster_file(tmp_path / "lost.nc", lon, lat, notes={"grid_mapping": "mapping"})
    with pytest.raises(CrsError, match=r"has the grid mapping 'mapping', which is not in it"):
        read_raster(lost)
    odd = raster_file(tmp_path / "odd.nc", lon, lat, notes={"grid_mapping": "mapping"},
                      extra={"mapping": ((), np.array(0), {"grid_mapping_name": "flat_as_a_pancake"})})  # fmt: skip
    with pytest.raises(CrsError, match=r"has the grid mapping 'mapping', which cannot be understood"):
        read_raster(odd)
    pole = {"grid_mapping_name": "rotated_latitude_longitude", "grid_north_pole_latitude": 39.25,
            "grid_north_pole_longitude": -162.0}  # fmt: skip
    rotated = raster_file(tmp_path / "rot.nc", lon, lat, notes={"grid_mapping": "mapping"},
                          extra={"mapping": ((), np.array(0), pole)})  # fmt: skip
    with pytest.raises(CrsError, match=r"lies on a grid with a rotated pole, which is not read"):
        read_raster(rotated)


def test_what_lies_unevenly_or_elsewhere_is_refused(tmp_path):
    lon, lat = DEGREES
    bent = lon.copy()
    bent[22:] += CELL / 2
    with pytest.raises(RasterError, match=r"has columns that do not lie evenly"):
        read_raster(raster_file(tmp_path / "bent.nc", bent, lat))
    with pytest.raises(RasterError, match=r"covers 0 plants. Extend the raster"):
        read_raster(raster_file(tmp_path / "away.nc", lon + 10, lat))
    with pytest.raises(RasterError, match=r"has one longitude only"):
        read_raster(raster_file(tmp_path / "one.nc", lon[:1], lat))
    with pytest.raises(RasterError, match=r"has columns in the same place"):
        read_raster(raster_file(tmp_path / "same.nc", np.full(40, LON), lat))
    flat = {"lat": variable(("lat", "lon"), np.ones((40, 40)), "degrees_north", "latitude")}
    flat["lon"] = variable(("lat", "lon"), np.ones((40, 40)), "degrees_east", "longitude")
    skewed = {("y" + key): value for key, value in flat.items()}
    with pytest.raises(CrsError, match=r"has no CRS"):
        read_raster(raster_file(tmp_path / "skewed.nc", lon, lat, axes=skewed))
    high = raster_file(tmp_path / "high.nc", lon, lat, names={"u": EASTWARD["u"]}, values=(1.0,), extra={
        "v": variable(("height", "lat", "lon"), np.ones((2, 40, 40)), "m s-1", "northward_wind")})  # fmt: skip
    with pytest.raises(RasterError, match=r"'v' does not lie on the same axes as the others"):
        read_raster(high)


def test_a_block_that_names_no_component_is_refused(tmp_path):
    path = raster_file(tmp_path / "w.nc", *DEGREES)
    with pytest.raises(RasterError, match=r"w.nc: has no component .*components = \[\].*allowed: u and v,.*Name those"):
        read_raster(path, components=[])


def test_cells_without_a_value_stay_without(tmp_path):
    lon, lat = DEGREES
    values = np.where(np.arange(40) > 21, np.nan, 3.0)[None, :] * np.ones((40, 1))
    path = raster_file(tmp_path / "r.nc", lon, lat, (values, 4.0), u={"_FillValue": -9999.0})
    raster, book = read_raster(path, plants=inventory_at((EAST, NORTH), (EAST + 1200, NORTH)))
    assert np.isnan(raster.wind_u).any()
    assert "covers 1 of 2 plants" in [fault.found for fault in book.faults]


def test_packed_values_are_unpacked_and_formats_agree(tmp_path):
    packing = {"dtype": "int16", "scale_factor": 0.01, "add_offset": 1.0, "_FillValue": -32768}
    packed, _ = read_raster(raster_file(tmp_path / "p.nc", *DEGREES, u=packing))
    plain, _ = read_raster(raster_file(tmp_path / "q.nc", *DEGREES, form="NETCDF3_64BIT"))
    np.testing.assert_allclose(packed.wind_u, plain.wind_u, atol=1e-6)


def test_months_may_come_in_several_files(tmp_path):
    may = raster_file(tmp_path / "may.nc", *DEGREES, periods=("time", "days since 2025-01-01", [134]))
    june = raster_file(tmp_path / "june.nc", *DEGREES, (6.0, 8.0), periods=("time", "days since 2025-01-01", [165]))
    raster, _ = read_raster(may, june)
    assert raster.month.tolist() == [5, 6]
    np.testing.assert_allclose(np.hypot(raster.wind_u, raster.wind_v)[:, 0, 0], [5, 10], atol=1e-6)


def test_a_project_takes_netcdf_for_both(tmp_path):
    blocks = (
        '\n[[inputs.wind_hours]]\nfile = "hours.nc"\ntime_zone = "UTC"\nspeed_unit = "m/s"\n'
        '[[inputs.wind_raster]]\nfile = "raster.nc"\nspeed_unit = "m/s"\nvariables = { u = "u", v = "v" }\n'
    )
    folder = make_project(tmp_path, PROJECT + blocks)
    hours_file(tmp_path / "hours.nc", **by_direction([90.0, 100.0], [3.0, 4.0]))
    raster_file(tmp_path / "raster.nc", *DEGREES)
    values, _ = read_project(folder)
    assert np.hypot(values.wind_raster.wind_u, values.wind_raster.wind_v).max() == pytest.approx(5.0)
    assert values.wind_hours.wind_from_deg[0] == pytest.approx(90 - TURN, abs=0.01)
    assert {file.path: file.rows for file in values.files if file.path.endswith(".nc")} == {
        "hours.nc": 2,
        "raster.nc": 1,
    }


def test_a_file_that_ends_its_reader_is_refused_and_the_run_goes_on(tmp_path, monkeypatch):
    path = save(tmp_path / "wind.nc", by_direction([90.0], [3.0]))
    dying = tmp_path / "dying.py"
    dying.write_text("import os, signal\nos.kill(os.getpid(), signal.SIGSEGV)\n")
    monkeypatch.setattr(netcdf, "PROBE", dying)
    with pytest.raises(InputError, match="ends the program that looks through it"), netcdf.open_netcdf(path):
        pass


def test_a_file_that_keeps_its_reader_busy_is_refused_in_time(tmp_path, monkeypatch):
    path = save(tmp_path / "wind.nc", by_direction([90.0], [3.0]))
    busy = tmp_path / "busy.py"
    busy.write_text("while True:\n    pass\n")
    monkeypatch.setattr(netcdf, "PROBE", busy)
    monkeypatch.setattr(netcdf, "LONGEST_WALK_S", 0.5)
    with pytest.raises(InputError, match=r"could not be walked through in 0.5 s"), netcdf.open_netcdf(path):
        pass


def test_a_walk_sees_every_object_and_index_and_leaves_other_files_alone(tmp_path, monkeypatch):
    seen = []
    monkeypatch.setattr(hdf5_probe, "_look_at_values", lambda item: seen.append(item.name))
    with h5py.File(tmp_path / "a.h5", "w") as file:
        file["group/inner/v"] = np.arange(3.0)
        file["w"] = np.arange(3.0)
        file["again"] = file["group"]
        file["there"] = h5py.ExternalLink("/etc/passwd", "/x")
        file["soft"] = h5py.SoftLink("/group")
    hdf5_probe.look_through(str(tmp_path / "a.h5"))
    assert sorted(seen) == ["/group/inner/v", "/w"] or sorted(seen) == ["/again/inner/v", "/w"]


def test_packed_values_and_attributes_are_walked_through(tmp_path):
    with h5py.File(tmp_path / "a.h5", "w") as file:
        file.create_dataset("v", data=np.zeros((8, 8)), chunks=(2, 2), compression="gzip")
        file["v"].attrs["units"] = "m s-1"
        file["nothing"] = h5py.Empty("f4")
    hdf5_probe.look_through(str(tmp_path / "a.h5"))

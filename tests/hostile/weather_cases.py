"""Wind and temperature: rasters, hourly records, daily temperatures, NetCDF."""

import warnings
from pathlib import Path

import h5py
import numpy as np
import rasterio
import xarray as xr
from affine import Affine
from hostile.case_files import CRS, EAST, LISTENER, NORTH, PROJECT, add, make_project, put, with_block
from pyproj import Transformer
from rasterio.errors import NotGeoreferencedWarning
from rasterio.transform import from_origin

WIDE = from_origin(EAST - 2000, NORTH + 2000, 100, 100)
RASTER = 'speed_unit = "m/s"\nnorth = "grid"\n'
HOURS = 'time_zone = "UTC"\nspeed_unit = "m/s"\n'


def flat(*values: float, shape=(40, 40)) -> np.ndarray:
    return np.array([np.full(shape, value, dtype=np.float32) for value in values])


def raster(
    name, bands=None, *, transform=WIDE, crs=CRS, more=RASTER, after=None, toml=None, notes=None, **profile
) -> None:
    """Write down a case with a raster of wind; `after` is done to the finished file, `notes` to the open one."""
    values = flat(2.0, -1.0) if bands is None else bands

    def build(folder: Path) -> None:
        make_project(folder, with_block("wind_raster", "wind.tif", more) if toml is None else toml, **HOURLY)
        how = {"driver": "GTiff", "dtype": "float32", "count": len(values), "height": values.shape[1],
               "width": values.shape[2], "crs": crs, "transform": transform} | profile  # fmt: skip
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            with rasterio.open(folder / "wind.tif", "w", **how) as file:
                file.write(values)
                if notes is not None:
                    notes(file)
        if after is not None:
            after(folder / "wind.tif")

    put(name, build)


def hour_rows(*rows: str, hours: int = 24, start: str = "2026-05-01") -> str:
    """Return an hourly record of one wind, and some more rows."""
    usual = np.datetime_as_string(np.datetime64(f"{start}T00:00") + np.arange(hours) * np.timedelta64(1, "h"), unit="m")
    lines = "".join(f"{time.replace('T', ' ')},{240 + 20 * (n % 3)},4\n" for n, time in enumerate(usual))
    return "time,wind_from_deg,speed\n" + lines + "".join(f"{row}\n" for row in rows)


HOURLY = {"hours__csv": hour_rows(hours=600)}
BOTH = with_block("wind_raster", "wind.tif", RASTER) + f'\n[[inputs.wind_hours]]\nfile = "hours.csv"\n{HOURS}'


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def describe(*names: str, units=()):
    def note(file) -> None:
        file.descriptions = names or file.descriptions
        if units:
            file.units = units

    return note


def with_hole(value: float, cols=slice(19, 21)) -> np.ndarray:
    bands = flat(2.0, -1.0)
    bands[:, 8:12, cols] = value
    return bands


FINE = from_origin(EAST - 300, NORTH + 300, 30, 30)
"""Cells so fine that the thirty plants stand in three of them: columns 10 to 12 of row 9 or 10."""


way = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
LON, LAT = way.transform(EAST, NORTH)
raster("raster_in_order")
raster("raster_that_ends_short", after=cut)
raster("raster_cut_in_its_head", after=lambda path: path.write_bytes(path.read_bytes()[:20]))
raster("raster_with_nodata_under_some_plants", with_hole(-9999.0, slice(10, 11)), transform=FINE, nodata=-9999.0)
raster("raster_with_nodata_under_all_plants", with_hole(-9999.0, slice(9, 15)), transform=FINE, nodata=-9999.0)
raster("raster_with_undeclared_nodata_under_plants", with_hole(-9999.0))
raster("raster_of_nothing", flat(-9999.0, -9999.0), nodata=-9999.0)
raster("raster_upside_down", transform=Affine(100, 0, EAST - 2000, 0, 100, NORTH - 2000))
raster(
    "raster_turned",
    transform=Affine.translation(EAST, NORTH)
    @ Affine.rotation(30)
    @ Affine.scale(100, -100)
    @ Affine.translation(-20, -20),
)
raster("raster_of_directions_undeclared", flat(250.0, 4.0))
raster("raster_of_small_directions_undeclared", flat(45.0, 4.0))
raster("raster_of_directions_that_says_so", flat(20.0, 4.0), notes=describe(units=("degrees", "m/s")))
raster("raster_of_directions_declared", flat(250.0, 4.0), more=RASTER + 'components = ["direction", "speed"]\n')
raster("raster_with_swapped_components_by_name", notes=describe("v", "u"))
raster("raster_with_components_in_order_by_name", notes=describe("eastward_wind", "northward_wind"))
raster("raster_with_swapped_components_by_the_record", flat(0.2, 4.0), toml=BOTH)
raster("raster_of_where_wind_comes_from", flat(-4.0, -0.3), toml=BOTH)
raster("raster_that_agrees_with_the_record", flat(4.0, 0.3), toml=BOTH)
raster(
    "raster_in_another_crs",
    transform=from_origin(LON - 0.04, LAT + 0.04, 0.002, 0.002),
    crs="EPSG:4326",
    more='speed_unit = "m/s"\n',
)
raster("raster_without_crs", crs=None)
raster("raster_without_place", transform=Affine.identity(), crs=None, more=RASTER + f'crs = "{CRS}"\n')
raster("raster_with_another_crs_than_declared", more=RASTER + 'crs = "EPSG:32615"\n')
raster("raster_of_another_town", transform=from_origin(EAST + 50_000, NORTH, 100, 100))
raster("raster_with_a_band_too_many", flat(2.0, -1.0, 3.0))
raster("raster_with_months_missing", flat(2.0, -1.0, 3.0, 1.0), more=RASTER + "months = [5]\n")
raster("raster_with_a_month_twice", flat(2.0, -1.0, 3.0, 1.0), more=RASTER + "months = [5, 5]\n")
raster("raster_of_storms", flat(55.0, -1.0))
raster("raster_not_a_number", flat(float("nan"), float("inf")))
raster("raster_in_an_unknown_unit", more='speed_unit = "beaufort"\n')
raster("raster_with_notes_of_another_kind", after=lambda path: Path(f"{path}.aux.xml").write_text(
    f"<PAMDataset><SRS>{LISTENER['address']}/crs</SRS></PAMDataset>", encoding="utf-8"), crs=None)  # fmt: skip


def sparse(name: str, side: int, **how) -> None:
    """Write down a raster whose few bytes claim a great many cells."""

    def build(folder: Path) -> None:
        make_project(folder, with_block("wind_raster", "wind.tif", RASTER))
        with rasterio.open(folder / "wind.tif", "w", driver="GTiff", dtype="float32", count=2, height=side, width=side, crs=CRS,
                           transform=WIDE, sparse_ok=True, compress="deflate", **how):  # fmt: skip
            pass

    put(name, build)


sparse("raster_of_fourteen_gigabytes", 42_000, tiled=True, blockxsize=512, blockysize=512)
VRT = '<VRTDataset rasterXSize="2" rasterYSize="2"><VRTRasterBand band="1"/></VRTDataset>'
add("raster_that_points_elsewhere", with_block("wind_raster", "wind.tif", RASTER), wind__tif=VRT)
add("raster_of_text", with_block("wind_raster", "wind.tif", RASTER), wind__tif="ncols 2\nnrows 2\n")


def netcdf(name: str, change=None, more: str = RASTER.replace('north = "grid"\n', ""), after=None) -> None:
    """Write down a raster of wind as NetCDF."""

    def build(folder: Path) -> None:
        make_project(folder, with_block("wind_raster", "wind.nc", more))
        lon, lat = LON + 0.01 * np.arange(-5, 6), LAT + 0.01 * np.arange(-5, 6)
        data = xr.Dataset(
            {
                "u": (("lat", "lon"), np.full((11, 11), 2.0), {"standard_name": "eastward_wind", "units": "m s-1"}),
                "v": (("lat", "lon"), np.full((11, 11), -1.0), {"standard_name": "northward_wind", "units": "m s-1"}),
            },
            {
                "lat": ("lat", lat, {"standard_name": "latitude", "units": "degrees_north"}),
                "lon": ("lon", lon, {"standard_name": "longitude", "units": "degrees_east"}),
            },
        )
        data = change(data) if change else data
        data.to_netcdf(folder / "wind.nc", engine="h5netcdf")
        if after is not None:
            after(folder / "wind.nc")

    put(name, build)


def unit(name: str):
    def change(data: xr.Dataset) -> xr.Dataset:
        data["u"].attrs["units"] = name
        return data

    return change


def elsewhere(path: Path) -> None:
    with h5py.File(path, "a") as file:
        file["other"] = h5py.ExternalLink("/etc/passwd", "/x")


def without_end(path: Path) -> None:
    with h5py.File(path, "a") as file:
        for name in ("u", "v"):
            notes = dict(file[name].attrs)
            del file[name]
            file.create_dataset(name, (11, 11, 40_000_000), chunks=(1, 1, 40_000_000), dtype="f4", compression="gzip")
            for key, value in notes.items():
                if key in ("standard_name", "units"):
                    file[name].attrs[key] = value


def in_a_circle(path: Path) -> None:
    """Damage the size of a stored text, so that whoever looks for the next one never comes to the end."""
    data = bytearray(path.read_bytes())
    start = data.index(b"GCOL") + 24
    data[start : start + 8] = (2**64 - 16).to_bytes(8, "little")
    path.write_bytes(data)


netcdf("netcdf_of_fourteen_gigabytes", after=without_end)
netcdf("netcdf_whose_pointers_go_in_a_circle", after=in_a_circle)
netcdf("netcdf_in_order")
netcdf("netcdf_cut_short", after=cut)
netcdf("netcdf_in_an_unknown_unit", unit("furlong day-1"))
netcdf("netcdf_in_another_unit_than_declared", unit("knots"))
netcdf("netcdf_without_wind", lambda data: data.drop_vars("v"))
netcdf("netcdf_with_no_components", more='speed_unit = "m/s"\ncomponents = []\n')
netcdf("netcdf_with_uneven_places", lambda data: data.isel(lon=[0, 1, 2, 4, 5, 6, 9, 10]))
netcdf("netcdf_that_points_elsewhere", after=elsewhere)
netcdf("netcdf_of_another_continent", lambda data: data.assign_coords(lat=-data["lat"]))

WIND = with_block("wind_hours", "hours.csv", HOURS)
HOUR = "2026-05-03 00:00"
add("hours_in_order", WIND, hours__csv=hour_rows())
add("hours_with_gaps", WIND, hours__csv=hour_rows("2026-05-04 00:00,90,3"))
add("hours_twice", WIND, hours__csv=hour_rows("2026-05-01 00:00,90,3"))
add("hours_variable_and_calm", WIND, hours__csv=hour_rows(f"{HOUR},VRB,1", "2026-05-03 01:00,0,0"))
add("hours_of_direction_999", WIND, hours__csv=hour_rows(f"{HOUR},999,3"))
add("hours_with_a_declared_code", WIND + 'missing_codes = ["-99"]\n', hours__csv=hour_rows(f"{HOUR},-99,-99"))
add("hours_with_negative_speed", WIND, hours__csv=hour_rows(f"{HOUR},90,-3"))
add("hours_with_impossible_speed", WIND, hours__csv=hour_rows(f"{HOUR},90,300"))
add("hours_with_impossible_time", WIND, hours__csv=hour_rows("2026-05-03 25:00,90,3"))
add("hours_without_speed", WIND, hours__csv="time,wind_from_deg\n2026-05-01 00:00,90\n")
add("hours_in_an_unknown_zone", WIND.replace('"UTC"', '"Mars/Olympus"'), hours__csv=hour_rows())
add("hours_in_a_zone_by_its_path", WIND.replace('"UTC"', '"../../etc/passwd"'), hours__csv=hour_rows())
add("hours_in_an_unknown_unit", WIND.replace('"m/s"', '"kph"'), hours__csv=hour_rows())
add("hours_without_a_unit", WIND.replace('speed_unit = "m/s"\n', ""), hours__csv=hour_rows())
add("hours_lost_to_summer_time", WIND.replace('"UTC"', '"America/Chicago"'), hours__csv=hour_rows(start="2026-03-08"))
add("hours_shown_twice_in_autumn", WIND.replace('"UTC"', '"America/Chicago"'), hours__csv=hour_rows(start="2026-11-01"))

DAYS = "day,minimum_c,maximum_c\n" + "".join(f"2026-05-{day:02d},10,20\n" for day in range(1, 26))
WARMTH = with_block("temperature", "days.csv")
add("temperature_in_order", WARMTH, days__csv=DAYS)
add("temperature_with_gaps", WARMTH, days__csv=DAYS + "2026-05-30,10,20\n")
add("temperature_with_blank_days", WARMTH, days__csv=DAYS + "2026-05-26,,20\n")
add("temperature_upside_down", WARMTH, days__csv=DAYS + "2026-05-26,20,10\n")
add("temperature_in_fahrenheit_undeclared", WARMTH, days__csv=DAYS.replace(",10,20", ",50,68"))
add(
    "temperature_in_fahrenheit_declared",
    WARMTH + 'temperature_unit = "F"\n',
    days__csv=DAYS.replace(",10,20", ",50,68"),
)
add("temperature_in_an_unknown_unit", WARMTH + 'temperature_unit = "K"\n', days__csv=DAYS)
add("temperature_of_days_twice", WARMTH, days__csv=DAYS + "2026-05-01,11,21\n")
add("temperature_of_a_furnace", WARMTH, days__csv=DAYS + "2026-05-26,10,2000\n")
assert PROJECT in WARMTH

"""Wind as it comes in: times to UTC, speeds to metres per second, directions and vectors to grid north."""

import datetime as dt

import numpy as np
import pytest
import rasterio
from pyproj import Proj, Transformer
from rasterio.transform import from_origin
from small_projects import CRS, EAST, NORTH, PROJECT, make_project

from spreadmap.dispersal.bearings import components_to_from_deg
from spreadmap.errors import CrsError, InputError, RasterError
from spreadmap.io.faults import FaultBook
from spreadmap.io.project_file import WindHoursBlock
from spreadmap.io.read_crs import grid_convergence_deg, parse_crs
from spreadmap.io.read_project import read_project
from spreadmap.io.read_wind_hours import read_wind_hours
from spreadmap.values.settings import Settings

HEADER = "time,wind_from_deg,speed\n"
LON, LAT = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True).transform(EAST + 45, NORTH)
CONVERGENCE = Proj(CRS).get_factors(LON, LAT).meridian_convergence
"""PROJ's own angle between grid and true north at the plants [deg]."""
LENIENT = PROJECT + "[settings.inputs]\nmost_rows_aside = 1.0\n"


def hours_of(folder, text, book=None, *, convergence=0.0, **block):
    (folder / "wind.csv").write_text(text, encoding="utf-8")
    given = {"file": "wind.csv", "time_zone": "UTC", "speed_unit": "m/s"} | block
    book = book if book is not None else FaultBook()
    return read_wind_hours([WindHoursBlock(**given)], [folder / "wind.csv"], convergence, Settings(), book)


def series(directions, speed="3"):
    start = dt.datetime(2025, 5, 1)
    return HEADER + "".join(
        f"{start + dt.timedelta(hours=n):%Y-%m-%d %H:%M},{each},{speed}\n" for n, each in enumerate(directions)
    )


def assumptions(book):
    return " / ".join(fault.found for fault in book.faults if fault.weight == "assumed")


@pytest.mark.parametrize(
    ("unit", "metres"),
    # the international mile is 1609.344 m, the international nautical mile 1852 m (SI brochure, table 8, and BIPM)
    [("m/s", 1.0), ("km/h", 1000 / 3600), ("mph", 1609.344 / 3600), ("knots", 1852 / 3600)],
)
def test_every_unit_becomes_metres_per_second(tmp_path, unit, metres):
    text = "time,wind_from_deg,speed,gust\n2025-05-01 00:00,90,10,20\n"
    hours = hours_of(tmp_path, text, speed_unit=unit)
    np.testing.assert_allclose(hours.speed_m_s, 10 * metres)
    np.testing.assert_allclose(hours.gust_m_s, 20 * metres)


def test_calm_and_variable_hours_have_no_direction_but_keep_their_speed(tmp_path):
    text = HEADER + "".join(
        f"2025-05-01 {hour:02d}:00,{cells}\n" for hour, cells in enumerate(["0,0", "VRB,2", ",1.5", "360,4", "0,4"])
    )
    hours = hours_of(tmp_path, text)
    np.testing.assert_array_equal(np.isnan(hours.wind_from_deg), [True, True, True, False, False])
    assert hours.wind_from_deg[3:].tolist() == [0.0, 0.0]
    assert hours.speed_m_s.tolist() == [0.0, 2.0, 1.5, 4.0, 4.0]
    assert np.isnan(hours.temperature_c).all()


@pytest.mark.parametrize(
    ("cells", "says"),
    [("361,3", "0 to 360, or VRB"), ("-10,3", "0 to 360, or VRB"), ("999,3", "0 to 360, or VRB"), ("nan,3", "0 to 360"),
     ("north,3", "0 to 360"), ("90,-1", "a number from 0 to 120"), ("90,500", "a number from 0 to 120")],
)  # fmt: skip
def test_an_hour_that_cannot_be_is_put_aside(tmp_path, cells, says):
    book = FaultBook()
    hours = hours_of(tmp_path, series([90] * 30) + f"2025-06-01 00:00,{cells}\n", book)
    assert len(hours) == 30
    (fault,) = [fault for fault in book.faults if fault.weight == "aside"]
    assert fault.row == 32
    assert says in fault.allowed


def test_a_place_on_the_clock_becomes_utc_and_the_lost_hour_is_left_out(tmp_path):
    book = FaultBook()
    text = HEADER + "2025-03-09 01:00,90,1\n2025-03-09 02:00,90,2\n2025-03-09 03:00,90,3\n"
    hours = hours_of(tmp_path, text, book, time_zone="America/Chicago")
    # Chicago is 6 h behind UTC until 2 o'clock standard time on 9 March 2025, then 5 h (tz database)
    expected = np.array(["2025-03-09T07:00", "2025-03-09T08:00"], dtype="datetime64[m]")
    np.testing.assert_array_equal(hours.time_utc, expected)
    assert hours.speed_m_s.tolist() == [1.0, 3.0]
    assert "1 hours do not exist on that clock" in assumptions(book)


def test_the_doubled_hour_is_two_hours(tmp_path):
    book = FaultBook()
    text = HEADER + "".join(
        f"2025-11-02 {clock},90,{n}\n" for n, clock in enumerate(["00:00", "01:00", "01:00", "02:00"], start=1)
    )
    hours = hours_of(tmp_path, text, book, time_zone="America/Chicago")
    expected = np.arange("2025-11-02T05:00", "2025-11-02T09:00", 60, dtype="datetime64[m]")
    np.testing.assert_array_equal(hours.time_utc, expected)
    assert hours.speed_m_s.tolist() == [1.0, 2.0, 3.0, 4.0]
    assert "where that clock goes back" in assumptions(book)
    assert "come twice" not in assumptions(book)


@pytest.mark.parametrize(("zone", "utc"), [("UTC", 12), ("+01:00", 11), ("-06:00", 18), ("Asia/Tokyo", 3)])
def test_fixed_offsets_and_places_become_utc(tmp_path, zone, utc):
    hours = hours_of(tmp_path, HEADER + "2025-07-01T12:00:00,90,1\n", time_zone=zone)
    np.testing.assert_array_equal(hours.time_utc, np.array([f"2025-07-01T{utc:02d}:00"], dtype="datetime64[m]"))


@pytest.mark.parametrize("zone", ["Nowhere/City", "../../etc/passwd", "", "/etc/passwd"])
def test_an_unknown_time_zone_stops(tmp_path, zone):
    book = FaultBook()
    assert hours_of(tmp_path, series([90]), book, time_zone=zone) is None
    with pytest.raises(InputError, match=r"time_zone '.*' is not known; allowed: for example 'America/Chicago'"):
        book.raise_if_stopped()


def test_gaps_and_double_hours_are_counted(tmp_path):
    book = FaultBook()
    clocks = ["00:00", "01:00", "01:00", "05:00", "06:00", "06:00", "07:00"]
    text = HEADER + "".join(f"2025-05-01 {clock},90,{n}\n" for n, clock in enumerate(clocks))
    hours = hours_of(tmp_path, text, book)
    assert hours.speed_m_s.tolist() == [0.0, 1.0, 3.0, 4.0, 6.0]
    assert "3 hours are missing" in assumptions(book)
    assert "2 hours come twice" in assumptions(book)


def test_rows_in_any_order_come_out_sorted(tmp_path):
    lines = series(range(0, 240, 10)).splitlines()
    hours = hours_of(tmp_path, "\n".join([lines[0], *reversed(lines[1:])]) + "\n")
    assert np.all(np.diff(hours.time_utc) == np.timedelta64(60, "m"))
    np.testing.assert_array_equal(hours.wind_from_deg, np.arange(0, 240, 10))


def test_whole_tens_all_through_are_coarse_and_others_are_not(tmp_path):
    tens = [10 * (n % 36) for n in range(40)]
    assert hours_of(tmp_path, series(tens)).is_coarse.all()
    assert not hours_of(tmp_path, series([*tens[:-1], 123])).is_coarse.any()


def test_true_bearings_become_grid_bearings_by_projs_convergence(tmp_path):
    assert abs(CONVERGENCE) > 1
    assert grid_convergence_deg(parse_crs(CRS), np.array([LON]), np.array([LAT]))[0] == pytest.approx(
        CONVERGENCE, abs=1e-5
    )
    wind = '\n[[inputs.wind_hours]]\nfile = "wind.csv"\ntime_zone = "UTC"\nspeed_unit = "m/s"\n'
    directions = [0, 1, 45, 180, 271]
    expected = {"true": np.mod(np.array(directions) - CONVERGENCE, 360), "grid": np.array(directions, dtype=float)}
    for north, bearings in expected.items():
        toml = PROJECT + wind + f'north = "{north}"\n'
        values, _ = read_project(make_project(tmp_path / north, toml, wind__csv=series(directions)))
        np.testing.assert_allclose(values.wind_hours.wind_from_deg, bearings, atol=1e-4)


@pytest.mark.parametrize(
    ("crs", "lon", "lat"),
    [("EPSG:32614", -101.5, 40.0), ("EPSG:32614", -96.5, -30.0), ("EPSG:2154", 7.0, 48.0), ("EPSG:27700", -5.0, 57.0),
     ("EPSG:28992", 6.5, 53.0), ("EPSG:5070", -80.0, 35.0)],
)  # fmt: skip
def test_convergence_agrees_with_proj_on_both_sides_of_the_middle(crs, lon, lat):
    own = grid_convergence_deg(parse_crs(crs), np.array([lon]), np.array([lat]))[0]
    assert own == pytest.approx(Proj(crs).get_factors(lon, lat).meridian_convergence, abs=0.01)


def write_raster(path, bands, west, north, cell, crs="EPSG:4326", **more):
    bands = np.asarray(bands, dtype=np.float32)
    count, rows, cols = bands.shape
    with rasterio.open(path, "w", driver="GTiff", count=count, height=rows, width=cols, dtype="float32", crs=crs,
                       transform=from_origin(west, north, cell, cell), **more) as target:  # fmt: skip
        target.write(bands)


def raster_of(folder, bands, *, cell=0.002, west=None, top=None, crs="EPSG:4326", block="", toml=PROJECT):
    """Read a project with a raster that lies round the plants unless told otherwise."""
    cols, rows = np.shape(bands)[2], np.shape(bands)[1]
    place = (LON - cols * cell / 2, LAT + rows * cell / 2)
    folder = make_project(folder, f'{toml}\n[[inputs.wind_raster]]\nfile = "w.tif"\nspeed_unit = "m/s"\n{block}')
    write_raster(
        folder / "w.tif", bands, place[0] if west is None else west, place[1] if top is None else top, cell, crs
    )
    return read_project(folder)[0]


def flat(*values, size=40):
    return np.broadcast_to(np.array(values, dtype=float)[:, None, None], (len(values), size, size))


def test_a_uniform_west_wind_stays_one_up_to_the_convergence(tmp_path):
    raster = raster_of(tmp_path, flat(5.0, 0.0)).wind_raster
    assert np.isfinite(raster.wind_u).all()
    # a true bearing of 90 is 90 - convergence from grid north
    np.testing.assert_allclose(raster.wind_u, 5 * np.cos(np.deg2rad(CONVERGENCE)), atol=1e-3)
    np.testing.assert_allclose(raster.wind_v, 5 * np.sin(np.deg2rad(CONVERGENCE)), atol=1e-3)
    came_from = components_to_from_deg(raster.wind_u, raster.wind_v)
    np.testing.assert_allclose(came_from, 270 - CONVERGENCE, atol=0.02)
    assert np.all(np.diff(raster.easting) > 0)
    assert np.all(np.diff(raster.northing) < 0)
    assert raster.month.tolist() == [0]


def test_vectors_on_the_working_grid_are_not_turned(tmp_path):
    raster = raster_of(
        tmp_path, flat(3.0, -4.0, 6.0), cell=50.0, west=EAST - 1000, top=NORTH + 1000, crs=CRS,
        block='north = "grid"\ncomponents = ["u", "v", "speed"]\n',
    ).wind_raster  # fmt: skip
    np.testing.assert_allclose(raster.wind_u, 3.0, atol=1e-6)
    np.testing.assert_allclose(raster.wind_v, -4.0, atol=1e-6)
    np.testing.assert_allclose(raster.mean_speed_m_s, 6.0, atol=1e-6)


def test_directions_become_vectors_before_they_are_resampled(tmp_path):
    bands = np.empty((2, 40, 41))
    bands[0] = np.where(np.arange(41) % 2, 350.0, 10.0)
    bands[1] = 4.0
    raster = raster_of(tmp_path, bands, block='components = ["direction", "speed"]\n').wind_raster
    came_from = components_to_from_deg(raster.wind_u, raster.wind_v)
    off_north = np.abs(np.mod(came_from + CONVERGENCE + 180, 360) - 180)
    assert np.all(off_north <= 10.01)
    assert np.all(raster.wind_v < 0)
    assert np.all(np.hypot(raster.wind_u, raster.wind_v) >= 4 * np.cos(np.deg2rad(10)) - 1e-3)


@pytest.mark.parametrize("order", ["by_month", "by_component"])
def test_bands_find_their_month_in_either_order(tmp_path, order):
    named = {"by_month": (1.0, 2.0, 3.0, 4.0), "by_component": (1.0, 3.0, 2.0, 4.0)}
    raster = raster_of(
        tmp_path, flat(*named[order]), cell=50.0, west=EAST - 1000, top=NORTH + 1000, crs=CRS,
        block=f'north = "grid"\nmonths = [5, 7]\nband_order = "{order}"\n',
    ).wind_raster  # fmt: skip
    assert raster.month.tolist() == [5, 7]
    np.testing.assert_allclose(raster.wind_u[:, 0, 0], [1.0, 3.0], atol=1e-6)
    np.testing.assert_allclose(raster.wind_v[:, 0, 0], [2.0, 4.0], atol=1e-6)


def test_a_raster_that_covers_no_plant_is_refused(tmp_path):
    with pytest.raises(RasterError, match=r"covers 0 of 30 plants. Extend the raster"):
        raster_of(tmp_path, flat(5.0, 0.0), west=LON + 1)


def test_a_raster_that_covers_some_plants_says_how_many(tmp_path):
    # the raster's east edge lies beyond the fifteenth of thirty plants, 3 m apart
    values = raster_of(tmp_path, flat(5.0, 0.0), cell=10.0, west=EAST + 46 - 400, top=NORTH + 200, crs=CRS)
    (fault,) = [fault for fault in values.faults if fault.file == "w.tif"]
    covered = int(fault.found.split()[1])
    assert fault.weight == "assumed"
    assert fault.found == f"covers {covered} of 30 plants"
    assert abs(covered - 15) <= 4, "a cell of 10 m holds three or four plants"


@pytest.mark.parametrize(
    ("bands", "block", "says"),
    [(3, "", "has 3 bands; allowed: 2, 2 for each of 1 periods"),
     (2, "months = [5, 6]\n", "has 2 bands; allowed: 4"),
     (4, "months = [5, 5]\n", "holds months 5 a second time")],
)  # fmt: skip
def test_bands_that_do_not_fit_the_block_are_refused(tmp_path, bands, block, says):
    with pytest.raises(RasterError, match=says):
        raster_of(tmp_path, flat(*[1.0] * bands), block=block)


def test_a_raster_without_crs_is_refused(tmp_path):
    with pytest.raises(CrsError, match=r"w.tif: has no CRS; it is never guessed"):
        raster_of(tmp_path, flat(5.0, 0.0), crs=None)


def test_a_raster_cut_short_is_refused(tmp_path):
    raster_of(tmp_path, flat(5.0, 0.0))
    path = tmp_path / "w.tif"
    path.write_bytes(path.read_bytes()[:200])
    with pytest.raises(RasterError, match=r"w.tif: cannot be read as GeoTIFF"):
        read_project(tmp_path)


def test_a_raster_without_size_or_with_a_crs_of_no_place_is_refused(tmp_path):
    with pytest.raises(RasterError, match=r"w.tif: has cells without size"):
        raster_of(tmp_path / "flat", flat(5.0, 0.0), cell=1e-300)
    local = 'ENGCRS["site",EDATUM["site"],CS[Cartesian,2],AXIS["x",east],AXIS["y",north],LENGTHUNIT["metre",1]]'
    with pytest.raises(InputError, match=r"w.tif: "):
        raster_of(tmp_path / "local", flat(5.0, 0.0), cell=50.0, west=EAST - 1000, top=NORTH + 1000, crs=local)

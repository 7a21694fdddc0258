"""Hourly wind: clocks to UTC, units, codes and groups, directions to grid north, gaps and doubles."""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pyproj
import pytest
from scipy.stats import circmean
from small_projects import CRS, PROJECT, make_project

from spreadmap.errors import InputError, SettingsError
from spreadmap.io.faults import FaultBook
from spreadmap.io.hour_columns import is_doubled, time_zone, to_utc
from spreadmap.io.project_file import WindHoursBlock
from spreadmap.io.read_crs import grid_convergence_deg, working_crs
from spreadmap.io.read_project import read_project
from spreadmap.io.read_wind_hours import parse_time, read_wind_hours
from spreadmap.io.wind_groups import parse_wind_group
from spreadmap.values.settings import InputSettings, Settings

LENIENT = Settings(inputs=InputSettings(most_rows_aside=1.0))
HEADER = "time,wind_from_deg,speed,gust,temperature_c,rain_mm"


def read(folder, rows, convergence=0.0, header=HEADER, **keys):
    path = folder / "wind.csv"
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    book = FaultBook()
    block = WindHoursBlock(**({"file": "wind.csv", "time_zone": "UTC", "speed_unit": "m/s"} | keys))
    hours = read_wind_hours([block], [path], convergence, LENIENT, book)
    book.raise_if_stopped()
    return hours, book


def hour(time, direction="200", speed="3"):
    return f"{time},{direction},{speed},,,"


@pytest.mark.parametrize(("unit", "metres"), [("m/s", 10.0), ("km/h", 10 / 3.6), ("mph", 4.4704), ("knots", 5.14444)])
def test_speeds_come_in_metres_per_second(tmp_path, unit, metres):
    # one mile is 1609.344 m, one nautical mile 1852 m, by definition
    hours, _ = read(tmp_path, ["2026-05-01 10:00,200,10,20,15.5,0.2"], speed_unit=unit)
    assert np.isclose(hours.speed_m_s[0], metres, rtol=1e-5)
    assert np.isclose(hours.gust_m_s[0], 2 * metres, rtol=1e-5)
    assert (hours.temperature_c[0], hours.rain_mm[0]) == (15.5, 0.2)


@pytest.mark.parametrize(
    ("zone", "local", "utc"),
    [
        ("UTC", "2026-05-01 10:00", "2026-05-01T10:00"),
        ("America/Chicago", "2026-05-01 10:00", "2026-05-01T15:00"),
        ("America/Chicago", "2026-01-01 10:00", "2026-01-01T16:00"),
        ("+01:00", "2026-05-01T00:30", "2026-04-30T23:30"),
        ("-06:00", "2026-05-01 10:00:00", "2026-05-01T16:00"),
        ("UTC", "2026-05-01", "2026-05-01T00:00"),
        ("Asia/Tokyo", "2026-05-01 12:00", "2026-05-01T03:00"),
    ],
)
def test_clocks_come_to_utc(tmp_path, zone, local, utc):
    assert read(tmp_path, [hour(local)], time_zone=zone)[0].time_utc.astype(str).tolist() == [utc]


def test_the_hour_that_clocks_show_twice_and_the_one_they_skip(tmp_path):
    # clocks in Chicago go back at 2:00 on 1 November 2026 and forward at 2:00 on 8 March 2026
    autumn = ["2026-11-01 00:00", "2026-11-01 01:00", "2026-11-01 01:00", "2026-11-01 02:00"]
    hours, book = read(tmp_path, [hour(time) for time in autumn], time_zone="America/Chicago")
    assert [str(time)[11:] for time in hours.time_utc] == ["05:00", "06:00", "07:00", "08:00"]
    assert "2 hours lie where that clock goes back" in book.faults[0].sentence()
    spring = ["2026-03-08 01:00", "2026-03-08 02:00", "2026-03-08 03:00"]
    hours, book = read(tmp_path, [hour(time) for time in spring], time_zone="America/Chicago")
    assert [str(time)[11:] for time in hours.time_utc] == ["07:00", "08:00"]
    assert "1 hours do not exist on that clock" in book.faults[0].sentence()


def test_every_hour_of_a_year_comes_back_once():
    zone, taken = ZoneInfo("America/Chicago"), set()
    first = dt.datetime(2026, 1, 1, 6, tzinfo=dt.UTC)
    moments = [first + dt.timedelta(hours=step) for step in range(8760)]
    for moment in moments:
        local = moment.astimezone(zone).replace(tzinfo=None)
        taken.add(to_utc(local, zone, taken))
    assert taken == {moment.replace(tzinfo=None) for moment in moments}


def test_a_place_is_asked_for_where_the_zone_is_unknown(tmp_path):
    with pytest.raises(SettingsError, match=r"time_zone 'America/Chigaco' is not known; allowed: for example"):
        read(tmp_path, [hour("2026-05-01 10:00")], time_zone="America/Chigaco")
    for text in ("../etc/passwd", "", "/etc/localtime", "Europe"):
        with pytest.raises(SettingsError, match="is not known"):
            time_zone(text)


def test_calm_and_variable_hours_have_no_direction_but_north_does(tmp_path):
    rows = [("000", "0"), ("VRB", "1.5"), ("", "2"), ("360", "3"), ("0", "3"), ("90", "0.0")]
    hours, _ = read(tmp_path, [hour(f"2026-05-01 {i:02d}:00", *row) for i, row in enumerate(rows)])
    assert np.isnan(hours.wind_from_deg).tolist() == [True, True, True, False, False, True]
    assert hours.wind_from_deg[3:5].tolist() == [0.0, 0.0]
    assert hours.speed_m_s.tolist() == [0, 1.5, 2, 3, 3, 0]


def test_true_north_becomes_grid_north_once(tmp_path):
    working = working_crs("EPSG:32614")
    turn = float(grid_convergence_deg(working.crs, np.array([-96.6]), np.array([36.9]))[0])
    # east of the central meridian grid north lies clockwise of true north: bearings from it are smaller
    assert 1.3 < turn < 1.6
    true, _ = read(tmp_path, [hour("2026-05-01 10:00", "90")], convergence=turn)
    grid, _ = read(tmp_path, [hour("2026-05-01 10:00", "90")], convergence=turn, north="grid")
    assert np.isclose(true.wind_from_deg[0], 90 - turn)
    assert grid.wind_from_deg[0] == 90
    wrapped, _ = read(tmp_path, [hour("2026-05-01 10:00", "1")], convergence=turn)
    assert np.isclose(wrapped.wind_from_deg[0], 361 - turn)


@pytest.mark.parametrize(("step", "coarse"), [(10, True), (7, False)])
def test_whole_tens_are_noticed(tmp_path, step, coarse):
    rows = [hour(f"2026-05-{1 + i // 24:02d} {i % 24:02d}:00", str((i * step) % 360)) for i in range(48)]
    assert read(tmp_path, rows)[0].is_coarse.all() == coarse


def test_gaps_doubles_and_shorter_steps_are_told_and_rows_sorted(tmp_path):
    rows = [
        hour("2026-05-01 15:00"),
        hour("2026-05-01 10:00"),
        hour("2026-05-01 10:00", "20"),
        hour("2026-05-01 11:00"),
    ]
    hours, book = read(tmp_path, rows)
    assert [str(time)[11:] for time in hours.time_utc] == ["10:00", "11:00", "15:00"]
    assert hours.wind_from_deg[0] == 200
    assert [fault.sentence() for fault in book.faults] == [
        "wind.csv: 1 hours come twice. The first row of each was taken.",
        "wind.csv: 3 hours are missing between the first and the last. They stay missing.",
    ]
    _, book = read(tmp_path, [hour(f"2026-05-01 10:{minute}") for minute in ("00", "10", "20", "30")])
    assert "rows lie 10 minutes apart" in book.faults[0].sentence()


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (hour("noon"), "'noon'; allowed: a time written 2026-04-01 13:00"),
        (hour("2026-05-01 24:30"), "column 'time'"),
        (hour("2026-05-01 10:00", "361"), "'361'; allowed: 0 to 360, or VRB"),
        (hour("2026-05-01 10:00", "-10"), "'-10'; allowed: 0 to 360, or VRB"),
        (hour("2026-05-01 10:00", "999"), "'999'; allowed: 0 to 360, or VRB. Correct the cell, or declare the code"),
        (hour("2026-05-01 10:00", "nan"), "'nan'; allowed: 0 to 360, or VRB"),
        (hour("2026-05-01 10:00", "NNW"), "'NNW'; allowed: 0 to 360, or VRB"),
        (hour("2026-05-01 10:00", "200", "999"), "'999'; allowed: a number from 0 to 120"),
        (hour("2026-05-01 10:00", "200", "-1"), "'-1'; allowed: a number from 0 to 120"),
    ],
)
def test_a_faulty_hour_is_put_aside(tmp_path, row, says):
    hours, book = read(tmp_path, [hour("2026-05-02 10:00"), row])
    assert len(hours) == 1
    assert says in book.faults[0].sentence()
    assert (book.faults[0].row, book.faults[0].weight) == (3, "aside")
    assert row.split(",")[1] in book.rejected[0].text


def test_a_declared_order_of_dates_counts_for_times_too(tmp_path):
    hours, _ = read(tmp_path, [hour("01.05.2026 10:00")], date_format="dd.mm.yyyy")
    assert str(hours.time_utc[0]) == "2026-05-01T10:00"
    assert parse_time("01.05.2026 10:00") is None
    assert parse_time("2026-05-01 7:05") == dt.datetime(2026, 5, 1, 7, 5)


def test_doubled_hours_are_those_of_the_clock_that_goes_back():
    zone = ZoneInfo("America/Chicago")
    assert is_doubled(dt.datetime(2026, 11, 1, 1, 30), zone)
    assert not is_doubled(dt.datetime(2026, 11, 1, 2, 0), zone)
    assert not is_doubled(dt.datetime(2026, 3, 8, 2, 30), zone)


def test_a_missing_column_stops_the_file(tmp_path):
    with pytest.raises(InputError, match=r"has no column for speed; its columns are time, wind_from_deg, wind_speed"):
        read(tmp_path, ["2026-05-01 10:00,200,3"], header="time,wind_from_deg,wind_speed")


def test_turning_keeps_the_circular_mean(tmp_path):
    given = np.array([350.0, 10.0, 20.0])
    rows = [hour(f"2026-05-01 {i:02d}:00", str(value)) for i, value in enumerate(given)]
    hours, _ = read(tmp_path, rows, convergence=1.5)
    expected = np.rad2deg(circmean(np.deg2rad(given))) - 1.5
    assert np.isclose(np.rad2deg(circmean(np.deg2rad(hours.wind_from_deg))), expected)


def test_a_projects_hours_are_turned_by_what_proj_gives_for_its_place(tmp_path):
    wind = '\n[[inputs.wind_hours]]\nfile = "wind.csv"\ntime_zone = "UTC"\nspeed_unit = "m/s"\n'
    folder = make_project(tmp_path, PROJECT + wind, wind__csv=f"{HEADER}\n{hour('2026-05-01 10:00', '90')}\n")
    values, _ = read_project(folder)
    factors = pyproj.Proj(CRS).get_factors(values.longitude_deg, values.latitude_deg)
    # the place lies east of the central meridian: a bearing from grid north is smaller than the true one
    assert factors.meridian_convergence > 1
    assert np.isclose(values.wind_hours.wind_from_deg[0], 90 - factors.meridian_convergence, atol=1e-3)


@pytest.mark.parametrize(
    ("text", "wind"),
    [
        # worked by hand from the form dddff(Gff)unit
        ("24015G25KT", (240, 15, 25, "knots", False)),
        ("24015KT 210V270", (240, 15, None, "knots", False)),
        ("VRB03KT", (None, 3, None, "knots", False)),
        ("00000KT", (0, 0, None, "knots", False)),
        ("36005MPS", (360, 5, None, "m/s", False)),
        ("270P99KT", (270, 99, None, "knots", False)),
        ("120100G130KMH", (120, 100, 130, "km/h", False)),
        ("/////KT", (None, None, None, "knots", True)),
        ("///05KT", (None, 5, None, "knots", True)),
        ("240//KT", (240, None, None, "knots", True)),
        ("24015G//kt", (240, 15, None, "knots", False)),
    ],
)
def test_a_wind_group_is_read_as_written(text, wind):
    found = parse_wind_group(text)
    numbers = [None if np.isnan(each) else each for each in (found.wind_from_deg, found.speed, found.gust)]
    assert (*numbers, found.unit, found.is_missing) == wind


@pytest.mark.parametrize("text", ["", "24015", "37015KT", "2415KT", "24015G25", "24015KT0", "24015XX", "KT", "VRBKT"])
def test_what_is_no_wind_group(text):
    assert parse_wind_group(text) is None


def test_a_column_of_wind_groups(tmp_path):
    cells = ["24015G25KT", "VRB03KT", "00000KT", "/////KT", "///04KT", "", "99915KT", "24015MPS", "090999KT"]
    rows = [f"2026-05-01 {i:02d}:00,{cell}" for i, cell in enumerate(cells)]
    hours, book = read(tmp_path, rows, header="time,wind_group", speed_unit="knots")
    knot = 1852 / 3600
    assert len(hours) == 6
    np.testing.assert_allclose(hours.speed_m_s, np.array([15, 3, 0, np.nan, np.nan, np.nan]) * knot)
    np.testing.assert_array_equal(hours.wind_from_deg, [240] + [np.nan] * 5)
    np.testing.assert_allclose(hours.gust_m_s, np.array([25] + [np.nan] * 5) * knot)
    said = [fault.sentence() for fault in book.faults]
    assert "wind.csv: 3 hours have no wind on record. They are no hours of flight." in said
    assert any("'99915KT'; allowed: a wind group such as 24015G25KT" in each for each in said)
    assert any("'24015MPS' is in m/s; allowed: knots, as declared. Correct speed_unit" in each for each in said)
    assert any("'090999KT'; allowed: speeds up to 233 knots" in each for each in said)


def test_columns_of_components(tmp_path):
    rows = ["2026-05-01 00:00,36,36", "2026-05-01 01:00,0,0", "2026-05-01 02:00,18,", "2026-05-01 03:00,-27,36"]
    hours, book = read(tmp_path, rows, header="time,wind_u,wind_v", speed_unit="km/h")
    # 36 km/h are 10 m/s: (10, 10) comes from 225 degrees; (-7.5, 10) is a triangle 3-4-5 with a side of 2.5 m/s
    np.testing.assert_allclose(hours.speed_m_s, [10 * np.sqrt(2), 0, np.nan, 12.5])
    np.testing.assert_allclose(hours.wind_from_deg, [225, np.nan, np.nan, 180 - np.rad2deg(np.arctan2(3, 4))])
    assert any("1 hours have no wind on record" in fault.found for fault in book.faults)


def test_the_number_990_is_variable_and_told(tmp_path):
    hours, book = read(tmp_path, [hour("2026-05-01 10:00", "990"), hour("2026-05-01 11:00", "990.0")])
    assert np.isnan(hours.wind_from_deg).all()
    assert hours.speed_m_s.tolist() == [3, 3]
    assert book.faults[0].sentence() == "wind.csv: 2 hours have direction 990. They were taken as variable."


def test_codes_for_missing_count_only_where_they_are_declared(tmp_path):
    rows = [
        "2026-05-01 00:00,999,3,9999,9999,9999",
        "2026-05-01 01:00,200,999.0,7,-99,0",
        "2026-05-01 02:00,99,3,99,10,0",
        "2026-05-01 03:00,///,3,//,///,0",
    ]
    hours, book = read(tmp_path, rows, missing_codes=["999", "9999", "-99", "99"])
    # without a direction there is no wind; 99 could be a direction, so that it stays one
    np.testing.assert_array_equal(hours.wind_from_deg, [np.nan, 200, 99, np.nan])
    np.testing.assert_array_equal(hours.speed_m_s, [np.nan, np.nan, 3, np.nan])
    np.testing.assert_array_equal(hours.gust_m_s, [np.nan, 7, np.nan, np.nan])
    np.testing.assert_array_equal(hours.temperature_c, [np.nan, np.nan, 10, np.nan])
    np.testing.assert_array_equal(hours.rain_mm, [np.nan, 0, 0, 0])
    assert book.faults[0].sentence() == "wind.csv: 3 hours have no wind on record. They are no hours of flight."
    undeclared, book = read(tmp_path, rows)
    assert len(undeclared) == 2
    assert [fault.row for fault in book.faults if fault.weight == "aside"] == [2, 3]


def test_codes_count_with_a_decimal_comma_too(tmp_path):
    hours, _ = read(tmp_path, ["2026-05-01 00:00;200;-99,0", "2026-05-01 01:00;200;3,5"],
                    header="time;wind_from_deg;speed", missing_codes=["-99"])  # fmt: skip
    np.testing.assert_array_equal(hours.speed_m_s, [np.nan, 3.5])


def test_rows_put_aside_keep_their_text(tmp_path):
    _, book = read(tmp_path, [hour("2026-05-01 10:00"), "noon,200,-99,,,"], missing_codes=["-99"])
    assert "-99" in book.rejected[0].text


@pytest.mark.parametrize(
    ("header", "says"),
    [
        ("time,speed", "has no column for wind_from_deg or wind_group"),
        ("time,wind_u", "has no column for wind_v"),
        ("wind_from_deg,speed", "has no column for time"),
    ],
)
def test_the_columns_that_must_be_there(tmp_path, header, says):
    with pytest.raises(InputError, match=says):
        read(tmp_path, ["2026-05-01 10:00,3"], header=header)
